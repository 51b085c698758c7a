"""What a robot of this profile can possibly say: values outside are impossible, not merely odd."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fieldtune.constants import RPM
from fieldtune.line_fields import FIELDS
from fieldtune.robot.model import Robot

# Volts a cell may show, from deeply drained under load to fresh off the charger; common practice, deliberately wide.
_CELL_VOLTS = {"nimh": (0.4, 1.8), "lead-acid": (1.0, 2.8), "li-ion": (1.8, 4.5), "lifepo4": (1.5, 4.0)}


@dataclass(frozen=True, slots=True)
class Limits:
    """What a profile's hardware can do, with wide margins.

    ``of_readings``: (lowest, highest) of each reading, by its name in a sample; magnitudes where a sign only says which
    way round something is wired. ``accel_rps2`` is wheel acceleration in turns/s^2 under full torque; ``tight_rps2``
    what a wheel usually does.
    """

    of_readings: dict[str, tuple[float, float]]
    wheel_rpm: float
    accel_rps2: float
    tight_rps2: float
    counts_per_turn: float | None
    counter_bits: int
    setpoint_is_speed: bool

    @classmethod
    def of(cls, robot: Robot) -> Limits:
        """Limits from the profile; generous defaults for every section it leaves out."""
        wheel_rpm = _fastest_wheel(robot)
        battery, drive, encoder = robot.battery, robot.drive, robot.encoder
        volts = (0.0, 100.0)
        if battery is not None:
            low, high = _CELL_VOLTS.get(battery.chemistry or "", (0.4, 5.0))
            volts = (low * battery.cells, high * battery.cells)
        mechanism = robot.launcher.striker or robot.launcher.arm
        deepest = mechanism.draw_max * 1000 if mechanism else robot.setpoint.high
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
            setpoint_is_speed=robot.setpoint.unit == "rpm",
        )


def _fastest_wheel(robot: Robot) -> float:
    """Twice the wheel's no-load speed at nominal voltage; else twice the highest setpoint, at least 12,000."""
    if robot.drive is not None:
        return 2 * robot.drive.no_load_speed / robot.drive.reduction / RPM
    if robot.setpoint.unit == "rpm":
        return max(12_000.0, 2 * robot.setpoint.high)
    return 60_000.0


def _hardest_spin_up(robot: Robot, per_second: float) -> float:
    """Turns/s^2 at twice the motors' stall torque, or full speed in 20 ms where the profile can't tell."""
    default = 50 * per_second
    drive, wheel = robot.drive, robot.launcher.flywheel
    if drive is None or wheel is None or not wheel.wheel_inertia:
        return default
    torque = drive.motors * drive.stall_torque * drive.reduction
    return 2 * torque / (wheel.wheels * wheel.wheel_inertia) / (2 * math.pi)
