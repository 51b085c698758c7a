"""Charts in cells: lines in braille dots, bands and fields in half-cells, bars in eighths, words and marks on top.

``draw_chart`` makes the canvas and the ``Frame`` that turns cells into values and back.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, get_args

import numpy as np

from fieldtune.arrays import FloatArray, IntArray
from fieldtune.charts import chart as parts
from fieldtune.charts.chart import Axis, Chart, Ink
from fieldtune.console.widgets.braille import Canvas
from fieldtune.console.widgets.tints import BAND, CHANCE, Palette, paint
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from textual.strip import Strip

INKS: tuple[str, ...] = ("ink", *get_args(Ink))
"""Name of a layer's ink, by the layer's number; layer 0 has no dots."""
LAYER = {name: number for number, name in enumerate(INKS) if number}
PATH_LAYERS = frozenset({LAYER["path"]})
_EIGHTHS = " ▏▎▍▌▋▊▉"
_UNBROKEN = 0.99
"""A band goes on between two points that are both known to such a share."""
_FLAT = 4
"""Bands of at most so many half-cells have edges at whole cells."""
_X_CELLS, _Y_ROWS = 9, 3
"""Least room of a tick on either axis."""


@frozen
class Frame:
    """Where a chart's values lie among the cells: the plot's first row and column, its size, and the axes."""

    row: int
    column: int
    rows: int
    columns: int
    x: Axis
    y: Axis

    def dot_column(self, x: FloatArray | float) -> FloatArray:
        """Dot columns of values of x; any shape."""
        share = (np.asarray(x, dtype=float) - self.x.low) / (self.x.high - self.x.low)
        return 2 * self.column + share * (2 * self.columns - 1)

    def dot_row(self, y: FloatArray | float) -> FloatArray:
        """Dot rows of values of y, counted downwards; any shape."""
        share = (np.asarray(y, dtype=float) - self.y.low) / (self.y.high - self.y.low)
        return 4 * self.row + (1 - share) * (4 * self.rows - 1)

    def cell(self, x: float, y: float) -> tuple[int, int] | None:
        """Row and column of the cell at a point; None outside of the plot."""
        if not (np.isfinite(x) and np.isfinite(y)):
            return None
        row, column = int(float(self.dot_row(y)) // 4), int(float(self.dot_column(x)) // 2)
        inside = 0 <= row - self.row < self.rows and 0 <= column - self.column < self.columns
        return (row, column) if inside else None

    def values(self, row: int, column: int) -> tuple[float, float] | None:
        """The point in the middle of a cell; None outside of the plot."""
        if not (0 <= row - self.row < self.rows and 0 <= column - self.column < self.columns):
            return None
        x = self.x.low + (column - self.column + 0.5) / self.columns * (self.x.high - self.x.low)
        y = self.y.high - (row - self.row + 0.5) / self.rows * (self.y.high - self.y.low)
        return float(x), float(y)

    @property
    def middle_columns(self) -> FloatArray:
        """x in the middle of each column (columns,)."""
        share = (np.arange(self.columns) + 0.5) / self.columns
        return np.asarray(self.x.low + share * (self.x.high - self.x.low))

    @property
    def middle_halves(self) -> FloatArray:
        """y in the middle of each half-cell, upper ones first (2 rows,)."""
        share = (np.arange(2 * self.rows) + 0.5) / (2 * self.rows)
        return np.asarray(self.y.high - share * (self.y.high - self.y.low))


def frame_of(chart: Chart, rows: int, columns: int) -> Frame:
    """The plot within so many cells: title and key above it, ticks to its left and below."""
    head = 1 + _key_rows(chart, rows, columns)
    high = max(1, rows - head - 1)
    count = len(chart.y.names)
    if count and chart.y.high - chart.y.low == count <= high:  # named rows, all of one height
        high -= high % count
    marks = chart.y.ticks(max(1, high // _Y_ROWS))
    left = min(max((len(word) for _, word in marks), default=0) + 1, columns // 2)
    wide = max(1, columns - left)
    x, y = chart.x, chart.y
    if chart.same_scale:
        scale = max((x.high - x.low) / (2 * wide - 1), (y.high - y.low) / (4 * high - 1))
        x, y = x.widened(scale * (2 * wide - 1)), y.widened(scale * (4 * high - 1))
    return Frame(head, left, high, wide, x, y)


def _key_rows(chart: Chart, rows: int, columns: int) -> int:
    """Rows for the key below the title: one where it doesn't fit beside the title, none in a low picture."""
    if not chart.key or rows < 9:
        return 0
    return 0 if len(chart.title) + 3 + _key_width(chart) <= columns else 1


