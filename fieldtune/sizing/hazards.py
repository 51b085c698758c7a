"""What can hurt, in figures: energy of the element, of turning wheels and of cocked springs, stress in a rim.

The figures tell where to be careful. None of them means that something is safe.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from fieldtune.aim.exit_speed import drive_quantity
from fieldtune.battery.rest_voltage import rest_voltage
from fieldtune.constants import RPM, STANDARD_GRAVITY
from fieldtune.physics.flywheel import rim_stress_thin
from fieldtune.physics.rolling import roll_stop_distance
from fieldtune.physics.sliding import stop_distance
from fieldtune.robot.drivetrain import fastest_wheel, train, turning_inertia
from fieldtune.robot.model import Element, Robot
from fieldtune.robot.wheel_energy import element_energy, exit_speed
from fieldtune.sizing.results import as_json, known
from fieldtune.sizing.springs import stored_energy, wire_stress


@dataclass(frozen=True, slots=True)
class Hazards:
    """Energies and stresses at a setpoint. None where the profile does not tell, or the launcher has no such part.

    ``element_density_j_per_cm2``: over the smallest face the element can hit with. ``carry_m``: how far it could go,
    thrown at any angle with no air, or along the profile's floor. ``kept_energy_j``: still stored with the power off,
    in turning wheels or a cocked spring; ``preload_energy_j``: in a spring at its stop. Rim stress as of a thin ring,
    above that of any disc turning as fast. Shares are of what is stated for the wheel; ``full_power_rpm`` is where a
    full battery takes it without any control.
    """

    setpoint: float
    unit: str
    exit_speed_mps: float | None
    element_energy_j: float | None
    element_density_j_per_cm2: float | None
    carry_m: float | None
    wheel_energy_j: float | None
    spring_energy_j: float | None
    preload_energy_j: float | None
    kept_energy_j: float | None
    rim_speed_mps: float | None
    rim_stress_mpa: float | None
    rim_stress_share: float | None
    top_speed_share: float | None
    full_power_rpm: float | None
    full_power_share: float | None
    spring_stress_mpa: float | None
    spring_safety: float | None

    def as_json(self) -> dict[str, Any]:
        """Plain dict for ``--json``."""
        return dict(as_json(self))


def hazards(robot: Robot, setpoint: float | None = None, battery_v: float | None = None) -> Hazards:
    """Figures at a setpoint (the highest the robot accepts where None)."""
    value = robot.setpoint.high if setpoint is None else setpoint
    quantity = float(drive_quantity(robot, value, battery_v))
    speed = known(exit_speed(robot, quantity)) or None
    energy = known(element_energy(robot, quantity)) if speed else None
    face = smallest_face(robot.element) * 1e4
    wheel = robot.launcher.flywheel
    spring = None if wheel is not None else stored_energy(robot, quantity / 1000)
    keeps = spring if robot.launcher.arm is None or robot.launcher.arm.spring_rate is not None else None
    turning = wheels_energy(robot, quantity)
    rim_speed, rim_stress = rim(robot, quantity)
    stress_share, speed_share = wheel_shares(robot, quantity)
    most = full_power_rpm(robot)
    most_shares = [s for s in wheel_shares(robot, most) if s is not None] if most is not None else []
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
        preload_energy_j=preload_energy(robot),
        kept_energy_j=turning if wheel is not None else keeps,
        rim_speed_mps=rim_speed,
        rim_stress_mpa=rim_stress,
        rim_stress_share=stress_share,
        top_speed_share=speed_share,
        full_power_rpm=most,
        full_power_share=max(most_shares) if most_shares else None,
        spring_stress_mpa=stress.stress_mpa if stress else None,
        spring_safety=stress.safety if stress else None,
    )


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
    speed = rpm * RPM * _faster(robot) * wheel.wheel_diameter / 2
    if wheel.wheel_density is None:
        return speed, None
    return speed, float(rim_stress_thin(wheel.wheel_density, speed)) / 1e6


def wheel_shares(robot: Robot, rpm: float) -> tuple[float | None, float | None]:
    """Rim stress over the strength stated for the wheel, and its speed over the highest stated; None where unknown."""
    wheel, (_, stress) = robot.launcher.flywheel, rim(robot, rpm)
    if wheel is None:
        return None, None
    of_strength = None if stress is None or wheel.wheel_strength is None else stress * 1e6 / wheel.wheel_strength
    top = wheel.wheel_top_speed
    return of_strength, None if top is None else rpm * RPM * _faster(robot) / top


def full_power_rpm(robot: Robot) -> float | None:
    """Wheel speed (rpm) that a full battery reaches without any control; at nominal voltage where it is not known."""
    drive, wheel = robot.drive, robot.launcher.flywheel
    if drive is None or wheel is None:
        return None
    volts = rest_voltage(robot, 1.0) or drive.nominal_voltage
    resistance = robot.battery.resistance if robot.battery is not None else None
    return float(train(drive, resistance or 0.0).no_load_speed(volts)) / fastest_wheel(robot) / RPM


def wheels_energy(robot: Robot, rpm: float) -> float | None:
    """Energy (J) in the turning wheels at a wheel speed; None without their inertia."""
    wheel = robot.launcher.flywheel
    inertia = turning_inertia(wheel) if wheel is not None else None
    return None if inertia is None else 0.5 * inertia * (rpm * RPM) ** 2


def preload_energy(robot: Robot) -> float | None:
    """Energy (J) that a spring holds at its stop, F^2 / (2 k); None where there is no preloaded spring."""
    mechanism = robot.launcher.striker or robot.launcher.arm
    if mechanism is None or not mechanism.preload or not mechanism.spring_rate:
        return None
    return 0.5 * mechanism.preload**2 / mechanism.spring_rate


def carry(robot: Robot, speed: float) -> float | None:
    """How far (m) an element of this speed could get: thrown at any angle without air, or along the profile's floor.

    Farthest throw from a height h: v sqrt(v^2 + 2 g h) / g. A ball on a floor rolls on where anything else has stopped.
    None on a floor that it never stops on.
    """
    thrown = (
        speed * math.sqrt(speed**2 + 2 * STANDARD_GRAVITY * max(robot.launcher.exit_height, 0.0)) / STANDARD_GRAVITY
    )
    if not all(t.on_floor for t in robot.targets):
        return thrown
    floor = robot.floor
    if robot.element.shape == "sphere":
        along = known(roll_stop_distance(speed, floor.friction, floor.rolling, floor.slope))
    else:
        along = known(stop_distance(speed, floor.friction, floor.slope))
    if along is None or along < 0:
        return None
    return max(along, thrown) if robot.launcher.exit_angle > math.radians(5) else along


def _faster(robot: Robot) -> float:
    """Speed of the faster wheel of a pair over the one that the setpoint is about."""
    wheel = robot.launcher.flywheel
    return max(1.0, wheel.speed_ratio) if wheel is not None and wheel.wheels == 2 else 1.0
