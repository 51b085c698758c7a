"""Falls steeper than any by itself: the nearest convex turns, by another solver; and wheels that fall by themselves."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy.optimize import LinearConstraint, minimize, nnls

from fieldtune.link.shots import concave_bend
from fieldtune.link.shots.concave_bend import Bend
from fieldtune.link.shots.steep_falls import SteepFalls

BEFORE, AFTER, CELL_S = 10, 8, 0.02


def nearest(turns, fall, bends_at=None):
    """The root of squares by which turns stray from those whose second differences are at least ``-fall``.

    Found by what these are, not by their parts: each second difference but the one at ``bends_at`` is bounded.
    """
    second = np.diff(np.eye(len(turns)), 2, axis=0)
    if bends_at is not None:
        second = np.delete(second, bends_at - 1, axis=0)
    found = minimize(
        lambda x: float((x - turns) @ (x - turns)),
        turns,
        jac=lambda x: 2 * (x - turns),
        method="SLSQP",
        constraints=LinearConstraint(second, -fall, np.inf),
        options={"maxiter": 500, "ftol": 1e-14},
    )
    assert found.success
    return float(np.sqrt(found.fun))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_nearest_convex_turns_are_those_that_another_solver_finds(seed):
    rng = np.random.default_rng(seed)
    t = np.arange(-BEFORE, AFTER + 1.0)
    speed = 0.6 + np.where(t > 0, -0.05 + 0.02 * np.minimum(t, 4), 0.0)
    turns = np.cumsum(speed) + rng.normal(0, 0.01, len(t))
    bend = Bend(turns, BEFORE, 0.002)
    assert bend.rest == pytest.approx(nearest(turns, 0.002), rel=1e-4)
    left = bend.by_chance * np.sqrt(len(turns))
    # A bend may lie half a cell off as well: never worse than one at the point itself.
    assert left <= nearest(turns, 0.002, BEFORE) * 1.0001
    assert bend.size == pytest.approx(np.sqrt(bend.rest**2 - left**2), rel=1e-6)
    assert bend.steeper < bend.size


@pytest.mark.parametrize("noise", [0.0, 0.001, 0.3])
def test_sums_of_parts_are_those_of_scipy(noise):
    rng = np.random.default_rng(4)
    for before, after in ((10, 8), (5, 8), (15, 12)):
        t, bare, convex, bent = concave_bend._convex(before, after)
        for parts in (convex, *bent):
            turns = bare @ (np.cumsum(rng.uniform(0.5, 0.7, len(t))) + rng.normal(0, noise, len(t)))
            sizes, rest = concave_bend.nearest(parts, turns)
            expected, left = nnls(parts.of * parts.sizes, turns)
            assert rest == pytest.approx(left, rel=1e-6, abs=1e-9)
            assert sizes == pytest.approx(expected, rel=1e-4, abs=1e-6)


def test_a_wheel_that_only_runs_out_and_is_kicked_up_has_no_bend():
    speed = 0.6 - 0.002 * np.arange(BEFORE + AFTER) + 0.05 * (np.arange(BEFORE + AFTER) > 9)
    assert Bend(np.concatenate([[0.0], np.cumsum(speed)]), BEFORE, 0.0021).size < 1e-9


def test_a_bend_says_how_much_slower_the_wheel_is():
    turns = np.concatenate([0.6 * np.arange(-BEFORE, 0.0), 0.55 * np.arange(AFTER + 1)])
    assert Bend(turns, BEFORE, 0.0).depth == pytest.approx(0.05, rel=1e-6)


def followed(seconds, drops=(), lost_per_s=0.3, missing=(), seed=5):
    """Steep falls of a wheel that is switched on below 25 turns/s and off above 26, in points 20 ms apart."""
    rng = np.random.default_rng(seed)
    speed, on, turned, found = 25.0, True, 0.0, []
    points = SimpleNamespace(cell_s=CELL_S, now_s=0.0, quantum=0.01, t=[], turns=[])
    falls = SteepFalls(points, 60.0)
    drops = dict(drops)
    for i in range(round(seconds * 1000)):
        on = speed < 26 if on else speed < 25
        speed = speed * (1 - drops.get(i, 0.0)) + 0.001 * ((20.0 if on else 0.0) - lost_per_s * speed)
        turned += 0.001 * speed
        if i % 20 == 0 and i not in missing:
            points.t.append(i / 1000)
            points.turns.append(turned + rng.uniform(-0.005, 0.005))
            points.now_s = i / 1000
            found += falls.follow(True)
    return found


def test_drops_of_a_wheel_that_swings_as_much_are_steep_and_its_own_falls_are_not():
    at = [12_000 + 900 * i for i in range(8)]
    found = followed(20.0, [(i, 0.06) for i in at])
    assert [round(fall.instant - i / 1000, 1) for fall, i in zip(found, at, strict=True)] == [0.0] * 8
    assert all(0.5 * 0.06 * 25 < fall.depth < 2.2 * 0.06 * 26 for fall in found)  # what was regained soon can't be told
    assert followed(20.0) == []


def test_what_is_missing_is_no_fall():
    gap = range(14_000, 14_300)
    assert followed(18.0, missing=gap) == []
    assert [round(fall.instant) for fall in followed(18.0, [(16_000, 0.06)], missing=gap)] == [16]
