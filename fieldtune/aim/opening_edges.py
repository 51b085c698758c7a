"""Where an opening ends, in needed log exit speed: its edges as the paths that reach them see them."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.aim.required_speed.interface import DrawsRequiredSpeed, RequiredSpeedPoint
    from fieldtune.arrays import FloatArray, IntArray
    from fieldtune.physics.openings import Free

_SHORT = (-0.02, -0.05, -0.1, -0.15, -0.2, -0.3)
"""Misses (m) to try where no speed reaches the target's centre."""

_LONG = tuple(0.02 * k for k in range(1, 21))
"""Misses (m) to try where the path through the centre peaks too low to clear the near rim."""

_ARCH = 2.0
"""Chord (m) of a path in the opening's plane up to which that may be."""

_MOVES, _STAYS = 6, 0.06
"""How often, and from which share on, an edge is moved to where its own path sees it; below, its slope is enough."""


_RISES = 2
"""How often the place where a path passes the rim on its way up is moved to where its own slope sees it."""


_TURN = 0.005
"""Change of the exit angle (rad) over which an edge's own move is taken."""


@frozen
class Edge:
    """Needed log speed (n,) at an edge of the opening, and its derivative over the exit angle, with which the edge
    itself moves as the path comes in flatter or steeper; nan where not known."""

    value: FloatArray
    d_angle: FloatArray


def center_point(
    need: DrawsRequiredSpeed, distance: FloatArray, which: IntArray
) -> tuple[RequiredSpeedPoint, FloatArray, Free]:
    """The required speed of the target's centre, a miss of 0 (n,), and what is free there.

    Where that lies beyond the line of departure, of the nearest place short of it that does not; where the path there
    does not clear the near rim, of the nearest place beyond it on whose path the element does; if that still scores.
    """
    point, at = need.log_speed(distance, 0.0, which), np.zeros_like(distance)
    around = need.free_at(point)
    lost = ~np.isfinite(point.value)
    with np.errstate(invalid="ignore", divide="ignore"):
        low = np.isnan(around.low) & (point.d_miss > 0) & (np.abs(2 * point.slope / point.bend) < _ARCH)
    if not (lost.any() or low.any()):
        return point, at, around
    for misses, left in ((_SHORT, lost), (_LONG, low)):
        for miss in misses:
            places = np.flatnonzero(left)
            if not places.size:
                break
            there = need.log_speed(distance[places], miss, which[places])
            free = need.free_at(there)
            good = (free.low <= miss) & (miss <= free.high)
            point.put(places[good], there.take(good))
            at[places[good]] = miss
            left[places[good]] = False
    return point, at, need.free_at(point)


def edges(
    need: DrawsRequiredSpeed, distance: FloatArray, free: Free, which: IntArray, at: FloatArray
) -> tuple[Edge, Edge]:
    """The near and the far edge; ``at``: the misses (n,) of the paths that ``free`` is seen from."""
    if np.isinf(free.high).all():
        return _edge(need, distance, free.low, which, at), Edge(free.high, np.full_like(distance, np.nan))
    twice, count = np.concatenate([np.arange(len(distance))] * 2), len(distance)
    both = np.concatenate([free.low, free.high])
    found = _edge(need, distance[twice], both, which[twice], at[twice])
    near, far = (Edge(found.value[half], found.d_angle[half]) for half in (slice(count), slice(count, None)))
    if free.rise is not None:
        near = _clear_of_rim(need, distance, near, free.rise, which)
    return near, far


def _clear_of_rim(
    need: DrawsRequiredSpeed, distance: FloatArray, near: Edge, rise: FloatArray, which: IntArray
) -> Edge:
    """The near edge, or the speed from which on a path clears the rim on its way up, if that is the higher one.

    ``rise`` is the miss up to which it may pass the opening's plane there; no speed gets past what lies above the line
    of departure.
    """
    value, d_angle = near.value.copy(), near.d_angle.copy()
    at = np.flatnonzero(np.isfinite(rise) & (distance + rise > 0))
    if not at.size:
        return near
    up = rise[at]
    for _ in range(_RISES):
        point = need.log_speed(distance[at], up, which[at])
        there = need.free_at(replace(point, slope=-np.abs(point.slope)))
        up = up if there.rise is None else np.where(np.isfinite(there.rise), there.rise, up)
    asked = np.where(np.isfinite(point.value), point.value, np.inf)
    higher = asked > value[at]
    value[at[higher]], d_angle[at[higher]] = asked[higher], point.d_angle[higher]
    return Edge(value, d_angle)


def _edge(need: DrawsRequiredSpeed, distance: FloatArray, miss: FloatArray, which: IntArray, start: FloatArray) -> Edge:
    """An edge, given as the miss up to which the path that crosses at ``start`` would pass.

    The path to the edge has a slope of its own, by which the edge is moved. One where the element would not pass, or
    that only a rising path would meet, moves to the last place from ``start`` on where it does. A far edge that no
    speed reaches is no bound.
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
    blocked = np.isfinite(miss) & (~np.isfinite(value) | ((miss < start) & ~(point.d_miss > 0)))
    if blocked.any():
        value[blocked] = _last_speed(need, distance[blocked], miss[blocked], which[blocked], start[blocked])
    known = np.isfinite(value) | np.isnan(miss)
    turned = _own_edge(need, replace(point, slope=point.slope + _TURN * point.slope_by_angle), miss)
    with np.errstate(invalid="ignore"):
        moves_by_angle = np.nan_to_num((turned - own) / _TURN)
    d_angle = point.d_angle + point.d_miss * moves_by_angle
    return Edge(np.where(known, value, np.where(miss > start, np.inf, -np.inf)), d_angle)


def _own_edge(need: DrawsRequiredSpeed, point: RequiredSpeedPoint, miss: FloatArray) -> FloatArray:
    """The same edge for a path with the point's slope; nan where the element doesn't pass on it."""
    free = need.free_at(point)
    with np.errstate(invalid="ignore"):
        return np.where(np.abs(free.low - miss) <= np.abs(free.high - miss), free.low, free.high)


def _last_speed(
    need: DrawsRequiredSpeed,
    distance: FloatArray,
    miss: FloatArray,
    which: IntArray,
    start: FloatArray,
) -> FloatArray:
    """Needed log speed at the last miss from ``start``, where the element passes, towards an edge where it does not,
    to a thousandth of the way; nan where no speed gets farther.
    """
    good, bad = start.copy(), miss.copy()
    for _ in range(10):
        middle = (good + bad) / 2
        point = need.log_speed(distance, middle, which)
        passes = (point.d_miss > 0) & (np.abs(_own_edge(need, point, miss) - start) >= np.abs(middle - start))
        good, bad = np.where(passes, middle, good), np.where(passes, bad, middle)
    beyond = need.log_speed(distance, bad, which).value
    last = need.log_speed(distance, good, which).value
    return np.where(np.isfinite(beyond) | (miss < start), last, np.nan)
