"""What shots at a basket with a rim teach: "in" counts by the law that aims, hits off the rim included."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from robots import BALL, BASKET, belief, make_robot, shot
from scipy.stats import norm

from fieldtune.aim.recommend import hit_chance, recommend
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.learn import learn
from fieldtune.learn.evidence import evidence
from fieldtune.learn.shot_table import shot_table
from fieldtune.learn.target_expansion import SideEstimate
from fieldtune.robot.model import Robot


def rimmed(degrees: float, board: tuple[float, float, float] | None = None) -> Robot:
    """A robot that throws at a basket with a rim 16 mm thick."""
    of = make_robot(element=BALL, target=replace(BASKET, rim=0.016, board=board))
    return replace(of, launcher=replace(of.launcher, exit_angle=math.radians(degrees)))


def chances_of_in(of: Robot, distance: float, setpoints: np.ndarray) -> np.ndarray:
    """Probabilities that learning gives to "in", with the side good and all unknowns at the middle of the prior."""
    shots = [shot(number, distance, float(q), "in") for number, q in enumerate(setpoints, 1)]
    unsure, layout = of.uncertainty, learn(of, [], 1).fit.layout
    side = SideEstimate(0.0, unsure.side_scatter)
    (rows,) = evidence(of, shot_table(of, shots, 1), layout, required_speed_for, side, False)
    spread = np.sqrt(rows.loads @ [unsure.exit_speed_scatter**2, unsure.exit_angle_scatter**2])
    return norm.cdf(rows.upper[:, -1] / spread) - norm.cdf(rows.lower[:, -1] / spread)


@pytest.mark.parametrize(
    ("degrees", "distance", "board"), [(52, 2.2, None), (45, 3.5, None), (66, 1.4, (0.6, 0.45, 0.12))]
)
def test_in_counts_as_aiming_counts_it(degrees: float, distance: float, board: tuple[float, float, float] | None):
    """Short of the best setpoint and a little beyond it, where the board's second stretch hasn't begun.

    Learning's interval is what remains once the side is good, so it is compared in shares of the best.
    """
    of = rimmed(degrees, board)
    held = belief(of, 0.0)
    best = recommend(of, of.targets[0], held, distance).setpoint.value
    assert best is not None
    tried = best * np.linspace(0.92, 1.02, 6)
    aims = np.array([hit_chance(of, of.targets[0], held, distance, float(q)) for q in tried])
    learns = chances_of_in(of, distance, tried)
    scale = float(aims @ learns / (learns @ learns))
    assert 0.6 < scale <= 1.03
    assert scale * learns == pytest.approx(aims, abs=0.04)
