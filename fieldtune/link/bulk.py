"""Many lines at once: lines that differ only in their numbers are read as one table instead of one by one.

A fast robot prints thousands of alike lines a second. What stands between their numbers is learned from the last line
that was read with full care; a chunk is taken as a table only if every line of it has exactly that shape. Anything
else, a single odd byte included, sends the whole chunk the careful way.
"""
# MERGED: A whole table of lines weighed at once: the same rules as line by line, taken only if every line follows
# plainly.

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import msgspec
import numpy as np
from numpy.typing import NDArray

from fieldtune.arrays import FloatArray, IntArray
from fieldtune.link.clock import AHEAD_S, Base
from fieldtune.link.line_format import FIELDS, NotDataError, Wire
from fieldtune.link.plausibility import Steps
from fieldtune.link.sample import Limits, Sample

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


@dataclass(frozen=True, slots=True)
class Block:
    """Lines as columns, by our field names: each (n,) float64, all finite."""

    columns: dict[str, FloatArray]
    lines: int

    def wires(self) -> list[Wire]:
        """The same lines one by one."""
        names = list(self.columns)
        rows = zip(*(column.tolist() for column in self.columns.values()), strict=True)
        return [Wire(**dict(zip(names, row, strict=True))) for row in rows]

    def last(self) -> Wire:
        """The last line."""
        return Wire(**{name: float(column[-1]) for name, column in self.columns.items()})


class Shape:
    """What stands between the numbers of one payload, and which number is which field."""

    def __init__(self, payload: bytes, read: Callable[[bytes], Wire]) -> None:
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
        found = {name: value for name in FIELDS if (value := getattr(wire, name)) is not None}
        self.order = {name: int(value) - _FIRST for name, value in found.items()}
        if not all(0 <= column < self._count for column in self.order.values()):
            raise NotDataError("undecodable")

    def table(self, payloads: bytes, lines: int) -> Block | None:
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
        return Block({name: table[:, column] for name, column in self.order.items()}, lines)


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


def frames_hold(buffer: Bytes, ends: IntArray) -> bytes | None:
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


_SCALE = {"battery_mv": 1e3, "current_ma": 1e3, "distance_mm": 1e3}
_SI_NAME = {"battery_mv": "battery_v", "current_ma": "current_a", "distance_mm": "distance_m"}
_ORDER = (
    "wheel_rpm",
    "wheel2_rpm",
    "battery_v",
    "current_a",
    "distance_m",
    "setpoint",
    "power_pct",
    "draw_mm",
)
_RECENT = 40


def take_block(steps: Steps, limits: Limits, base: Base, block: Block, arrival: float) -> list[Sample] | None:
    """All samples of a block, and ``base`` moved on to its last line; None if any line asks for a closer look."""
    times = _times(base, block, arrival)
    if times is None:
        return None
    si = {_SI_NAME.get(name, name): column / _SCALE.get(name, 1.0) for name, column in block.columns.items()}
    for name in ("wheel_rpm", "wheel2_rpm", *(("setpoint",) if limits.setpoint_is_speed else ())):
        if name in si:
            si[name] = np.abs(si[name])
    if not _possible(si, limits):
        return None
    elapsed = _after(base.sample.time_s, times)
    turns = _turns(steps, limits, base, block, times, elapsed)
    if turns is None or not _readings_follow(base, limits, si, elapsed):
        return None
    samples = _samples(block, si, times, turns if len(turns) else None, arrival)
    _advance(steps, base, block, si, samples, times, turns, elapsed)
    return samples


def _times(base: Base, block: Block, arrival: float) -> FloatArray | None:
    """Line times, if each is a plain step ahead of the one before."""
    name, tick = ("t_us", 1e-6) if "t_us" in block.columns else ("t_ms", 1e-3)
    if name not in block.columns or base.clock is None or base.tick != tick:
        return None
    ticks = _after(base.clock, block.columns[name])
    if ticks.min() <= 0 or ticks.max() * tick > AHEAD_S:
        return None
    if arrival < base.sample.arrival_s:
        return None
    return np.add.accumulate(np.concatenate([[base.sample.time_s], ticks * tick]))[1:]


