"""Where an opening ends, in needed log exit speed: its edges as the paths that reach them see them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fieldtune.aim.required_speed.interface import DrawsRequiredSpeed, RequiredSpeedPoint
    from fieldtune.arrays import BoolArray, FloatArray, IntArray
    from fieldtune.physics.openings import Free

_SHORT = (-0.02, -0.05, -0.1, -0.15, -0.2, -0.3)
"""Misses (m) to try where no speed reaches the target's centre."""

_MOVES, _STAYS = 6, 0.06
"""How often, and from which share on, an edge is moved to where its own path sees it; below, its slope is enough."""


@dataclass(frozen=True, slots=True)
class Edge:
    """Needed log speed (n,) at an edge of the opening, and its derivative over the exit angle; nan where not known."""

    value: FloatArray
    d_angle: FloatArray


def center_point(need: DrawsRequiredSpeed, distance: FloatArray, which: IntArray) -> RequiredSpeedPoint:
    """The required speed of the target's centre; where that lies beyond the line of departure, of the nearest place
    short of it that does not, if that still scores.
    """
    point = need.log_speed(distance, 0.0, which)
    for short in _SHORT:
        lost = np.flatnonzero(~np.isfinite(point.value))
        if not lost.size:
            break
        there = need.log_speed(distance[lost], short, which[lost])
        good = need.free_at(there).low <= short
        point.put(lost[good], there.take(good))
    return point


def edges(need: DrawsRequiredSpeed, distance: FloatArray, free: Free, which: IntArray) -> tuple[Edge, Edge]:
    """The near and the far edge."""
    if np.isinf(free.high).all():
        return _edge(need, distance, free.low, which), Edge(free.high, np.full_like(distance, np.nan))
    both = np.concatenate([free.low, free.high])
    found = _edge(need, np.tile(distance, 2), both, np.tile(which, 2))
    near, far = (Edge(*pair) for pair in zip(np.split(found.value, 2), np.split(found.d_angle, 2), strict=True))
    return near, far


def _edge(need: DrawsRequiredSpeed, distance: FloatArray, miss: FloatArray, which: IntArray) -> Edge:
    """An edge, given as the miss up to which the centre's path would pass.

    The path to the edge has a slope of its own, by which the edge is moved. A near edge that only a rising path would
    meet moves to where the path peaks at the target: nothing slower comes down on it. A far edge that no speed reaches
    is no bound.
    """
    miss = miss.copy()
    point = need.log_speed(distance, miss, which)
    own = _own_edge(need, point, miss)
    for _ in range(_MOVES):
        with np.errstate(invalid="ignore"):
            moves = np.flatnonzero((np.abs(own - miss) > _STAYS * np.abs(miss)) & (point.d_miss > 0))
        if not moves.size:
            break
        miss[moves] = own[moves]
        there = need.log_speed(distance[moves], miss[moves], which[moves])
        point.put(moves, there)
        own[moves] = _own_edge(need, there, miss[moves])
    with np.errstate(invalid="ignore"):
        value = point.value + point.d_miss * (own - miss)
    behind = (miss < 0) & ~(point.d_miss > 0)
    blocked = ~behind & ~np.isfinite(value) & np.isfinite(miss)
    if behind.any():
        peak = _last(_falls, need, distance[behind], miss[behind], which[behind])[0]
        value[behind] = need.log_speed(distance[behind], peak, which[behind]).value
    if blocked.any():
        value[blocked] = _last_speed(need, distance[blocked], miss[blocked], which[blocked])
    known = np.isfinite(value) | np.isnan(miss)
    return Edge(np.where(known, value, np.where(miss > 0, np.inf, -np.inf)), point.d_angle)


def _own_edge(need: DrawsRequiredSpeed, point: RequiredSpeedPoint, miss: FloatArray) -> FloatArray:
    """The same edge for a path with the point's slope; nan where the element doesn't pass on it."""
    free = need.free_at(point)
    with np.errstate(invalid="ignore"):
        return np.where(np.abs(free.low - miss) <= np.abs(free.high - miss), free.low, free.high)


def _last_speed(need: DrawsRequiredSpeed, distance: FloatArray, miss: FloatArray, which: IntArray) -> FloatArray:
    """Needed log speed at the last miss towards an edge where the element passes; nan where no speed gets farther."""
    passes, fails = _last(_passes, need, distance, miss, which)
    beyond = need.log_speed(distance, fails, which).value
    return np.where(np.isfinite(beyond), need.log_speed(distance, passes, which).value, np.nan)


def _falls(need: DrawsRequiredSpeed, point: RequiredSpeedPoint, miss: FloatArray) -> BoolArray:
    """Whether paths come down: farther takes more speed."""
    return np.asarray(point.d_miss > 0)


def _passes(need: DrawsRequiredSpeed, point: RequiredSpeedPoint, miss: FloatArray) -> BoolArray:
    return np.asarray(np.isfinite(point.value) & (np.abs(_own_edge(need, point, miss)) >= np.abs(miss)))


def _last(
    holds: Callable[[DrawsRequiredSpeed, RequiredSpeedPoint, FloatArray], BoolArray],
    need: DrawsRequiredSpeed,
    distance: FloatArray,
    miss: FloatArray,
    which: IntArray,
) -> tuple[FloatArray, FloatArray]:
    """Misses between 0, where a condition holds, and ``miss``, where it does not: the last good one and the first bad
    one, a thousandth apart.
    """
    good, bad = np.zeros_like(miss), miss.copy()
    for _ in range(10):
        middle = (good + bad) / 2
        still = holds(need, need.log_speed(distance, middle, which), middle)
        good, bad = np.where(still, middle, good), np.where(still, bad, middle)
    return good, bad
