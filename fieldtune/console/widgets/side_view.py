"""The side view of a throw: floor, robot, target and path, all to one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.console.widgets.braille import Canvas, View

if TYPE_CHECKING:
    from fieldtune.aim.results import ArcPicture
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot, Target

FLOOR, ROBOT, TARGET, EDGE, NOW, PATH, ELEMENT = 1, 2, 3, 4, 5, 6, 7
BAND, FREE = 1, 2
"""Tints: where 90 % of paths run, and the opening that has to be met."""


@dataclass(frozen=True, slots=True)
class Scene:
    """What there is to draw. ``now`` is the path at the wheel's present speed; ``flown`` (0..1) moves the element."""

    robot: Robot
    target: Target
    distance_m: float | None
    picture: ArcPicture | None = None
    now: ArcPicture | None = None
    flown: float | None = None


def body_length(robot: Robot) -> float:
    """Length in metres of the box that stands for the robot: a profile doesn't give one."""
    return min(0.6, max(0.25, 0.9 * robot.launcher.exit_height))


def frame(scene: Scene, rows: int, columns: int) -> View:
    """The scale at which everything fits, floor at the bottom, one scale for both axes."""
    robot, target = scene.robot, scene.target
    back = max(body_length(robot) - robot.outline.front + 0.05, 0.08)
    distance = scene.distance_m or 1.0
    right = distance + max(target.opening) / 2 + 0.15
    top = max(robot.launcher.exit_height + 0.15, target.outline(distance).top + 0.1)
    most = 6 * top
    for picture in (scene.picture, scene.now):
        if picture is not None:
            top = max(top, min(_highest(picture.y), most) + 0.1)
    if scene.picture is not None:
        top = max(top, min(_highest(scene.picture.high_y), 1.3 * top) + 0.05)
    dot_rows, dot_columns = 4 * rows, 2 * columns
    scale = min((dot_columns - 1) / (back + right), (dot_rows - 6) / top)
    spare = (dot_columns - 1) / scale - (back + right)
    return View(-back - spare / 2, -4.5 / scale, scale, dot_rows)


def _highest(heights: FloatArray) -> float:
    finite = heights[np.isfinite(heights)]
    return float(finite.max()) if len(finite) else 0.0


def draw_flight(scene: Scene, rows: int, columns: int) -> Canvas:
    """The whole picture for a basket or a window, ``rows`` x ``columns`` cells."""
    canvas = Canvas(rows, columns)
    view = frame(scene, rows, columns)
    _floor(canvas, view)
    _robot(canvas, view, scene.robot)
    if scene.distance_m is not None:
        _target(canvas, view, scene.target, scene.distance_m)
    if scene.now is not None:
        x, y = _until_it_ends(scene.now, scene)
        canvas.line(NOW, view.column(x), view.row(y), gap=3)
    if scene.picture is not None:
        _path(canvas, view, scene)
    return canvas


def _floor(canvas: Canvas, view: View) -> None:
    """Floor line with a tick each metre from the exit, and the distance written at some of them."""
    right = view.left_m + 2 * canvas.columns / view.dots_per_m
    canvas.line(FLOOR, np.array([0.0, 2.0 * canvas.columns]), view.row(np.zeros(2)))
    every = next((step for step in (0.5, 1, 2, 5, 10, 20, 50) if step * view.dots_per_m >= 16), 100.0)
    for metres in np.arange(0.0, right, every):
        column = float(view.column(metres))
        canvas.line(FLOOR, np.array([column, column]), view.row(0.0) + np.array([0.0, 2.0]))
        text = f"{metres:g} m"
        if column / 2 + len(text) < canvas.columns:
            canvas.write(canvas.rows - 1, int(column / 2) + 1, text, FLOOR)


