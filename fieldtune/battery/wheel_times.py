"""How long a wheel takes to spin up and to recover, over any number of gear trains and voltages at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.constants import RPM
from fieldtune.physics.motor import approach_time
from fieldtune.robot.drivetrain import SETTLED, back_share
from fieldtune.robot.flywheel import Flywheel

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.drivetrain import Train
    from fieldtune.robot.model import Robot


@dataclass(frozen=True, slots=True)
class WheelTimes:
    """Seconds, shape of the gear trains broadcast with speeds; inf where the drive never gets there."""

    spin_up_s: FloatArray
    recovery_s: FloatArray


def wheel_times(
    robot: Robot, wheel: Flywheel, supply: Train, open_circuit_v: ArrayLike, rpm: ArrayLike
) -> WheelTimes | None:
    """Spin-up from rest to a wheel speed and recovery from one shot at it; None without wheel inertia.

    Closed loop: full power until back. Open loop: the wheel creeps up to the speed that its power gives.
    Both are first-order approaches to a no-load speed (checked against an integration of the equation of motion).
    """
    inertia, kept = wheel.turning_inertia, wheel.speed_kept(robot.element, supply.rotors)
    if inertia is None or kept is None:
        return None
    speed = np.asarray(rpm, dtype=float) * RPM
    free = supply.no_load_speed(open_circuit_v) / wheel.fastest_driven(supply.motors)
    tau = supply.time_constant(inertia + supply.rotors)
    if robot.setpoint.scale.follows_voltage:
        free = np.where(speed <= free, speed, 0.0)
    spin_up = approach_time(free, tau, 0.0, speed * (1 - SETTLED))
    recovery = approach_time(free, tau, speed * kept, speed * back_share(kept))
    reachable = speed <= free
    return WheelTimes(np.where(reachable, spin_up, np.inf), np.where(reachable, recovery, np.inf))
