"""Checks that need more than one table of a profile: whether launcher, target and floor go together."""

from __future__ import annotations

import math

from fieldtune.robot.findings import Findings
from fieldtune.robot.model import Element, Floor, Launcher, Robot, Target


def check_together(robot: Robot, findings: Findings) -> None:
    """Notes what can't work, or is not computed as the profile has it."""
    for target in robot.targets:
        if target.on_floor:
            _check_floor(target, robot.element, robot.floor, findings)
            _doubt_bounce(robot, findings)
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


def _check_floor(target: Target, element: Element, floor: Floor, findings: Findings) -> None:
    """On a slope steeper than friction, or a ball's rolling resistance, can hold, nothing comes to rest."""
    holds, name = (floor.rolling, "rolling resistance") if element.shape == "sphere" else (floor.friction, "friction")
    if target.kind != "zone" or not abs(math.tan(floor.slope)) >= holds:
        return
    found, steepest = f"found {math.degrees(floor.slope):.3g} deg", math.degrees(math.atan(holds))
    if floor.slope < 0:
        words = f"{found}; expected less than {steepest:.1f} deg down: with this {name} nothing stops"
        findings.error("floor.slope", words)
    elif element.shape == "sphere":
        words = f"{found}; expected less than {steepest:.1f} deg up: with this {name} the ball rolls back"
        findings.error("floor.slope", words)
    else:
        findings.warn("floor.slope", f"{found} up, where the element may slide back once it has stopped")


def _doubt_bounce(robot: Robot, findings: Findings) -> None:
    """A throw that lands before it slides is computed, but bounces are known roughly at best."""
    if robot.lands_first and robot.floor.restitution is None and not findings.noted("floor.restitution"):
        findings.warn(
            "floor.restitution",
            "not given; the element lands before it slides: drop it, and take the root of rebound over drop height",
        )
