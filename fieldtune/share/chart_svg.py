"""A chart or a scene as a picture file of its own: the same shapes that the console draws, in SVG on white paper."""

from __future__ import annotations

import html
from dataclasses import dataclass

import numpy as np
import svg

from fieldtune.charts import chart as parts
from fieldtune.charts.chart import Axis, Chart, Ink
from fieldtune.scene import Scene
from fieldtune.share import path_svg

WIDTH, HEIGHT = 960.0, 600.0
_LEFT, _TOP, _RIGHT, _BOTTOM = 130.0, 64.0, 24.0, 44.0
_FONT = "DejaVu Sans, Arial, sans-serif"
# Dark on white: each at 7:1 or more, as in the console's theme for sunlight.
_COLOURS: dict[Ink, str] = {
    "rule": "#444444", "quiet": "#303030", "mark": "#00005f", "ink": "#000000", "good": "#005f00", "bad": "#870000",
    "path": "#000000", "act": "#00005f",
}  # fmt: skip
_BAND = "#bcd7f0"
_LEVELS = ("#f4f4f4", "#e2e2e2", "#cfcfcf", "#bbbbbb", "#a9dba9", "#7cc47c")
_FIELD = (120, 80)
"""Columns and rows of rectangles that a field is drawn with."""


@dataclass(frozen=True, slots=True)
class _Plot:
    """Values to the picture's units."""

    x_axis: Axis
    y_axis: Axis

    def x(self, value: float) -> float:
        share = (value - self.x_axis.low) / (self.x_axis.high - self.x_axis.low)
        return round(_LEFT + share * (WIDTH - _LEFT - _RIGHT), 2)

    def y(self, value: float) -> float:
        share = (value - self.y_axis.low) / (self.y_axis.high - self.y_axis.low)
        return round(HEIGHT - _BOTTOM - share * (HEIGHT - _TOP - _BOTTOM), 2)


def picture_file(picture: Chart | Scene, words: str) -> str:
    """The text of an SVG file; ``words`` say what it shows."""
    if isinstance(picture, Scene):
        drawn = str(path_svg.picture(picture, words))
        return drawn.replace("<svg ", '<svg xmlns="http://www.w3.org/2000/svg" width="1240" ', 1)
    return chart_svg(picture, words)


def chart_svg(chart: Chart, words: str) -> str:
    """A chart as SVG: fields and bands at the back, then lines, bars, marks and words; axes with round numbers."""
    plot = _Plot(*_one_scale(chart))
    elements: list[svg.Element] = [
        svg.Title(text=html.escape(words)),
        svg.Rect(width=WIDTH, height=HEIGHT, fill="#fff"),
    ]
    for shape in chart.shapes:
        elements += _drawn(plot, shape)
    elements += _frame(plot, chart)
    return svg.SVG(
        viewBox=svg.ViewBoxSpec(0, 0, WIDTH, HEIGHT), width=WIDTH, height=HEIGHT, elements=elements,
        extra={"role": "img", "font-family": _FONT},
    ).as_str()  # fmt: skip


def _one_scale(chart: Chart) -> tuple[Axis, Axis]:
    x, y = chart.x, chart.y
    if not chart.same_scale:
        return x, y
    wide, high = WIDTH - _LEFT - _RIGHT, HEIGHT - _TOP - _BOTTOM
    scale = max((x.high - x.low) / wide, (y.high - y.low) / high)
    return x.widened(scale * wide), y.widened(scale * high)


def _drawn(plot: _Plot, shape: parts.Shape) -> list[svg.Element]:
    if isinstance(shape, parts.Field):
        return _field(plot, shape)
    if isinstance(shape, parts.Band):
        known = np.isfinite(shape.low) & np.isfinite(shape.high)
        x, low, high = (part[known].tolist() for part in (shape.x, shape.low, shape.high))
        edge = [*zip(x, high, strict=True), *zip(x[::-1], low[::-1], strict=True)]
        return [svg.Polygon(points=[svg.Point(plot.x(a), plot.y(b)) for a, b in edge], fill=_BAND)] if edge else []
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
    wide, high = (WIDTH - _LEFT - _RIGHT) / columns, (HEIGHT - _TOP - _BOTTOM) / rows
    x = plot.x_axis.low + (np.arange(columns) + 0.5) / columns * (plot.x_axis.high - plot.x_axis.low)
    y = plot.y_axis.high - (np.arange(rows) + 0.5) / rows * (plot.y_axis.high - plot.y_axis.low)
    level = np.digitize(np.nan_to_num(field.at(x, y)), field.levels)
    return [
        svg.Rect(x=round(_LEFT + a * wide, 2), y=round(_TOP + b * high, 2), width=round(wide + 0.3, 2),
                 height=round(high + 0.3, 2), fill=_LEVELS[level[a, b] - 1])
        for a, b in zip(*np.nonzero(level), strict=True)
    ]  # fmt: skip


