"""A wheel launcher's figures over any number of gear trains and voltages at once: spin-up, drop, recovery, rate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.arrays import FloatArray
from fieldtune.battery.ceiling import SETTLED, back_share
from fieldtune.constants import RPM
from fieldtune.physics.motor import approach_time
from fieldtune.robot.drivetrain import Train, fastest_wheel, turning_inertia
from fieldtune.robot.model import Robot
from fieldtune.robot.wheel_energy import speed_kept


@dataclass(frozen=True, slots=True)
class WheelTimes:
    """Seconds, shape of the gear trains broadcast with speeds; inf where the drive never gets there."""

    spin_up_s: FloatArray
    recovery_s: FloatArray


def wheel_times(robot: Robot, supply: Train, open_circuit_v: ArrayLike, rpm: ArrayLike) -> WheelTimes | None:
    """Spin-up from rest to a wheel speed and recovery from one shot at it; None without wheel inertia.

    Closed loop: full power until back. Open loop: the wheel creeps up to the speed that its power gives.
    Both are first-order approaches to a no-load speed (checked against an integration of the equation of motion).
    """
    wheel = robot.launcher.flywheel
    inertia = turning_inertia(wheel) if wheel is not None else None
    kept = speed_kept(robot)
    if inertia is None or kept is None:
        return None
    speed = np.asarray(rpm, dtype=float) * RPM
    free = supply.no_load_speed(open_circuit_v) / fastest_wheel(robot)
    tau = supply.time_constant(inertia)
    if robot.setpoint.unit == "%":
        free = np.where(speed <= free, speed, 0.0)
    spin_up = approach_time(free, tau, 0.0, speed * (1 - SETTLED))
    recovery = approach_time(free, tau, speed * kept, speed * back_share(kept))
    reachable = speed <= free
    return WheelTimes(np.where(reachable, spin_up, np.inf), np.where(reachable, recovery, np.inf))
