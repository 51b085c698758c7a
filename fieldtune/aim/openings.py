"""What a target lets through: between which misses, and how far to the side, the element still scores.

Basket (level opening entered from above): along the path the opening's depth shrinks by the sine of the entry angle,
and the element's diameter has to fit: free depth = opening * sin(entry) - diameter (Brancazio, Am. J. Phys. 49
(1981) 356); a round one is exact to the side as well, see ``ring``. Window: the upright opening shrinks by the
element's height seen along the path, diameter / cos(slope). Zone: the whole element has to lie inside. Gate: the whole
element has to get through, with any speed left. On a sloping floor depths are measured along it, misses horizontally.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldtune.aim.ring import Ring
from fieldtune.robot.model import Element, Target

FloatArray = NDArray[np.float64]


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