def _robot(canvas: Canvas, view: View, robot: Robot) -> None:
    """A box on two ground wheels, and the launcher at its exit."""
    launcher, length, shape = robot.launcher, body_length(robot), robot.outline
    low, front = min(0.04, 0.3 * launcher.exit_height), shape.front
    box_x = front - np.array([length - 0.03, 0.0, 0.0, length - 0.03, length - 0.03])
    canvas.line(ROBOT, view.column(box_x), view.row(np.array([low, low, shape.top, shape.top, low])))
    for x in (front - 0.82 * length, front - 0.15 * length):
        canvas.circle(ROBOT, float(view.column(x)), float(view.row(low / 2 + 0.02)), 0.03 * view.dots_per_m)
    for line in shape.lines:
        _polyline(canvas, view, ROBOT, line)
    for x, y, radius in shape.circles:
        canvas.circle(ROBOT, float(view.column(x)), float(view.row(y)), max(1.5, radius * view.dots_per_m))


def _polyline(canvas: Canvas, view: View, layer: int, points: Sequence[tuple[float, float]], gap: int = 1) -> None:
    x, y = np.array(points).T
    canvas.line(layer, view.column(x), view.row(y), gap=gap)


def _target(canvas: Canvas, view: View, target: Target, distance: float) -> None:
    shape = target.outline(distance)
    for line in shape.lines:
        _polyline(canvas, view, TARGET, line)
    for line in shape.edges:
        _polyline(canvas, view, TARGET, line, gap=3 if len(shape.edges) == 1 else 1)
    _tint(canvas, view, *shape.free, FREE)


def _tint(canvas: Canvas, view: View, left: float, right: float, low: float, high: float, tint: int) -> None:
    c0, c1 = np.rint(view.column(np.array([left, right])) / 2).astype(int)
    r0, r1 = np.rint(view.row(np.array([high, low])) / 4).astype(int)
    canvas.tint[max(r0, 0) : max(r1, r0 + 1, 0), max(c0, 0) : max(c1, c0 + 1, 0)] = tint


def _path(canvas: Canvas, view: View, scene: Scene) -> None:
    """Band behind, its edges dotted (a shape beside the tint), mean path in full, and the flying element."""
    picture = scene.picture
    if picture is None or len(picture.x) < 2:
        return
    _band(canvas, view, picture)
    for edge in (picture.low_y, picture.high_y):
        seen = np.isfinite(edge) & (edge >= 0)
        canvas.line(EDGE, view.column(picture.x[seen]), view.row(edge[seen]), gap=5)
    path_x, path_y = _until_it_ends(picture, scene)
    canvas.line(PATH, view.column(path_x), view.row(path_y))
    if scene.flown is not None and len(path_x):
        x = path_x[0] + min(scene.flown, 1.0) * (path_x[-1] - path_x[0])
        y = float(np.interp(x, path_x, path_y))
        radius = max(1.5, scene.robot.element.passing_size / 2 * view.dots_per_m)
        canvas.circle(ELEMENT, float(view.column(x)), float(view.row(y)), radius)
        canvas.circle(ELEMENT, float(view.column(x)), float(view.row(y)), radius / 2)


def _until_it_ends(picture: ArcPicture, scene: Scene) -> tuple[FloatArray, FloatArray]:
    """The mean path up to where it drops into the basket, passes or meets the window's wall, or meets the floor."""
    x, y = picture.x, picture.y
    gone = ~np.isfinite(y) | (y < 0)
    target, distance = scene.target, scene.distance_m
    if distance is not None:
        gone |= target.beyond(distance, x, y)
    end = int(np.argmax(gone)) if gone.any() else len(x)
    return x[:end], y[:end]


def _band(canvas: Canvas, view: View, picture: ArcPicture) -> None:
    """Tint every cell whose middle lies between the band's edges, and at least one a column."""
    centres = view.left_m + (2 * np.arange(canvas.columns) + 0.5) / view.dots_per_m
    low = np.interp(centres, picture.x, np.maximum(picture.low_y, 0.0), left=np.nan, right=np.nan)
    high = np.interp(centres, picture.x, picture.high_y, left=np.nan, right=np.nan)
    known = np.isfinite(low) & np.isfinite(high) & (high > 0)
    top = np.where(known, view.row(np.nan_to_num(high)) / 4, 1e6)
    bottom = np.where(known, view.row(np.nan_to_num(low)) / 4, -1e6)
    cell = np.arange(canvas.rows)[:, None]
    canvas.tint[(cell >= np.floor(top)) & (cell <= np.floor(bottom))] = BAND
