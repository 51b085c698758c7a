"""Before and after few shots the recommendation does not hang on the draws, and the next shot stays near a rotation."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from robots import shot, slider, swinger, thrower
from scipy.stats import kstest, norm
from thorough import thorough

from fieldtune.aim.draws import Belief
from fieldtune.aim.hit_chance import HitChanceCurve
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.setpoint_search import best_setpoint
from fieldtune.learn import learn, next_shot
from fieldtune.learn.draws import gain_with_offset
from fieldtune.learn.importance_sampling import FEW, MANY, lattice_normals
from fieldtune.learn.posterior import unknowns_from
from fieldtune.learn.side_miss import SideLayout
from fieldtune.robot.model import Spot


def recommended(robot, belief, distance):
    curve = HitChanceCurve.at(robot, required_speed_for(robot, robot.target()), belief, distance, None)
    return best_setpoint(curve, rounded=False).setpoint


def many_draws(fit, count, seed):
    """A belief of ``count`` independent draws: from the prior at random, kept by how well they explain the shots."""
    layout, side, rng = fit.layout, SideLayout.of(fit.robot), np.random.default_rng(seed)
    points = rng.standard_normal((10 * count if fit.objective.rows else count, layout.size))
    height = fit.objective.log_likelihood(layout.features(points), layout.variances(points))
    mass = np.exp(height - height.max())
    points = points[rng.choice(len(points), count, p=mass / mass.sum())]
    gain = gain_with_offset(layout, points, layout.gain(points), layout.offsets(points)[:, 0])
    draws = unknowns_from(layout, gain, points, side, rng.standard_normal((count, 2)))
    return Belief(layout.prior.basis, draws, np.full(count, 1 / count), fit.belief.best, len(fit.table), 1)


@pytest.mark.parametrize(
    ("name", "results"),
    [
        ("thrower", ()),
        ("slider", ("short",)),
        ("swinger", ("short",)),
        *thorough(("thrower", ("short",)), ("slider", ()), ("swinger", ())),
    ],
)
def test_first_recommendations_are_near_their_limit_in_draws(name, results):
    """Against 30,000 independent draws, whose own error is a quarter of a step: half a step, and 0.8 % where a step is
    far finer than belief (a thrower's 10 rpm)."""
    robot, distance = {"thrower": (thrower(), 2.6), "slider": (slider(), 1.2), "swinger": (swinger(), 1.6)}[name]
    first = recommended(robot, learn(robot, []).belief, distance)
    posterior = learn(robot, [shot(1, distance, round(first), word) for word in results])
    limit = recommended(robot, many_draws(posterior.fit, 30_000, seed=8), distance)
    assert recommended(robot, posterior.belief, distance) == pytest.approx(
        limit, abs=max(0.5 * robot.setpoint.step, 0.008 * limit)
    )


@pytest.mark.parametrize("count", [FEW, MANY])
def test_lattice_points_are_standard_normal(count):
    points = lattice_normals(count, 60)
    assert np.abs(points.mean(axis=0)).max() < 0.01
    assert np.abs(points.std(axis=0) - 1).max() < 0.01
    assert max(kstest(column, norm.cdf).statistic for column in points.T) < 2 / count
    # Twelve or more coordinates at once stay as far out as chance would have it: chi-square with 18 degrees of freedom.
    assert np.sum(points[:, :18] ** 2, axis=1).max() < 60


def test_lattice_averages_beat_random_ones():
    """exp of a sum of five coordinates has the mean exp(5 s^2 / 2)."""
    for count, error in ((FEW, 2e-3), (MANY, 1.2e-3)):
        found = np.exp(0.2 * lattice_normals(count, 18)[:, :5].sum(axis=1)).mean()
        assert found == pytest.approx(np.exp(5 * 0.04 / 2), rel=error)  # at random: 1.5e-2 and 5e-3


def test_next_shots_come_round_to_every_spot():
    spots = (1.8, 2.4, 3.0, 3.6)
    robot = replace(thrower(), spots=tuple(Spot(f"spot {d}", d) for d in spots))
    shots, rng = [], np.random.default_rng(2)
    for number in range(1, 13):
        asked = next_shot(robot, learn(robot, shots), robot.target())
        assert asked.distance_m in spots
        shots.append(shot(number, asked.distance_m, asked.setpoint, str(rng.choice(["short", "in", "long"]))))
        counts = Counter(dict.fromkeys(spots, 0))
        counts.update(one.distance_m for one in shots)
        assert max(counts.values()) - min(counts.values()) <= 2
    # Two thirds of the shots would be one spot's if only what the model expects counted.
    assert min(counts.values()) >= 2


def test_next_setpoint_is_the_recommended_one():
    robot = replace(thrower(), spots=tuple(Spot(f"spot {d}", d) for d in (1.8, 2.6, 3.4)))
    posterior = learn(robot, [shot(1, 2.6, 1400, "short")])
    asked = next_shot(robot, posterior, robot.target())
    exact = recommended(robot, posterior.belief, asked.distance_m)
    assert asked.setpoint == pytest.approx(exact, abs=robot.setpoint.step / 2)


class _OtherRounding:
    """A required speed as a machine that rounds otherwise would have it."""

    def __init__(self, need):
        self._need = need

    def __getattr__(self, name):
        return getattr(self._need, name)

    def log_speed(self, *asked):
        point = self._need.log_speed(*asked)
        return replace(point, value=point.value * (1 + 1e-14 * np.cos(1e4 * point.value)))


@pytest.mark.parametrize("robot", [thrower(), slider(), swinger()], ids=lambda robot: robot.name)
@pytest.mark.parametrize("count", [0, 3, 8, 25])
def test_no_draw_hangs_on_rounding(robot, count):
    """The same shots end with the same numbers on every machine."""
    need, rng = required_speed_for(robot, robot.target()), np.random.default_rng(count)
    distances = np.linspace(1.2, 0.8 * min(need.d_high, 4.0), 5)
    wanted = [recommended(robot, learn(robot, []).belief, float(at)) for at in distances]
    words = ("in", "short", "long", "left")
    shots = [
        shot(k + 1, float(distances[k % 5]), wanted[k % 5] * (1 + 0.03 * rng.normal()), words[rng.integers(4)])
        for k in range(count)
    ]
    here, there = (
        learn(robot, shots, required_of=of).belief.draws
        for of in (required_speed_for, lambda r, target: _OtherRounding(required_speed_for(r, target)))
    )
    for name in here.__slots__:
        assert getattr(here, name) == pytest.approx(getattr(there, name), abs=1e-6), name
