"""What a robot of this profile can possibly say: values outside are impossible, not merely odd."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fieldtune.constants import RPM
from fieldtune.frozen import frozen
from fieldtune.line_fields import BY_WIRE_NAME, FIELDS

if TYPE_CHECKING:
    from fieldtune.line_fields import LineField
    from fieldtune.robot.model import Robot

_VOLTS_BEYOND = (0.7, 1.05)
"""Shares of a battery's usual range within which a reading is odd, but not impossible."""

COUNTS_OFF, TICKS_OFF, SPEED_OFF = 1.5, 1.2, 0.06
"""By how much the next line's turns may be off those of an even run: counts, ticks of its clock, share of the speed."""
RPM_OFF, LEAST_SPEED, SCATTERS_OFF = 0.04, 1 / 20, 4.0
"""By how much the robot's own rpm may be off the last: share of the speed (of this share of the fastest at least), and
how many times its usual scatter."""
EDGE_COUNTS = 6.0
"""Where so many were to come, a single count says that the counter stands on an edge."""
INSIDE = 1e-9
"""Share by which limits are narrowed, so that no rounding decides."""
NEAREST_M = 0.02
"""No target is so near: a distance in another unit."""
VOLTS_OFF = (0.15, 0.3)
"""By how much the battery may be off the last: share, and volts beside it."""


@frozen
class Limits:
    """What a profile's hardware can do, with wide margins.

    ``of_readings``: (lowest, highest) of each reading, by its name in a sample; magnitudes where a sign only says which
    way round something is wired. ``accel_rps2`` is wheel acceleration in turns/s^2 under full torque; ``tight_rps2``
    what a wheel usually does. ``per``: by its name on the line, what a number is divided by to be as in a sample.
    """

    of_readings: dict[str, tuple[float, float]]
    wheel_rpm: float
    accel_rps2: float
    tight_rps2: float
    counts_per_turn: float | None
    counter_bits: int
    setpoint_is_speed: bool
    per: dict[str, float]

    @classmethod
    def of(cls, robot: Robot) -> Limits:
        """Limits from the profile; generous defaults for every section it leaves out."""
        wheel_rpm = _fastest_wheel(robot)
        battery, drive, encoder = robot.battery, robot.drive, robot.encoder
        volts = (0.0, 100.0)
        if battery is not None:
            low, high = (0.6, 4.8) if battery.cell is None else (battery.cell.lowest_v, battery.cell.highest_v)
            volts = (_VOLTS_BEYOND[0] * low * battery.cells, _VOLTS_BEYOND[1] * high * battery.cells)
        deepest = robot.launcher.mechanism.by_motion(lambda _: robot.setpoint.high, lambda drawn: 1000 * drawn.draw_max)
        amps = 2 * drive.motors * drive.stall_current if drive else 2000.0
        highest = 4 * max(abs(robot.setpoint.high), 1.0)
        from_profile = {
            "wheel_rpm": (0.0, wheel_rpm),
            "wheel2_rpm": (0.0, wheel_rpm),
            "battery_v": volts,
            "current_a": (-amps, amps),
            "setpoint": (-highest, highest),
            "draw_mm": (-3 * deepest, 3 * deepest),
        }
        per_turn = None
        if encoder is not None:
            geared = drive.reduction if drive is not None and encoder.on == "motor" else 1.0
            per_turn = encoder.counts_per_turn * geared
        return cls(
            of_readings={name: row.limits or from_profile[name] for name, row in FIELDS.items()},
            wheel_rpm=wheel_rpm,
            accel_rps2=_hardest_spin_up(robot, wheel_rpm / 60),
            tight_rps2=3 * wheel_rpm / 60,
            counts_per_turn=per_turn,
            counter_bits=encoder.bits if encoder else 32,
            setpoint_is_speed=robot.setpoint.scale.is_speed,
            per={name: wire.per / robot.link.scale.get(name, 1.0) for name, (_, wire) in BY_WIRE_NAME.items()},
        )

    def surely(self, wire_name: str) -> tuple[float, float]:
        """Numbers on the wire between which a reading is possible; narrower by so little that no rounding decides."""
        row, per = BY_WIRE_NAME[wire_name][0], self.per[wire_name]
        low, high = self.of_readings[row.name]
        low, high = sorted((per * (-high if self.signless(row) and low <= 0 else low), per * high))
        return low + INSIDE * abs(low), high - INSIDE * abs(high)

    def signless(self, row: LineField) -> bool:
        """Whether a reading's sign means nothing."""
        return row.signless or (row.name == "setpoint" and self.setpoint_is_speed)

    def slowest_rpm(self, robot: Robot) -> float:
        """Below this a wheel isn't up for a shot."""
        if robot.setpoint.scale.is_speed:
            return max(0.5 * robot.setpoint.low, 0.08 * robot.setpoint.high)
        return 0.05 * self.wheel_rpm


def _fastest_wheel(robot: Robot) -> float:
    """Twice the wheel's no-load speed at nominal voltage; else twice the highest setpoint, at least 12,000."""
    if robot.drive is not None:
        return 2 * robot.drive.no_load_output / RPM
    if robot.setpoint.scale.is_speed:
        return max(12_000.0, 2 * robot.setpoint.high)
    return 60_000.0


def _hardest_spin_up(robot: Robot, per_second: float) -> float:
    """Turns/s^2 at twice the motors' stall torque, or full speed in 20 ms where the profile can't tell."""
    default = 50 * per_second
    drive, inertia = robot.drive, robot.turning_inertia
    if drive is None or not inertia:
        return default
    torque = drive.motors * drive.stall_torque * drive.reduction
    return 2 * torque / inertia / (2 * math.pi)
