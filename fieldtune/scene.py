"""The picture of a shot in metres: robot, target, path and band as lines, circles and areas, to be drawn by anything.

Seen from the side for what flies (x along the range from the exit, y above the floor), from above for what slides (y
across the lane). The console draws it in braille dots, the pit sheet as SVG.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import numpy as np

from fieldtune.aim.results import ArcPicture
from fieldtune.arrays import FloatArray
from fieldtune.frozen import frozen
from fieldtune.robot.launchers import Point
from fieldtune.robot.model import Robot
from fieldtune.robot.targets import Target

Part = Literal["filled", "filled well", "band", "robot", "target", "opening", "edge", "ghost", "now", "path", "element"]
"""What a shape belongs to. ``filled``: the target as far as the hit chance goes, ``filled well`` where that is good;
``edge``: of the band; ``ghost``: the last shot's path; ``now``: at the present speed."""

GOOD_CHANCE = 0.65
"""From this hit chance on a target is filled in the colour of what is good."""

_GROUND_WHEEL = 0.03
"""Radius (m) of the robot's own wheels: for the picture only, no profile gives it."""


@frozen
class Line:
    """A line through points, shapes (n,), metres."""

    part: Part
    x: FloatArray
    y: FloatArray


@frozen
class Circle:
    """A circle, metres; one without radius is a mark that is drawn as small as can be seen."""

    part: Part
    x: float
    y: float
    radius: float


@frozen
class Area:
    """What lies between ``low`` and ``high`` over ``x``, shapes (n,), metres."""

    part: Part
    x: FloatArray
    low: FloatArray
    high: FloatArray


@frozen
class Scene:
    """Shapes, the rear ones first, and the box (m) that holds all of them that matters.

    ``speeds``: (x, speed) of a slide, m and m/s, to be drawn below it. ``note``: words to the right of a point (m).
    """

    shapes: tuple[Line | Circle | Area, ...]
    left: float
    right: float
    low: float
    high: float
    distance_m: float | None
    from_above: bool
    speeds: tuple[FloatArray, FloatArray] | None = None
    note: tuple[float, float, str] | None = None


def scene(
    robot: Robot,
    target: Target,
    distance_m: float | None,
    picture: ArcPicture | None = None,
    now: ArcPicture | None = None,
    flown: float | None = None,
    *,
    chance: float | None = None,
    ghost: ArcPicture | None = None,
) -> Scene:
    """The scene of a shot from ``distance_m``, as far as it is known.

    ``now``: the path at the wheel's present speed; ``flown``: how much of its way (0 to 1) the element has gone;
    ``chance``: hit chance, to which the target is filled; ``ghost``: the path of the last shot.
    """
    shot = _Shot(distance_m, picture, now, flown, chance, ghost)
    return target.by_way(lambda: _from_beside(robot, target, shot), lambda: _from_above(robot, target, shot))


@frozen
class _Shot:
    """What is known of a shot; as ``scene`` takes it."""

    distance_m: float | None
    picture: ArcPicture | None
    now: ArcPicture | None
    flown: float | None
    chance: float | None
    ghost: ArcPicture | None


def body_length(robot: Robot) -> float:
    """Length in metres of the box that stands for the robot: a profile doesn't give one."""
    return min(0.6, max(0.25, 0.9 * robot.launcher.exit_height))


def _line(part: Part, points: tuple[Point, ...]) -> Line:
    x, y = np.array(points).T
    return Line(part, x, y)


def _box(part: Part, left: float, right: float, low: float, high: float) -> Line:
    return _line(part, ((left, low), (right, low), (right, high), (left, high), (left, low)))


def _filled(part: Part, left: float, right: float, low: float, high: float) -> Area:
    return Area(part, np.array([left, right]), np.full(2, low), np.full(2, high))


# -- flights ----------------------------------------------------------------------------------------------------------


def _from_beside(robot: Robot, target: Target, shot: _Shot) -> Scene:
    distance_m, picture, now, flown = shot.distance_m, shot.picture, shot.now, shot.flown
    shapes: list[Line | Circle | Area] = []
    if picture is not None and len(picture.x) > 1:
        shapes += _band(picture)
    shapes += _robot_from_beside(robot)
    if distance_m is not None:
        shapes += _up_to_chance(target.outline(distance_m).free, shot.chance, 0.7)
        shapes += [_line("target", line) for line in target.outline(distance_m).lines]
        shapes += [_line("opening", line) for line in target.outline(distance_m).edges]
    if shot.ghost is not None:
        shapes.append(Line("ghost", *_until_it_ends(shot.ghost, target, distance_m)))
    if now is not None:
        shapes.append(Line("now", *_until_it_ends(now, target, distance_m)))
    if picture is not None and len(picture.x) > 1:
        x, y = _until_it_ends(picture, target, distance_m)
        shapes.append(Line("path", x, y))
        if flown is not None and len(x):
            at = x[0] + min(flown, 1.0) * (x[-1] - x[0])
            shapes.append(Circle("element", float(at), float(np.interp(at, x, y)), robot.element.passing_size / 2))
    reach = distance_m or 1.0
    back = max(body_length(robot) - robot.outline.front + 0.05, 0.08)
    right = reach + max(target.opening) / 2 + 0.15
    top, note = _top(robot, target, reach, picture, now), None
    if distance_m is not None and shot.chance is not None:
        note = (distance_m, target.outline(distance_m).free[2] / 2, f"{100 * shot.chance:.0f} %")
    return Scene(tuple(shapes), -back, right, 0.0, top, distance_m, False, note=note)


