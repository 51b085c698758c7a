"""The grip that momentum allows: the element can't leave faster than the rims then run."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Robot


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
    if grip >= 1:
        return None
    share = 1.0 if wheel.wheels == 2 else (1 + robot.element.inertia_ratio) / 4
    needed = share * robot.element.mass * (wheel.wheel_diameter / 2) ** 2 * grip / (1 - grip)
    return max((needed - _rotors(robot)) / wheel.wheels, 0.0)


def _rotors(robot: Robot) -> float:
    return 0.0 if robot.drive is None else robot.drive.rotors
