"""What an opening lets through: between which misses, and how far to the side, an element still passes.

Level opening entered from above: along the path its depth shrinks by the sine of the entry angle, and the element's
diameter has to fit: free depth = opening * sin(entry) - diameter (Brancazio, Am. J. Phys. 49 (1981) 356).

A round one is exact to the side as well. Seen along the path it is an ellipse, squeezed by the sine q of the entry
angle, and the centre of the ball must stay its radius r away from it: within the curve parallel to the ellipse. With
the ring's radius a and the ellipse's angle t, m = sqrt(q^2 cos^2 t + sin^2 t), that curve is cos t (a - r q / m) aside
and sin t (a - r / (q m)) along the floor (analytic geometry). Where r > a q^2 the ellipse's ends are too sharp for the
ball, and the curve ends before them.

A path bends while the element passes an edge: near the crossing it is the parabola with its ``slope`` and ``bend``, and
the centre has to stay its radius away from both edges, exactly so in the plane of the shot. On its way up it must keep
clear of the near rim, too.

Sizes in metres; ``slope`` is the path's tangent where it crosses, rising positive, (n,), ``bend`` that tangent's change
a metre (1/m). All broadcast.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

_NEWTON, _SETTLED = 5, 3e-4
"""Most steps of Newton's method, and the last step after which the next one would be some 1e-7."""
_SIDES = np.array([-1.0, 1.0])
"""The near or lower edge, and the far or upper one."""
_CLOSE = 3.0
"""Chord of the path in the opening's plane, over half the opening and what the element needs beside the rim, from which
on it is clear of the rim on its way up."""


@frozen
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
            slope = np.maximum(self.radius - self.size * q / (m * m * m), 1e-3 * self.radius)
            before = cosine
            cosine = np.clip(cosine - (cosine * (self.radius - self.size * q / m) - wanted) / slope, 0.0, top)
            if not (np.abs(cosine - before) > _SETTLED).any():
                break
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


@frozen
class Free:
    """Free misses ``low``..``high`` and half side width, metres, each (n,); nan where the element does not pass.

    ``ring``: the opening is round, so that the free depth shrinks to the side by its ``chord``; None elsewhere.
    ``rise``: miss up to which a path may pass the opening's plane on its way up, nan where it is far from the rim
    there; None where there is no way up. ``width``: half side width, None for that of the ring.
    """

    low: FloatArray
    high: FloatArray
    width: FloatArray | None
    ring: Ring | None = None
    rise: FloatArray | None = None

    @property
    def side(self) -> FloatArray:
        """Half the free side width (n,); of a ring worked out when asked for, which edges by themselves never do."""
        if self.width is not None:
            return self.width
        assert self.ring is not None
        return self.ring.side


def level(
    depth: float, width: float, size: float, slope: ArrayLike, round_: bool, bend: ArrayLike = 0.0, rises: bool = False
) -> Free:
    """A level opening entered from above, round or square, for an element of this size; ``rises``: the exit lies below
    it."""
    tangent, bent = np.broadcast_arrays(np.asarray(slope, dtype=float), np.asarray(bend, dtype=float))
    near, far = _beside(size / 2, tangent, bent)
    rise = None
    if rises:
        with np.errstate(divide="ignore", invalid="ignore"):
            close = 2 * np.abs(tangent / bent) < _CLOSE * (depth / 2 + near)
        rise = np.where(close, -depth / 2 - near, np.nan)
    if not round_:
        return _free(near - depth / 2, depth / 2 - far, (width - size) / 2, rise=rise)
    with np.errstate(invalid="ignore"):
        sine = np.where(near + far < depth, np.minimum(size / (near + far), 1.0), np.nan)
    ring = Ring(depth / 2, size / 2, sine)
    return _free(near - depth / 2, depth / 2 - far, None, ring, rise)  # where it is deep enough it is wide enough


def _beside(radius: float, slope: FloatArray, bend: FloatArray) -> FloatArray:
    """How far (2, n) from the near and the far edge of a level opening a falling path crosses its plane when the
    element just touches that edge. nan where the path rises, or peaks too low to clear it.

    The point of the path nearest to the edge is ``radius`` away from it at right angles; of the tangent q there,
    q^2 = slope^2 -+ 2 (-bend) radius / sqrt(1 + q^2) for the near and the far one, by Newton's method.
    """
    fall = np.where(slope < 0, slope, np.nan)
    first = fall * fall
    wide = _SIDES.reshape(2, *[1] * fall.ndim) * (-2 * radius * bend)
    with np.errstate(invalid="ignore"):
        square = np.maximum(first + wide / np.sqrt(1 + first), 0.0)
        for _ in range(_NEWTON):
            steep = 1 + square
            fall_on = wide / np.sqrt(steep)
            step = (first + fall_on - square) / np.maximum(1 + 0.5 * fall_on / steep, 0.1)
            square = np.maximum(square + step, 0.0)
            if not (np.abs(step) > _SETTLED * first).any():
                break
        steep, tangent = np.sqrt(1 + square), -np.sqrt(square)
        there = np.abs(first + wide / steep - square) < 1e-3 * first
    return np.where(there, -radius * (2 / (tangent + fall) + tangent) / steep, np.nan)


def upright(height: float, width: float, size: float, slope: ArrayLike, bend: ArrayLike = 0.0) -> Free:
    """An upright opening: it shrinks by the element's height seen along the path, size / cos(slope), and by what the
    path falls away from its tangent on the way from the lower edge, or to the upper one."""
    tangent, bent = np.broadcast_arrays(np.asarray(slope, dtype=float), np.asarray(bend, dtype=float))
    sides = _SIDES.reshape(2, *[1] * tangent.ndim)
    there = tangent
    for _ in range(_NEWTON + 1):
        at = sides * (size / 2) * there / np.sqrt(1 + there * there)
        there = tangent + bent * at
    offset = at * (tangent + bent * at / 2) + sides * (size / 2) / np.sqrt(1 + there * there)
    low, high = sides * (height / 2) - offset
    return _free(low, high, (width - size) / 2)


def lying(depth: float, width: float, extent: float, slope: ArrayLike) -> Free:
    """A zone on the floor, in which the whole element has to lie; depths along the floor, misses horizontal."""
    half = (depth - extent) / 2 / np.hypot(1.0, np.asarray(slope, dtype=float))
    return _free(-half, half, (width - extent) / 2)


def passed(width: float, extent: float, slope: ArrayLike) -> Free:
    """A line on the floor that the whole element has to get over, with any speed left."""
    low = extent / 2 / np.hypot(1.0, np.asarray(slope, dtype=float))
    return _free(low, np.full_like(low, np.inf), (width - extent) / 2)


def _free(
    low: FloatArray,
    high: FloatArray,
    side: float | FloatArray | None,
    ring: Ring | None = None,
    rise: FloatArray | None = None,
) -> Free:
    passes = high > low if side is None else (high > low) & (np.asarray(side) > 0)
    low, high = np.where(passes, low, np.nan), np.where(passes, high, np.nan)
    return Free(low, high, None if side is None else np.where(passes, side, np.nan), ring, rise)
