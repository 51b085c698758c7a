"""The ceiling asked ten times a second: for a wheel it is a straight line in the voltage, worked out once and kept."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from fieldtune.robot.model import Robot
from fieldtune.sizing.ceiling import ceiling, lowest_voltage
from fieldtune.sizing.drivetrain import train, turning_inertia
from fieldtune.sizing.shot import speed_kept

_RPM = 2 * math.pi / 60
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
        if self.robot.launcher.flywheel is None or self.robot.setpoint.unit == "%":
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


@dataclass(frozen=True, slots=True)
class ShotCharge:
    """Coulombs that a shot should take: making good the wheel's speed at full power, and holding it in between."""

    per_rpm: float
    holding_a: float

    @classmethod
    def of(cls, robot: Robot) -> ShotCharge | None:
        """None where drive or wheel inertia are unknown, or the setpoint is no speed."""
        wheel, drive = robot.launcher.flywheel, robot.drive
        kept, inertia = speed_kept(robot), turning_inertia(wheel) if wheel is not None else None
        if drive is None or kept is None or inertia is None or robot.setpoint.unit != "rpm":
            return None
        gain = drive.reduction * drive.efficiency * train(drive, 0.0).motor.torque_constant
        return cls(inertia * _RPM * (1 - kept) / gain, drive.motors * drive.no_load_current)

    def coulombs(self, setpoint: float, between_s: float) -> float:
        """Charge of one shot (C) at a wheel speed (rpm) with a pause (s)."""
        return self.per_rpm * setpoint + self.holding_a * between_s
