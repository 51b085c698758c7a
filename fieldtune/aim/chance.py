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
from fieldtune.aim.edges import center_point, edges
from fieldtune.aim.need import Need

FloatArray = NDArray[np.float64]

# Points on the side miss's cumulative probability, crowded at both rims, where a round opening's chord ends like a
# square root: Gauss-Legendre in v with u = (1 - cos(pi v)) / 2. Five give the probability of a circle to 0.003.
_V, _W = np.polynomial.legendre.leggauss(5)
_NODES = (1 - np.cos(np.pi * (_V + 1) / 2)) / 2
_SHARES = _W / 2 * np.pi / 2 * np.sin(np.pi * (_V + 1) / 2)


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
    center = center_point(need, distance, angle, drag)
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

    near, far = edges(need, distance, free, angle, drag)
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


def _along(chord: FloatArray, center: FloatArray, slope: FloatArray, edge: FloatArray) -> FloatArray:
    """Needed log speed (n, m) at ``chord`` shares of the way from the centre to an edge: the parabola with the centre's
    value and ``slope`` (change up to the edge, were it straight) and the edge's value; exact to a few 1e-5.
    """
    if chord.shape[1] == 1:
        return np.asarray(edge)[:, None]
    with np.errstate(invalid="ignore"):
        return center[:, None] + chord * slope[:, None] + chord**2 * (edge - center - slope)[:, None]