def _key_width(chart: Chart) -> int:
    return sum(len(shape) + len(words) + 3 for shape, _, words in chart.key)


def draw_chart(chart: Chart, rows: int, columns: int) -> tuple[Canvas, Frame]:
    """The chart on ``rows`` x ``columns`` cells, and where its values lie."""
    canvas, frame = Canvas(rows, columns), frame_of(chart, rows, columns)
    _axes(canvas, frame)
    for shape in chart.shapes:
        if isinstance(shape, parts.Line):
            _line(canvas, frame, shape)
        elif isinstance(shape, parts.Band):
            _band(canvas, frame, shape)
        elif isinstance(shape, parts.Field):
            _field(canvas, frame, shape)
    for shape in chart.shapes:  # what is written stands on what is drawn
        if isinstance(shape, parts.Bars):
            _bars(canvas, frame, shape)
        elif isinstance(shape, parts.Marks):
            _marks(canvas, frame, shape)
        elif isinstance(shape, parts.Words):
            _words(canvas, frame, shape)
    canvas.write(0, 0, chart.title[:columns], LAYER["quiet"])
    _key(canvas, chart, rows, columns)
    return canvas, frame


def _key(canvas: Canvas, chart: Chart, rows: int, columns: int) -> None:
    """What the shapes mean, as much as fits."""
    below = _key_rows(chart, rows, columns)
    row, at = (1, 0) if below else (0, len(chart.title) + 3)
    if rows < 9:
        return
    for shape, ink, words in chart.key:
        if at + len(shape) + 1 + len(words) > columns:
            break
        canvas.write(row, at, shape, LAYER[ink])
        canvas.write(row, at + len(shape) + 1, words, LAYER["quiet"])
        at += len(shape) + len(words) + 3


