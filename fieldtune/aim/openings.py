"""A ball through a level ring: exactly how far off centre its path may be.

Seen along the path the ring is an ellipse, squeezed by the sine q of the entry angle, and the centre of the ball must
stay its radius r away from it: within the curve parallel to the ellipse. With the ring's radius a and the ellipse's
angle t, m = sqrt(q^2 cos^2 t + sin^2 t), that curve is cos t (a - r q / m) aside and sin t (a - r / (q m)) along the
floor (analytic geometry). Where r > a q^2 the ellipse's ends are too sharp for the ball, and the curve ends before
them. All broadcast.
"""
# MERGED: What a target lets through: between which misses, and how far to the side, the element still scores.
#
# Basket (level opening entered from above): along the path the opening's depth shrinks by the sine of the entry
# angle,
# and the element's diameter has to fit: free depth = opening * sin(entry) - diameter (Brancazio, Am. J. Phys. 49
# (1981) 356); a round one is exact to the side as well, see ``ring``. Window: the upright opening shrinks by the
# element's height seen along the path, diameter / cos(slope). Zone: the whole element has to lie inside. Gate: the
# whole
# element has to get through, with any speed left. On a sloping floor depths are measured along it, misses
# horizontally.
#

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.arrays import FloatArray
from fieldtune.robot.model import Element, Target

_NEWTON = 5


@dataclass(frozen=True, slots=True)
class Ring:
    """A ring of ``radius`` (m), and a ball of radius ``size`` (m) that comes in with this ``sine`` of its entry angle
    (n,)."""

    radius: float
    size: float
    sine: FloatArray

    @property
    def depth(self) -> FloatArray:
        """Half the free depth along the floor (n,), metres; negative where the ball does not pass."""
        return np.asarray(self.radius - self.size / self.sine)

    @property
    def side(self) -> FloatArray:
        """Half the free width (n,), metres."""
        return self._aside(self._sharpest(), self.sine)

    def chord(self, aside: FloatArray) -> FloatArray:
        """Share (n, m) of the half depth that is free so far aside (n, m), metres; 0 beyond the free width."""
        q, top = self.sine[:, None], self._sharpest()[:, None]
        widest = self._aside(top, q)
        wanted = np.minimum(np.abs(aside), widest)
        cosine = top * wanted / widest
        for _ in range(_NEWTON):
            m = self._squeeze(cosine, q)
            slope = np.maximum(self.radius - self.size * q / m**3, 1e-3 * self.radius)
            cosine = np.clip(cosine - (cosine * (self.radius - self.size * q / m) - wanted) / slope, 0.0, top)
        there = np.sqrt(1 - cosine**2) * (self.radius - self.size / (q * self._squeeze(cosine, q)))
        return np.clip(there / self.depth[:, None], 0.0, 1.0)

    def _sharpest(self) -> FloatArray:
        """cos t at which the parallel curve begins: 1 unless the ellipse's ends are too sharp."""
        flat = 1 - self.sine**2
        square = (1 - (self.size / (self.radius * self.sine)) ** 2) / np.where(flat > 0, flat, 1.0)
        return np.sqrt(np.where(self.size > self.radius * self.sine**2, np.clip(square, 0.0, 1.0), 1.0))

    def _squeeze(self, cosine: FloatArray, q: FloatArray) -> FloatArray:
        return np.asarray(np.sqrt(1 - (1 - q**2) * cosine**2))

    def _aside(self, cosine: FloatArray, q: FloatArray) -> FloatArray:
        return np.asarray(cosine * (self.radius - self.size * q / self._squeeze(cosine, q)))


@dataclass(frozen=True, slots=True)
class Free:
    """Free misses ``low``..``high`` and half side width, metres, each (n,); nan where the element does not pass.

    ``ring``: the opening is round, so that the free depth shrinks to the side by its ``chord``; None elsewhere.
    """

    low: FloatArray
    high: FloatArray
    side: FloatArray
    ring: Ring | None = None

    @property
    def round(self) -> bool:
        """Whether the free depth shrinks to the side."""
        return self.ring is not None


def free(target: Target, element: Element, slope: ArrayLike) -> Free:
    """Free misses of a target for paths that cross it with these slopes (tangent, rising positive) (n,)."""
    tangent = np.asarray(slope, dtype=float)
    size = element.passing_size
    sides = [edge - 2 * target.clearance for edge in target.opening]
    if target.kind == "basket":
        depth, width = sides[0], sides[-1]
        sine = -tangent / np.hypot(1.0, tangent)
        sine = np.where((sine > 0) & (depth * sine > size), sine, np.nan)
        if len(sides) == 1:
            ring = Ring(depth / 2, size / 2, sine)
            return _free(-ring.depth, ring.depth, ring.side, ring)
        half = (depth - size / sine) / 2
        return _free(-half, half, (width - size) / 2)
    if target.kind == "window":
        width, height = sides[0], sides[-1]
        half = (height - size * np.hypot(1.0, tangent)) / 2
        return _free(-half, half, (width - size) / 2)
    extent, level = element.extent, 1 / np.hypot(1.0, tangent)
    if target.kind == "zone":
        depth, width = sides[0], sides[-1]
        half = (depth - extent) / 2 * level
        return _free(-half, half, (width - extent) / 2)
    low = extent / 2 * level
    return _free(low, np.full_like(tangent, np.inf), (sides[0] - extent) / 2)


def _free(low: FloatArray, high: FloatArray, side: float | FloatArray, ring: Ring | None = None) -> Free:
    passes = (high > low) & (np.asarray(side) > 0)
    return Free(np.where(passes, low, np.nan), np.where(passes, high, np.nan), np.where(passes, side, np.nan), ring)


def flattest_entry(target: Target, element: Element) -> float | None:
    """Flattest entry angle (radians) at which the element passes a basket: asin(diameter/opening); None elsewhere.

    Source: the same relation as ``free`` with no free depth left. An opening smaller than the element gives nan.
    """
    if target.kind != "basket":
        return None
    ratio = element.passing_size / max(target.opening[0] - 2 * target.clearance, 1e-9)
    return float(np.arcsin(ratio)) if ratio <= 1 else float("nan")
