"""What a name on the line may stand for: kinds of readings, and the units in which robots send each."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.line_fields import COUNTER, PERIOD
from fieldtune.link.limits import Limits
from fieldtune.link.troubleshooting.robot_units import motor_rpm, positions, robot_unit

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

MAYBE_MOTORS = "rpm of wheel or motor"
"""The unit of a speed that is told in rpm, and is more than the wheel is ever asked for."""
_RPM = 30 / math.pi
_ECHO = 343.2e-6 / 2
"""Metres that a microsecond of an echo's time stands for: sound goes there and back at 343.2 m/s (air of 20 degC)."""


@frozen
class Meaning:
    """What a name on the line may stand for: our field ``ours``, the robot's ``unit``, and the factor to our unit.

    ``sure``: whether name or numbers tell the unit.
    """

    words: str
    unit: str
    ours: str
    scale: float = 1.0
    sure: bool = True

    @property
    def told(self) -> str:
        """``wheel speed in rad/s``."""
        return f"{self.words} in {self.unit}" if self.unit else self.words


def _meanings(words: str, *units: tuple[str, str, float]) -> tuple[Meaning, ...]:
    return tuple(Meaning(words, unit, ours, scale) for unit, ours, scale in units)


_SPEEDS = (("rpm", 1.0), ("rad/s", _RPM), ("turns/s", 60.0), ("deg/s", 1 / 6))
MEANINGS: Mapping[str, tuple[Meaning, ...]] = {
    "time": _meanings("robot's clock", ("ms", "t_ms", 1.0), ("µs", "t_us", 1.0)),
    "counts": _meanings("encoder", ("counts", "wheel_counts", 1.0)),
    "speed": _meanings("wheel speed", *((unit, "wheel_rpm", scale) for unit, scale in _SPEEDS)),
    "speed2": _meanings("second wheel's speed", *((unit, "wheel2_rpm", scale) for unit, scale in _SPEEDS)),
    "setpoint": _meanings("setpoint", ("its unit", "setpoint", 1.0), ("rad/s", "setpoint", _RPM),
                          ("turns/s", "setpoint", 60.0), ("share 0 to 1", "setpoint", 100.0), ("cm", "setpoint", 10.0)),
    "battery": _meanings("battery", ("V", "battery_v", 1.0), ("mV", "battery_mv", 1.0), ("0.1 V", "battery_v", 0.1)),
    "current": _meanings("current", ("A", "current_a", 1.0), ("mA", "current_ma", 1.0)),
    "distance": _meanings("distance to the target", ("m", "distance_m", 1.0), ("mm", "distance_mm", 1.0),
                          ("cm", "distance_m", 0.01), ("in", "distance_m", 0.0254), ("ft", "distance_m", 0.3048),
                          ("µs", "distance_m", _ECHO)),
    "period": _meanings("time of a turn", ("µs", PERIOD, 1.0), ("ms", PERIOD, 1000.0)),
    "power": _meanings("drive power", ("%", "power_pct", 1.0), ("share 0 to 1", "power_pct", 100.0),
                       ("of 255", "power_pct", 100 / 255)),
    "draw": _meanings("draw", ("mm", "draw_mm", 1.0), ("cm", "draw_mm", 10.0), ("in", "draw_mm", 25.4)),
    "fired": _meanings("shot leaves", ("0 or 1, or shots so far", "fired", 1.0)),
    "hood": _meanings("exit angle now", ("deg", "hood_deg", 1.0), ("rad", "hood_deg", 180 / math.pi)),
    "turret": _meanings("turn of the launcher", ("deg", "turret_deg", 1.0), ("rad", "turret_deg", 180 / math.pi)),
}  # fmt: skip
"""By kind of reading, its units, the usual one first."""


def meanings(kind: str, robot: Robot | None) -> tuple[Meaning, ...]:
    """The units of a kind of reading on this robot: those of ``MEANINGS``, and what its own figures make ours."""
    usual = MEANINGS[kind]
    if robot is None:
        return usual
    words, ours, per_turn = usual[0].words, usual[0].ours, Limits.of(robot).counts_per_turn
    if kind == "counts":
        return (*usual, *(Meaning(words, one.unit, COUNTER, one.factor) for one in positions(robot)))
    if kind == "period" and per_turn:
        return (*usual, Meaning("time of a count", "µs", PERIOD, per_turn))
    if kind in ("speed", "speed2"):
        own = (motor_rpm("motor", robot), robot_unit("counts/s", robot), robot_unit("counts/100ms", robot))
        return (*usual, *(Meaning(words, one.unit, ours, one.factor) for one in own if one is not None))
    return usual


def would_have_to_print(names: Sequence[str]) -> str:
    """A line that this program reads without any mapping, with these of our fields."""
    numbers = {
        "t_ms": 123450,
        "wheel_counts": 8812345,
        "battery_mv": 12345,
        "setpoint": 1400,
        "draw_mm": 31,
        "fired": 0,
    }
    return ",".join(f"{name}={numbers.get(name, 0)}" for name in names)
