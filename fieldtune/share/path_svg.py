"""The predicted path as a small picture to print: robot, target and element to scale, in ink that any copier keeps."""

from __future__ import annotations

import html
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import svg
from markupsafe import Markup

if TYPE_CHECKING:
    from fieldtune.aim.results import ArcPicture
    from fieldtune.robot.model import Robot, Target

WIDTH, HEIGHT = 62.0, 40.0
"""Size of a picture, millimetres on paper."""

_INK, _MID, _BAND = "#000", "#666", "#ccc"
_FLOOR = 4.5
"""Paper below the floor line, for the scale."""


@dataclass(frozen=True, slots=True)
class Scene:
    """What a picture shows; ``distance_m`` is the true one, the reading with its learned error taken off."""

    robot: Robot
    target: Target
    distance_m: float
    path: ArcPicture
    words: str


class _Paper:
    """Metres of the field to millimetres of the page, upright scale the same as along."""

    def __init__(self, left: float, right: float, low: float, high: float, height: float) -> None:
        self.scale = min(WIDTH / (right - left), (height - _FLOOR) / (high - low))
        self.left = left - (WIDTH / self.scale - (right - left)) / 2
        self.low, self.height = low, height

    def x(self, metres: float) -> float:
        return round((metres - self.left) * self.scale, 2)

    def y(self, metres: float) -> float:
        return round(self.height - _FLOOR - (metres - self.low) * self.scale, 2)

    def long(self, metres: float) -> float:
        return round(metres * self.scale, 2)


def picture(scene: Scene) -> Markup:
    """The picture as an ``svg`` element for an HTML page."""
    parts, height = scene.target.by_way(lambda: _seen_from_beside(scene), lambda: _seen_from_above(scene))
    drawn = svg.SVG(
        viewBox=svg.ViewBoxSpec(0, 0, WIDTH, height),
        class_=["arc"],
        elements=[svg.Title(text=html.escape(scene.words)), *parts],
        extra={"role": "img"},
    ).as_str()
    return inline(drawn)


def inline(drawn: str) -> Markup:
    """An ``svg`` element as HTML takes it: the name space is known there, and so is not named."""
    return Markup(drawn.replace(' xmlns="http://www.w3.org/2000/svg"', "", 1))


# -- flights ----------------------------------------------------------------------------------------------------------


def _seen_from_beside(scene: Scene) -> tuple[list[svg.Element], float]:
    robot, target, path = scene.robot, scene.target, scene.path
    radius = _radius(robot)
    behind = max(0.35, 0.2 - robot.outline.foot[0])
    depth = target.depth
    right = max(scene.distance_m + depth / 2 + 0.25, float(path.x[-1]))
    shown = np.isfinite(path.high_y)
    top = max(float(path.high_y[shown].max()), target.outline(scene.distance_m).top, robot.launcher.exit_height) + 0.12
    paper = _Paper(-behind, right, 0.0, top, HEIGHT)
    parts = [*_band(paper, path), *_scale(paper, scene.distance_m), *_goal(paper, scene)]
    x = np.append(path.x[path.x < scene.distance_m], scene.distance_m)  # ends at the target, not at a grid point
    y = np.interp(x, path.x, np.maximum(path.y, 0.0))
    points = [(paper.x(float(a)), paper.y(float(b))) for a, b in zip(x, y, strict=True) if np.isfinite(b)]
    if len(points) > 1:
        parts.append(_line(points, 0.6))
    parts += _launcher(paper, robot)
    for k in (0, len(points) - 1):
        if 0 <= k < len(points):
            cx, cy = points[k]
            parts.append(
                svg.Circle(cx=cx, cy=cy, r=max(paper.long(radius), 0.5), fill="#fff", stroke=_INK, stroke_width=0.35)
            )
    return parts, HEIGHT


def _band(paper: _Paper, path: ArcPicture) -> list[svg.Element]:
    """The band that holds 90 % of shots, above the floor."""
    low, high = np.maximum(path.low_y, 0.0), np.maximum(path.high_y, 0.0)
    edge = [*zip(path.x, high, strict=True), *zip(path.x[::-1], low[::-1], strict=True)]
    points = [(paper.x(float(x)), paper.y(float(y))) for x, y in edge]
    return [svg.Polygon(points=_flat(points), fill=_BAND, stroke=_MID, stroke_width=0.15)]


def _goal(paper: _Paper, scene: Scene) -> list[svg.Element]:
    """The target to scale: what is there thin, its opening's ends as dots."""
    shape = scene.target.outline(scene.distance_m)
    parts: list[svg.Element] = [_line([(paper.x(x), paper.y(y)) for x, y in line], 0.5) for line in shape.lines]
    return [*parts, *(svg.Circle(cx=paper.x(x), cy=paper.y(y), r=0.6, fill=_INK) for x, y in shape.marks)]


