"""Which voltage to calculate with: what a battery gives at rest, and which readings can't be a battery's."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

LOW_CHARGE = 0.2
"""Charge at which a battery counts as low: common practice, no source; below it most chemistries drop fast."""


def rest_voltage(robot: Robot, charge: float) -> float | None:
    """Open-circuit voltage of the robot's battery at a charge 0..1; None without battery or chemistry."""
    return None if robot.battery is None else robot.battery.rest_voltage(charge)


def usual_voltage(robot: Robot) -> float | None:
    """What to take where nobody has measured: the half-charged battery, else battery's or drive's nominal voltage."""
    half = rest_voltage(robot, 0.5)
    if half is not None:
        return half
    if robot.battery is not None and robot.battery.nominal_voltage is not None:
        return robot.battery.nominal_voltage
    return robot.drive.nominal_voltage if robot.drive is not None else None


def open_loop_spread(robot: Robot, volts: float | None) -> float | None:
    """Standard deviation of the log voltage that an open-loop command is a fraction of; None where unknown.

    0 for a closed loop, a spring, and a voltage that somebody measured. Otherwise any charge from full to low is as
    likely as another: the range over the root of twelve.
    """
    if not robot.setpoint.scale.follows_voltage or volts is not None:
        return 0.0
    full, low = rest_voltage(robot, 1.0), rest_voltage(robot, LOW_CHARGE)
    return None if full is None or low is None else math.log(full / low) / math.sqrt(12)


def odd_voltage(robot: Robot, volts: float) -> str | None:
    """Why a reading can't be this robot's battery, in one line with the remedy; None where it can."""
    if not volts > 0:
        return f"the battery reads {volts:g} V: no battery, or the meter's wire is off; check battery_mv on the line"
    low, high = _plausible(robot)
    if low <= volts <= high:
        return None
    return (
        f"the battery reads {volts:.4g} V, but {_battery_words(robot)} lies between {low:.3g} and {high:.3g} V: "
        "check the reading's unit and the profile's [battery]"
    )


def _plausible(robot: Robot) -> tuple[float, float]:
    battery = robot.battery
    if battery is not None and battery.cell is not None:
        return battery.cell.lowest_v * battery.cells, battery.cell.highest_v * battery.cells
    if robot.drive is not None:
        return 0.3 * robot.drive.nominal_voltage, 2.0 * robot.drive.nominal_voltage
    return 0.0, 100.0


def _battery_words(robot: Robot) -> str:
    battery = robot.battery
    if battery is not None and battery.chemistry is not None:
        return f"a battery of {battery.cells} {battery.chemistry} cells"
    return "a supply that fits this drive"
