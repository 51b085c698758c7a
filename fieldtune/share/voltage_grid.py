"""Setpoints over distance and battery voltage, for robots whose setpoint is a share of the battery's voltage."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.battery.resistance import rest_voltage
from fieldtune.errors import InputError
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session

_COLUMNS = 5
_STEPS_V = (0.1, 0.2, 0.25, 0.5, 1.0, 2.0)
_NO_CHEMISTRY = (0.85, 1.1)
"""Shares of the drive's nominal voltage between which a battery of unknown chemistry is taken to be (common
practice)."""
_UNDER_LOAD = 0.93
"""Voltage at the controller over the one at rest while the drive works hard (common practice)."""


@frozen
class VoltageGrid:
    """``setpoints[i][k]`` at ``distances_m[i]`` and ``volts[k]`` at the robot controller; None where none scores."""

    robot: str
    unit: str
    distances_m: tuple[float, ...]
    volts: tuple[float, ...]
    setpoints: tuple[tuple[float | None, ...], ...]


def voltage_grid(
    session: Session, distances_m: Sequence[float], volts: Sequence[float] | None = None, target: str | None = None
) -> VoltageGrid:
    """The recommendation at every distance and voltage (from a full battery to a nearly empty one where None).

    Raises ``InputError`` for a robot whose setpoints hold at any voltage.
    """
    robot = session.robot
    if not robot.setpoint.scale.follows_voltage:
        raise InputError(f"{robot.name} takes setpoints in {robot.setpoint.unit}, which hold at any battery voltage")
    at = tuple(volts if volts is not None else usual_voltages(robot))
    tables = [session.table(list(distances_m), v, target) for v in at]
    return VoltageGrid(
        robot.name,
        robot.setpoint.unit,
        tuple(distances_m),
        at,
        tuple(tuple(table[i].setpoint for table in tables) for i in range(len(distances_m))),
    )


def usual_voltages(robot: Robot) -> tuple[float, ...]:
    """Round voltages, a handful, from a full battery at rest to one with a tenth of its charge under load."""
    low, high = rest_voltage(robot, 0.1), rest_voltage(robot, 1.0)
    if low is None or high is None:
        nominal = robot.drive.nominal_voltage if robot.drive else 12.0
        low, high = (share * nominal for share in _NO_CHEMISTRY)
    low *= _UNDER_LOAD
    step = next((s for s in _STEPS_V if (high - low) / s <= _COLUMNS), (high - low) / _COLUMNS)
    first, last = int(np.floor(low / step)), int(np.ceil(high / step - 1e-9))
    return tuple(round(k * step, 3) for k in range(last, first - 1, -1))
