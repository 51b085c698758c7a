"""From setpoint to exit state, and back, for all three launchers.

A setpoint (rpm, % or mm) acts through one *drive quantity* q: wheel rpm for a flywheel, draw in millimetres for a
striker or an arm. What the robot really does differs from the model by a smooth correction of the log speed
(belief.GainBasis).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.aim.draws import GainBasis, Unknowns
from fieldtune.arrays import FloatArray
from fieldtune.constants import RPM
from fieldtune.errors import InputError
from fieldtune.physics.arm import exit_speed as arm_exit_speed
from fieldtune.physics.flywheel import exit_speed as flywheel_exit_speed
from fieldtune.physics.springs import effective_mass, spring_energy
from fieldtune.physics.striker import push_exit_speed, strike_exit_speed
from fieldtune.robot.model import Arm, Robot, Striker


def supply_voltage(robot: Robot, battery_v: float | None) -> float | None:
    """Voltage that an open-loop command is a fraction of; the drive's nominal voltage where none is measured."""
    if battery_v is not None:
        return battery_v
    return robot.drive.nominal_voltage if robot.drive else None


def _rpm_per_percent(robot: Robot, battery_v: float | None) -> float:
    """Wheel rpm that one per cent of power turns at, at this supply voltage (unloaded motor line)."""
    drive = robot.drive
    voltage = supply_voltage(robot, battery_v)
    if drive is None or voltage is None:
        raise InputError(f"robot {robot.name}: a setpoint in % needs the [drive] table (no_load_speed, gears)")
    no_load_wheel_rpm = drive.no_load_speed / drive.reduction / RPM
    return no_load_wheel_rpm * voltage / drive.nominal_voltage / 100.0


def drive_quantity(robot: Robot, setpoint: ArrayLike, battery_v: float | None = None) -> FloatArray:
    """Wheel rpm or draw in mm behind setpoints (n,), at the battery's voltage for an open-loop drive."""
    values = np.asarray(setpoint, dtype=float)
    if robot.setpoint.unit == "%":
        return values * _rpm_per_percent(robot, battery_v)
    return values


def setpoint_for(robot: Robot, quantity: ArrayLike, battery_v: float | None = None) -> FloatArray:
    """Setpoints behind drive quantities (n,): the inverse of ``drive_quantity``."""
    values = np.asarray(quantity, dtype=float)
    if robot.setpoint.unit == "%":
        return values / _rpm_per_percent(robot, battery_v)
    return values


def model_log_speed(robot: Robot, quantity: ArrayLike) -> FloatArray:
    """ln of the exit speed (m/s) that the profile's physics gives at drive quantities (n,).

    Minus infinity where the element does not leave (no draw, or an arm too weak to lift it).
    """
    q = np.asarray(quantity, dtype=float)
    launcher = robot.launcher
    if launcher.flywheel is not None:
        wheel = launcher.flywheel
        speed = flywheel_exit_speed(
            q * RPM, wheel.wheel_diameter, wheels=wheel.wheels, speed_ratio=wheel.speed_ratio, grip=wheel.grip
        )
    elif launcher.striker is not None:
        speed = _striker_speed(launcher.striker, q / 1000, robot.element.mass)
    elif launcher.arm is not None:
        speed = _arm_speed(launcher.arm, q / 1000, robot.element.mass)
    else:
        raise InputError(f"robot {robot.name}: launcher kind {launcher.kind} has no mechanism data")
    with np.errstate(divide="ignore"):
        return np.log(np.maximum(speed, 0.0))


def _striker_speed(striker: Striker, draw: FloatArray, element_mass: float) -> FloatArray:
    energy = striker.efficiency * spring_energy(striker.spring_rate, draw, striker.preload)
    moving = striker.striker_mass + effective_mass(striker.spring_mass)
    if striker.contact == "push":
        return push_exit_speed(energy, moving, element_mass)
    return strike_exit_speed(energy, moving, element_mass, striker.restitution)


def _arm_speed(arm: Arm, draw: FloatArray, element_mass: float) -> FloatArray:
    return arm_exit_speed(
        draw,
        arm_length=arm.arm_length,
        arm_inertia=arm.arm_inertia,
        element_mass=element_mass,
        release_angle=arm.release_angle,
        spring_rate=arm.spring_rate,
        torque=arm.torque,
        preload=arm.preload,
        efficiency=arm.efficiency,
        arm_moment=1.5 * arm.arm_inertia / arm.arm_length,  # a uniform rod of that inertia: m L / 2 = 3 I / (2 L)
    )


def spin_ratio(robot: Robot) -> float:
    """Surface speed of the element's spin over its exit speed, positive for backspin.

    A pair spins the element by half the difference of its rim speeds; one wheel against a rail rolls it (ratio 1).
    """
    wheel = robot.launcher.flywheel
    if wheel is None:
        return 0.0
    if wheel.wheels == 1:
        return 1.0
    return (1.0 - wheel.speed_ratio) / (1.0 + wheel.speed_ratio)


def gain_basis(robot: Robot) -> GainBasis:
    """Basis of the log-speed correction over what the robot program accepts, at nominal voltage."""
    low, high = drive_quantity(robot, [robot.setpoint.low, robot.setpoint.high])
    return GainBasis(q_low=float(max(low, 0.05 * high)), q_high=float(high))


def log_speed(robot: Robot, basis: GainBasis, unknowns: Unknowns, quantity: ArrayLike) -> FloatArray:
    """ln exit speed (K, n) of every draw at drive quantities (n,)."""
    q = np.atleast_1d(np.asarray(quantity, dtype=float))
    return model_log_speed(robot, q)[None, :] + unknowns.gain @ basis.at(q).T
