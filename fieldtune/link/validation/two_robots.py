"""Whether two robots talk on one line: lines in turn follow the last but one, and not the last."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple

from fieldtune.link.validation.clock import clock_of

if TYPE_CHECKING:
    from fieldtune.link.text.wire_values import WireValues

_SURE = 20  # lines in turn
_ODD = 3  # one that isn't in turn takes back so many
_CLOCK_S = 0.3  # clock and arrival of the same robot's lines differ by less
_RPM, RPM_ALIKE = 0.1, 30.0  # share of the speed, and rpm
_MULTIPLE = 0.04
_VOLTS = 0.25  # a motor switched on takes more at once, but not every other line


class Said(NamedTuple):
    """Of one line: clock, counter, own rpm, arrival, battery."""

    clock_s: float | None
    counts: int | float | None
    rpm: float | None
    arrival_s: float
    volts: float | None = None


class TwoRobots:
    """Sees every line; ``sure`` while two robots speak in turn. ``most_counts_per_s``: of the wheel, inf if unknown."""

    def __init__(self, most_counts_per_s: float) -> None:
        self._most = most_counts_per_s
        self._last: Said | None = None
        self._before: Said | None = None
        self._in_turn = 0
        self.sure = False

    def see(self, wire: WireValues, rpm: float | None, volts: float | None, arrival_s: float, doubtful: bool) -> bool:
        """Takes the next line; True when it becomes sure with it.

        ``doubtful``: this line or the one before may not follow. Others are looked at only where their rpm or
        battery jumps.
        """
        last, before = self._last, self._before
        now = self._last = _said(wire, rpm, volts, arrival_s)
        self._before = last
        if last is None or before is None:
            return False
        alike = (rpm is None or last.rpm is None or rpm_alike(rpm, last.rpm)) and _volts_alike(volts, last.volts)
        if not doubtful and not self._in_turn and alike:
            return False
        if self._same(now, last):
            self._in_turn = max(self._in_turn - _ODD, 0)
        elif self._same(now, before) and not _one_count_apart(now.rpm, last.rpm):
            self._in_turn = min(self._in_turn + 1, 2 * _SURE)
        was, self.sure = self.sure, self._in_turn >= _SURE or (self.sure and self._in_turn > 0)
        return self.sure and not was

    def quiet(self, rpm: float | None) -> bool:
        """Whether lines that go on plainly from ``rpm`` would change nothing here."""
        last = self._last
        return not self._in_turn and not self.sure and last is not None and (rpm is None or last.rpm == rpm)

    def saw(self, said: Sequence[Said]) -> None:
        """Takes lines that went on plainly."""
        *_, self._before, self._last = (self._last, *said[-2:])

    def _same(self, line: Said, other: Said) -> bool:
        """Whether two lines can be one robot's, the other being the earlier."""
        since = line.arrival_s - other.arrival_s
        counts, before = line.counts, other.counts
        if counts is not None and before is not None and counts != before and self._most < math.inf:
            return abs(counts - before) <= self._most * (since + 0.02)  # one counter goes on, whatever the clock does
        clocked = False
        if line.clock_s is not None and other.clock_s is not None:
            clocked = 0 <= line.clock_s - other.clock_s <= since + _CLOCK_S
            if not clocked:
                return False
        alike = line.rpm is not None and other.rpm is not None and rpm_alike(line.rpm, other.rpm)
        if clocked and alike:
            return True  # a stiff loop loads the battery every other line
        if not _volts_alike(line.volts, other.volts):
            return False
        # own rpm of few counts jumps, but nobody else's clock goes on like that
        return alike or line.clock_s is not None or line.rpm is None or other.rpm is None


def _said(wire: WireValues, rpm: float | None, volts: float | None, arrival_s: float) -> Said:
    ticks, tick = clock_of(wire)
    return Said(None if ticks is None else ticks * tick, wire.wheel_counts, rpm, arrival_s, volts)


def _volts_alike(volts: float | None, other: float | None) -> bool:
    return volts is None or other is None or abs(volts - other) <= _VOLTS


def rpm_alike(rpm: float, other: float) -> bool:
    """Whether two speeds can be one wheel's, one line after the other."""
    return abs(rpm - other) <= _RPM * max(rpm, other) + RPM_ALIKE


def _one_count_apart(rpm: float | None, other: float | None) -> bool:
    """Whether both are multiples of their difference: own rpm of few counts a line goes up and down so by itself."""
    if rpm is None or other is None or rpm == other:
        return False
    times = rpm / (rpm - other)
    return abs(times - round(times)) < max(_MULTIPLE, _MULTIPLE * math.fabs(times))
