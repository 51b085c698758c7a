"""Hit probability under everything uncertain: unknowns (draws), shot-to-shot scatter and side miss.

In log exit speed a target is an interval [need(low), need(high)] and a launch is normal with the scatter of speed and
of angle, so the probability of a hit is a difference of two normal integrals, averaged over the side miss where the
opening is round.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from fieldtune.aim.belief import Unknowns
from fieldtune.aim.need import Need, NeedPoint
from fieldtune.aim.openings import Free

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# Points on the side miss's cumulative probability, crowded at both rims, where a round opening's chord ends like a
# square root: Gauss-Legendre in v with u = (1 - cos(pi v)) / 2. Five give the probability of a circle to 0.003.
_V, _W = np.polynomial.legendre.leggauss(5)
_NODES = (1 - np.cos(np.pi * (_V + 1) / 2)) / 2
_SHARES = _W / 2 * np.pi / 2 * np.sin(np.pi * (_V + 1) / 2)
_SHORT = (-0.02, -0.05, -0.1, -0.15, -0.2, -0.3)
"""Misses (m) to try where no speed reaches the target's centre."""

_MOVES, _STAYS = 6, 0.06
"""How often, and from which share on, an edge is moved to where its own path sees it; below, its slope is enough."""


@dataclass(frozen=True, slots=True)
class Situation:
    """A target seen from n (draw, distance) pairs: log-speed bounds (n, m) over m side positions, with shares (m,).

    ``center`` (n,) is the needed log speed of the target's centre, ``spread`` (n,) the scatter in log speed there and
    ``near`` (n,) at the low bound, where an error of the angle may count for less, and ``side`` (n,) the probability
    that the side miss is good. A draw that can't score has bounds of nan.
    """

    low: FloatArray
    high: FloatArray
    shares: FloatArray
    center: FloatArray
    spread: FloatArray
    near: FloatArray
    side: FloatArray

    def hit(self, log_speed: ArrayLike) -> FloatArray:
        """Hit probability (n, s) at log exit speeds (n, s) or (1, s)."""
        z = np.asarray(log_speed, dtype=float)[..., None]
        above = ndtr((self.low[:, None, :] - z) / self.near[:, None, None])
        inside = np.maximum(ndtr((self.high[:, None, :] - z) / self.spread[:, None, None]) - above, 0.0)
        return np.asarray(self.side[:, None] * (np.nan_to_num(inside) @ self.shares))


def situation(need: Need, reading: ArrayLike, unknowns: Unknowns) -> Situation:
    """The target as each draw sees it at distance readings (scalar, or (K,) one a draw)."""
    distance = np.asarray(reading, dtype=float) + unknowns.distance_bias
    angle, drag = unknowns.angle_error, unknowns.log_drag
    center = _center(need, distance, angle, drag)
    free = need.free_at(center)
    side_sd = np.maximum(distance * unknowns.side_scatter, 1e-6)
    offset = distance * unknowns.side_bias
    left, right = ndtr((-free.side - offset) / side_sd), ndtr((free.side - offset) / side_sd)
    if free.ring is not None:
        at = ndtri(np.clip(left[:, None] + _NODES * (right - left)[:, None], 1e-12, 1 - 1e-12))
        chord, shares = free.ring.chord(offset[:, None] + side_sd[:, None] * at), _SHARES
    else:
        chord, shares = np.ones((len(distance), 1)), np.ones(1)
    passes = np.isfinite(free.low) & np.isfinite(center.value)

    def scatter(by_angle: FloatArray) -> FloatArray:
        by_angle = np.where(np.isfinite(by_angle), by_angle, center.d_angle)
        spread = np.hypot(unknowns.speed_scatter, by_angle * unknowns.angle_scatter)
        return np.where(passes, np.maximum(spread, 1e-6), 1.0)

    near, far = _edges(need, distance, free, angle, drag)
    low = _along(chord, center.value, center.d_miss * free.low, near.value)
    return Situation(
        low=np.where(passes[:, None], low, np.nan),
        high=_along(chord, center.value, center.d_miss * free.high, far.value),
        shares=shares,
        center=center.value,
        spread=scatter(center.d_angle),
        near=scatter(near.d_angle),
        side=np.where(passes, right - left, 0.0),
    )


@dataclass(frozen=True, slots=True)
class _Edge:
    """Needed log speed (n,) at an edge of the opening, and its derivative over the exit angle; nan where not known."""

    value: FloatArray
    d_angle: FloatArray


def _center(need: Need, distance: FloatArray, angle: FloatArray, drag: FloatArray) -> NeedPoint:
    """The need of the target's centre; where that lies beyond the line of departure, of the nearest place short of it
    that does not, if that still scores.
    """
    point = need.log_speed(distance, 0.0, angle, drag)
    for short in _SHORT:
        lost = np.flatnonzero(~np.isfinite(point.value))
        if not lost.size:
            break
        there = need.log_speed(distance[lost], short, angle[lost], drag[lost])
        good = need.free_at(there).low <= short
        for name in there.__slots__:
            getattr(point, name)[lost[good]] = getattr(there, name)[good]
    return point


