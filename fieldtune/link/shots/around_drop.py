"""What the samples around a drop tell besides the course of the wheel: its setpoint, its battery, its last reading."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.link.samples import Sample
    from fieldtune.link.wheel.wheel_points import WheelPoints

_MISSING, _ALONE_S = 3.0, 0.25  # cells without a point: lines are missing; seconds behind that are looked at
_BESIDE_S, _BATTERY_S, _FEW_VOLTS = 0.02, 0.15, 2  # from so near to so far on either side; readings, at least
_EASES_V = 0.03  # the least rise
_FOR_LONG = 0.5  # share of the rise by which the lowest reading behind it is higher
_SPREADS, _STEPS = 3.0, 1.5  # that it exceeds: deviations at other instants; steps of what is printed
_EVERY_S, _APART_S, _INSTANTS = 0.2, 0.6, 20  # others: one in so many seconds, until so long before; at least
_QUARTILES = 1.35  # from one to the other in standard deviations, of a normal distribution
_RAMP_S, _LOWER = 0.4, 0.97
_BELOW, _FALLS, _FEWEST = 0.95, 0.1, 5  # of the setpoint; of the speed, a second; points


def last_fast(points: WheelPoints, instant: float, rpm: float) -> float:
    """The instant, or a later one until which single readings tell that the wheel ran on: cells need two."""
    first, last = bisect_right(points.t, instant), bisect_right(points.t, instant + _ALONE_S)
    t, x, samples = points.t[first:last], points.turns[first:last], points.samples[first:last]
    if points.are_counts and first:
        at_s, turns = points.t[first - 1], points.turns[first - 1]
        told = [60 * (now - turns) / (then - at_s) for then, now in zip(t, x, strict=True)]
    else:
        told = [sample.wheel_rpm or 0.0 for sample in samples]
    slow = next((i for i, one in enumerate(told) if one < (rpm + min(told)) / 2), 0)
    missing = slow and (t[slow] - t[slow - 1] > _MISSING * points.cell_s or not points.are_counts)
    return (t[slow - 1] + t[slow]) / 2 if missing else instant


def _volts(points: WheelPoints, since: float, until: float) -> list[float]:
    part = slice(bisect_left(points.t, since), bisect_right(points.t, until))
    return [sample.battery_v for sample in points.samples[part] if sample.battery_v is not None]


def _volts_around(points: WheelPoints, instant: float) -> tuple[list[float], list[float]]:
    before = _volts(points, instant - _BATTERY_S, instant - _BESIDE_S)
    return before, _volts(points, instant + _BESIDE_S, instant + _BATTERY_S)


def battery_fall(points: WheelPoints, instant: float) -> float | None:
    """By how many volts the battery fell at an instant; None where too little is known."""
    before, behind = _volts_around(points, instant)
    return median(before) - median(behind) if min(len(before), len(behind)) >= _FEW_VOLTS else None


def drive_eases(points: WheelPoints, instant: float, fall_v: float | None) -> bool:
    """Whether the battery rises at an instant, for longer than a moment and by more than at nine of ten others.

    A drive was turned down then, or off: a shot slows a wheel, so that its drive takes more. ``fall_v``: as of
    ``battery_fall``.
    """
    if fall_v is None or fall_v > -_EASES_V:
        return False
    before, behind = _volts_around(points, instant)
    if min(behind) - median(before) < -_FOR_LONG * fall_v:
        return False
    others_v = [battery_fall(points, at) for at in np.arange(points.t[0] + _BATTERY_S, instant - _APART_S, _EVERY_S)]
    known_v = [one for one in others_v if one is not None]
    if len(known_v) < _INSTANTS:
        return False
    step_v = min((b - a for a, b in pairwise(sorted({*_volts(points, -math.inf, instant)}))), default=0.0)
    lowest_v, low_v, high_v = np.percentile(known_v, (10, 25, 75))
    return bool(-fall_v > max(-lowest_v, _SPREADS * (high_v - low_v) / _QUARTILES, _STEPS * step_v))


def holds_setpoint(points: WheelPoints, since: float) -> bool:
    """Whether the robot has said all the time that it asks for the same speed: then nothing was lowered."""
    asked = {sample.setpoint for sample in points.samples[bisect_left(points.t, since) :]}
    return len(asked) == 1 and None not in asked


def lowered(points: WheelPoints, sample: Sample) -> bool:
    """Whether a new sample asks for less than the one before or those a moment ago, as where it goes down evenly."""
    if not points.samples or sample.setpoint is None:
        return False
    then = bisect_left(points.t, sample.time_s - _RAMP_S, 0, len(points.t) - 1)
    asked = [before.setpoint for before in (points.samples[-1], points.samples[then]) if before.setpoint is not None]
    return sample.setpoint < _LOWER * max(asked, default=0.0)


def below_running_out(asked_rpm: float | None, t: FloatArray, x: FloatArray, speed: float) -> bool:
    """Whether before a drop, of turns ``x`` (n,) at ``t``, a wheel ran out though below what was asked for."""
    ahead = t < 0
    if asked_rpm is None or 60 * speed > _BELOW * asked_rpm or ahead.sum() < _FEWEST:
        return False
    return bool(2 * np.polyfit(t[ahead], x[ahead], 2)[0] < -_FALLS * speed)
