"""From a robot's setpoint to how its element leaves, by the profile's physics alone, and back.

A setpoint (rpm, % or mm) acts through one *drive quantity* q: wheel rpm, or draw in millimetres.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.errors import InputError

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot


def _per_quantity(robot: Robot, battery_v: float | None) -> float:
    try:
        return robot.setpoint.scale.per_quantity(robot.drive, battery_v)
    except InputError as fault:
        raise InputError(f"robot {robot.name}: {fault}") from None


def drive_quantity(robot: Robot, setpoint: ArrayLike, battery_v: float | None = None) -> FloatArray:
    """Wheel rpm or draw in mm behind setpoints (n,), at the battery's voltage for an open-loop drive.

    Raises ``InputError`` for a setpoint in % without a drive.
    """
    return np.asarray(np.asarray(setpoint, dtype=float) / _per_quantity(robot, battery_v))


def setpoint_for(robot: Robot, quantity: ArrayLike, battery_v: float | None = None) -> FloatArray:
    """Setpoints behind drive quantities (n,): the inverse of ``drive_quantity``."""
    return np.asarray(np.asarray(quantity, dtype=float) * _per_quantity(robot, battery_v))


def exit_speed(robot: Robot, quantity: ArrayLike) -> FloatArray:
    """Exit speed (m/s) at wheel rpm or draw in mm (n,), before any shot has taught better."""
    return robot.launcher.mechanism.exit_speed(quantity, robot.element)


def model_log_speed(robot: Robot, quantity: ArrayLike) -> FloatArray:
    """ln of ``exit_speed``; minus infinity where nothing leaves (no draw, or an arm too weak to lift the element)."""
    with np.errstate(divide="ignore"):
        return np.log(np.maximum(exit_speed(robot, quantity), 0.0))


def spin_ratio(robot: Robot) -> float:
    """Surface speed of the element's spin over its exit speed, positive for backspin."""
    return robot.launcher.mechanism.spin_ratio


def element_energy(robot: Robot, quantity: ArrayLike) -> FloatArray:
    """Kinetic energy of the element at exit, moving and spinning, J, at wheel rpm or draw in mm."""
    return robot.element.energy(spin_ratio(robot), exit_speed(robot, quantity))


def program_limit(robot: Robot) -> float | None:
    """Wheel rpm or draw in mm that the robot program keeps below; None where the profile states no such limit."""
    return float(drive_quantity(robot, robot.setpoint.high)) if robot.setpoint.high_given else None


_SOARS = 30.0
"""Mean density (kg/m^3) below which backspin may carry a ball so well that its speed has to be searched for."""


def soars(robot: Robot) -> bool:
    """Whether an element is so light that its backspin may carry it above the line in which it left."""
    return spin_ratio(robot) > 0 and robot.element.density < _SOARS
