"""Many alike lines weighed at once, in arrays: what a fast robot prints thousands of times a second.

Any line that asks for a closer look sends all of them the careful way, one by one.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from fieldtune.line_fields import BY_WIRE_NAME, CLOCKS, FIRED
from fieldtune.link.limits import (
    COUNTS_OFF,
    LEAST_SPEED,
    RPM_OFF,
    SCATTERS_OFF,
    SPEED_OFF,
    TICKS_OFF,
    VOLTS_OFF,
    Limits,
)
from fieldtune.link.samples import Sample, SampleChooser
from fieldtune.link.validation.line_state import AHEAD_S, TRAIL, LineState

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray, IntArray
    from fieldtune.link.text.layouts import LineTable
    from fieldtune.link.validation.plausibility import Continuity

MANY = 128
"""Lines from which arrays are faster than weighing line by line."""
EXACT = 2.0**53
_RECENT = 40
_OVERDUE = 2.5  # counts


def samples_of_table(
    continuity: Continuity, limits: Limits, base: LineState, block: LineTable, arrival: float, chooser: SampleChooser
) -> list[Sample] | None:
    """The samples of a table, and ``base`` moved on to its last line; None if any line asks for a closer look."""
    times = _times(base, block, arrival)
    if times is None:
        return None
    si = _readings(block, limits)
    if si is None or (FIRED in block.columns and block.columns[FIRED].max() > 1):
        return None
    elapsed = _after(base.time_s, times)
    turns = _turns(continuity, limits, base, block, times, elapsed)
    if turns is None or not _readings_follow(base, limits, si, elapsed):
        return None
    samples = _samples(block, si, times, turns if len(turns) else None, arrival, chooser)
    _advance(continuity, base, block, si, times, turns, elapsed, arrival)
    return samples


def _times(base: LineState, block: LineTable, arrival: float) -> FloatArray | None:
    """Line times, if each is a plain step ahead of the one before."""
    name = "t_us" if "t_us" in block.columns else "t_ms"
    tick = CLOCKS[name]
    if base.clock is None or base.tick != tick or np.abs(block.columns[name]).max() > EXACT:
        return None
    ticks = _after(base.clock, block.columns[name])
    if ticks.min() <= 0 or ticks.max() * tick > AHEAD_S:
        return None
    if arrival < base.arrival_s:
        return None
    return np.add.accumulate(np.concatenate([[base.time_s], ticks * tick]))[1:]


def _readings(block: LineTable, limits: Limits) -> dict[str, FloatArray] | None:
    """Columns by the names of a sample, in its units; None if any value is impossible."""
    si: dict[str, FloatArray] = {}
    for wire_name, (row, _) in BY_WIRE_NAME.items():
        column = block.columns.get(wire_name)
        if column is None or row.name in si:
            continue
        values = column / limits.per[wire_name]
        if row.signless or (row.name == "setpoint" and limits.setpoint_is_speed):
            values = np.abs(values)
        low, high = limits.of_readings[row.name]
        if not low <= values.min() <= values.max() <= high:
            return None
        si[row.name] = values
    return si


def _turns(
    continuity: Continuity, limits: Limits, base: LineState, block: LineTable, times: FloatArray, elapsed: FloatArray
) -> FloatArray | None:
    """Unwrapped wheel turns (empty without a counter), if the wheel runs on as before."""
    counts = block.columns.get("wheel_counts")
    if counts is None or limits.counts_per_turn is None:
        return np.empty(0)
    trail = base.trail
    if base.counts is None or len(trail) < 8 or np.abs(counts).max() > EXACT or (counts % 1).any():
        return None
    half = continuity.width.half
    step = ((_differences(counts, base.counts) + half) % (2 * half) - half) / limits.counts_per_turn
    turns = np.add.accumulate(np.concatenate([[base.turns], step]))[1:]
    at = np.concatenate([[p[0] for p in trail], times])
    run = np.concatenate([[p[1] for p in trail], turns])
    n = len(times)
    rate = (run[7 : 7 + n] - run[:n]) / (at[7 : 7 + n] - at[:n])
    waited = times - _last_move_s(base, times, step)
    if np.any((step == 0) & (np.abs(rate) * waited * limits.counts_per_turn > _OVERDUE)):
        return None  # the counter is read more seldom than lines come
    room = COUNTS_OFF / limits.counts_per_turn + (TICKS_OFF * base.tick + SPEED_OFF * elapsed) * np.abs(rate)
    room += limits.tight_rps2 * elapsed * elapsed / 2
    return turns if bool(np.all(np.abs(step - rate * elapsed) <= room)) else None


def _last_move_s(base: LineState, times: FloatArray, step: FloatArray) -> FloatArray:
    """When the counter last moved, at or before each line."""
    return np.maximum.accumulate(np.where(step != 0, times, base.turned_s))


def _differences(counts: FloatArray, before: int) -> IntArray:
    """Differences (n,) of raw counts, from the count before."""
    whole = np.empty(len(counts) + 1, dtype=np.int64)
    whole[0], whole[1:] = before, counts
    return np.asarray(whole[1:] - whole[:-1], dtype=np.int64)


def _after(before: float, values: FloatArray) -> FloatArray:
    """Differences (n,) of values, from the one before."""
    steps = values.copy()
    steps[1:] -= values[:-1]
    steps[0] -= before
    return steps


def _readings_follow(base: LineState, limits: Limits, si: dict[str, FloatArray], elapsed: FloatArray) -> bool:
    volts, rpm = si.get("battery_v"), si.get("wheel_rpm")
    if volts is not None:
        before = np.concatenate([[volts[0] if base.volts is None else base.volts], volts[:-1]])
        if np.any(np.abs(volts - before) > VOLTS_OFF[0] * before + VOLTS_OFF[1]):
            return False
    if rpm is not None:
        speed = rpm / 60
        before = np.concatenate([[speed[0] if base.rpm is None else base.rpm / 60], speed[:-1]])
        room = RPM_OFF * np.maximum(before, LEAST_SPEED * limits.wheel_rpm / 60) + SCATTERS_OFF * base.scatter
        room += limits.tight_rps2 * elapsed
        if np.any(np.abs(speed - before) > room) or not rpm.all():
            return False
    return True


def _samples(
    block: LineTable,
    si: dict[str, FloatArray],
    times: FloatArray,
    turns: FloatArray | None,
    arrival: float,
    chooser: SampleChooser,
) -> list[Sample]:
    said = times.tolist()
    counted = None if turns is None else turns.tolist()
    fired = (block.columns[FIRED] != 0).tolist() if FIRED in block.columns else None
    found = []
    wheel = si["wheel_rpm"].tolist() if counted is None and "wheel_rpm" in si else counted
    for i, before_s, rpm in chooser.chosen_evenly(said, wheel, fired, counted is None):
        readings: dict[str, Any] = {name: float(column[i]) for name, column in si.items()}
        if rpm is not None:
            readings["wheel_rpm"] = rpm
        averaged = rpm is not None
        sample = Sample(time_s=said[i], arrival_s=arrival, before_s=before_s, averaged=averaged, **readings)
        sample.turns = None if counted is None else counted[i]
        sample.fired = None if fired is None else fired[i]
        found.append(sample)
    return found


def _advance(
    continuity: Continuity,
    base: LineState,
    block: LineTable,
    si: dict[str, FloatArray],
    times: FloatArray,
    turns: FloatArray,
    elapsed: FloatArray,
    arrival: float,
) -> None:
    counts = block.columns.get("wheel_counts")
    if counts is not None:
        wraps = int(np.count_nonzero(np.abs(_differences(counts, base.counts or 0)) > continuity.width.half))
        if wraps:
            continuity.notices["counter roll-over"] += wraps
        base.counts = int(counts[-1])
    if len(turns):
        moved = np.flatnonzero(np.diff(turns, prepend=base.turns))[-TRAIL:]
        base.trail.extend(zip(times[moved].tolist(), turns[moved].tolist(), strict=True))
        base.turns, base.stood = float(turns[-1]), False
        base.turned_s = float(times[moved[-1]]) if len(moved) else base.turned_s
    clock = float(block.columns["t_us" if "t_us" in block.columns else "t_ms"][-1])
    continuity.clocks.rolled_over(base.clock or 0.0, clock)
    base.clock = clock
    base.volts = float(si["battery_v"][-1]) if "battery_v" in si else base.volts
    if "wheel_rpm" in si:
        for at, rpm in zip(times[-_RECENT:].tolist(), si["wheel_rpm"][-_RECENT:].tolist(), strict=True):
            base.follow_rpm(at, rpm)
    base.period += (1 - 0.95**block.lines) * (float(elapsed.mean()) - base.period)
    base.time_s, base.arrival_s = float(times[-1]), arrival
