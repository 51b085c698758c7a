"""The three ways of setting a launcher: a wheel speed that is held, a share of the battery's voltage, a draw.

A setpoint acts through one *drive quantity*: wheel rpm, or draw in mm. Each way is one class with all that differs:
unit, what it is read back from, and how quantity and setpoint follow from one another.
"""

from __future__ import annotations

import math
from abc import ABC, abstractmethod
from typing import TYPE_CHECKING, Literal

from fieldtune.constants import RPM
from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.unit_table import ANGULAR_SPEED, LENGTH, RATIO, Dimension

if TYPE_CHECKING:
    from fieldtune.robot.drivetrain import Drive

SetpointUnit = Literal["rpm", "%", "mm"]


class SetpointScale(ABC):
    """How setpoints of one unit work. ``per_si`` is how many of the unit one SI unit holds."""

    dimension: Dimension
    per_si: float
    bounds: tuple[str, str]
    """Lowest and highest setpoint that any robot can have, as a profile writes them."""
    readback: str
    """Field of a sample that says how the thing that is set really stands."""
    certain_top: float | None = None
    """Highest setpoint that can be at all, whatever the profile says."""
    is_speed = False
    """Whether the setpoint is itself the wheel speed to hold, so that speeds can be held against it."""
    follows_voltage = False
    """Whether the same setpoint does less on an emptier battery."""

    @abstractmethod
    def per_quantity(self, drive: Drive | None, battery_v: float | None) -> float:
        """Setpoint over drive quantity. Raises ``InputError`` where the drive has to be known and isn't."""

    @abstractmethod
    def difference_words(self, size: str) -> str:
        """A difference of two setpoints of this size (digits only) with its unit."""


class HeldSpeed(SetpointScale):
    """Wheel rpm under the robot program's speed control."""

    dimension, per_si, bounds = ANGULAR_SPEED, 1 / RPM, ("0 rpm", "200000 rpm")
    readback = "wheel_rpm"
    is_speed = True

    def per_quantity(self, drive: Drive | None, battery_v: float | None) -> float:
        """The setpoint is the quantity."""
        return 1.0

    def difference_words(self, size: str) -> str:
        """In rpm."""
        return f"{size} rpm"


class DrivePower(SetpointScale):
    """Per cent of the battery's voltage, without a control loop: the wheel turns as fast as that lets it."""

    dimension, per_si, bounds = RATIO, 100.0, ("0 %", "100 %")
    readback = "power_pct"
    certain_top = 100.0
    follows_voltage = True

    def per_quantity(self, drive: Drive | None, battery_v: float | None) -> float:
        """Per cent a wheel rpm, by the unloaded motor line at this voltage (the drive's nominal one where unknown)."""
        if drive is None:
            raise InputError("a setpoint in % needs the [drive] table (no_load_speed, gears)")
        voltage = drive.nominal_voltage if battery_v is None else battery_v
        return 100.0 / (drive.no_load_output / RPM * voltage / drive.nominal_voltage)

    def difference_words(self, size: str) -> str:
        """Per cent of what is itself in per cent would be read wrongly."""
        return f"{size} points"


class Draw(SetpointScale):
    """Millimetres by which a striker or an arm is drawn back."""

    dimension, per_si, bounds = LENGTH, 1000.0, ("0 mm", "3 m")
    readback = "draw_mm"

    def per_quantity(self, drive: Drive | None, battery_v: float | None) -> float:
        """The setpoint is the quantity."""
        return 1.0

    def difference_words(self, size: str) -> str:
        """In millimetres."""
        return f"{size} mm"


SCALES: dict[str, SetpointScale] = {"rpm": HeldSpeed(), "%": DrivePower(), "mm": Draw()}


@frozen
class SetpointRange:
    """What the robot program accepts, in ``unit``: rpm at the wheel, % of battery voltage, or mm of draw.

    ``high_given``: the profile says so; else ``high`` follows from what the drive or the draw can do.
    """

    unit: SetpointUnit
    low: float
    high: float
    step: float
    high_given: bool = True

    @property
    def scale(self) -> SetpointScale:
        """How setpoints in this unit work."""
        return SCALES[self.unit]

    @property
    def decimals(self) -> int:
        """Decimals in which setpoints a step apart are told apart, three at most."""
        return 0 if self.step <= 0 else min(3, max(0, math.ceil(-math.log10(self.step) - 1e-9)))
