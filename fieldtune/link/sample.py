"""One decoded line in SI, and what a robot of this profile can possibly say."""

from __future__ import annotations

import math
from dataclasses import dataclass

import msgspec

from fieldtune.robot.model import Robot

RPM = 60.0 / (2 * math.pi)


class Sample(msgspec.Struct, gc=False):
    """One plausible line: SI units, ``None`` where the line did not say it. Read-only once handed out.

    ``time_s`` runs on over roll-over, restarts and gaps; ``fresh`` marks the first sample behind such a break.
    ``turns`` counts wheel turns since the last break. ``wheel_rpm`` is the speed at the wheel without
    a sign: as sent, else the local slope of the counts. ``arrival_s`` is the host's clock.
    """

    time_s: float
    arrival_s: float
    turns: float | None = None
    wheel_rpm: float | None = None
    wheel2_rpm: float | None = None
    battery_v: float | None = None
    current_a: float | None = None
    distance_m: float | None = None
    setpoint: float | None = None
    power_pct: float | None = None
    draw_mm: float | None = None
    fired: bool | None = None
    fresh: bool = False


@dataclass(frozen=True, slots=True)
class Limits:
    """What a profile's hardware can do, with wide margins; values outside are impossible, not merely odd.

    ``accel_rps2`` is wheel acceleration in turns/s^2 under full torque; ``tight_rps2`` what a wheel usually does.
    """

    wheel_rpm: float
    accel_rps2: float
    tight_rps2: float
    battery_v: tuple[float, float]
    current_a: float
    distance_m: float
    setpoint: float
    draw_mm: float
    counts_per_turn: float | None
    counter_bits: int
    setpoint_is_speed: bool

    @classmethod
    def of(cls, robot: Robot) -> Limits:
        """Limits from the profile; generous defaults for every section it leaves out."""
        wheel_rpm = _fastest_wheel(robot)
        per_second = wheel_rpm / 60
        battery, drive, encoder = robot.battery, robot.drive, robot.encoder
        volts = (0.0, 100.0)
        if battery is not None:
            low, high = (0.4, 5.0) if battery.cell is None else (battery.cell.lowest_v, battery.cell.highest_v)
            # Twice as far as a battery usually goes, so that what a person would want to see isn't thrown away.
            volts = (0.7 * low * battery.cells, 1.05 * high * battery.cells)
        deepest = robot.launcher.mechanism.by_motion(lambda _: robot.setpoint.high, lambda drawn: 1000 * drawn.draw_max)
        per_turn = None
        if encoder is not None:
            geared = drive.reduction if drive is not None and encoder.on == "motor" else 1.0
            per_turn = encoder.counts_per_turn * geared
        return cls(
            wheel_rpm=wheel_rpm,
            accel_rps2=_hardest_spin_up(robot, per_second),
            tight_rps2=3 * per_second,
            battery_v=volts,
            current_a=2 * drive.motors * drive.stall_current if drive else 2000.0,
            distance_m=50.0,
            setpoint=4 * max(abs(robot.setpoint.high), 1.0),
            draw_mm=3 * deepest,
            counts_per_turn=per_turn,
            counter_bits=encoder.bits if encoder else 32,
            setpoint_is_speed=robot.setpoint.scale.is_speed,
        )


def _fastest_wheel(robot: Robot) -> float:
    """Twice the wheel's no-load speed at nominal voltage; else twice the highest setpoint, at least 12,000."""
    if robot.drive is not None:
        return 2 * robot.drive.no_load_output * RPM
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
