"""The wheel as a controlled thing: how a recording with steps of the setpoint shows its control to answer and to hold.

Each stretch of one setpoint is a step, from the speed that the wheel had to the one it comes to; the last quarter of it
is taken as at rest there. Figures are those of control theory's step response (time to 63.2 % of the change, overshoot
above the final value, settling within 2 % of it: Ogata, Modern Control Engineering, section 5-3; from memory). Power
against speed at rest gives what turns the wheel at all and what each rpm takes besides.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.constants import RPM
from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.physics.motor import mean_voltage, motor, torque
from fieldtune.robot.drivetrain import hold_current

if TYPE_CHECKING:
    from pathlib import Path

    from fieldtune.arrays import BoolArray, FloatArray
    from fieldtune.link.recordings.recording import Decoded
    from fieldtune.link.recordings.recording_reader import RecordedLine
    from fieldtune.robot.model import Drive, Robot

_SETTLED, _REST, _RISE = 0.02, 0.25, 1 - math.exp(-1)
_SHORTEST_S, _FEWEST = 0.4, 12
_LEAST_STEP = 0.05
_SIGNIFICANT = 3.0
_SWITCHING_PCT = 15.0
_DRIFTING = 3.0


@frozen
class WheelTrace:
    """A recorded wheel: arrays (n,) over time in seconds, nan where the line did not say it.

    ``setpoint`` in the robot's unit, rpm or %; ``power_pct`` of battery voltage. ``shots_s``: times of shots, which end
    the stretch that they fall in.
    """

    time_s: FloatArray
    rpm: FloatArray
    setpoint: FloatArray
    power_pct: FloatArray
    battery_v: FloatArray
    shots_s: tuple[float, ...] = ()
    in_rpm: bool = True


@frozen
class WheelStep:
    """One stretch at one setpoint. ``None`` where it can't be told: no change of speed, no setpoint in rpm, no power.

    ``steady_error_rpm``: speed at rest less setpoint. ``ripple_rpm``: root mean square there, about a straight line.
    ``settled``: whether it was at rest in the end.
    """

    time_s: float
    from_rpm: float
    setpoint: float
    final_rpm: float
    time_constant_s: float | None
    overshoot_rpm: float | None
    settling_s: float | None
    steady_error_rpm: float | None
    ripple_rpm: float
    power_pct: float | None
    battery_v: float | None
    no_load_torque_nm: float | None
    settled: bool


@frozen
class WheelResponse:
    """Figures of all steps together; ``None`` where the line doesn't tell.

    How it answers: means over the steps up, where there are any. How it holds: over those that came to rest.

    Power at rest is ``static_offset_pct`` plus ``speed_slope_pct_per_rpm`` times the speed (and the same in volts).
    ``no_load_torque_nm``: at the wheel, what turning takes beyond the motors' own no-load losses; ``hold_current_a``:
    of the battery, by that torque, at the fastest setpoint. ``spread``: a standard deviation of each figure over the
    steps, the standard error of offset and slope; None where one step alone tells. ``hold_error``: ripple as a share of
    the speed.
    """

    static_offset_pct: float | None
    speed_slope_pct_per_rpm: float | None
    static_offset_v: float | None
    speed_slope_v_per_rpm: float | None
    time_constant_s: float | None
    overshoot_rpm: float | None
    settling_s: float | None
    steady_error_rpm: float | None
    ripple_rpm: float
    no_load_torque_nm: float | None
    hold_current_a: float | None
    hold_error: float
    spread: Mapping[str, float | None]
    steps: tuple[WheelStep, ...]
    notes: tuple[str, ...]


def trace_of(recorded: Decoded, in_rpm: bool = True) -> WheelTrace:
    """A decoded recording as arrays; setpoint, power and voltage that come in other lines hold until the next."""

    def held(values: list[float | None]) -> FloatArray:
        told = np.array([np.nan if value is None else value for value in values], dtype=float)
        at = np.maximum.accumulate(np.where(np.isfinite(told), np.arange(len(told)), -1))
        return np.where(at >= 0, told[np.maximum(at, 0)], np.nan)

    used = [sample for sample in recorded.samples if sample.wheel_rpm is not None]
    if not used:
        raise InputError("the recording has no wheel speed: let the robot print wheel_counts or wheel_rpm")
    return WheelTrace(
        time_s=np.array([sample.time_s for sample in used]),
        rpm=np.array([sample.wheel_rpm for sample in used], dtype=float),
        setpoint=held([sample.setpoint for sample in used]),
        power_pct=held([sample.power_pct for sample in used]),
        battery_v=held([sample.battery_v for sample in used]),
        shots_s=tuple(shot.time_s for shot in recorded.live.shots),
        in_rpm=in_rpm,
    )


def wheel_response(trace: WheelTrace, drive: Drive | None = None) -> WheelResponse:
    """Analyses a recording. Raises ``InputError`` where it has no step that can be told."""
    steps = tuple(step for part in _stretches(trace) if (step := _step(trace, part, drive)) is not None)
    if not steps:
        raise InputError(
            "the recording holds no setpoint long enough: record the wheel at four setpoints, two seconds each, "
            "with wheel speed and setpoint on the line"
        )
    moved = [step for step in steps if step.time_constant_s is not None]
    up = [step for step in moved if step.final_rpm > step.from_rpm] or moved
    at_rest = [step for step in steps if step.settled] or steps
    offset, slope = _power_line(at_rest, volts=False)
    offset_v, slope_v = _power_line(at_rest, volts=True)
    found = {
        "time_constant_s": _over([step.time_constant_s for step in up]),
        "overshoot_rpm": _over([step.overshoot_rpm for step in up]),
        "settling_s": _over([step.settling_s for step in up]),
        "steady_error_rpm": _over([step.steady_error_rpm for step in at_rest]),
        "ripple_rpm": _over([step.ripple_rpm for step in at_rest]),
        "no_load_torque_nm": _over([step.no_load_torque_nm for step in at_rest]),
        "static_offset_pct": offset,
        "speed_slope_pct_per_rpm": slope,
        "static_offset_v": offset_v,
        "speed_slope_v_per_rpm": slope_v,
    }
    ripple = math.sqrt(float(np.mean([step.ripple_rpm**2 for step in at_rest])))
    hold = math.sqrt(float(np.mean([(step.ripple_rpm / step.final_rpm) ** 2 for step in at_rest])))
    values = {name: value for name, (value, _) in found.items() if name != "ripple_rpm"}
    return WheelResponse(
        **values,
        ripple_rpm=ripple,
        hold_current_a=_hold_current(drive, values["no_load_torque_nm"], max(at_rest, key=lambda step: step.final_rpm)),
        hold_error=hold,
        spread={name: spread for name, (_, spread) in found.items()},
        steps=steps,
        notes=_notes(trace, steps, at_rest, moved),
    )


def _over(values: Sequence[float | None]) -> tuple[float | None, float | None]:
    """Mean and standard deviation of what is known."""
    known = [value for value in values if value is not None]
    if not known:
        return None, None
    return float(np.mean(known)), float(np.std(known, ddof=1)) if len(known) > 1 else None


# -- one stretch -----------------------------------------------------------------------------------------------------


def _stretches(trace: WheelTrace) -> list[slice]:
    """Stretches of one setpoint above zero, up to the first shot in each."""
    known = np.isfinite(trace.setpoint) & np.isfinite(trace.rpm)
    if not known.any():
        raise InputError("the recording has no wheel speed and setpoint together: let the robot print both")
    wanted = np.where(known, trace.setpoint, np.nan)
    changes = np.flatnonzero(wanted[1:] != wanted[:-1]) + 1
    found = []
    for first, end in zip([0, *changes], [*changes, len(wanted)], strict=True):
        if not wanted[first] > 0:
            continue
        shots = [s for s in trace.shots_s if trace.time_s[first] <= s < trace.time_s[end - 1]]
        last = int(np.searchsorted(trace.time_s, min(shots))) if shots else int(end)
        if last - first >= _FEWEST and trace.time_s[last - 1] - trace.time_s[first] >= _SHORTEST_S:
            found.append(slice(int(first), last))
    return found


def _step(trace: WheelTrace, part: slice, drive: Drive | None) -> WheelStep | None:
    t, rpm = trace.time_s[part], trace.rpm[part]
    before = trace.rpm[max(part.start - 5, 0) : part.start]
    # The setpoint changed somewhere between the sample before and the first that shows it.
    began = t[0] if part.start == 0 else (t[0] + trace.time_s[part.start - 1]) / 2
    rest = t >= t[-1] - _REST * (t[-1] - t[0])
    final = float(rpm[rest].mean())
    if not final > 0:
        return None
    line = np.polynomial.Polynomial.fit(t[rest], rpm[rest], 1)
    ripple = float(np.sqrt(np.mean((rpm[rest] - line(t[rest])) ** 2)))
    drift = abs(float(line(t[-1]) - line(t[rest][0])))
    start = float(before.mean()) if before.size else float(rpm[0])
    changed = part.start > 0 and abs(final - start) >= _LEAST_STEP * max(final, start)
    sign = math.copysign(1.0, final - start)
    power, volts = trace.power_pct[part][rest], trace.battery_v[part][rest]
    switching = bool(np.isfinite(power).any()) and float(np.nanstd(power)) > _SWITCHING_PCT
    power_pct = None if switching else _mean(power)
    return WheelStep(
        time_s=float(began),
        from_rpm=start,
        setpoint=float(trace.setpoint[part.start]),
        final_rpm=final,
        time_constant_s=_reached(t, sign * (rpm - start), _RISE * abs(final - start), began) if changed else None,
        overshoot_rpm=_overshoot(sign * (rpm[~rest] - final), ripple) if changed else None,
        settling_s=_settling(t, np.abs(rpm - final) <= _SETTLED * final, began) if changed else None,
        steady_error_rpm=final - float(trace.setpoint[part.start]) if trace.in_rpm else None,
        ripple_rpm=ripple,
        power_pct=power_pct,
        battery_v=_mean(volts),
        no_load_torque_nm=None
        if drive is None or power_pct is None
        else _torque(drive, power * volts / 100, rpm[rest]),
        settled=drift <= max(_DRIFTING * ripple, _SETTLED * final),
    )


def _mean(values: FloatArray) -> float | None:
    return float(np.nanmean(values)) if np.isfinite(values).any() else None


def _reached(t: FloatArray, risen: FloatArray, level: float, began: float) -> float | None:
    """Time from ``began`` until ``risen`` (n,) first passes a level, interpolated."""
    over = np.flatnonzero(risen >= level)
    if not over.size:
        return None
    k = int(over[0])
    if k == 0:
        return float(max(t[0] - began, 0.0))
    share = (level - risen[k - 1]) / (risen[k] - risen[k - 1])
    return float(t[k - 1] + share * (t[k] - t[k - 1]) - began)


def _overshoot(beyond: FloatArray, ripple: float) -> float:
    """Highest speed beyond the final one; 0 where the ripple makes as much."""
    peak = float(beyond.max()) if beyond.size else 0.0
    return peak if peak > _SIGNIFICANT * ripple else 0.0


def _settling(t: FloatArray, inside: BoolArray, began: float) -> float | None:
    """Time from ``began`` from which on the speed stays inside; None where it never does."""
    outside = np.flatnonzero(~inside)
    if not outside.size:
        return 0.0
    last = int(outside[-1])
    return float((t[last] + t[last + 1]) / 2 - began) if last + 1 < len(t) else None


def _torque(drive: Drive, volts: FloatArray, rpm: FloatArray) -> float | None:
    """Torque (N m) that the motors give at the wheel: what it takes to keep an empty wheel turning."""
    known = np.isfinite(volts)
    if not known.any():
        return None
    line = motor(
        drive.nominal_voltage, drive.no_load_speed, drive.stall_torque, drive.stall_current, drive.no_load_current
    )
    turning = rpm[known].mean() * RPM * drive.reduction
    each = torque(line, mean_voltage(float(volts[known].mean()), 1.0), turning)
    return float(each) * drive.motors * drive.reduction * drive.efficiency


def _hold_current(drive: Drive | None, no_load_torque: float | None, step: WheelStep) -> float | None:
    if drive is None or no_load_torque is None or step.battery_v is None:
        return None
    return hold_current(replace(drive, no_load_torque=max(no_load_torque, 0.0)), step.battery_v, step.final_rpm * RPM)


# -- all stretches ---------------------------------------------------------------------------------------------------

Estimate = tuple[float | None, float | None]


def _power_line(steps: Sequence[WheelStep], volts: bool) -> tuple[Estimate, Estimate]:
    """Offset and slope of power (%) or motor voltage (V) over speed at rest, each with its standard error."""
    points = [
        (step.final_rpm, step.power_pct * (step.battery_v / 100 if volts and step.battery_v is not None else 1.0))
        for step in steps
        if step.power_pct is not None and not (volts and step.battery_v is None)
    ]
    unknown: Estimate = (None, None)
    if len(points) < 2:
        return unknown, unknown
    x, y = np.array(points).T
    if np.ptp(x) < 2 * _LEAST_STEP * x.max():
        return unknown, unknown
    design = np.column_stack([np.ones_like(x), x])
    (offset, slope), *_ = np.linalg.lstsq(design, y, rcond=None)
    if len(x) < 3:
        return (float(offset), None), (float(slope), None)
    variance = float(np.sum((y - design @ [offset, slope]) ** 2)) / (len(x) - 2)
    errors = np.sqrt(np.diag(np.linalg.inv(design.T @ design)) * variance)
    return (float(offset), float(errors[0])), (float(slope), float(errors[1]))


def _notes(
    trace: WheelTrace, steps: Sequence[WheelStep], at_rest: Sequence[WheelStep], moved: Sequence[WheelStep]
) -> tuple[str, ...]:
    """What to bear in mind with these figures, or to record better."""
    notes = []
    if not np.isfinite(trace.power_pct).any():
        notes.append("no power on the line: static offset, speed slope and no-load torque need power_pct")
    elif all(step.power_pct is None for step in at_rest):
        notes.append("power switches on and off: static offset, speed slope and torque have no meaning then")
    elif not np.isfinite(trace.battery_v).any():
        notes.append("no battery voltage on the line: figures in volts and the no-load torque need battery_mv")
    if not moved:
        notes.append("the speed changes too little at any setpoint: record steps of a tenth or more")
    unsettled = sum(not step.settled for step in steps)
    if unsettled:
        notes.append(f"{unsettled} of {len(steps)} setpoints were left before the wheel was at rest: hold them longer")
    return tuple(notes)


def recorded_response(robot: Robot, recording: Path | str | RecordedLine) -> WheelResponse:
    """The same of a recording with steps of the setpoint; raises ``InputError`` for a robot without a held wheel."""
    from fieldtune.link.recordings.recording import decode

    mechanism = robot.launcher.mechanism
    if not mechanism.by_motion(lambda _: True, lambda _: False):
        words = f"it is {mechanism.article} {mechanism.kind}"
        raise InputError(f"{robot.name} has no wheel whose speed is held: {words}")
    return wheel_response(trace_of(decode(recording, robot), robot.setpoint.scale.is_speed), robot.drive)
