"""What can be different about a robot as built: gear, exit angle, motors, or a size of the mechanism."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import partial

from fieldtune.frozen import frozen
from fieldtune.robot.model import Robot

_FIRST_PAIR = (24, 24)


@frozen
class Change:
    """One thing that can be different: how it reads, and the robot with it one step up or down."""

    name: str
    reading: Callable[[Robot], str]
    stepped: Callable[[Robot, int], Robot]


def changes_for(robot: Robot) -> list[Change]:
    """What can be varied on this robot; what its profile doesn't give isn't offered."""
    found = [Change("Exit angle", lambda r: f"{math.degrees(r.launcher.exit_angle):.1f}°", _angle)]
    if robot.drive is not None:
        found.append(Change("Motors", lambda r: str(r.drive.motors) if r.drive else "", _motors))
        found.insert(0, Change("Last gear", _gear_words, _gear))
    for number, variation in enumerate(robot.launcher.mechanism.variations()):
        found.append(Change(variation.name, partial(_part_words, number), partial(_part, number)))
    return found


def _part_words(number: int, robot: Robot) -> str:
    return robot.launcher.mechanism.variations()[number].reading


def _part(number: int, robot: Robot, by: int) -> Robot:
    """One size of the mechanism a step up or down."""
    mechanism = robot.launcher.mechanism.variations()[number].stepped(by)
    return replace(robot, launcher=replace(robot.launcher, mechanism=mechanism))


def _angle(robot: Robot, by: int) -> Robot:
    angle = min(math.radians(88), max(0.0, robot.launcher.exit_angle + math.radians(by)))
    return replace(robot, launcher=replace(robot.launcher, exit_angle=angle))


def _motors(robot: Robot, by: int) -> Robot:
    if robot.drive is None:
        return robot
    return replace(robot, drive=replace(robot.drive, motors=max(1, robot.drive.motors + by)))


def _gear_words(robot: Robot) -> str:
    if robot.drive is None:
        return ""
    return ":".join(str(teeth) for teeth in robot.drive.gears[-1]) if robot.drive.gears else "none, direct"


def _gear(robot: Robot, by: int) -> Robot:
    """The last driven gear a tooth larger or smaller; a direct drive gets a pair of gears to begin with."""
    if robot.drive is None:
        return robot
    *front, (driving, driven) = robot.drive.gears or (_FIRST_PAIR,)
    other = (*front, (driving, max(8, driven + by)))
    return replace(robot, drive=replace(robot.drive, gears=() if other == (_FIRST_PAIR,) else other))