def _possible(si: dict[str, FloatArray], limits: Limits) -> bool:
    bounds = {
        "battery_v": limits.battery_v,
        "current_a": (-limits.current_a, limits.current_a),
        "distance_m": (0.0, limits.distance_m),
        "wheel_rpm": (-limits.wheel_rpm, limits.wheel_rpm),
        "wheel2_rpm": (-limits.wheel_rpm, limits.wheel_rpm),
        "setpoint": (-limits.setpoint, limits.setpoint),
        "power_pct": (-110.0, 110.0),
        "draw_mm": (-limits.draw_mm, limits.draw_mm),
    }
    return all(low <= si[name].min() and si[name].max() <= high for name, (low, high) in bounds.items() if name in si)


def _turns(
    steps: Steps, limits: Limits, base: Base, block: Block, times: FloatArray, elapsed: FloatArray
) -> FloatArray | None:
    """Unwrapped wheel turns (empty without a counter), if the wheel runs on as before."""
    counts = block.columns.get("wheel_counts")
    if counts is None or limits.counts_per_turn is None:
        return np.empty(0)
    trail = base.trail
    if base.counts is None or len(trail) < 8 or base.turned_s != base.sample.time_s or np.abs(counts).max() > EXACT:
        return None
    step = steps.wrapped(_steps(counts, base.counts)) / limits.counts_per_turn
    turns = np.add.accumulate(np.concatenate([[base.turns], step]))[1:]
    at = np.concatenate([[p[0] for p in trail], times])
    run = np.concatenate([[p[1] for p in trail], turns])
    n = len(times)
    rate = (run[7 : 7 + n] - run[:n]) / (at[7 : 7 + n] - at[:n])
    room = 1.5 / limits.counts_per_turn + 1.2 * base.tick * np.abs(rate) + 0.06 * np.abs(rate) * elapsed
    room += limits.tight_rps2 * elapsed * elapsed / 2
    return turns if bool(np.all(np.abs(step - rate * elapsed) <= room)) else None


def _steps(counts: FloatArray, before: int) -> IntArray:
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


def _readings_follow(base: Base, limits: Limits, si: dict[str, FloatArray], elapsed: FloatArray) -> bool:
    volts, rpm = si.get("battery_v"), si.get("wheel_rpm")
    if volts is not None:
        before = np.concatenate([[volts[0] if base.volts is None else base.volts], volts[:-1]])
        if np.any(np.abs(volts - before) > 0.15 * before + 0.3):
            return False
    if rpm is not None:
        speed = rpm / 60
        before = np.concatenate([[speed[0] if base.rpm is None else base.rpm / 60], speed[:-1]])
        room = 0.04 * np.maximum(before, limits.wheel_rpm / 1200) + 4 * base.rough + limits.tight_rps2 * elapsed
        if np.any(np.abs(speed - before) > room):
            return False
    return True


def _samples(
    block: Block, si: dict[str, FloatArray], times: FloatArray, turns: FloatArray | None, arrival: float
) -> list[Sample]:
    nothing = [None] * block.lines
    readings = [si[name].tolist() if name in si else nothing for name in _ORDER]
    fired = (si["fired"] != 0).tolist() if "fired" in si else nothing
    counted = nothing if turns is None else turns.tolist()
    return list(map(Sample, times.tolist(), [arrival] * block.lines, counted, *readings, fired))


def _advance(
    steps: Steps,
    base: Base,
    block: Block,
    si: dict[str, FloatArray],
    samples: list[Sample],
    times: FloatArray,
    turns: FloatArray,
    elapsed: FloatArray,
) -> None:
    counts = block.columns.get("wheel_counts")
    if counts is not None:
        steps.count_wraps(_steps(counts, base.counts or 0))
        base.counts = int(counts[-1])
    if len(turns):
        base.turns, base.turned_s = float(turns[-1]), float(times[-1])
        base.trail.extend(zip(times[-8:].tolist(), turns[-8:].tolist(), strict=True))
    clock = float(block.columns["t_us" if "t_us" in block.columns else "t_ms"][-1])
    steps.clocks.rolled_over(base.clock or 0.0, clock)
    base.clock = clock
    base.volts = float(si["battery_v"][-1]) if "battery_v" in si else base.volts
    for rpm in si["wheel_rpm"][-_RECENT:].tolist() if "wheel_rpm" in si else ():
        base.roughen(rpm)
    base.period += (1 - 0.95**block.lines) * (float(elapsed.mean()) - base.period)
    base.sample = samples[-1]
