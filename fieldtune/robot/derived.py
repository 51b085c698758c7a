"""Figures that follow from a profile alone: what a person can hold against the real robot before the first shot."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldtune.constants import RPM
from fieldtune.units import feet_inches

if TYPE_CHECKING:
    from fieldtune.robot.model import Element, Robot


def derived_lines(robot: Robot) -> tuple[str, ...]:
    """Lines of text, one figure each; figures that the profile doesn't give are left out."""
    lines = [*_element(robot.element), *_drive(robot), *robot.launcher.mechanism.derived_lines(robot.drive)]
    for target in robot.targets:
        name = f"target {target.name}" if target.name else "target"
        lines += [f"{name}: {words}" for words in target.room_lines(robot.element)]
    lines += [f"spot {spot.name}: {spot.distance:.2f} m ({feet_inches(spot.distance)})" for spot in robot.spots]
    return tuple(lines)


def no_load_wheel_rpm(robot: Robot) -> float | None:
    """Speed (rpm) of wheel, crank or arm without load at nominal voltage; ``None`` without a drive."""
    drive = robot.drive
    return None if drive is None else drive.no_load_output / RPM


def _element(element: Element) -> list[str]:
    return [
        f"element: mean density {element.density / 1000:.2g} g/cm^3 (water 1, wood 0.4 to 0.8, soft foam 0.02 to 0.4)"
    ]


def _drive(robot: Robot) -> list[str]:
    drive, top, turned = robot.drive, no_load_wheel_rpm(robot), robot.launcher.mechanism.driven_part
    if drive is None or top is None:
        return []
    lines = [
        f"gears: {drive.reduction:.3g} motor turns per {turned} turn, {100 * drive.efficiency:.0f} % efficient",
        f"{turned}: {top:.0f} rpm without load at {drive.nominal_voltage:g} V",
    ]
    if robot.encoder is not None:
        counts = robot.encoder.counts_per_turn * (drive.reduction if robot.encoder.on == "motor" else 1.0)
        lines.append(f"encoder: {counts:.4g} counts per {turned} turn")
    return lines
