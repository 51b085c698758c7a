"""A chart or a scene as a picture file of its own: the same shapes that the console draws, in SVG on white paper."""

from __future__ import annotations

import html
from dataclasses import replace

import numpy as np
import svg
from markupsafe import Markup

from fieldtune.arrays import BoolArray, IntArray
from fieldtune.charts import chart as parts
from fieldtune.charts.chart import Axis, Chart, Ink
from fieldtune.frozen import frozen
from fieldtune.scene import Scene
from fieldtune.share import path_svg

WIDTH, HEIGHT = 960.0, 600.0
_PRINTED = (480.0, 290.0)
_TICK = 80.0
_ROW = 34.0
"""Least room of a tick along, and upwards."""
_TOP, _RIGHT, _BOTTOM = 64.0, 24.0, 44.0
_LETTER = 8.4
"""Width of a letter of the usual size, the widest fonts considered."""
_FONT = "DejaVu Sans, Arial, sans-serif"
# Dark on white: each at 7:1 or more, as in the console's theme for sunlight.
_COLOURS: dict[Ink, str] = {
    "rule": "#444444", "quiet": "#303030", "mark": "#00005f", "ink": "#000000", "good": "#005f00", "bad": "#870000",
    "path": "#000000", "act": "#703000",
}  # fmt: skip
_BAND = "#bcd7f0"
_LEVELS = ("#f4f4f4", "#e2e2e2", "#cfcfcf", "#bbbbbb", "#a9dba9", "#7cc47c")
_FIELD = (120, 80)
"""Columns and rows of rectangles that a field is drawn with."""


@frozen
class _Plot:
    """Values to the picture's units."""

    x_axis: Axis
    y_axis: Axis
    left: float
    top: float
    right: float
    bottom: float

    @classmethod
    def of(cls, chart: Chart, wide: float, high: float) -> _Plot:
        """The plot within a picture of that size: as much room at the left as the longest name there takes."""
        most = max((len(word) for _, word in chart.y.ticks(10)), default=0)
        left, right, bottom = 20.0 + _LETTER * most, wide - _RIGHT, high - _BOTTOM
        top = _TOP if chart.title else _TOP - 22.0
        return cls(*_one_scale(chart, right - left, bottom - top), left, top, right, bottom)

    def x(self, value: float) -> float:
        share = (value - self.x_axis.low) / (self.x_axis.high - self.x_axis.low)
        return round(self.left + share * (self.right - self.left), 2)

    def y(self, value: float) -> float:
        share = (value - self.y_axis.low) / (self.y_axis.high - self.y_axis.low)
        return round(self.bottom - share * (self.bottom - self.top), 2)


def picture_file(picture: Chart | Scene, words: str) -> str:
    """The text of an SVG file; ``words`` say what it shows."""
    if isinstance(picture, Scene):
        drawn = str(path_svg.picture(picture, words))
        return drawn.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" width="1240" ', 1)
    return chart_svg(picture, words)


def chart_svg(chart: Chart, words: str, wide: float = WIDTH, high: float = HEIGHT) -> str:
    """A chart as SVG: fields and bands at the back, then lines, bars, marks and words; axes with round numbers."""
    plot = _Plot.of(chart, wide, high)
    elements: list[svg.Element] = [svg.Title(text=html.escape(words)), svg.Rect(width=wide, height=high, fill="#fff")]
    for shape in chart.shapes:
        elements += _drawn(plot, shape)
    elements += _frame(plot, chart)
    return svg.SVG(
        viewBox=svg.ViewBoxSpec(0, 0, wide, high), width=wide, height=high, elements=elements,
        extra={"role": "img", "font-family": _FONT},
    ).as_str()  # fmt: skip


def printed(chart: Chart, words: str) -> Markup:
    """A chart for half the width of a printed page, without its title, as an element of HTML."""
    drawn = chart_svg(replace(chart, title=""), words, *_PRINTED)
    return path_svg.inline(drawn.replace(f' width="{_PRINTED[0]}" height="{_PRINTED[1]}"', ' class="arc"', 1))


def _one_scale(chart: Chart, wide: float, high: float) -> tuple[Axis, Axis]:
    x, y = chart.x, chart.y
    if not chart.same_scale:
        return x, y
    scale = max((x.high - x.low) / wide, (y.high - y.low) / high)
    return x.widened(scale * wide), y.widened(scale * high)


def _drawn(plot: _Plot, shape: parts.Shape) -> list[svg.Element]:
    if isinstance(shape, parts.Field):
        return _field(plot, shape)
    if isinstance(shape, parts.Band):
        return _band(plot, shape)
    if isinstance(shape, parts.Line):
        return _line(plot, shape)
    if isinstance(shape, parts.Bars):
        return _bars(plot, shape)
    if isinstance(shape, parts.Marks):
        shapes = shape.shapes * len(shape.x) if len(shape.shapes) == 1 else shape.shapes
        points = zip(shape.x.tolist(), shape.y.tolist(), shapes, strict=True)
        return [
            _text(plot.x(x), plot.y(y) + 5, mark, shape.ink, "middle", 16)
            for x, y, mark in points
            if np.isfinite(x) and np.isfinite(y) and _inside(plot, x, y)
        ]
    return [_text(plot.x(shape.x), plot.y(shape.y) + 5, shape.text, shape.ink, shape.anchor)]


def _inside(plot: _Plot, x: float, y: float) -> bool:
    return plot.x_axis.low <= x <= plot.x_axis.high and plot.y_axis.low <= y <= plot.y_axis.high


