"""Which voltage to reckon with: what a pack gives at rest by its chemistry, and which readings can't be a pack's."""

from __future__ import annotations

import math

from fieldtune.physics.battery import open_circuit_voltage
from fieldtune.robot.model import Robot

LOW_CHARGE = 0.2
"""Charge at which a pack counts as low: common practice, no source; below it most chemistries drop fast."""

_CELL_RANGE = {"nimh": (0.6, 1.75), "lead-acid": (1.3, 2.75), "li-ion": (2.0, 4.45), "lifepo4": (1.8, 3.9)}
"""Volts a cell between a pack that is empty under load and one that is still on its charger: common practice."""


def rest_voltage(robot: Robot, charge: float) -> float | None:
    """Open-circuit voltage of the robot's pack at a charge 0..1; None without battery or chemistry."""
    battery = robot.battery
    if battery is None or battery.chemistry is None:
        return None
    return float(open_circuit_voltage(battery.chemistry, charge, battery.cells))


def usual_voltage(robot: Robot) -> float | None:
    """What to reckon with where nobody has measured: the half-charged pack, else pack's or drive's nominal voltage."""
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
    if robot.setpoint.unit != "%" or volts is not None:
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
    pack = _pack_words(robot)
    return (
        f"the battery reads {volts:.4g} V, but {pack} lies between {low:.3g} and {high:.3g} V: "
        "check the reading's unit and the profile's [battery]"
    )


def _plausible(robot: Robot) -> tuple[float, float]:
    battery = robot.battery
    if battery is not None and battery.chemistry is not None:
        low, high = _CELL_RANGE[battery.chemistry]
        return low * battery.cells, high * battery.cells
    if robot.drive is not None:
        return 0.3 * robot.drive.nominal_voltage, 2.0 * robot.drive.nominal_voltage
    return 0.0, 100.0


def _pack_words(robot: Robot) -> str:
    battery = robot.battery
    if battery is not None and battery.chemistry is not None:
        return f"a pack of {battery.cells} {battery.chemistry} cells"
    return "a supply that fits this drive"
