"""What one shot takes out of the wheels, and what the element carries away."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.aim.exit_speed import model_log_speed, spin_ratio
from fieldtune.arrays import FloatArray
from fieldtune.constants import RPM
from fieldtune.physics.flywheel import shot_energy, speed_after
from fieldtune.robot.drivetrain import turning_inertia
from fieldtune.robot.model import Element, Robot


def exit_speed(robot: Robot, quantity: ArrayLike) -> FloatArray:
    """Exit speed (m/s) by the profile's physics at wheel rpm or draw in mm, before any shot has taught better."""
    return np.exp(model_log_speed(robot, quantity))


def spin_inertia(element: Element) -> float:
    """Inertia about the spin axis, kg m^2: solid sphere 2/5 m r^2, disc m r^2/2, block about its vertical axis."""
    if element.shape == "block":
        return element.mass * ((element.length or 0.0) ** 2 + (element.width or 0.0) ** 2) / 12
    radius = (element.diameter or 0.0) / 2
    return (0.4 if element.shape == "sphere" else 0.5) * element.mass * radius**2


def element_energy(robot: Robot, quantity: ArrayLike) -> FloatArray:
    """Kinetic energy of the element at exit, moving and spinning, J, at wheel rpm or draw in mm."""
    return energy_at_speed(robot, exit_speed(robot, quantity))


def energy_at_speed(robot: Robot, exit_speed_mps: ArrayLike) -> FloatArray:
    """Kinetic energy of the element, moving and spinning, J, at exit speeds in m/s."""
    speed = np.asarray(exit_speed_mps, dtype=float)
    radius = robot.element.extent / 2
    spin = spin_ratio(robot) * speed / radius if radius else np.zeros_like(speed)
    return np.asarray(shot_energy(robot.element.mass, speed, spin, spin_inertia(robot.element)), dtype=float)


def wheel_energy(robot: Robot, rpm: ArrayLike) -> FloatArray:
    """Energy one shot takes out of the wheels, J: the element's own over the grip, since what slips is lost as heat."""
    wheel = robot.launcher.flywheel
    grip = wheel.grip if wheel is not None else 1.0
    return element_energy(robot, rpm) / min(grip, 1.0)


def speed_left(robot: Robot, rpm: ArrayLike) -> FloatArray | None:
    """Wheel rpm right after a shot at these rpm; nan where a shot would stop the wheels. None without wheel inertia."""
    wheel = robot.launcher.flywheel
    inertia = turning_inertia(wheel) if wheel is not None else None
    if inertia is None:
        return None
    values = np.asarray(rpm, dtype=float)
    return np.asarray(speed_after(inertia, values * RPM, wheel_energy(robot, values)), dtype=float) / RPM


def speed_kept(robot: Robot) -> float | None:
    """Share of its speed that a wheel keeps through a shot: the same at any speed, as all energies go with the square.

    Zero where a shot would stop the wheels; None without wheel inertia.
    """
    left = speed_left(robot, 1000.0)
    return None if left is None else float(np.nan_to_num(left)) / 1000.0