def _field(plot: _Plot, field: parts.Field) -> list[svg.Element]:
    columns, rows = _FIELD
    wide, high = (plot.right - plot.left) / columns, (plot.bottom - plot.top) / rows
    x = plot.x_axis.low + (np.arange(columns) + 0.5) / columns * (plot.x_axis.high - plot.x_axis.low)
    y = plot.y_axis.high - (np.arange(rows) + 0.5) / rows * (plot.y_axis.high - plot.y_axis.low)
    level = np.digitize(np.nan_to_num(field.at(x, y)), field.levels)
    found: list[svg.Element] = []
    for b, row in enumerate(level.T):
        starts = [0, *(np.flatnonzero(np.diff(row)) + 1).tolist()]
        for a, end in zip(starts, [*starts[1:], columns], strict=True):
            if row[a]:
                found.append(svg.Rect(x=round(plot.left + a * wide, 2), y=round(plot.top + b * high, 2),
                                      width=round((end - a) * wide + 0.3, 2), height=round(high + 0.3, 2),
                                      fill=_LEVELS[row[a] - 1]))  # fmt: skip
    return found


def _pieces(known: BoolArray) -> list[IntArray]:
    """Indices of the unbroken stretches of what is known (n,)."""
    pieces = np.split(np.arange(len(known)), np.flatnonzero(np.diff(known.astype(int))) + 1)
    return [piece for piece in pieces if len(piece) and known[piece[0]]]


def _band(plot: _Plot, band: parts.Band) -> list[svg.Element]:
    found: list[svg.Element] = []
    for piece in _pieces(np.isfinite(band.low) & np.isfinite(band.high)):
        x, low, high = (part[piece].tolist() for part in (band.x, band.low, band.high))
        edge = [*zip(x, high, strict=True), *zip(x[::-1], low[::-1], strict=True)]
        found.append(svg.Polygon(points=[svg.Point(plot.x(a), plot.y(b)) for a, b in edge], fill=_BAND))
    return found


def _line(plot: _Plot, line: parts.Line) -> list[svg.Element]:
    dashes = f"2 {3 * line.gap}" if line.gap > 1 else None
    return [
        svg.Polyline(
            points=[svg.Point(plot.x(float(line.x[i])), plot.y(float(line.y[i]))) for i in piece],
            fill="none", stroke=_COLOURS[line.ink], stroke_width=3 if line.thick else 1.6, stroke_linejoin="round",
            extra={"stroke-dasharray": dashes} if dashes else {},
        )
        for piece in _pieces(np.isfinite(line.x) & np.isfinite(line.y))
    ]  # fmt: skip


def _bars(plot: _Plot, bars: parts.Bars) -> list[svg.Element]:
    apart = abs(plot.y(0.0) - plot.y(1.0))
    found: list[svg.Element] = []
    for number, (at, low, high) in enumerate(zip(bars.at, bars.low, bars.high, strict=True)):
        left, right = sorted((plot.x(float(low)), plot.x(float(high))))
        y = plot.y(float(at))
        if bars.thin:
            found += [_rule(left, y, right, y), *(_rule(x, y - 4, x, y + 4) for x in (left, right))]
            continue
        found.append(svg.Rect(x=left, y=y - 0.3 * apart, width=max(right - left, 1.0), height=0.6 * apart,
                              fill=_COLOURS[bars.ink], fill_opacity=0.75))  # fmt: skip
        if number < len(bars.words):
            found.append(_text(right + 8, y + 5, bars.words[number], "ink", "start"))
    return found


def _frame(plot: _Plot, chart: Chart) -> list[svg.Element]:
    """Title, key, axes."""
    left, top, right, bottom = plot.left, plot.top, plot.right, plot.bottom
    found: list[svg.Element] = [_text(12.0, 22.0, chart.title, "ink", "start", 17)] if chart.title else []
    at, row = 12.0, 46.0 if chart.title else 22.0
    for shape, ink, words in chart.key:
        wide = 12.0 * len(shape) + _LETTER * len(words) + 26.0
        if at + wide > right + _RIGHT:
            at, row = 12.0, row + 20.0
        found += [_text(at, row, shape, ink, "start"), _text(at + 12.0 * len(shape) + 6, row, words, "quiet", "start")]
        at += wide
    found += [_rule(left, top, left, bottom), _rule(left, bottom, right, bottom)]
    for value, word in plot.y_axis.ticks(round((bottom - top) / _ROW)):
        if plot.y_axis.low <= value <= plot.y_axis.high:
            found += [_rule(left - 5, plot.y(value), left, plot.y(value)),
                      _text(left - 8, plot.y(value) + 5, word, "quiet", "end")]  # fmt: skip
    for value, word in plot.x_axis.ticks(round((right - left) / _TICK)):
        if plot.x_axis.low <= value <= plot.x_axis.high:
            found += [_rule(plot.x(value), bottom, plot.x(value), bottom + 5),
                      _text(plot.x(value), bottom + 20, word, "quiet", "middle")]  # fmt: skip
    found.append(_text(right, bottom + 38, chart.x.unit_said, "quiet", "end"))
    return [*found, _text(left + 6, top + 4, chart.y.unit_said, "quiet", "start")]


def _rule(x1: float, y1: float, x2: float, y2: float) -> svg.Element:
    return svg.Line(x1=x1, y1=y1, x2=x2, y2=y2, stroke=_COLOURS["rule"], stroke_width=1)


def _text(x: float, y: float, text: str, ink: Ink, anchor: str, size: int = 14) -> svg.Element:
    return svg.Text(x=x, y=y, text=html.escape(text), fill=_COLOURS[ink], font_size=size, extra={"text-anchor": anchor})