def _edges(need: Need, distance: FloatArray, free: Free, angle: FloatArray, drag: FloatArray) -> tuple[_Edge, _Edge]:
    """The near and the far edge."""
    if np.isinf(free.high).all():
        return _edge(need, distance, free.low, angle, drag), _Edge(free.high, np.full_like(distance, np.nan))
    both = np.concatenate([free.low, free.high])
    found = _edge(need, np.tile(distance, 2), both, np.tile(angle, 2), np.tile(drag, 2))
    near, far = (_Edge(*pair) for pair in zip(np.split(found.value, 2), np.split(found.d_angle, 2), strict=True))
    return near, far


def _along(chord: FloatArray, center: FloatArray, slope: FloatArray, edge: FloatArray) -> FloatArray:
    """Needed log speed (n, m) at ``chord`` shares of the way from the centre to an edge: the parabola with the centre's
    value and ``slope`` (change up to the edge, were it straight) and the edge's value; exact to a few 1e-5.
    """
    if chord.shape[1] == 1:
        return np.asarray(edge)[:, None]
    with np.errstate(invalid="ignore"):
        return center[:, None] + chord * slope[:, None] + chord**2 * (edge - center - slope)[:, None]


def _edge(need: Need, distance: FloatArray, miss: FloatArray, angle: FloatArray, drag: FloatArray) -> _Edge:
    """An edge, given as the miss up to which the centre's path would pass.

    The path to the edge has a slope of its own, by which the edge is moved. A near edge that only a rising path would
    meet moves to where the path peaks at the target: nothing slower comes down on it. A far edge that no speed reaches
    is no bound.
    """
    miss = miss.copy()
    point = need.log_speed(distance, miss, angle, drag)
    own = _own_edge(need, point, miss)
    for _ in range(_MOVES):
        with np.errstate(invalid="ignore"):
            moves = np.flatnonzero((np.abs(own - miss) > _STAYS * np.abs(miss)) & (point.d_miss > 0))
        if not moves.size:
            break
        miss[moves] = own[moves]
        there = need.log_speed(distance[moves], miss[moves], angle[moves], drag[moves])
        for name in there.__slots__:
            getattr(point, name)[moves] = getattr(there, name)
        own[moves] = _own_edge(need, there, miss[moves])
    with np.errstate(invalid="ignore"):
        value = point.value + point.d_miss * (own - miss)
    behind = (miss < 0) & ~(point.d_miss > 0)
    blocked = ~behind & ~np.isfinite(value) & np.isfinite(miss)
    if behind.any():
        peak = _last(_falls, need, distance[behind], miss[behind], angle[behind], drag[behind])[0]
        value[behind] = need.log_speed(distance[behind], peak, angle[behind], drag[behind]).value
    if blocked.any():
        value[blocked] = _last_speed(need, distance[blocked], miss[blocked], angle[blocked], drag[blocked])
    known = np.isfinite(value) | np.isnan(miss)
    return _Edge(np.where(known, value, np.where(miss > 0, np.inf, -np.inf)), point.d_angle)


def _own_edge(need: Need, point: NeedPoint, miss: FloatArray) -> FloatArray:
    """The same edge for a path with the point's slope; nan where the element doesn't pass on it."""
    free = need.free_at(point)
    with np.errstate(invalid="ignore"):
        return np.where(np.abs(free.low - miss) <= np.abs(free.high - miss), free.low, free.high)


def _last_speed(need: Need, distance: FloatArray, miss: FloatArray, angle: FloatArray, drag: FloatArray) -> FloatArray:
    """Needed log speed at the last miss towards an edge where the element passes; nan where no speed gets farther."""
    passes, fails = _last(_passes, need, distance, miss, angle, drag)
    beyond = need.log_speed(distance, fails, angle, drag).value
    return np.where(np.isfinite(beyond), need.log_speed(distance, passes, angle, drag).value, np.nan)


def _falls(need: Need, point: NeedPoint, miss: FloatArray) -> BoolArray:
    """Whether paths come down: farther takes more speed."""
    return np.asarray(point.d_miss > 0)


def _passes(need: Need, point: NeedPoint, miss: FloatArray) -> BoolArray:
    return np.asarray(np.isfinite(point.value) & (np.abs(_own_edge(need, point, miss)) >= np.abs(miss)))


def _last(
    holds: Callable[[Need, NeedPoint, FloatArray], BoolArray],
    need: Need,
    distance: FloatArray,
    miss: FloatArray,
    angle: FloatArray,
    drag: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Misses between 0, where a condition holds, and ``miss``, where it does not: the last good one and the first bad
    one, a thousandth apart.
    """
    good, bad = np.zeros_like(miss), miss.copy()
    for _ in range(10):
        middle = (good + bad) / 2
        still = holds(need, need.log_speed(distance, middle, angle, drag), middle)
        good, bad = np.where(still, middle, good), np.where(still, bad, middle)
    return good, bad
