"""Pictures of numbers: lines, bands, marks, bars and a field over two axes, to be drawn by anything.

Like ``scene``, this knows no screen: the console draws a chart in braille dots and half-blocks, ``share`` as SVG. A
shape or a word stands beside every colour, so that a chart can be read without any.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Literal

import numpy as np

from fieldtune.arrays import FloatArray, IntArray
from fieldtune.frozen import frozen
from fieldtune.person_units import back, converted, unit

Ink = Literal["rule", "quiet", "mark", "ink", "good", "bad", "path", "act"]
"""Colours by what they mean, the least pressing first; ``good`` means good and nothing else."""
LEVELS = (0.05, 0.2, 0.35, 0.5, 0.65, 0.8)
"""Hit chances at which a field's tint changes: the two topmost levels are the ones worth shooting at."""


@frozen
class Line:
    """A line through points (n,); ``gap``: every how many dots it has one; ``thick``: two dots. Not finite: a hole."""

    x: FloatArray
    y: FloatArray
    ink: Ink = "path"
    gap: int = 1
    thick: bool = False


@frozen
class Band:
    """What lies between ``low`` and ``high`` over ``x``, shapes (n,)."""

    x: FloatArray
    low: FloatArray
    high: FloatArray


@frozen
class Marks:
    """Points (n,), each a character of ``shapes`` (one for all, or one a point)."""

    x: FloatArray
    y: FloatArray
    shapes: str = "●"
    ink: Ink = "ink"


@frozen
class Bars:
    """Level bars at heights ``at`` from ``low`` to ``high``, shapes (n,); ``words``: what stands behind each.

    ``thin``: a line with ends, as an interval is drawn.
    """

    at: FloatArray
    low: FloatArray
    high: FloatArray
    ink: Ink = "mark"
    words: tuple[str, ...] = ()
    thin: bool = False


@frozen
class Field:
    """Values (m, n) at ``x`` (m,), ascending, and evenly spaced ``y`` (n,); drawn as a tint by ``levels``.

    ``y`` is counted from ``ridge`` (m,): along a narrow slanting ridge few points then suffice.
    """

    x: FloatArray
    y: FloatArray
    values: FloatArray
    ridge: FloatArray
    levels: tuple[float, ...] = LEVELS

    def at(self, x: FloatArray, y: FloatArray) -> FloatArray:
        """Values (k, j) interpolated at ``x`` (k,) and ``y`` (j,); nan beyond the first and last ``x``, else 0."""
        i, u = _between(self.x, x)
        share = u[:, None]
        along = self.values[i] * (1 - share) + self.values[i + 1] * share
        ridge = self.ridge[i] * (1 - u) + self.ridge[i + 1] * u
        place = (y[None, :] - ridge[:, None] - self.y[0]) / (self.y[1] - self.y[0])
        known = (place >= 0) & (place <= len(self.y) - 1)
        j = np.clip(np.nan_to_num(place), 0, len(self.y) - 2).astype(np.int64)
        row, v = np.arange(len(x))[:, None], place - j
        values = along[row, j] * (1 - v) + along[row, j + 1] * v
        return np.asarray(np.where(known, values, np.where(np.isfinite(place), 0.0, np.nan)))


def _between(grid: FloatArray, at: FloatArray) -> tuple[IntArray, FloatArray]:
    """Place (n,) in an ascending grid and share (n,) of the way to the next; nan outside."""
    place = np.clip(np.searchsorted(grid, at, side="right") - 1, 0, len(grid) - 2)
    share = (at - grid[place]) / (grid[place + 1] - grid[place])
    return place, np.where((share < -1e-9) | (share > 1 + 1e-9), np.nan, share)


@frozen
class Words:
    """Words at a point, beginning (``start``), in the middle or ending there."""

    x: float
    y: float
    text: str
    ink: Ink = "quiet"
    anchor: Literal["start", "middle", "end"] = "start"


Shape = Line | Band | Marks | Bars | Field | Words


@frozen
class Axis:
    """From ``low`` to ``high`` in that metric ``unit``; ``names`` (value, word) in place of numbers.

    What is written at it is in the person's units; ``unit_said`` stands behind the last number.
    """

    low: float
    high: float
    unit: str = ""
    names: tuple[tuple[float, str], ...] = ()

    @property
    def unit_said(self) -> str:
        """The unit of the numbers written at it."""
        return unit(self.unit)

    def widened(self, wide: float) -> Axis:
        """The axis with the same middle, so wide."""
        middle = (self.low + self.high) / 2
        return replace(self, low=middle - wide / 2, high=middle + wide / 2)

    def ticks(self, most: int) -> tuple[tuple[float, str], ...]:
        """At most so many values with what is written at them: the names, else round numbers."""
        if self.names:
            return self.names
        low, high = converted(self.low, self.unit), converted(self.high, self.unit)
        if most < 1 or not high > low:
            return ()
        step = round_step((high - low) / most)
        digits = max(0, -math.floor(math.log10(step) + 1e-9))
        first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
        return tuple((back(n * step, self.unit), f"{n * step:.{digits}f}") for n in range(first, last + 1))


def rows_axis(names: Sequence[str]) -> Axis:
    """An axis of named rows, the first on top: row ``i`` of n stands at n - 1 - i."""
    count = len(names)
    return Axis(-0.5, count - 0.5, names=tuple((float(count - 1 - row), name) for row, name in enumerate(names)))


def round_step(least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that isn't below ``least``."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(step * power for step in (1.0, 2.0, 5.0, 10.0) if step * power >= least * (1 - 1e-9))


def axis_around(values: FloatArray, least: float, unit: str = "") -> Axis:
    """An axis that holds all finite values with a little air, at least ``least`` wide."""
    finite = np.asarray(values, dtype=float)[np.isfinite(values)]
    if not len(finite):
        return Axis(-least / 2, least / 2, unit)
    low, high = float(finite.min()), float(finite.max())
    air = max(0.08 * (high - low), (least - (high - low)) / 2, 1e-9)
    return Axis(low - air, high + air, unit)


@frozen
class Chart:
    """One picture: ``title`` says what is drawn, ``key`` (shape, ink, words) what the shapes mean, rear shapes first.

    ``same_scale``: both axes are metres of one plane and are drawn to one scale.
    """

    title: str
    x: Axis
    y: Axis
    shapes: tuple[Shape, ...] = ()
    key: tuple[tuple[str, Ink, str], ...] = ()
    same_scale: bool = False