def _line(plot: _Plot, line: parts.Line) -> list[svg.Element]:
    known = np.isfinite(line.x) & np.isfinite(line.y)
    pieces = np.split(np.arange(len(known)), np.flatnonzero(np.diff(known.astype(int))) + 1)
    dashes = f"2 {3 * line.gap}" if line.gap > 1 else None
    return [
        svg.Polyline(
            points=[svg.Point(plot.x(float(line.x[i])), plot.y(float(line.y[i]))) for i in piece],
            fill="none", stroke=_COLOURS[line.ink], stroke_width=3 if line.thick else 1.6, stroke_linejoin="round",
            extra={"stroke-dasharray": dashes} if dashes else {},
        )
        for piece in pieces
        if len(piece) and known[piece[0]]
    ]  # fmt: skip


def _bars(plot: _Plot, bars: parts.Bars) -> list[svg.Element]:
    apart = abs(plot.y(0.0) - plot.y(1.0))
    found: list[svg.Element] = []
    for number, (at, low, high) in enumerate(zip(bars.at, bars.low, bars.high, strict=True)):
        left, right = sorted((plot.x(float(low)), plot.x(float(high))))
        y = plot.y(float(at))
        found.append(svg.Rect(x=left, y=y - 0.3 * apart, width=max(right - left, 1.0), height=0.6 * apart,
                              fill=_COLOURS[bars.ink], fill_opacity=0.75))  # fmt: skip
        if number < len(bars.words):
            found.append(_text(right + 8, y + 5, bars.words[number], "ink", "start"))
    return found


def _frame(plot: _Plot, chart: Chart) -> list[svg.Element]:
    """Title, key, axes."""
    bottom = HEIGHT - _BOTTOM
    found: list[svg.Element] = [_text(12.0, 22.0, chart.title, "ink", "start", 17)]
    at = 12.0
    for shape, ink, words in chart.key:
        found += [
            _text(at, 46.0, shape, ink, "start"),
            _text(at + 12.0 * len(shape) + 6, 46.0, words, "quiet", "start"),
        ]
        at += 12.0 * len(shape) + 8.0 * len(words) + 26.0
    found += [_rule(_LEFT, _TOP, _LEFT, bottom), _rule(_LEFT, bottom, WIDTH - _RIGHT, bottom)]
    for value, word in plot.y_axis.ticks(10):
        if plot.y_axis.low <= value <= plot.y_axis.high:
            found += [_rule(_LEFT - 5, plot.y(value), _LEFT, plot.y(value)),
                      _text(_LEFT - 8, plot.y(value) + 5, word, "quiet", "end")]  # fmt: skip
    for value, word in plot.x_axis.ticks(10):
        if plot.x_axis.low <= value <= plot.x_axis.high:
            found += [_rule(plot.x(value), bottom, plot.x(value), bottom + 5),
                      _text(plot.x(value), bottom + 20, word, "quiet", "middle")]  # fmt: skip
    found.append(_text(WIDTH - _RIGHT, bottom + 38, chart.x.unit_said, "quiet", "end"))
    return [*found, _text(_LEFT + 6, _TOP + 4, chart.y.unit_said, "quiet", "start")]


def _rule(x1: float, y1: float, x2: float, y2: float) -> svg.Element:
    return svg.Line(x1=x1, y1=y1, x2=x2, y2=y2, stroke=_COLOURS["rule"], stroke_width=1)


def _text(x: float, y: float, text: str, ink: Ink, anchor: str, size: int = 14) -> svg.Element:
    return svg.Text(x=x, y=y, text=html.escape(text), fill=_COLOURS[ink], font_size=size, extra={"text-anchor": anchor})
