"""What can hurt, in figures: energy of the element, of turning wheels and of cocked springs, stress in a rim.

The figures tell where to be careful. None of them means that something is safe.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fieldtune.battery.resistance import rest_voltage
from fieldtune.constants import RPM, STANDARD_GRAVITY
from fieldtune.frozen import frozen
from fieldtune.physics.flywheel import rim_stress_thin
from fieldtune.physics.rolling import Ground, roll_stop_distance
from fieldtune.physics.sliding import stop_distance
from fieldtune.records import as_json, known
from fieldtune.robot.drivetrain import train
from fieldtune.robot.exit_speed import drive_quantity, element_energy, exit_speed, spin_ratio

if TYPE_CHECKING:
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.element import Element
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Robot

STRAINED = 1.2
"""A spring whose wire stands less than this many times its stress is said to be strained: common practice."""

FEW_CYCLES = 1e5
"""A spring that may break after fewer draws is said to wear out: some seasons of practice (common practice)."""


@frozen
class Hazards:
    """Energies and stresses at a setpoint. None where the profile does not tell, or the launcher has no such part.

    ``element_density_j_per_cm2``: over the smallest face the element can hit with. ``carry_m``: how far it could go,
    thrown at any angle with no air, or along the profile's floor. ``kept_energy_j``: still stored with the power off,
    in turning wheels or a cocked spring; ``preload_energy_j``: in a spring at its stop; ``stop_energy_j`` goes into the
    stop each cycle, ``dry_fire_energy_j`` where no element is in it. Rim stress as of a thin ring,
    above that of any disc turning as fast. Shares are of what is stated for the wheel; ``full_power_rpm`` is where a
    full battery takes it without any control.
    """

    setpoint: float
    unit: str
    exit_speed_mps: float | None
    element_energy_j: float | None
    element_density_j_per_cm2: float | None
    carry_m: float | None
    wheel_energy_j: float | None = None
    spring_energy_j: float | None = None
    preload_energy_j: float | None = None
    stop_energy_j: float | None = None
    dry_fire_energy_j: float | None = None
    kept_energy_j: float | None = None
    rim_speed_mps: float | None = None
    rim_stress_mpa: float | None = None
    rim_stress_share: float | None = None
    top_speed_share: float | None = None
    full_power_rpm: float | None = None
    full_power_share: float | None = None
    spring_stress_mpa: float | None = None
    spring_safety: float | None = None
    spring_weakest: str | None = None
    spring_life_cycles: float | None = None

    def as_json(self) -> dict[str, Any]:
        """Plain dict for ``--json``."""
        return dict(as_json(self))


def hazards(robot: Robot, setpoint: float | None = None, battery_v: float | None = None) -> Hazards:
    """Figures at a setpoint (the highest the robot accepts where None)."""
    value = robot.setpoint.high if setpoint is None else setpoint
    quantity = float(drive_quantity(robot, value, battery_v))
    speed = known(exit_speed(robot, quantity)) or None
    energy = known(element_energy(robot, quantity)) if speed else None
    face = robot.element.smallest_face * 1e4
    common = Hazards(
        setpoint=value,
        unit=robot.setpoint.unit,
        exit_speed_mps=speed,
        element_energy_j=energy,
        element_density_j_per_cm2=energy / face if energy is not None and face > 0 else None,
        carry_m=None if speed is None else carry(robot, speed),
        kept_energy_j=robot.launcher.mechanism.kept_energy(quantity),
    )
    return robot.launcher.mechanism.by_motion(
        lambda wheel: _with_wheel(common, robot, wheel, quantity),
        lambda drawn: _with_spring(common, drawn, robot.element, quantity),
    )


def _with_wheel(common: Hazards, robot: Robot, wheel: Flywheel, rpm: float) -> Hazards:
    rim_speed, rim_stress = rim(wheel, rpm)
    stress_share, speed_share = wheel_shares(wheel, rpm)
    most = full_power_rpm(robot, wheel)
    most_shares = [s for s in wheel_shares(wheel, most) if s is not None] if most is not None else []
    return replace(
        common,
        wheel_energy_j=wheel.stored_energy(rpm),
        rim_speed_mps=rim_speed,
        rim_stress_mpa=rim_stress,
        rim_stress_share=stress_share,
        top_speed_share=speed_share,
        full_power_rpm=most,
        full_power_share=max(most_shares) if most_shares else None,
    )


def _with_spring(common: Hazards, drawn: Drawn, element: Element, quantity: float) -> Hazards:
    stress = drawn.stress
    return replace(
        common,
        spring_energy_j=drawn.stored_energy(quantity),
        preload_energy_j=drawn.preload_energy,
        stop_energy_j=known(drawn.stop_energy(quantity / 1000, element)),
        dry_fire_energy_j=known(drawn.dry_fire_energy(quantity / 1000, element)),
        spring_stress_mpa=stress.stress_mpa if stress else None,
        spring_safety=stress.safety if stress else None,
        spring_weakest=stress.place if stress else None,
        spring_life_cycles=drawn.spring_life,
    )


def rim(wheel: Flywheel, rpm: float) -> tuple[float, float | None]:
    """Speed (m/s) of the fastest rim at a wheel speed, and its stress (MPa) as a thin ring; None where not known."""
    speed = rpm * RPM * wheel.fastest * wheel.wheel_diameter / 2
    if wheel.wheel_density is None:
        return speed, None
    return speed, float(rim_stress_thin(wheel.wheel_density, speed)) / 1e6


def wheel_shares(wheel: Flywheel, rpm: float) -> tuple[float | None, float | None]:
    """Rim stress over the strength stated for the wheel, and its speed over the highest stated; None where unknown."""
    _, stress = rim(wheel, rpm)
    of_strength = None if stress is None or wheel.wheel_strength is None else stress * 1e6 / wheel.wheel_strength
    top = wheel.wheel_top_speed
    return of_strength, None if top is None else rpm * RPM * wheel.fastest / top


def stated_top_rpm(wheel: Flywheel) -> float | None:
    """Wheel speed (rpm) at which it reaches what is stated for it, strength or speed; None where nothing is stated."""
    strength, speed = wheel_shares(wheel, 1.0)
    tops = [1 / math.sqrt(strength) if strength else None, 1 / speed if speed else None]
    return min((top for top in tops if top is not None), default=None)


def full_power_rpm(robot: Robot, wheel: Flywheel) -> float | None:
    """Wheel speed (rpm) that a full battery reaches without any control; at nominal voltage where it is not known."""
    drive = robot.drive
    if drive is None:
        return None
    volts = rest_voltage(robot, 1.0) or drive.nominal_voltage
    resistance = robot.battery.resistance if robot.battery is not None else None
    free = float(train(drive, resistance or 0.0).no_load_speed(volts))
    return free / wheel.fastest_driven(drive.motors) / RPM


def carry(robot: Robot, speed: float) -> float | None:
    """How far (m) an element of this speed could get: thrown at any angle without air, or along the profile's floor.

    Farthest throw from a height h: v sqrt(v^2 + 2 g h) / g. A ball on a floor rolls on where anything else has stopped.
    None on a floor that it never stops on.
    """
    thrown = (
        speed * math.sqrt(speed**2 + 2 * STANDARD_GRAVITY * max(robot.launcher.exit_height, 0.0)) / STANDARD_GRAVITY
    )
    if any(target.by_way(lambda: True, lambda: False) for target in robot.targets):
        return thrown
    floor = robot.floor
    if robot.element.shape == "sphere":
        spin = min(spin_ratio(robot), 0.0) * speed  # topspin drives it on; backspin is not counted on
        ground = Ground(floor.friction, floor.rolling, floor.slope, inertia=robot.element.ball_inertia)
        along = known(roll_stop_distance(speed, ground, spin))
    else:
        along = known(stop_distance(speed, floor.friction, floor.slope))
    if along is None or along < 0:
        return None
    return max(along, thrown) if robot.launcher.exit_angle > math.radians(5) else along
