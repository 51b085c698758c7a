"""What can be different about a robot in the sizes view: one thing at a time, a step up or down."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

from fieldtune.robot.model import Robot

_FIRST_PAIR = (24, 24)


@dataclass(frozen=True, slots=True)
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
    if robot.launcher.flywheel is not None:
        found.append(Change("Wheel diameter", _wheel_words, _wheel))
    if _spring_rate(robot) is not None:
        found.append(Change("Spring rate", lambda r: f"{(_spring_rate(r) or 0) / 1000:.3f} N/mm", _spring))
    return found


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


def _wheel_words(robot: Robot) -> str:
    wheel = robot.launcher.flywheel
    return "" if wheel is None else f"{1000 * wheel.wheel_diameter:.0f} mm"


def _wheel(robot: Robot, by: int) -> Robot:
    wheel = robot.launcher.flywheel
    if wheel is None:
        return robot
    larger = replace(wheel, wheel_diameter=max(0.01, wheel.wheel_diameter + 0.002 * by))
    return replace(robot, launcher=replace(robot.launcher, flywheel=larger))


def _spring_rate(robot: Robot) -> float | None:
    launcher = robot.launcher
    if launcher.striker is not None:
        return launcher.striker.spring_rate
    return None if launcher.arm is None else launcher.arm.spring_rate


def _spring(robot: Robot, by: int) -> Robot:
    launcher, rate = robot.launcher, (_spring_rate(robot) or 0.0) * 1.05**by
    if launcher.striker is not None:
        launcher = replace(launcher, striker=replace(launcher.striker, spring_rate=rate))
    elif launcher.arm is not None:
        launcher = replace(launcher, arm=replace(launcher.arm, spring_rate=rate))
    return replace(robot, launcher=launcher)