def _launcher(paper: _Paper, robot: Robot) -> list[svg.Element]:
    """The mechanism at the exit, to scale, on a plain post."""
    shape, base = robot.outline, 0.18
    foot = shape.foot
    post = [(paper.x(foot[0]), paper.y(max(foot[1], 0.0))), (paper.x(foot[0]), paper.y(0.0))]
    parts: list[svg.Element] = [_line(post, 0.8, _MID)]
    parts += [_line([(paper.x(x), paper.y(y)) for x, y in line], 0.8) for line in shape.lines]
    parts.append(_line([(paper.x(foot[0] - base), paper.y(0.0)), (paper.x(foot[0] + base), paper.y(0.0))], 1.4))
    for x, y, radius in shape.circles:
        size = max(paper.long(radius), 0.6)
        parts.append(svg.Circle(cx=paper.x(x), cy=paper.y(y), r=size, fill="#fff", stroke=_INK, stroke_width=0.5))
    return parts


# -- slides -----------------------------------------------------------------------------------------------------------


def _seen_from_above(scene: Scene) -> tuple[list[svg.Element], float]:
    robot, target, path = scene.robot, scene.target, scene.path
    radius, at, height = _radius(robot), scene.distance_m, 26.0
    depth, width = target.depth, target.opening[-1]
    end = float(path.x[-1])
    far = min(max(at + depth / 2, path.end_high_m or end, end) + 0.15, at * 1.6 + 0.5)
    half = max(width / 2, 0.15) + 0.05
    paper = _Paper(-0.3, far, -half, half, height)
    y0 = paper.y(0.0)
    parts: list[svg.Element] = []
    if path.end_low_m is not None and path.end_high_m is not None:
        low, high = path.end_low_m - radius, min(path.end_high_m, far) + radius
        parts.append(
            svg.Rect(
                x=paper.x(low), y=paper.y(radius), width=paper.long(high - low), height=paper.long(2 * radius),
                fill=_BAND, stroke=_MID, stroke_width=0.15,
            )
        )  # fmt: skip
    parts += _scale(paper, at, low=-half)
    parts.append(
        svg.Rect(
            x=paper.x(at - depth / 2), y=paper.y(width / 2), width=max(paper.long(depth), 0.3),
            height=paper.long(width), fill="none", stroke=_INK, stroke_width=0.7,
        )
    )  # fmt: skip
    parts.append(_line([(paper.x(0.0), y0), (paper.x(min(end, far)), y0)], 0.6))
    parts.append(
        svg.Rect(x=paper.x(-radius - 0.16), y=paper.y(0.06), width=paper.long(0.16), height=paper.long(0.12), fill=_INK)
    )
    for x in (0.0, min(end, far)):
        r = max(paper.long(radius), 0.6)
        parts.append(svg.Circle(cx=paper.x(x), cy=y0, r=r, fill="#fff", stroke=_INK, stroke_width=0.4))
    return parts, height


# -- both -------------------------------------------------------------------------------------------------------------


def _scale(paper: _Paper, at: float, low: float = 0.0) -> list[svg.Element]:
    """Floor line with a tick every metre (half a metre on a short field), and the distance under the target."""
    floor = paper.y(low)
    parts: list[svg.Element] = [_line([(0.0, floor), (WIDTH, floor)], 0.4)]
    step = next(step for step in (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0) if step * paper.scale >= 9)
    for k in range(int(at * 1.6 / step) + 1):
        x = paper.x(k * step)
        if 0 <= x <= WIDTH - 3:
            parts.append(_line([(x, floor), (x, floor + 1.2)], 0.3))
            parts.append(
                svg.Text(
                    x=x,
                    y=floor + 4.1,
                    text=f"{k * step:g} m" if k else "0",
                    font_size=3,
                    text_anchor="middle",
                    fill=_INK,
                )
            )
    parts.append(_line([(paper.x(at), floor), (paper.x(at), floor + 1.8)], 0.7))
    return parts


def _radius(robot: Robot) -> float:
    return robot.element.passing_size / 2


def _line(points: list[tuple[float, float]], width: float, colour: str = _INK) -> svg.Polyline:
    return svg.Polyline(points=_flat(points), fill="none", stroke=colour, stroke_width=width, stroke_linejoin="round")


def _flat(points: list[tuple[float, float]]) -> list[svg.Point]:
    return [svg.Point(x, y) for x, y in points]
