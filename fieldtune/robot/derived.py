"""Figures that follow from a profile alone: to hold against the real robot, and the grip that momentum allows."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fieldtune.constants import RPM
from fieldtune.person_units import feet_inches

if TYPE_CHECKING:
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Element, Robot


def derived_lines(robot: Robot) -> tuple[str, ...]:
    """Lines of text, one figure each; figures that the profile doesn't give are left out."""
    lines = [*_element(robot.element), *_drive(robot), *robot.launcher.mechanism.derived_lines(robot.drive)]
    for target in robot.targets:
        name = f"target {target.name}" if target.name else "target"
        lines += [f"{name}: {words}" for words in target.room_lines(robot.element)]
    lines += _moving_parts(robot)
    lines += [f"spot {spot.name}: {spot.distance:.2f} m ({feet_inches(spot.distance)})" for spot in robot.spots]
    return tuple(lines)


def _moving_parts(robot: Robot) -> list[str]:
    """How far hood and turret move, and how fast elements follow."""
    lines = []
    if robot.hood is not None:
        hood, rests = robot.hood, robot.exit_angle_deg
        lines.append(f"hood: exit angle from {hood.low:g} to {hood.high:g} deg by {hood.step:g}, {rests:g} at rest")
    if robot.turret is not None:
        left, right = (math.degrees(limit) for limit in robot.turret)
        lines.append(f"turret: turns from {left:g} to {right:g} deg, positive right; the robot takes the rest")
    if robot.feed_interval is not None:
        lines.append(f"feeder: one element each {robot.feed_interval:.2g} s, {60 / robot.feed_interval:.0f} a minute")
    return lines


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


# The grip that momentum allows: the element can't leave faster than the rims then run.


def largest_grip(robot: Robot) -> float | None:
    """Grip that momentum allows at most with the wheels and rotors; None without wheels, or where unknown."""

    def of(wheel: Flywheel) -> float | None:
        from fieldtune.physics.grip_bound import largest_grip

        if wheel.wheel_inertia is None:
            return None
        element, total = robot.element, wheel.wheel_inertia * wheel.wheels + _rotors(robot)
        radius = wheel.wheel_diameter / 2
        return float(
            largest_grip(element.mass, radius, total, wheels=wheel.wheels, inertia_ratio=element.inertia_ratio)
        )

    return robot.launcher.mechanism.by_motion(of, lambda _: None)


def grip_doubt(robot: Robot, grip: float) -> str | None:
    """One line on a grip above the bound, with the inertia that would explain it; None where it is possible."""
    most = largest_grip(robot)
    if most is None or not grip > most:
        return None
    said = f"grip {grip:.3g} is more than momentum allows with this inertia and element, {most:.2g} at most"
    each = robot.launcher.mechanism.by_motion(lambda wheel: _explaining(robot, wheel, grip), lambda _: None)
    if each is None:
        return f"{said}: check wheel_diameter, mass and speeds"
    return f"{said}: a wheel_inertia of {1e6 * each:.3g} kg mm^2 or more would explain it, or heavier rotors"


def _explaining(robot: Robot, wheel: Flywheel, grip: float) -> float | None:
    """Inertia (kg m^2) of each wheel from which on a grip is possible; None where none explains it."""
    from fieldtune.physics.grip_bound import inertia_for

    if grip >= 1:
        return None
    element, radius = robot.element, wheel.wheel_diameter / 2
    needed = inertia_for(grip, element.mass, radius, wheels=wheel.wheels, inertia_ratio=element.inertia_ratio)
    return max((needed - _rotors(robot)) / wheel.wheels, 0.0)


def _rotors(robot: Robot) -> float:
    return 0.0 if robot.drive is None else robot.drive.rotors