def _axes(canvas: Canvas, frame: Frame) -> None:
    """Ticks and numbers; a column of bars at the left."""
    quiet, bottom = LAYER["quiet"], frame.row + frame.rows
    for row in range(frame.row, bottom):
        canvas.write(row, frame.column - 1, "│", LAYER["rule"])
    unit, last = frame.y.unit_said, frame.row
    for value, word in frame.y.ticks(max(1, frame.rows // _Y_ROWS)):
        row = int(float(frame.dot_row(value)) // 4)
        if frame.row <= row < bottom:
            shown = word[: frame.column - 1]
            canvas.write(row, frame.column - 1, "┤", LAYER["rule"])
            canvas.write(row, frame.column - 1 - len(shown), shown, quiet)
            last = row
    if unit:
        canvas.write(frame.row, frame.column + (1 if last else 0), unit, quiet)
    end = 0
    ticks = frame.x.ticks(max(1, frame.columns // _X_CELLS))
    for number, (value, word) in enumerate(ticks):
        column = int(float(frame.dot_column(value)) // 2)
        shown = f"{word} {frame.x.unit_said}".rstrip() if number == len(ticks) - 1 else word
        start = min(max(0, column - len(word) // 2), canvas.columns - len(shown))
        if start >= end and 0 <= column - frame.column < frame.columns:
            canvas.write(bottom, start, shown, quiet)
            end = start + len(shown) + 1


def _line(canvas: Canvas, frame: Frame, line: parts.Line) -> None:
    column, row = frame.dot_column(line.x), frame.dot_row(line.y)
    known = np.isfinite(column) & np.isfinite(row)
    low, high = 4 * frame.row, 4 * (frame.row + frame.rows) - 1
    within = (low, high, 2 * frame.column, 2 * (frame.column + frame.columns) - 1)
    for piece in np.split(np.arange(len(known)), np.flatnonzero(np.diff(known.astype(int))) + 1):
        if not len(piece) or not known[piece[0]]:
            continue
        c, r = column[piece], row[piece]
        # Far-off points would cost many dots that nobody sees.
        canvas.line(LAYER[line.ink], c, np.clip(r, low - 2000, high + 2000), line.gap, within, line.thick)


def _band(canvas: Canvas, frame: Frame, band: parts.Band) -> None:
    known = np.isfinite(band.low) & np.isfinite(band.high)
    if not known.any():
        return
    at, halves = frame.middle_columns, frame.middle_halves
    unbroken = np.interp(at, band.x, known) > _UNBROKEN
    low = np.interp(at, band.x[known], band.low[known], left=np.nan, right=np.nan)
    high = np.interp(at, band.x[known], band.high[known], left=np.nan, right=np.nan)
    half = (frame.y.high - frame.y.low) / (4 * frame.rows)
    with np.errstate(invalid="ignore"):  # at least the half-cell that an edge runs through
        inside = (halves[:, None] >= low - half) & (halves[:, None] <= high + half) & unbroken
    if np.median(inside.sum(axis=0)[unbroken]) <= _FLAT:  # whole cells: dots in it would fill some of them anyway
        inside[0::2] = inside[1::2] = inside[0::2] | inside[1::2]
    _tint_of(canvas, frame)[inside] = BAND


def _tint_of(canvas: Canvas, frame: Frame) -> IntArray:
    """The plot's half-cells."""
    return canvas.tint[2 * frame.row : 2 * (frame.row + frame.rows), frame.column : frame.column + frame.columns]


def _field(canvas: Canvas, frame: Frame, field: parts.Field) -> None:
    values = field.at(frame.middle_columns, frame.middle_halves).T
    level = np.digitize(np.nan_to_num(values), field.levels)
    tint = _tint_of(canvas, frame)
    tint[level > 0] = CHANCE - 1 + level[level > 0]


def _bars(canvas: Canvas, frame: Frame, bars: parts.Bars) -> None:
    apart = frame.rows / max(1.0, frame.y.high - frame.y.low)
    thick = 1 if bars.thin else max(1, int(0.6 * apart))
    for number, (at, low, high) in enumerate(zip(bars.at, bars.low, bars.high, strict=True)):
        if not (np.isfinite(low) and np.isfinite(high)):
            continue
        first = max(frame.row, math.floor(float(frame.dot_row(at)) / 4 - thick / 2 + 0.51))
        start, end = (float(frame.dot_column(v)) / 2 for v in sorted((low, high)))
        start, end = max(frame.column, start), min(frame.column + frame.columns, end)
        left, eighths = int(start), max(1, round(8 * (end - int(start))))
        text = "█" * (eighths // 8) + (_EIGHTHS[eighths % 8] if eighths % 8 else "")
        if thick == 1:  # whole cells with some air above, so that neighbours stay apart
            text = "▆" * max(1, round(end - left))
        if bars.thin:
            wide = max(2, round(end - start))
            text = f"├{'─' * (wide - 2)}┤"
        rows = range(first, min(first + thick, frame.row + frame.rows))
        for row in rows:
            canvas.write(row, left, text[: frame.column + frame.columns - left], LAYER[bars.ink])
        if number < len(bars.words) and len(rows):
            words, behind = bars.words[number], left + len(text) + 1
            room = frame.column + frame.columns - behind
            canvas.write(rows[len(rows) // 2], behind, words[: max(0, room)], LAYER["ink"])


def _marks(canvas: Canvas, frame: Frame, marks: parts.Marks) -> None:
    shapes = marks.shapes * len(marks.x) if len(marks.shapes) == 1 else marks.shapes
    for x, y, shape in zip(marks.x, marks.y, shapes, strict=True):
        cell = frame.cell(float(x), float(y))
        if cell is not None:
            canvas.write(*cell, shape, LAYER[marks.ink])


def _words(canvas: Canvas, frame: Frame, words: parts.Words) -> None:
    cell = frame.cell(words.x, words.y)
    if cell is None:
        return
    row, column = cell
    column -= {"start": 0, "middle": len(words.text) // 2, "end": len(words.text) - 1}[words.anchor]
    room = frame.column + frame.columns
    column = max(frame.column, min(column, room - len(words.text)))
    canvas.write(row, column, words.text[: room - column], LAYER[words.ink])


def chart_strips(chart: Chart, rows: int, columns: int, palette: Palette) -> tuple[list[Strip], Frame]:
    """Strips of a chart, and where its values lie."""
    canvas, frame = draw_chart(chart, rows, columns)
    return paint(canvas, INKS, PATH_LAYERS, palette), frame
