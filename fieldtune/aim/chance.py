"""Hit probability under everything uncertain: unknowns (draws), shot-to-shot scatter and side miss.

In log exit speed a target is an interval [need(low), need(high)] and a launch is normal with the scatter of speed and
of angle, so the probability of a hit is a difference of two normal integrals, averaged over the side miss where the
opening is round.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr, ndtri

from fieldtune.aim.belief import Unknowns
from fieldtune.aim.need import Need
from fieldtune.aim.openings import Free

FloatArray = NDArray[np.float64]

# Points on the side miss's cumulative probability, crowded at both rims, where a round opening's chord ends like a
# square root: Gauss-Legendre in v with u = (1 - cos(pi v)) / 2. Five give the probability of a circle to 0.003.
_V, _W = np.polynomial.legendre.leggauss(5)
_NODES = (1 - np.cos(np.pi * (_V + 1) / 2)) / 2
_SHARES = _W / 2 * np.pi / 2 * np.sin(np.pi * (_V + 1) / 2)


@dataclass(frozen=True, slots=True)
class Situation:
    """A target seen from n (draw, distance) pairs: log-speed bounds (n, m) over m side positions, with shares (m,).

    ``center`` (n,) is the needed log speed of the target's centre, ``spread`` (n,) the scatter in log speed, and
    ``side`` (n,) the probability that the side miss is good. A draw that can't score has bounds of nan.
    """

    low: FloatArray
    high: FloatArray
    shares: FloatArray
    center: FloatArray
    spread: FloatArray
    side: FloatArray

    def hit(self, log_speed: ArrayLike) -> FloatArray:
        """Hit probability (n, s) at log exit speeds (n, s) or (1, s)."""
        z = np.asarray(log_speed, dtype=float)[..., None]
        width = self.spread[:, None, None]
        inside = ndtr((self.high[:, None, :] - z) / width) - ndtr((self.low[:, None, :] - z) / width)
        return np.asarray(self.side[:, None] * (np.nan_to_num(inside) @ self.shares))


def situation(need: Need, reading: ArrayLike, unknowns: Unknowns) -> Situation:
    """The target as each draw sees it at distance readings (scalar, or (K,) one a draw)."""
    distance = np.asarray(reading, dtype=float) + unknowns.distance_bias
    angle, drag = unknowns.angle_error, unknowns.log_drag
    center = need.log_speed(distance, 0.0, angle, drag)
    free = need.free_at(center)
    side_sd = np.maximum(distance * unknowns.side_scatter, 1e-6)
    offset = distance * unknowns.side_bias
    left, right = ndtr((-free.side - offset) / side_sd), ndtr((free.side - offset) / side_sd)
    if free.round:
        at = ndtri(np.clip(left[:, None] + _NODES * (right - left)[:, None], 1e-12, 1 - 1e-12))
        aside = (offset[:, None] + side_sd[:, None] * at) / free.side[:, None]
        chord, shares = np.sqrt(np.clip(1 - aside**2, 0.0, 1.0)), _SHARES
    else:
        chord, shares = np.ones((len(distance), 1)), np.ones(1)
    near, far = _edges(need, distance, free, angle, drag)
    low = _along(chord, center.value, center.d_miss * free.low, near)
    high = _along(chord, center.value, center.d_miss * free.high, far)
    spread = np.hypot(unknowns.speed_scatter, center.d_angle * unknowns.angle_scatter)
    passes = np.isfinite(free.low) & np.isfinite(center.value)
    return Situation(
        np.where(passes[:, None], low, np.nan),
        high,
        shares,
        center.value,
        np.where(passes, np.maximum(spread, 1e-6), 1.0),
        np.where(passes, right - left, 0.0),
    )


def _edges(
    need: Need, distance: FloatArray, free: Free, angle: FloatArray, drag: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Needed log speeds (n,) at the near and at the far edge."""
    if np.isinf(free.high).all():
        return _edge_speed(need, distance, free.low, angle, drag), free.high
    both = np.concatenate([free.low, free.high])
    near, far = np.split(_edge_speed(need, np.tile(distance, 2), both, np.tile(angle, 2), np.tile(drag, 2)), 2)
    return near, far


def _along(chord: FloatArray, center: FloatArray, slope: FloatArray, edge: FloatArray) -> FloatArray:
    """Needed log speed (n, m) at ``chord`` shares of the way from the centre to an edge: the parabola with the centre's
    value and ``slope`` (change up to the edge, were it straight) and the edge's value; exact to a few 1e-5.
    """
    if chord.shape[1] == 1:
        return np.asarray(edge)[:, None]
    with np.errstate(invalid="ignore"):
        return center[:, None] + chord * slope[:, None] + chord**2 * (edge - center - slope)[:, None]


def _edge_speed(need: Need, distance: FloatArray, miss: FloatArray, angle: FloatArray, drag: FloatArray) -> FloatArray:
    """Needed log speed at a miss. A near edge that only a rising path would meet moves to where the path peaks at the
    target: nothing slower comes down on it. A far edge that no speed reaches is no bound.
    """
    point = need.log_speed(distance, miss, angle, drag)
    behind = (miss < 0) & ~(point.d_miss > 0)
    value = point.value
    if behind.any():
        peak = _peak_miss(need, distance[behind], miss[behind], angle[behind], drag[behind])
        value = value.copy()
        value[behind] = need.log_speed(distance[behind], peak, angle[behind], drag[behind]).value
    return np.where(np.isfinite(value) | np.isnan(miss), value, np.where(miss > 0, np.inf, -np.inf))


def _peak_miss(need: Need, distance: FloatArray, miss: FloatArray, angle: FloatArray, drag: FloatArray) -> FloatArray:
    """Miss between ``miss`` and 0 where the needed speed is least, by bisection to a thousandth of the edge."""
    rising, falling = miss.copy(), np.zeros_like(miss)
    for _ in range(10):
        middle = (rising + falling) / 2
        falls = need.log_speed(distance, middle, angle, drag).d_miss > 0
        rising, falling = np.where(falls, rising, middle), np.where(falls, middle, falling)
    return falling
