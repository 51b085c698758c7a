"""Whether a wheel's turns bend down at an instant, as no wheel's do that only runs out or is sped up.

How far turns stray from the nearest convex function of time (Hildreth, J. Am. Stat. Assoc. 49 (1954) 598) is compared
with how far where one concave bend is let in. Both are found by Lawson and Hanson's least squares of numbers not below
0 (Solving Least Squares Problems, 1974). Both sources from memory.
"""

from __future__ import annotations

import math
from contextlib import suppress
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.arrays import BoolArray, FloatArray

_BENDS = (-0.5, 0.0, 0.5)  # cells behind an instant
_LEAST_BEND = 1e-6  # cells
_NO_GAIN = 1e-9


@frozen
class _Parts:
    """Courses of unit size, of which others are sums (n, k), how large each was (k,), and their products (k, k).

    What a straight line makes of them is taken out.
    """

    of: FloatArray
    sizes: FloatArray
    products: FloatArray


@lru_cache(maxsize=32)
def _convex(before: int, after: int) -> tuple[FloatArray, FloatArray, _Parts, list[_Parts]]:
    """Cells from an instant (n,), what takes a line out (n, n), convex courses, and the same with a bend down there."""
    t = np.arange(-before, after + 1.0)
    line = np.linalg.qr(np.column_stack([np.ones_like(t), t]))[0]
    bare = np.eye(len(t)) - line @ line.T
    bends = np.maximum(t[:, None] - t[None, 1:-1], 0.0)

    def parts(courses: FloatArray) -> _Parts:
        left = bare @ courses
        sizes = np.linalg.norm(left, axis=0)
        return _Parts(left / sizes, sizes, (left / sizes).T @ (left / sizes))

    return t, bare, parts(bends), [parts(np.column_stack([bends, -np.maximum(t - bend, 0.0)])) for bend in _BENDS]


def nearest(parts: _Parts, bare: FloatArray, of_first: FloatArray | None = None) -> tuple[FloatArray, float]:
    """How much of each part (k,), none below 0, comes nearest to ``bare`` (n,), and the root of squares that is left.

    Lawson and Hanson's algorithm, from what is nearest of the first parts alone, where that is known. scipy's takes a
    third of a second to load, in which lines would not be read.
    """
    along = parts.of.T @ bare
    size = np.zeros(len(along))
    if of_first is not None:
        size[: len(of_first)] = of_first * parts.sizes[: len(of_first)]
    used = size > 0.0
    least = _NO_GAIN * float(np.abs(along).max())
    # Where a bend down and those that make it up again can't be told apart, it comes no nearer
    with suppress(np.linalg.LinAlgError):
        size = _least_squares(parts, along, size, used)
        for _ in range(3 * len(along)):
            gain = np.where(used, -math.inf, along - parts.products @ size)
            best = int(gain.argmax())
            if gain[best] <= least:
                break
            used[best] = True
            size = _least_squares(parts, along, size, used)
    return size / parts.sizes, float(np.linalg.norm(bare - parts.of @ size))


def _least_squares(parts: _Parts, along: FloatArray, size: FloatArray, used: BoolArray) -> FloatArray:
    """Sizes of the parts in use, of which those that would fall below 0 on the way from ``size`` are taken out."""
    while len(which := used.nonzero()[0]):
        wanted = np.zeros(len(along))
        wanted[which] = np.linalg.solve(parts.products[which[:, None], which], along[which])
        low = which[wanted[which] <= 0.0]
        if not len(low):
            return wanted
        share = float((size[low] / (size[low] - wanted[low])).min())
        size = size + share * (wanted - size)
        used &= size > _NO_GAIN * float(size.max(initial=0.0))
        size[~used] = 0.0
    return size


class Bend:
    """Whether ``turns`` (n,) at even times bend down at the one behind ``before`` of them.

    ``fall``: what the wheel loses by itself, turns a cell in a cell. ``rest``: a root of squares of turns by which they
    stray from the nearest convex ones.
    """

    def __init__(self, turns: FloatArray, before: int, fall: float) -> None:
        self._turns, self._before, self._fall = turns - turns[before], before, fall
        self.points = len(turns)
        t, bare, parts, self._bent = _convex(before, self.points - before - 1)
        self._bare = bare @ (self._turns + fall * t**2 / 2)
        self._convexly, self.rest = nearest(parts, self._bare)

    @cached_property
    def _best(self) -> tuple[float, float]:
        # Of bends that fit alike, as one half a cell off does that others make good, the least
        fits = [nearest(parts, self._bare, self._convexly) for parts in self._bent]
        sizes, rest = min(fits, key=lambda fit: fit[1] + _LEAST_BEND * fit[0][-1])
        return float(sizes[-1]), rest

    @property
    def depth(self) -> float:
        """How much slower the wheel is behind it, turns a cell."""
        return self._best[0]

    @property
    def size(self) -> float:
        """How much nearer they come with a concave bend, as a root of squares of turns."""
        return math.sqrt(max(self.rest**2 - self._best[1] ** 2, 0.0))

    @property
    def by_chance(self) -> float:
        """What they stray by even then, one standard deviation."""
        return self._best[1] / math.sqrt(self.points)

    @property
    def steeper(self) -> float:
        """As ``size``, of a wheel that may fall twice as fast by itself."""
        return Bend(self._turns, self._before, 2 * self._fall).size
