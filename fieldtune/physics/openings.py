"""What an opening lets through: between which misses, and how far to the side, an element still passes.

Level opening entered from above: along the path its depth shrinks by the sine of the entry angle, and the element's
diameter has to fit: free depth = opening * sin(entry) - diameter (Brancazio, Am. J. Phys. 49 (1981) 356).

A round one is exact to the side as well. Seen along the path it is an ellipse, squeezed by the sine q of the entry
angle, and the centre of the ball must stay its radius r away from it: within the curve parallel to the ellipse. With
the ring's radius a and the ellipse's angle t, m = sqrt(q^2 cos^2 t + sin^2 t), that curve is cos t (a - r q / m) aside
and sin t (a - r / (q m)) along the floor (analytic geometry). Where r > a q^2 the ellipse's ends are too sharp for the
ball, and the curve ends before them.

Sizes in metres; ``slope`` is the path's tangent where it crosses, rising positive, (n,). All broadcast.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

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


def level(depth: float, width: float, size: float, slope: ArrayLike, round_: bool) -> Free:
    """A level opening entered from above, round or square, for an element of this size."""
    tangent = np.asarray(slope, dtype=float)
    sine = -tangent / np.hypot(1.0, tangent)
    sine = np.where((sine > 0) & (depth * sine > size), sine, np.nan)
    if round_:
        ring = Ring(depth / 2, size / 2, sine)
        return _free(-ring.depth, ring.depth, ring.side, ring)
    half = (depth - size / sine) / 2
    return _free(-half, half, (width - size) / 2)


def upright(height: float, width: float, size: float, slope: ArrayLike) -> Free:
    """An upright opening: it shrinks by the element's height seen along the path, size / cos(slope)."""
    half = (height - size * np.hypot(1.0, np.asarray(slope, dtype=float))) / 2
    return _free(-half, half, (width - size) / 2)


def lying(depth: float, width: float, extent: float, slope: ArrayLike) -> Free:
    """A zone on the floor, in which the whole element has to lie; depths along the floor, misses horizontal."""
    half = (depth - extent) / 2 / np.hypot(1.0, np.asarray(slope, dtype=float))
    return _free(-half, half, (width - extent) / 2)


def passed(width: float, extent: float, slope: ArrayLike) -> Free:
    """A line on the floor that the whole element has to get over, with any speed left."""
    low = extent / 2 / np.hypot(1.0, np.asarray(slope, dtype=float))
    return _free(low, np.full_like(low, np.inf), (width - extent) / 2)


def _free(low: FloatArray, high: FloatArray, side: float | FloatArray, ring: Ring | None = None) -> Free:
    passes = (high > low) & (np.asarray(side) > 0)
    return Free(np.where(passes, low, np.nan), np.where(passes, high, np.nan), np.where(passes, side, np.nan), ring)
