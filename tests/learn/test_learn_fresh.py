"""The first shots of a new epoch: intervals hold over robots drawn from the prior, and a plain miss is believed.

Simulation-based calibration: Talts, Betancourt, Simpson, Vehtari and Gelman, arXiv:1804.06788 (theorem 1).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from prior_world import after_change, drawn_epochs, shots_of, within_90
from robots import thrower
from vacuum_need import vacuum_need

from fieldtune.learn import learn
from fieldtune.robot.model import Uncertainty

STEADY = Uncertainty(side_scatter=math.radians(0.8))
PLACES, DRAWS, BEFORE = (1.8, 2.6, 3.4), 99, 45


def new_level_ranks(count: int, seed: int, fresh: int) -> np.ndarray:
    """Rank (count,) of the new epoch's true log gain among the draws, after many shots before it and a few in it."""
    robot = thrower(STEADY)
    need, ranks = vacuum_need(robot, robot.target()), np.zeros(count, dtype=int)
    for k in range(count):
        rng = np.random.default_rng((seed, k))
        before, now = drawn_epochs(robot, rng, 2)
        log = shots_of(robot, before, need, rng.choice(PLACES, BEFORE), rng)
        new = shots_of(robot, now, need, rng.choice(PLACES, fresh), rng)
        belief = learn(robot, after_change(log, new), 2, required_of=vacuum_need, draws=DRAWS).belief
        at = now.basis.at(new[-1].setpoint)[0]
        ranks[k] = int(np.sum(belief.draws.gain @ at < float((now.draws.gain @ at)[0])))
    return ranks


def held(ranks: np.ndarray) -> float:
    """Share of truths within the draws' 90 % interval."""
    return float(np.mean(within_90(ranks, DRAWS)))


def test_the_new_levels_interval_holds_in_a_short_run() -> None:
    """54 of 60 within three standard deviations of a binomial."""
    assert 0.78 < held(new_level_ranks(60, 3, 2)) <= 1.0


@pytest.mark.slow
@pytest.mark.parametrize("fresh", [1, 4])
def test_the_new_levels_interval_holds(fresh: int) -> None:
    """Of 500; three standard deviations of a binomial are 0.04."""
    ranks = new_level_ranks(500, 5, fresh)
    assert 0.86 < held(ranks) < 0.94
    assert np.mean(ranks) == pytest.approx(DRAWS / 2, abs=3 * 28.9 / math.sqrt(500))


@pytest.mark.parametrize("before", [15, 60])
def test_a_new_level_far_off_is_found_in_three_measured_shots(before: int) -> None:
    """Six per cent faster after the change, whether the log is short or long: most of it is found."""
    robot, rng = thrower(STEADY), np.random.default_rng(2)
    need = vacuum_need(robot, robot.target())
    then, _ = drawn_epochs(robot, rng, 2)
    faster = replace(then.draws, gain=then.draws.gain + np.array([0.06] + [0.0] * (then.draws.gain.shape[1] - 1)))
    log = shots_of(robot, then, need, rng.choice(PLACES, before), rng, measured=True)
    new = shots_of(robot, replace(then, draws=faster), need, PLACES, rng, measured=True)
    at = then.basis.at(log[0].setpoint)[0]

    def level(shots: list, epoch: int) -> tuple[float, float]:
        gain = learn(robot, shots, epoch, required_of=vacuum_need).belief.draws.gain @ at
        return float(gain.mean()), float(gain.std())

    old, _ = level(log, 1)
    untold, doubt = level(log, 2)
    found, left = level(after_change(log, new), 2)
    assert untold == pytest.approx(old, abs=0.01)
    assert found - old == pytest.approx(0.06, abs=0.025)
    assert left < doubt
