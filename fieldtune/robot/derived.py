"""Figures that follow from a profile alone: what a person can hold against the real robot before the first shot."""

from __future__ import annotations

import math

from fieldtune.constants import RPM
from fieldtune.robot.model import Element, Robot, Target
from fieldtune.units import feet_inches


def derived_lines(robot: Robot) -> tuple[str, ...]:
    """Lines of text, one figure each; figures that the profile doesn't give are left out."""
    lines = [*_element(robot.element), *_drive(robot), *_spring(robot)]
    for target in robot.targets:
        name = f"target {target.name}" if target.name else "target"
        lines += [f"{name}: {words}" for words in _opening(target, robot.element)]
    lines += [f"spot {spot.name}: {spot.distance:.2f} m ({feet_inches(spot.distance)})" for spot in robot.spots]
    return tuple(lines)


def no_load_wheel_rpm(robot: Robot) -> float | None:
    """Speed (rpm) of wheel or crank without load at nominal voltage; ``None`` without a drive."""
    drive = robot.drive
    return None if drive is None else drive.no_load_speed / drive.reduction / RPM


def free_opening(target: Target, element: Element, entry_angle: float) -> float | None:
    """Depth left for the element's centre in a basket entered at this angle (radians), metres; ``None`` elsewhere.

    The opening looks smaller by the sine of the entry angle, and the element has to pass: opening * sin - size
    (Brancazio, Am. J. Phys. 49 (1981) 356). Negative where the element does not fit at that angle.
    """
    if target.kind != "basket":
        return None
    return (target.opening[0] - 2 * target.clearance) * math.sin(entry_angle) - element.passing_size


def _element(element: Element) -> list[str]:
    return [
        f"element: mean density {element.density / 1000:.2g} g/cm^3 (water 1, wood 0.4 to 0.8, soft foam 0.02 to 0.4)"
    ]


def _drive(robot: Robot) -> list[str]:
    drive, top = robot.drive, no_load_wheel_rpm(robot)
    lines = []
    if drive is not None and top is not None:
        turned = "wheel" if robot.launcher.kind == "flywheel" else "crank"
        lines.append(
            f"gears: {drive.reduction:.3g} motor turns a turn of the {turned}, {drive.efficiency:.0%} efficient"
        )
        lines.append(f"{turned}: {top:.0f} rpm without load at {drive.nominal_voltage:g} V")
        wheel = robot.launcher.flywheel
        if wheel is not None:
            rim = top * RPM * wheel.wheel_diameter / 2
            mean = {1: 0.5, 2: (1 + wheel.speed_ratio) / 2}[wheel.wheels]
            lines.append(f"exit: {wheel.grip * mean * rim:.1f} m/s at that speed, rim {rim:.1f} m/s")
    if robot.encoder is not None and drive is not None and robot.launcher.kind == "flywheel":
        counts = robot.encoder.counts_per_turn * (drive.reduction if robot.encoder.on == "motor" else 1.0)
        lines.append(f"encoder: {counts:.4g} counts a turn of the wheel")
    return lines


def _spring(robot: Robot) -> list[str]:
    mechanism = robot.launcher.striker or robot.launcher.arm
    if mechanism is None or mechanism.spring_rate is None:
        return []
    force = mechanism.preload + mechanism.spring_rate * mechanism.draw_max
    energy = (mechanism.preload + force) / 2 * mechanism.draw_max
    lines = [f"spring: {force:.0f} N and {energy:.2f} J at the longest draw; keep clear of it when cocked"]
    wire = robot.launcher.spring_wire
    if wire is not None and wire.free_length is not None:
        solid = wire.wire_diameter * (wire.total_turns or wire.active_turns)
        lines.append(
            f"spring: solid at {solid * 1e3:.0f} mm, {(wire.free_length - solid) * 1e3:.0f} mm below its free length"
        )
    return lines


def _opening(target: Target, element: Element) -> list[str]:
    if target.kind != "basket":
        size = element.extent if target.on_floor else element.passing_size
        room = [edge - 2 * target.clearance - size for edge in target.opening]
        return [" by ".join(f"{edge * 1e3:.0f} mm" for edge in room) + " free for the element's centre"]
    lines = []
    for angle in (30, 45, 60):
        left = free_opening(target, element, math.radians(angle))
        words = f"{left * 1e3:.0f} mm free" if left is not None and left > 0 else "too flat for the element to pass"
        lines.append(f"entered at {angle} deg: {words}")
    return lines
