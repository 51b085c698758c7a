"""A scene as a small picture to print: to scale, in ink that any copier keeps."""

from __future__ import annotations

import html

import svg
from markupsafe import Markup

from fieldtune.frozen import frozen
from fieldtune.person_units import back, unit
from fieldtune.scene import Area, Circle, Line, Part, Scene

WIDTH, _HEIGHT, _HEIGHT_ABOVE = 62.0, 40.0, 26.0
"""Size of a picture from the side and from above, millimetres on paper."""
_FLOOR = 4.5
"""Paper below the floor line, for the distances, millimetres."""
_INK, _MID, _BAND = "#000", "#666", "#ccc"
_THICK: dict[Part, float] = {"robot": 0.5, "target": 0.6, "opening": 0.3, "path": 0.6, "element": 0.4, "ghost": 0.45}
"""Lines that are drawn, millimetres; the others are left to the band's own edge."""
_LEAST_RADIUS = 0.5


@frozen
class _Paper:
    """Metres of the field to millimetres of the page, upright scale the same as along."""

    left: float
    low: float
    scale: float
    height: float

    def x(self, metres: float) -> float:
        return round((metres - self.left) * self.scale, 2)

    def y(self, metres: float) -> float:
        return round(self.height - _FLOOR - (metres - self.low) * self.scale, 2)

    def point(self, x: float, y: float) -> svg.Point:
        return svg.Point(self.x(x), self.y(y))


def picture(scene: Scene, words: str) -> Markup:
    """The picture as an ``svg`` element for an HTML page; ``words`` say what it shows."""
    height = _HEIGHT_ABOVE if scene.from_above else _HEIGHT
    scale = min(WIDTH / (scene.right - scene.left), (height - _FLOOR) / (scene.high - scene.low))
    spare = WIDTH / scale - (scene.right - scene.left)
    paper = _Paper(scene.left - spare / 2, scene.low, scale, height)
    drawn = svg.SVG(
        viewBox=svg.ViewBoxSpec(0, 0, WIDTH, height),
        class_=["arc"],
        elements=[
            svg.Title(text=html.escape(words)),
            *(part for shape in scene.shapes for part in _drawn(paper, shape)),
            *_distances(paper, scene),
        ],
        extra={"role": "img"},
    ).as_str()
    return inline(drawn)


def inline(drawn: str) -> Markup:
    """An ``svg`` element as HTML takes it: the name space is known there, and so is not named."""
    return Markup(drawn.replace(' xmlns="http://www.w3.org/2000/svg"', "", 1))


def _drawn(paper: _Paper, shape: Line | Circle | Area) -> list[svg.Element]:
    if isinstance(shape, Area):
        return [_area(paper, shape)] if shape.part == "band" else []
    thick = _THICK.get(shape.part)
    if thick is None:
        return []
    if isinstance(shape, Circle):
        radius = max(round(shape.radius * paper.scale, 2), _LEAST_RADIUS)
        return [svg.Circle(cx=paper.x(shape.x), cy=paper.y(shape.y), r=radius, fill="#fff", stroke=_INK,
                           stroke_width=thick)]  # fmt: skip
    points = [paper.point(x, y) for x, y in zip(shape.x.tolist(), shape.y.tolist(), strict=True)]
    dotted = {"opening": svg.Length(1, "px"), "ghost": svg.Length(2, "px")}.get(shape.part)
    return [svg.Polyline(points=points, fill="none", stroke=_INK, stroke_width=thick, stroke_linejoin="round",
                         stroke_dasharray=dotted)]  # fmt: skip


def _area(paper: _Paper, shape: Area) -> svg.Element:
    x, low, high = shape.x.tolist(), shape.low.tolist(), shape.high.tolist()
    edge = [*zip(x, high, strict=True), *zip(x[::-1], low[::-1], strict=True)]
    return svg.Polygon(points=[paper.point(*at) for at in edge], fill=_BAND, stroke=_MID, stroke_width=0.15)


def _distances(paper: _Paper, scene: Scene) -> list[svg.Element]:
    """Floor line with a tick every metre or foot (half of one on a short field), and a long one under the target."""
    floor, at = paper.y(scene.low), scene.distance_m
    parts = [_line(0.0, floor, WIDTH, floor, 0.4)]
    one = back(1.0, "m")
    step = next((step for step in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0) if step * one * paper.scale >= 9), 100.0)
    for k in range(int(scene.right / (step * one)) + 1):
        x = paper.x(k * step * one)
        if 0 <= x <= WIDTH - 3:
            parts.append(_line(x, floor, x, floor + 1.2, 0.3))
            text = f"{k * step:g} {unit('m')}" if k else "0"
            parts.append(svg.Text(x=x, y=floor + 4.1, text=text, font_size=3, text_anchor="middle", fill=_INK))
    if at is not None:
        parts.append(_line(paper.x(at), floor, paper.x(at), floor + 1.8, 0.7))
    return parts


def _line(x1: float, y1: float, x2: float, y2: float, thick: float) -> svg.Element:
    return svg.Line(x1=x1, y1=y1, x2=x2, y2=y2, stroke=_INK, stroke_width=thick)
