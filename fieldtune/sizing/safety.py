"""What can hurt: energy of the element, of turning wheels and of cocked springs, and the usual cautions beside them.

The figures tell where to be careful. None of them clears anything: event rules, local codes and qualified
supervision decide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldtune.aim.exit import drive_quantity
from fieldtune.physics.flywheel import rim_stress_thin
from fieldtune.robot.model import Element, Robot
from fieldtune.sizing.drivetrain import turning_inertia
from fieldtune.sizing.records import as_json, known
from fieldtune.sizing.shot import element_energy, exit_speed
from fieldtune.sizing.springs import stored_energy, wire_stress

G = 9.80665
_RPM = 2 * math.pi / 60


@dataclass(frozen=True, slots=True)
class Hazards:
    """Energies and stresses at a setpoint. None where the profile does not tell, or the launcher has no such part.

    ``element_density_j_per_cm2``: over the smallest face the element can hit with. ``carry_m``: how far it could go at
    any angle with no air (over the floor for a slide: by the profile's friction). ``kept_energy_j``: still stored
    with the power off, in turning wheels or a cocked spring. Rim stress as of a thin ring, above that of any disc
    turning as fast.
    """

    setpoint: float
    unit: str
    exit_speed_mps: float | None
    element_energy_j: float | None
    element_density_j_per_cm2: float | None
    carry_m: float | None
    wheel_energy_j: float | None
    spring_energy_j: float | None
    kept_energy_j: float | None
    rim_speed_mps: float | None
    rim_stress_mpa: float | None
    rim_stress_share: float | None
    spring_stress_mpa: float | None
    spring_safety: float | None

    def as_json(self) -> dict[str, Any]:
        """Plain dict for ``--json``."""
        return dict(as_json(self))


def smallest_face(element: Element) -> float:
    """Smallest area (m^2) with which the element can meet something squarely: a disc on its rim, a block on its end."""
    if element.shape == "sphere":
        return math.pi * (element.diameter or 0.0) ** 2 / 4
    if element.shape == "disc":
        return (element.diameter or 0.0) * (element.height or 0.0)
    shortest, middle, _ = sorted((element.length or 0.0, element.width or 0.0, element.height or 0.0))
    return shortest * middle


def rim(robot: Robot, rpm: float) -> tuple[float | None, float | None]:
    """Speed (m/s) of the fastest rim at a wheel speed, and its stress (MPa) as a thin ring; None where not known."""
    wheel = robot.launcher.flywheel
    if wheel is None:
        return None, None
    speed = rpm * _RPM * wheel.wheel_diameter / 2 * max(1.0, wheel.speed_ratio if wheel.wheels == 2 else 1.0)
    if wheel.wheel_density is None:
        return speed, None
    return speed, float(rim_stress_thin(wheel.wheel_density, speed)) / 1e6


def hazards(
    robot: Robot, setpoint: float | None = None, battery_v: float | None = None, limit_mpa: float | None = None
) -> Hazards:
    """Figures at a setpoint (the highest the robot accepts where None).

    ``limit_mpa``: what the wheel's material is stated to stand, for the share of it that the rim stress takes.
    """
    value = robot.setpoint.high if setpoint is None else setpoint
    quantity = float(drive_quantity(robot, value, battery_v))
    speed = known(exit_speed(robot, quantity)) or None
    energy = known(element_energy(robot, quantity)) if speed else None
    face = smallest_face(robot.element) * 1e4
    wheel = robot.launcher.flywheel
    inertia = turning_inertia(wheel) if wheel is not None else None
    turning = None if inertia is None else 0.5 * inertia * (quantity * _RPM) ** 2
    spring = None if wheel is not None else stored_energy(robot, quantity / 1000)
    keeps = spring if robot.launcher.arm is None or robot.launcher.arm.spring_rate is not None else None
    rim_speed, rim_stress = rim(robot, quantity)
    stress = wire_stress(robot)
    return Hazards(
        setpoint=value,
        unit=robot.setpoint.unit,
        exit_speed_mps=speed,
        element_energy_j=energy,
        element_density_j_per_cm2=energy / face if energy is not None and face > 0 else None,
        carry_m=None if speed is None else carry(robot, speed),
        wheel_energy_j=turning,
        spring_energy_j=spring,
        kept_energy_j=turning if wheel is not None else keeps,
        rim_speed_mps=rim_speed,
        rim_stress_mpa=rim_stress,
        rim_stress_share=rim_stress / limit_mpa if rim_stress is not None and limit_mpa else None,
        spring_stress_mpa=stress.stress_mpa if stress else None,
        spring_safety=stress.safety if stress else None,
    )


def carry(robot: Robot, speed: float) -> float | None:
    """How far (m) an element of this speed could get: thrown at any angle without air, or sliding by the friction.

    Farthest throw from a height h: v sqrt(v^2 + 2 g h) / g. None on a floor that it never stops on.
    """
    if all(t.on_floor for t in robot.targets):
        floor = robot.floor
        slowing = G * (floor.friction * math.cos(floor.slope) + math.sin(floor.slope))
        return speed**2 / (2 * slowing) if slowing > 0 else None
    return speed * math.sqrt(speed**2 + 2 * G * max(robot.launcher.exit_height, 0.0)) / G


def cautions(
    robot: Robot, setpoint: float | None = None, battery_v: float | None = None, limit_mpa: float | None = None
) -> tuple[str, ...]:
    """The cautions a robot calls for at a setpoint, each beside the figure that causes it; the deciding ones last."""
    at = hazards(robot, setpoint, battery_v, limit_mpa)
    lines = [*_element_lines(at), *_wheel_lines(at), *_spring_lines(robot, at)]
    lines.append("Event rules, local codes and qualified supervision decide; no figure here clears anything.")
    return tuple(lines)


def _element_lines(at: Hazards) -> list[str]:
    if at.element_energy_j is None or at.exit_speed_mps is None:
        return ["Energy of the element unknown at this setpoint: eye protection and a clear range all the same."]
    per_area = at.element_density_j_per_cm2
    density = f", {_figure(per_area)} J/cm2 on its smallest face" if per_area is not None else ""
    lines = [
        f"The element leaves at {at.exit_speed_mps:.1f} m/s with {_figure(at.element_energy_j)} J{density}: "
        "eye protection for everyone near (look up ANSI Z87.1 or EN 166 for what yours stands)."
    ]
    if at.carry_m is not None:
        lines.append(f"It could carry {at.carry_m:.1f} m: keep that range clear, and nobody in front of the exit.")
    else:
        lines.append("It need not stop on this slope: put a backstop, and nobody in front of the exit.")
    return lines


def _wheel_lines(at: Hazards) -> list[str]:
    if at.rim_speed_mps is None:
        return []
    stored = f" and the wheels keep {_figure(at.wheel_energy_j)} J" if at.wheel_energy_j is not None else ""
    lines = [
        f"Rims run at {at.rim_speed_mps:.1f} m/s{stored} after the power is off: guards on wheels and gears, "
        "hands off until they stand still."
    ]
    if at.rim_stress_mpa is None:
        lines.append(
            "Rim stress unknown: compare the speed with the wheel maker's highest, or give launcher.wheel_density."
        )
    elif at.rim_stress_share is not None:
        lines.append(
            f"Rim stress {_figure(at.rim_stress_mpa)} MPa is {at.rim_stress_share:.0%} of the stated limit; "
            "cracks, printed layers and glued treads stand far less."
        )
    else:
        lines.append(
            f"Rim stress {_figure(at.rim_stress_mpa)} MPa: compare with the wheel maker's limit; "
            "cracks, printed layers and glued treads stand far less."
        )
    return lines


def _spring_lines(robot: Robot, at: Hazards) -> list[str]:
    if at.spring_energy_j is None:
        return []
    lines = []
    if at.kept_energy_j is not None:
        lines.append(
            f"Cocked, the spring holds {_figure(at.spring_energy_j)} J and keeps it with the power off: "
            "hands off a cocked spring, let it down before you reach in."
        )
    else:
        lines.append(f"A stroke puts in {_figure(at.spring_energy_j)} J: keep clear of the arm's swing.")
    if at.spring_stress_mpa is not None and at.spring_safety is not None and at.spring_safety < 1.2:
        lines.append(
            f"The spring's wire sees {at.spring_stress_mpa:.0f} MPa at the longest draw, {1 / at.spring_safety:.0%} of "
            "what its material is reckoned to stand: expect it to set or break; draw less or take a thicker wire."
        )
    if robot.launcher.arm is not None:
        lines.append("The arm sweeps its whole circle if its stop fails: stand outside it.")
    return lines


def _figure(value: float | None) -> str:
    """Three significant digits without an exponent."""
    if value is None:
        return "unknown"
    if value == 0:
        return "0"
    digits = max(0, 2 - math.floor(math.log10(abs(value))))
    return f"{np.round(value, digits):.{min(digits, 6)}f}"
