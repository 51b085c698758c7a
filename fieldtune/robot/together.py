"""Checks that need more than one table of a profile: whether launcher, target and floor go together."""

from __future__ import annotations

import math

from fieldtune.robot.findings import Findings
from fieldtune.robot.model import Floor, Launcher, Robot, Target

_FLAT = math.radians(10)
_LOW = 0.05


def check_together(robot: Robot, findings: Findings) -> None:
    """Notes what can't work, or is not computed as the profile has it."""
    for target in robot.targets:
        if target.on_floor:
            _check_floor(target, robot.floor, findings)
            _doubt_slide(robot, findings)
        else:
            _check_rise(target, robot.launcher, findings)


def _path(target: Target) -> str:
    return f"targets.{target.name}" if target.name else "target"


def _check_rise(target: Target, launcher: Launcher, findings: Findings) -> None:
    """An element that leaves level or downwards never gets above its exit."""
    if launcher.exit_angle <= 0 and target.height >= launcher.exit_height:
        found, least = f"{target.height:.2f} m", f"{launcher.exit_height:.2f} m"
        angle = math.degrees(launcher.exit_angle)
        findings.error(
            f"{_path(target)}.height",
            f"found {found}; expected less than exit_height, {least}, since the element leaves at {angle:.0f} deg",
        )


def _check_floor(target: Target, floor: Floor, findings: Findings) -> None:
    """Down a slope steeper than friction can hold, a sliding element never comes to rest."""
    if target.kind == "zone" and math.tan(floor.slope) <= -floor.friction:
        found, steepest = math.degrees(floor.slope), math.degrees(math.atan(floor.friction))
        findings.error(
            "floor.slope",
            f"found {found:.0f} deg; expected less than {steepest:.0f} deg down: with this friction nothing stops",
        )


def _doubt_slide(robot: Robot, findings: Findings) -> None:
    """Only sliding and rolling from the start is computed, no fall and no bounce on the way."""
    element, launcher = robot.element, robot.launcher
    lying = (element.height or element.diameter or 0.0) / 2
    if launcher.exit_angle > _FLAT or launcher.exit_height > lying + _LOW:
        key = "launcher.exit_angle" if launcher.exit_angle > _FLAT else "launcher.exit_height"
        words = "a target on the floor is computed as a slide from the exit on; a throw that lands first will differ"
        if not any(problem.key == key and problem.message == words for problem in findings.problems):
            findings.warn(key, words)
