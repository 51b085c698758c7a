"""Small plots in braille dots: lines over time, points over distance."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar, Literal

import numpy as np
from rich.style import Style
from textual.geometry import Size
from textual.strip import Strip

from fieldtune.console.widgets.braille import Canvas
from fieldtune.console.widgets.pictures import palette_of
from fieldtune.console.widgets.text_block import CachedWidget
from fieldtune.console.widgets.tints import paint

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

MARGIN = 8
AXIS, PLAIN, STRONG, MARKED = 1, 2, 3, 4
_INKS = {0: "plot--axis", AXIS: "plot--axis", PLAIN: "plot--plain", STRONG: "plot--strong", MARKED: "plot--marked"}


@dataclass(frozen=True, slots=True)
class Series:
    """Points (n,) as a line, as a dashed line, or each as the character in ``mark``."""

    x: FloatArray
    y: FloatArray
    ink: int = STRONG
    look: Literal["line", "dashes", "marks"] = "line"
    mark: str = "●"


@dataclass(frozen=True, slots=True)
class Picture:
    """A plot: series, the ranges of both axes, what is written at which value of either axis, a title."""

    series: tuple[Series, ...]
    x_range: tuple[float, float]
    y_range: tuple[float, float]
    x_marks: tuple[tuple[float, str], ...] = ()
    y_marks: tuple[tuple[float, str], ...] = ()
    title: str = ""


def nice_range(values: FloatArray, least: float) -> tuple[float, float]:
    """A range that holds all finite values with a little air, at least ``least`` wide."""
    finite = values[np.isfinite(values)]
    if not len(finite):
        return -least / 2, least / 2
    low, high = float(finite.min()), float(finite.max())
    air = max(0.08 * (high - low), (least - (high - low)) / 2, 0.0)
    return low - air, high + air


def draw_plot(picture: Picture, rows: int, columns: int) -> Canvas:
    """The plot on ``rows`` x ``columns`` cells: labels of y at the left, of x in the last row."""
    canvas = Canvas(rows, columns)
    high, wide = 4 * (rows - 1) - 1, 2 * (columns - MARGIN) - 1
    (x0, x1), (y0, y1) = picture.x_range, picture.y_range

    def column(x: FloatArray | float) -> FloatArray:
        return 2 * MARGIN + (np.asarray(x, dtype=float) - x0) / (x1 - x0) * wide

    def row(y: FloatArray | float) -> FloatArray:
        return high - (np.asarray(y, dtype=float) - y0) / (y1 - y0) * high

    edge = float(2 * MARGIN - 1)
    canvas.line(AXIS, np.array([edge, edge]), np.array([0.0, high]))
    canvas.line(AXIS, np.array([edge, edge + wide]), np.array([high + 1.0, high + 1.0]), gap=2)
    for value, text in picture.y_marks:
        canvas.write(int(float(row(value)) // 4), MARGIN - 1 - len(text), text, AXIS)
    for value, text in picture.x_marks:
        canvas.write(rows - 1, int(float(column(value)) // 2), text, AXIS)
    for series in picture.series:
        if series.look == "marks":
            for x, y in zip(column(series.x), row(series.y), strict=True):
                if np.isfinite(x) and np.isfinite(y) and 0 <= y <= high:
                    canvas.write(int(y // 4), int(x // 2), series.mark, series.ink)
        else:
            canvas.line(series.ink, column(series.x), row(series.y), gap=3 if series.look == "dashes" else 1)
    if picture.title:
        canvas.write(0, MARGIN + 1, picture.title[: columns - MARGIN - 1], AXIS)
    return canvas


class Plot(CachedWidget):
    """Shows a ``Picture``; drawn once a change."""

    COMPONENT_CLASSES: ClassVar[set[str]] = set(_INKS.values())

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._picture: Picture | None = None
        self._strips: list[Strip] = []
        self._made_for: Size | None = None
        self._inks: dict[int, Style] | None = None

    def show(self, picture: Picture | None) -> None:
        """Draw this from now on."""
        if picture is not self._picture:
            self._picture, self._made_for = picture, None
            self.refresh()

    def notify_style_update(self) -> None:
        """A new theme: draw again."""
        super().notify_style_update()
        self._made_for = self._inks = None

    def render_line(self, y: int) -> Strip:
        """One row of cells."""
        size = self.size
        if self._made_for != size:
            self._strips = []
            if self._picture is not None and size.width > 2 * MARGIN and size.height > 3:
                drawn = draw_plot(self._picture, size.height, size.width)
                self._strips = paint(
                    drawn, ("quiet", "quiet", "mark", "path", "act"), frozenset(), palette_of(self.app)
                )
            self._made_for = size
        return self._strips[y] if y < len(self._strips) else Strip.blank(size.width, self.rich_style)