def _top(robot: Robot, target: Target, reach: float, picture: ArcPicture | None, now: ArcPicture | None) -> float:
    """Height that is to be seen: all but what flies far above everything else."""
    top = max(robot.launcher.exit_height + 0.15, target.outline(reach).top + 0.1)
    most = 6 * top
    for path in (picture, now):
        if path is not None:
            top = max(top, min(_highest(path.y), most) + 0.1)
    return top if picture is None else max(top, min(_highest(picture.high_y), 1.3 * top) + 0.05)


def _highest(heights: FloatArray) -> float:
    finite = heights[np.isfinite(heights)]
    return float(finite.max()) if len(finite) else 0.0


def _band(picture: ArcPicture) -> Iterator[Line | Area]:
    """Where 90 % of paths run, above the floor, and its edges."""
    known = np.isfinite(picture.low_y) & np.isfinite(picture.high_y) & (picture.high_y > 0)
    yield Area("band", picture.x[known], np.maximum(picture.low_y[known], 0.0), picture.high_y[known])
    for edge in (picture.low_y, picture.high_y):
        seen = np.isfinite(edge) & (edge >= 0)
        yield Line("edge", picture.x[seen], edge[seen])


def _robot_from_beside(robot: Robot) -> Iterator[Line | Circle]:
    """A box on two ground wheels, and the launcher at its exit."""
    length, shape = body_length(robot), robot.outline
    low, front = min(0.04, 0.3 * robot.launcher.exit_height), shape.front
    yield _box("robot", front - length + 0.03, front, low, shape.top)
    for x in (front - 0.82 * length, front - 0.15 * length):
        yield Circle("robot", x, low / 2 + 0.02, _GROUND_WHEEL)
    for line in shape.lines:
        yield _line("robot", line)
    for x, y, radius in shape.circles:
        yield Circle("robot", x, y, radius)


def _until_it_ends(picture: ArcPicture, target: Target, distance_m: float | None) -> tuple[FloatArray, FloatArray]:
    """The mean path up to where it drops into the basket, passes or meets the window's wall, or meets the floor."""
    x, y = picture.x, picture.y
    gone = ~np.isfinite(y) | (y < 0)
    if distance_m is not None:
        gone |= target.beyond(distance_m, x, y)
    end = int(np.argmax(gone)) if gone.any() else len(x)
    return x[:end], y[:end]


# -- slides -----------------------------------------------------------------------------------------------------------


def _from_above(robot: Robot, target: Target, shot: _Shot) -> Scene:
    distance_m, picture, now, flown = shot.distance_m, shot.picture, shot.now, shot.flown
    length, radius, reach = body_length(robot), robot.element.extent / 2, distance_m or 1.0
    far = 1.5 * reach + 0.5
    right = reach + target.depth / 2 + 0.15
    shapes: list[Line | Circle | Area] = []
    if distance_m is not None:
        shapes += _target_from_above(target, distance_m, shot.chance)
    if picture is not None and picture.end_low_m is not None and picture.end_high_m is not None:
        last = min(picture.end_high_m, far)
        right = max(right, last + 0.1)
        shapes.append(_filled("band", picture.end_low_m - radius, last + radius, -radius, radius))
        for end in (picture.end_low_m, picture.end_high_m):
            shapes.append(_line("edge", ((end, -1.6 * radius), (end, 1.6 * radius))))
    shapes.append(_box("robot", -length, -0.01, -length / 2, length / 2))
    shapes += [_line("robot", ((-0.5 * length, side), (-0.01, side))) for side in (radius, -radius)]
    if shot.ghost is not None and len(shot.ghost.x) > 1:
        shapes.append(Circle("ghost", float(shot.ghost.x[-1]), 0.0, radius))
    if now is not None and len(now.x) > 1:
        shapes.append(Circle("now", float(now.x[-1]), 0.0, radius))
    if picture is not None and len(picture.x) > 1:
        first, end = float(picture.x[0]), float(picture.x[-1])
        gone = 1.0 if flown is None else min(flown, 1.0)
        shapes.append(_line("path", ((first, 0.0), (end, 0.0))))
        shapes.append(Circle("element", first + gone * (end - first), 0.0, radius))
    half = (max(target.width, length) + 0.1) / 2
    speeds = (picture.x, picture.speed) if picture is not None and len(picture.x) > 1 else None
    note = None
    if distance_m is not None and shot.chance is not None:
        note = (target.outline(distance_m).free[1], half, f"{100 * shot.chance:.0f} %")
    return Scene(tuple(shapes), -length - 0.06, right, -half, half, distance_m, True, speeds, note)


def _up_to_chance(free: tuple[float, float, float, float], chance: float | None, within: float = 1.0) -> Iterator[Area]:
    """The opening (left, right, low, high) filled from below as far as the chance, ``within`` a share of its width."""
    if chance is not None and chance > 0:
        left, right, low, high = free
        middle, half = (left + right) / 2, within * (right - left) / 2
        part: Part = "filled well" if chance >= GOOD_CHANCE else "filled"
        yield _filled(part, middle - half, middle + half, low, low + min(chance, 1.0) * (high - low))


def _target_from_above(target: Target, distance_m: float, chance: float | None) -> Iterator[Line | Circle | Area]:
    shape = target.outline(distance_m)
    if target.depth:
        yield from _up_to_chance(shape.free, chance)
    for line in shape.lines:
        yield _line("target", line)
    for line in shape.edges:
        yield _line("opening", line)
    for x, y in shape.marks:
        yield Circle("target", x, y, 0.0)
