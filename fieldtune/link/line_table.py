"""Many lines at once: lines that differ only in their numbers are read as one table instead of one by one.

A fast robot prints thousands of alike lines a second. What stands between their numbers is learned from the last line
that was read with full care; a chunk is taken as a table only if every line of it has exactly that shape. Anything
else, a single odd byte included, sends the whole chunk the careful way.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import msgspec
import numpy as np
from numpy.typing import NDArray

from fieldtune.frozen import frozen
from fieldtune.line_fields import BY_WIRE_NAME, CLOCKS, FIRED, WIRE_NAMES
from fieldtune.link.clock import AHEAD_S, TRAIL, LineState
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
from fieldtune.link.wire_values import NotDataError, WireValues, values_from

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray, IntArray
    from fieldtune.link.plausibility import Continuity

Bytes = NDArray[np.uint8]

FEWEST_LINES = 12
EXACT = 2.0**53
_RUN = re.compile(rb"[0-9.-]+")
_NUMERIC = b"0123456789.-"
_BLANK = ord("z")
_BLANKED = bytes(byte if byte in _NUMERIC else _BLANK for byte in range(256))
_MARK, _COMMA, _FIRST = b"#", 44, 1001
_decode_numbers = msgspec.json.Decoder(list[float]).decode
_DOLLAR, _STAR, HH_BLANK = 36, 42, 95
_HEX = np.full(256, -4096, dtype=np.int64)
_HEX[np.frombuffer(b"0123456789ABCDEF", np.uint8)] = np.arange(16)
_HEX[np.frombuffer(b"abcdef", np.uint8)] = np.arange(10, 16)


@frozen
class LineTable:
    """Lines as columns, by our field names: each (n,) float64, all finite."""

    columns: dict[str, FloatArray]
    lines: int

    def all_values(self) -> list[WireValues]:
        """The same lines one by one."""
        names = list(self.columns)
        rows = zip(*(column.tolist() for column in self.columns.values()), strict=True)
        return [values_from(dict(zip(names, row, strict=True))) for row in rows]

    def last(self) -> WireValues:
        """The last line."""
        return values_from({name: float(column[-1]) for name, column in self.columns.items()})


class TablePattern:
    """What stands between the numbers of one payload, and which number is which field."""

    def __init__(self, payload: bytes, read: Callable[[bytes], WireValues]) -> None:
        """Learns from a payload that ``read`` accepts; raises ``NotDataError`` if it has no such shape."""
        self._marked, texts = _numbers(payload + b"\n")
        self._count = self._marked.count(_MARK)
        if not self._count or _MARK in payload or texts.count(b",") != self._count:
            raise NotDataError("undecodable")
        # Each number is replaced by one of its own, to see in which field it comes out; digits of names stay.
        at, pieces = 0, []
        for i, match in enumerate(_RUN.finditer(payload)):
            named = payload[match.start() - 1 : match.start()].isalpha()
            pieces += [payload[at : match.start()], match.group() if named else b"%d" % (_FIRST + i)]
            at = match.end()
        wire = read(b"".join(pieces) + payload[at:])
        found = {name: value for name in WIRE_NAMES if (value := getattr(wire, name)) is not None}
        self.order = {name: int(value) - _FIRST for name, value in found.items()}
        if not all(0 <= column < self._count for column in self.order.values()):
            raise NotDataError("undecodable")

    def table(self, payloads: bytes, lines: int) -> LineTable | None:
        """The payloads, each ended by LF, as a table; None if any has another shape."""
        marked, texts = _numbers(payloads)
        if marked != self._marked * lines:
            return None
        try:
            values = np.array(_decode_numbers(b"[%s]" % texts[:-1]))
        except msgspec.DecodeError:
            return None
        if np.abs(values).max() > EXACT:
            return None  # whole numbers beyond this are no longer whole as floats
        table = values.reshape(lines, self._count)
        return LineTable({name: table[:, column] for name, column in self.order.items()}, lines)


def _numbers(payloads: bytes) -> tuple[bytes, bytes]:
    """The text with each run of number characters as one mark, and the runs alone, each ended by a comma."""
    blanked = np.frombuffer(payloads.translate(_BLANKED), np.uint8)
    numeric = blanked != _BLANK
    before = np.empty_like(numeric)
    before[0], before[1:] = False, numeric[:-1]
    behind = (before > numeric).view(np.uint8)
    texts = (blanked - behind * np.uint8(_BLANK - _COMMA)).tobytes().translate(None, b"z")
    marked = np.where(numeric > before, np.uint8(_MARK[0]), np.frombuffer(payloads, np.uint8))
    return marked.tobytes().translate(None, _NUMERIC), texts


def checked_payloads(buffer: Bytes, ends: IntArray) -> bytes | None:
    """Lines, ended at ``ends``, that are all ``$payload*HH`` with right checksums, with HH blanked; None otherwise."""
    dollars, stars = np.flatnonzero(buffer == _DOLLAR), np.flatnonzero(buffer == _STAR)
    lines = len(ends)
    if len(dollars) != lines or len(stars) != lines or dollars[0] != 0:
        return None
    if (dollars[1:] != ends[:-1] + 1).any() or (stars != ends - 3).any() or (stars == dollars + 1).any():
        return None
    bounds = np.empty(2 * lines, dtype=np.int64)
    bounds[::2], bounds[1::2] = dollars + 1, stars
    sums = np.bitwise_xor.reduceat(buffer, bounds)[::2]
    if (16 * _HEX[buffer[stars + 1]] + _HEX[buffer[stars + 2]] != sums).any():
        return None
    blanked = buffer.copy()
    blanked[stars + 1], blanked[stars + 2] = HH_BLANK, HH_BLANK
    return blanked.tobytes()


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
    if name not in block.columns or base.clock is None or base.tick != tick:
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
    step = continuity.wrapped(_differences(counts, base.counts)) / limits.counts_per_turn
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
    for i, before_s, rpm in chooser.chosen(said, wheel, fired, counted is None):
        readings: dict[str, Any] = {name: float(column[i]) for name, column in si.items()}
        if rpm is not None:
            readings["wheel_rpm"] = rpm
        sample = Sample(time_s=said[i], arrival_s=arrival, before_s=before_s, **readings)
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
        continuity.count_wraps(_differences(counts, base.counts or 0))
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
