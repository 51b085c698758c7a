"""Whether the battery, as it is now, holds what is recommended: the ceiling, and words where something is amiss."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim
    from fieldtune.robot.model import Robot


def with_battery(robot: Robot, aim: Aim, battery_v: float | None, resistance_ohm: float | None) -> Aim:
    """The recommendation with its ceiling (in setpoint units; None where unknown) and the battery's cautions."""
    from fieldtune.sizing.ceiling import ceiling
    from fieldtune.sizing.supply import odd_voltage

    highest = ceiling(robot, battery_v, resistance_ohm)
    words = [odd_voltage(robot, battery_v)] if battery_v is not None else []
    value = aim.setpoint.value
    if highest is not None and value is not None and value > highest:
        unit = robot.setpoint.unit
        now = f"{battery_v:.1f} V" if battery_v is not None else "a half-charged battery"
        words.append(
            f"{now} can hold about {highest:.0f} {unit}, less than the {value:.0f} {unit} needed: "
            "charge or swap the battery, wait longer between shots, or go nearer"
        )
    cautions = aim.cautions + tuple(word for word in words if word is not None)
    return replace(aim, ceiling=highest, cautions=cautions, battery_v=battery_v)
