"""What a battery can do now: the highest setpoint it holds and recovers to, and how long that takes.

``Flywheel.ceiling`` has the formula for wheels; a striker's or an arm's ceiling is the longest draw whose hardest point
the drive can still turn through. Asked ten times a second, for a wheel it is a straight line in the voltage, worked out
once and kept.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.battery.resistance import odd_voltage, usual_voltage
from fieldtune.constants import RPM
from fieldtune.frozen import frozen
from fieldtune.physics.motor import approach_time
from fieldtune.robot.drivetrain import SETTLED, back_share, train
from fieldtune.robot.exit_speed import drive_quantity, setpoint_for
from fieldtune.robot.flywheel import Flywheel

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.drivetrain import Train
    from fieldtune.robot.model import Robot

BETWEEN_SHOTS_S = 2.0
"""Time between shots to recover in, where nobody says otherwise."""


def ceiling(
    robot: Robot,
    battery_v: float | None = None,
    resistance_ohm: float | None = None,
    between_s: float = BETWEEN_SHOTS_S,
) -> float | None:
    """Highest setpoint (rpm at the wheel, %, or mm of draw) this battery can hold and recover to between shots.

    ``battery_v`` is the voltage at rest (a half-charged battery where None), ``resistance_ohm`` of battery and wiring
    (the profile's where None), ``between_s`` the seconds between two shots. None where drive, voltage or resistance are
    unknown, and where the voltage can't be this robot's. Neither windage nor the step limits of the setpoint enter.
    """
    volts = battery_v if battery_v is not None else usual_voltage(robot)
    ohms = resistance_ohm if resistance_ohm is not None else (robot.battery.resistance if robot.battery else None)
    if robot.drive is None or volts is None or ohms is None or odd_voltage(robot, volts):
        return None
    if robot.setpoint.scale.certain_top is not None:
        return min(robot.setpoint.scale.certain_top, robot.setpoint.high)
    mechanism, supply = robot.launcher.mechanism, train(robot.drive, ohms)
    top = mechanism.ceiling(supply, robot.drive.crank_radius, volts, between_s, robot.element)
    return None if top is None else float(setpoint_for(robot, top, volts))


def lowest_voltage(
    robot: Robot,
    setpoint: float,
    resistance_ohm: float,
    between_s: float = BETWEEN_SHOTS_S,
    battery_v: float | None = None,
) -> float | None:
    """Rest voltage (V) below which a setpoint is no longer held and recovered to: the ceiling read backwards.

    ``battery_v``: the voltage at which a setpoint in % was chosen. None without a drive or for a draw beyond
    the stroke.
    """
    if robot.drive is None:
        return None
    if robot.setpoint.scale.follows_voltage:
        return None if battery_v is None else battery_v * setpoint / 100
    mechanism, supply = robot.launcher.mechanism, train(robot.drive, resistance_ohm)
    quantity = float(drive_quantity(robot, setpoint))
    return mechanism.lowest_voltage(supply, robot.drive.crank_radius, quantity, between_s, robot.element)


_REMEMBERED = 64
_STEP_OHM = 1e-3


@dataclass
class Limits:
    """Ceiling and lowest voltage of one robot, kept for steps of the resistance and pauses to a tenth of a second."""

    robot: Robot
    _lines: dict[tuple[int, float], tuple[float, float] | None] = field(default_factory=dict)

    def ceiling(self, rest_v: float, ohm: float, between_s: float) -> float | None:
        """As ``ceiling.ceiling``."""
        line = self._line(ohm, between_s)
        if line is None:
            return ceiling(self.robot, rest_v, ohm, between_s)
        return max((rest_v - line[0]) / line[1], 0.0)

    def lowest_voltage(self, setpoint: float, ohm: float, between_s: float, rest_v: float) -> float | None:
        """As ``ceiling.lowest_voltage``."""
        line = self._line(ohm, between_s)
        if line is None:
            return lowest_voltage(self.robot, setpoint, ohm, between_s, rest_v)
        return line[0] + line[1] * setpoint

    def _line(self, ohm: float, between_s: float) -> tuple[float, float] | None:
        """Volts at no speed and volts a rpm, between two steps of the resistance; None where there is no such line."""
        if not self.robot.setpoint.scale.is_speed:
            return None
        step = math.floor(ohm / _STEP_OHM)
        below, above = (self._kept(k, round(between_s, 1)) for k in (step, step + 1))
        if below is None or above is None:
            return None
        share = ohm / _STEP_OHM - step
        return below[0] + share * (above[0] - below[0]), below[1] + share * (above[1] - below[1])

    def _kept(self, step: int, between_s: float) -> tuple[float, float] | None:
        key = (step, between_s)
        if key not in self._lines:
            if len(self._lines) >= _REMEMBERED:
                self._lines.clear()
            ends = [lowest_voltage(self.robot, rpm, step * _STEP_OHM, between_s) for rpm in (0.0, 1000.0)]
            known = ends[0] is not None and ends[1] is not None
            self._lines[key] = (ends[0], (ends[1] - ends[0]) / 1000) if known else None  # type: ignore[operator,assignment]
        return self._lines[key]


@frozen
class ShotCharge:
    """Coulombs that a shot should take: making good the wheel's speed at full power, and holding it in between."""

    per_rpm: float
    holding_a: float

    @classmethod
    def of(cls, robot: Robot) -> ShotCharge | None:
        """None where drive or wheel inertia are unknown, or the setpoint is no speed."""
        if not robot.setpoint.scale.is_speed:
            return None
        return robot.launcher.mechanism.by_motion(lambda _: cls._of_wheel(robot), lambda _: None)

    @classmethod
    def _of_wheel(cls, robot: Robot) -> ShotCharge | None:
        drive, kept, inertia = robot.drive, robot.speed_kept, robot.turning_inertia
        if drive is None or kept is None or inertia is None:
            return None
        gain = drive.reduction * drive.efficiency * train(drive, 0.0).motor.torque_constant
        return cls(inertia * RPM * (1 - kept) / gain, drive.motors * drive.no_load_current)

    def coulombs(self, setpoint: float, between_s: float) -> float:
        """Charge of one shot (C) at a wheel speed (rpm) with a pause (s)."""
        return self.per_rpm * setpoint + self.holding_a * between_s


# How long a wheel takes to spin up and to recover, over any number of gear trains and voltages at once.


@frozen
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
    course = _course(robot, wheel, supply, open_circuit_v, rpm)
    recovery = back_time(robot, wheel, supply, open_circuit_v, rpm)
    if course is None or recovery is None:
        return None
    speed, free, tau, _ = course
    spin_up = approach_time(free, tau, 0.0, speed * (1 - SETTLED))
    return WheelTimes(np.where(speed <= free, spin_up, np.inf), recovery)


def back_time(
    robot: Robot,
    wheel: Flywheel,
    supply: Train,
    open_circuit_v: ArrayLike,
    rpm: ArrayLike,
    to_rpm: ArrayLike | None = None,
) -> FloatArray | None:
    """Seconds from one shot at a wheel speed back to ``to_rpm``, what counts as recovered where None; inf where the
    power never gets there, None without wheel inertia."""
    course = _course(robot, wheel, supply, open_circuit_v, rpm)
    if course is None:
        return None
    speed, free, tau, kept = course
    back = speed * back_share(kept) if to_rpm is None else np.minimum(np.asarray(to_rpm, dtype=float) * RPM, speed)
    return np.where(speed <= free, approach_time(free, tau, speed * kept, back), np.inf)


def _course(
    robot: Robot, wheel: Flywheel, supply: Train, open_circuit_v: ArrayLike, rpm: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray] | None:
    """Wheel speed and the no-load speed that it approaches (rad/s), time constant (s), share that one shot leaves."""
    inertia, kept = wheel.turning_inertia, wheel.speed_kept(robot.element, supply.rotors)
    if inertia is None or kept is None:
        return None
    speed = np.asarray(rpm, dtype=float) * RPM
    free = supply.no_load_speed(open_circuit_v) / wheel.fastest_driven(supply.motors)
    if robot.setpoint.scale.follows_voltage:
        free = np.where(speed <= free, speed, 0.0)
    return speed, free, supply.time_constant(inertia + supply.rotors), kept
