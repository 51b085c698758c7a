"""Intervals mean what they say: over robots drawn from the prior, ranks are uniform and 90 % intervals hold 90 %.

Simulation-based calibration: Talts, Betancourt, Simpson, Vehtari and Gelman, arXiv:1804.06788 (theorem 1). Bands of
bin counts: binomial quantiles (closed form: 33 to 69 for 1,000 simulations in 20 bins at 99 %).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from prior_world import after_change, drawn_epochs, drawn_robot, hit_probability, shots_of, within_90
from robots import slider, swinger, thrower
from scipy.stats import binom, chi2
from vacuum_need import vacuum_need

from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.learn import learn
from fieldtune.robot.model import Uncertainty

# A steady side: which word is said of a shot that is both short and left is a person's habit, no matter of probability.
STEADY = Uncertainty(side_scatter=math.radians(0.8))
BINS, DRAWS = 20, 99
PLACES = {"thrower": (1.8, 2.6, 3.4), "slider": (1.0, 1.8, 2.6), "swinger": (1.6, 2.4, 3.2)}


def test_band_of_bin_counts_is_the_published_one():
    assert binom.ppf([0.005, 0.995], 1000, 1 / BINS).tolist() == [33, 69]
    assert binom.ppf([0.005, 0.995], 500, 1 / BINS).tolist() == [13, 38]


def simulate(robot, required_of, count, seed, shots=6):
    """Ranks (count, 2) of hit probability and log gain among the draws, and whether 90 % intervals hold them."""
    need, places = required_of(robot, robot.target()), PLACES[robot.name]
    ranks = np.zeros((count, 2), dtype=int)
    for k in range(count):
        rng = np.random.default_rng((seed, k))
        truth = drawn_robot(robot, rng)
        # A basket's misses can't all be measured (a path too low has none), and those that can't are not chance.
        measured = robot.target().kind != "basket" and k % 2 == 0
        fired = shots_of(robot, truth, need, rng.choice(places, shots), rng, measured=measured)
        belief = learn(robot, fired, 1, required_of=required_of, draws=DRAWS).belief
        reading, setpoint = fired[0].distance_m, fired[0].setpoint
        for column, told in enumerate(
            (
                lambda who, d=reading, s=setpoint: hit_probability(robot, need, who, d, s),
                lambda who, s=setpoint: who.draws.gain @ who.basis.at(s)[0],
            )
        ):
            real, draws = float(told(truth)[0]), told(belief)
            # Ties (both certain to miss) are broken at random, as the rank's theorem asks.
            below = int(np.sum(draws < real - 1e-12)) + int(rng.integers(0, np.sum(np.abs(draws - real) <= 1e-12) + 1))
            ranks[k, column] = below
    return ranks, within_90(ranks, DRAWS)


def assert_calibrated(ranks, held, low, high):
    for column in range(ranks.shape[1]):
        counts = np.bincount(ranks[:, column] * BINS // (DRAWS + 1), minlength=BINS)
        share = len(ranks) / BINS
        assert float(np.sum((counts - share) ** 2) / share) < chi2.ppf(0.999, BINS - 1), counts
        assert low <= held[:, column].mean() <= high


def test_a_flywheel_robots_intervals_hold_in_a_short_run():
    ranks, held = simulate(thrower(STEADY), vacuum_need, 100, seed=3)
    # 90 of 100 within three standard deviations of a binomial.
    assert_calibrated(ranks, held, 0.81, 0.98)


@pytest.mark.slow
@pytest.mark.parametrize("robot", [thrower(STEADY), slider(), swinger()], ids=lambda robot: robot.name)
def test_ranks_are_uniform_and_intervals_hold(robot):
    ranks, held = simulate(robot, required_speed_for, 1000, seed=5)
    for column in range(2):
        counts = np.bincount(ranks[:, column] * BINS // (DRAWS + 1), minlength=BINS)
        # Of twenty bins a fifth of runs has one outside a 99 % band by chance alone.
        assert np.sum((counts < 33) | (counts > 69)) <= 1, counts
    assert_calibrated(ranks, held, 0.88, 0.92)


COUNTS, SCALARS = (0, 1, 3, 10, 40), ("angle_error", "log_drag", "distance_bias", "speed_scatter", "angle_scatter")
ASKED = ("level", "hit chance", *SCALARS)
BEFORE_CHANGE, CHANGED = 10, "one shot after a battery change"


def held_along(robot, required_of, count, seed):
    """Whether 90 % intervals hold {shots told: (count, asked)} as shots go on, and after a change; as people see them:
    with the usual number of draws."""
    need, places = required_of(robot, robot.target()), PLACES[robot.name]
    held = {told: np.zeros((count, len(ASKED)), dtype=bool) for told in (*COUNTS, CHANGED)}
    for k in range(count):
        rng = np.random.default_rng((seed, k))
        before, now = drawn_epochs(robot, rng, 2)
        fired = shots_of(robot, before, need, rng.choice(places, COUNTS[-1]), rng)
        new = shots_of(robot, now, need, rng.choice(places, 1), rng)

        def values(who, at=fired[0]):
            level = who.draws.gain @ who.basis.at(at.setpoint)[0]
            chance = hit_probability(robot, need, who, at.distance_m, at.setpoint)
            return [level, chance, *(getattr(who.draws, name) for name in SCALARS)]

        def inside(truth, log, epoch, rng=rng):
            belief = learn(robot, log, epoch, required_of=required_of).belief
            for (true,), drawn in zip(values(truth), values(belief), strict=True):
                alike = np.abs(drawn - true) <= 1e-12  # both certain to miss: ties are broken at random
                below = belief.weights @ (drawn < true - 1e-12) + rng.random() * (belief.weights @ alike)
                yield 0.05 <= below <= 0.95

        for told in COUNTS:
            held[told][k] = list(inside(before, fired[:told], 1))
        held[CHANGED][k] = list(inside(now, after_change(fired[:BEFORE_CHANGE], new), 2))
    return held


@pytest.mark.slow
def test_intervals_hold_as_shots_go_on():
    """A thousand robots of three kinds, whatever was told: 3.4 standard deviations of a binomial are 3.2 points."""
    robots = (thrower(STEADY), slider(), swinger())
    found = [held_along(robot, required_speed_for, 334, seed=11 + place) for place, robot in enumerate(robots)]
    print(f"\n{'share held of 1,002 robots':>32}" + "".join(f"{name:>15}" for name in ASKED))
    held = {told: np.concatenate([one[told] for one in found]).mean(axis=0) for told in found[0]}
    for told, shares in held.items():
        print(f"{told!s:>32}" + "".join(f"{100 * share:13.1f} %" for share in shares))
    assert np.all(np.abs(np.stack(list(held.values())) - 0.9) <= 0.032)
