"""The ceiling: the highest setpoint that a battery, as it is now, can hold and can recover to between shots.

A flywheel at full power approaches its no-load speed w_f with one time constant. A shot takes a fixed share of the
wheel's speed, w -> r w, because the element's energy grows with the square of the speed as the wheel's own does.
So the highest speed w of which a share b is back after a time T has a closed form:

    w = w_f (e - 1) / (b e - r),  e = exp(T / tau),   and never above w_f itself.

A striker's or an arm's ceiling is the longest draw whose hardest point the drive can still turn through.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.robot.model import Robot
from fieldtune.sizing.cocking import longest_draw, needed_torque
from fieldtune.sizing.drivetrain import FloatArray, Train, fastest_wheel, train, turning_inertia
from fieldtune.sizing.shot import speed_kept
from fieldtune.sizing.supply import odd_voltage, usual_voltage

SETTLED = 0.01
"""The wheel counts as back within this share of the setpoint: less than the usual scatter of exit speeds."""

BETWEEN_SHOTS_S = 2.0
"""Time between shots to recover in, where nobody says otherwise."""

_RPM = 2 * math.pi / 60


def ceiling(
    robot: Robot,
    battery_v: float | None = None,
    resistance_ohm: float | None = None,
    between_s: float = BETWEEN_SHOTS_S,
) -> float | None:
    """Highest setpoint (rpm at the wheel, %, or mm of draw) this battery can hold and recover to between shots.

    ``battery_v`` is the voltage at rest (a half-charged pack where None), ``resistance_ohm`` of pack and wiring (the
    profile's where None), ``between_s`` the seconds between two shots. None where drive, voltage or resistance are
    unknown, and where the voltage can't be this robot's. Neither windage nor the step limits of the setpoint enter.
    """
    volts = battery_v if battery_v is not None else usual_voltage(robot)
    ohms = resistance_ohm if resistance_ohm is not None else (robot.battery.resistance if robot.battery else None)
    if robot.drive is None or volts is None or ohms is None or odd_voltage(robot, volts):
        return None
    supply = train(robot.drive, ohms)
    if robot.launcher.flywheel is None:
        draw = longest_draw(robot, supply, volts)
        return None if draw is None else draw * 1000
    if robot.setpoint.unit == "%":
        return min(100.0, robot.setpoint.high)
    return float(wheel_ceiling(robot, supply, volts, between_s)) / _RPM


def wheel_ceiling(robot: Robot, supply: Train, open_circuit_v: ArrayLike, between_s: float) -> FloatArray:
    """Highest wheel speed (rad/s) held and recovered to; broadcasts over voltages and gear trains.

    Without a wheel inertia the recovery is unknown and only the holding counts.
    """
    free = supply.no_load_speed(open_circuit_v) / fastest_wheel(robot)
    wheel = robot.launcher.flywheel
    inertia = turning_inertia(wheel) if wheel is not None else None
    kept = speed_kept(robot)
    if inertia is None or kept is None:
        return np.asarray(free, dtype=float)
    grown = np.exp(np.minimum(between_s / supply.time_constant(inertia), 50.0))
    recovered = free * (grown - 1) / (back_share(kept) * grown - kept)
    return np.asarray(np.minimum(free, recovered), dtype=float)


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
    supply = train(robot.drive, resistance_ohm)
    m = supply.motor
    if robot.launcher.flywheel is None:
        torque = needed_torque(robot, setpoint / 1000)
        return None if torque is None else float(supply.motor_current(torque)) * m.resistance
    if robot.setpoint.unit == "%":
        return None if battery_v is None else battery_v * setpoint / 100
    at_one_volt_more = wheel_ceiling(robot, supply, m.no_load_current * m.resistance + 1.0, between_s)
    return m.no_load_current * m.resistance + setpoint * _RPM / float(at_one_volt_more)


def back_share(kept: float) -> float:
    """Share of the setpoint at which the wheel counts as back, after a shot that left it this share of its speed.

    Within 1 %; where a shot takes hardly more than that, when nine tenths of the drop are made good.
    """
    return 1 - min(SETTLED, (1 - kept) / 10)
