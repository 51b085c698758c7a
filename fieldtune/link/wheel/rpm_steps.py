"""What own rpm is made of: whole counts over a time, which go up and down by one, or the time from edge to edge.

A program that counts over 20 ms says 750, 1500 or 2250 rpm of four counts a turn, and nothing between: only their mean
is a speed, and what one reading has too much the next one lacks. One that times its edges says any speed, as smoothly
as the wheel turns. Both send the same field: which it is shows where the wheel's speed lies between two steps of whole
counts, or passes from one to another in small steps; or each reading stands for one count at any speed.

Timed edges are as fine as the program's clock. Of four counts a turn at 100 lines/s, 24 of 24 drops of 12 % are found
so, none before the two were told apart. Where marks are uneven and lines leave edges out, both come in step: a dip
has to be 2.5 times as deep as readings differ.

Not done: to time single counts by lines of 1,000 a second, which found 22 of 24 instead of 5 shots of four counts a
turn, but made some up, as points change between the two ways of timing; counts that get lost at 1 % of the edges.
"""

from __future__ import annotations

import math
import statistics
from collections import deque

_FINE_TURNS = 0.09  # a count of less is ten rpm over a quarter of a second: no mean needs to know
_TIMES, _KEPT, _SEEN = 30, 80, 120
_FEW, _FEWEST, _ENOUGH = 4, 8, 20
_BETWEEN, _FEW_COUNTS = (0.25, 0.75), 10.0  # of a step; beyond so many a reading's own time is not known well enough
_SMALL, _PASSES, _MOVES = 0.1, 0.3, 6  # of a step: moves so small that pass over so much of it, and how many of them
_OFTEN = 0.75  # of the second differences: the rest are edges that were missed, or shots
_CLIP = 3.0
_OF_STEP = 0.41  # a count more or less at either end, evenly spread: 1 / sqrt(6) (GUM, JCGM 100:2008, 4.3.7)
_PAUSE_S, _LONG = 0.6, 2.0  # the latter: times the usual
_TELESCOPES = 2.1  # of a count: readings that leave some of the time out are off by more
_FINE, _HALF = 0.15, 0.5  # of the speed; of a count
_SOME, _ONE, _FASTER = 4, (0.8, 1.25), 1.7  # readings, of one count each, at speeds so far apart
_ON_GRID, _MOSTLY, _FEW_A_READING = 0.12, 0.7, 4.0  # of a count; of the readings; counts
_ALIKE = 0.25  # of what is left out again and again, as marks and lines come in step
_FORGET, _HARMLESS_RPM = 0.0025, 45.0  # a reading
_A_COUNT, _EVEN = (0.9, 1.1), 0.5  # counts; of a step


class RpmSteps:
    """Sees own rpm line by line. ``quantum``: one count of the encoder in turns, 0 where it isn't known."""

    def __init__(self, quantum: float) -> None:
        self._whole = quantum if quantum > _FINE_TURNS else 0.0
        self._times: deque[float] = deque(maxlen=_TIMES)
        self._counts: deque[float] = deque(maxlen=_TIMES)  # by a reading over the time since the one before it
        self._held: deque[float] = deque(maxlen=_TIMES)  # by the one before over the same time, as the line says it
        self._bends: deque[float] = deque(maxlen=_KEPT)  # sizes of second differences, rpm
        self._seen: deque[float] = deque(maxlen=_SEEN)  # those where whole counts would show, in turns
        self._chain: list[float] = []
        self._low = self._high = 0.0
        self._whole_ones: deque[bool] = deque(maxlen=_TIMES)
        self._roughest = 0.0
        self._group: list[tuple[float, float]] = []  # rpm, and counts since the reading before
        self._slowest, self._timed = math.inf, False
        self._last: tuple[float, float, float] | None = None  # the last three readings, the newest first
        self._at_s = -math.inf
        self.quantum = quantum
        """Turns by which a reading goes up and down: a count, or less where edges are timed."""
        self.deviation = 0.0
        """By how much a single reading is off, rpm, one standard deviation."""
        self.fine = False
        """Whether readings follow one another so smoothly that a single one far off is a false one."""

    def clear(self) -> None:
        """What comes next has no connection with the past; what was learned of the program holds."""
        self._last, self._at_s = None, -math.inf
        self._chain.clear()
        self._group.clear()

    def see(self, time_s: float, rpm: float) -> None:
        """Takes the rpm of the next line; one that is said again is no new reading."""
        last = self._last
        if last is not None and rpm == last[0]:
            return
        since_s = time_s - self._at_s
        self._at_s = time_s
        if last is None or not 0 < since_s < _PAUSE_S or rpm <= 0.0:
            self._last = rpm, rpm, math.nan
            self._chain.clear()
            self._counts.clear()
            self._held.clear()
            self._group.clear()
            return
        self._last = rpm, last[0], last[1]
        self._times.append(since_s)
        if self._whole:
            self._counts.append(rpm * since_s / 60 / self._whole)
            self._held.append(last[0] * since_s / 60 / self._whole)
            self._see_counts(rpm)
        bend = abs(rpm - 2 * last[0] + last[1])
        if len(self._times) < 3:
            return
        if math.isnan(last[2]):
            self._at_least_a_step()
            return
        self._bends.append(bend)
        if self._whole:
            self._see_bend(rpm, last[0], bend)
        if len(self._bends) >= _FEWEST:
            sizes = sorted(self._bends)
            smooth = sizes[int(_OFTEN * (len(sizes) - 1))] < _FINE * rpm
            most = _CLIP * sizes[len(sizes) // 2] if smooth else math.inf
            self.deviation = math.sqrt(sum(min(size, most) ** 2 for size in sizes) / len(sizes) / 6)
            self.fine = smooth and not self.counted
            self._roughest = max(self.deviation, (1 - _FORGET) * self._roughest)
        self._at_least_a_step()

    def _at_least_a_step(self) -> None:
        if self.quantum == self._whole > 0.0:
            self.deviation = max(self.deviation, _OF_STEP * self.step_rpm)

    @property
    def few(self) -> bool:
        """Whether its encoder has few counts a turn, as far as is known."""
        return self._whole > 0.0

    @property
    def counted(self) -> bool:
        """Whether its steps may be whole counts over some time."""
        return self.quantum > _HALF * self._whole or not self._whole

    @property
    def in_whole_counts(self) -> bool:
        """Whether each reading is some whole counts, of a few a turn, over a time of its own."""
        return self.few and self.counted and not self.times_each_edge

    @property
    def reading_s(self) -> float:
        """Time from one reading to the next."""
        if not self._times:
            return math.inf
        most = _LONG * statistics.median(self._times)
        return statistics.fmean(time for time in self._times if time <= most)

    @property
    def step_rpm(self) -> float:
        """What one count is worth."""
        return 60 * self._whole / self.reading_s

    @property
    def times_each_edge(self) -> bool:
        """Whether each reading stands for one count: so that the mean speed is that of their mean time."""
        return (
            len(self._counts) >= _FEWEST
            and self.deviation < _EVEN * self.step_rpm
            and _A_COUNT[0] < statistics.fmean(self._counts) < _A_COUNT[1]
        )

    @property
    def over_held(self) -> float:
        """What a mean over time of what the line says has to be multiplied by.

        The time from edge to edge is said until the next one: between uneven marks the short ones for longer.
        """
        return sum(self._counts) / sum(self._held) if len(self._counts) == _TIMES and self.times_each_edge else 1.0

    @property
    def left_out_rpm(self) -> float:
        """By how much a mean may be off as readings leave some of the time out, and so some of what is uneven.

        0 where nothing is left out: where each count is timed, or all are counted.
        """
        if not self._counts or self.times_each_edge or self._roughest < _HARMLESS_RPM:
            return 0.0
        counts = statistics.fmean(self._counts)
        between = counts < _FEW_A_READING and not self._on_grid
        if not between and self._roughest < _TELESCOPES * _OF_STEP * self.step_rpm:
            return 0.0
        return self._roughest * min(max(2 - 2 / counts, 0.0), 1.0)

    @property
    def _on_grid(self) -> bool:
        """Whether most readings are whole counts over their time."""
        return sum(self._whole_ones) >= _MOSTLY * len(self._whole_ones)

    def _see_counts(self, rpm: float) -> None:
        """Learns that each reading is one count's time, at any speed: over an even time there would be more or less."""
        self._group.append((rpm, self._counts[-1]))
        if len(self._group) < _SOME:
            return
        speed, counts = (sum(values) / _SOME for values in zip(*self._group, strict=True))
        self._group.clear()
        if not _ONE[0] < counts < _ONE[1]:
            self._slowest = math.inf
            return
        self._slowest = min(self._slowest, speed)
        self._timed = self._timed or speed > _FASTER * self._slowest

    def _see_bend(self, rpm: float, before: float, bend: float) -> None:
        """Learns of a second difference how large whole counts can be in own rpm."""
        step = self.step_rpm
        counts = before / step
        self._whole_ones.append(abs(counts - round(counts)) < _ON_GRID)
        if abs(rpm - before) > _SMALL * step:
            self._chain.clear()
        else:
            if not self._chain:
                self._low = self._high = before
            self._low, self._high = min(self._low, rpm), max(self._high, rpm)
            self._chain.append(bend / step * self._whole)
        if not self._on_grid:
            if _BETWEEN[0] < counts < _FEW_COUNTS and _BETWEEN[0] < counts % 1 < _BETWEEN[1]:
                self._seen.append(bend / step * self._whole)
            if len(self._chain) >= _MOVES and self._high - self._low > _PASSES * step:
                self._seen.extend(self._chain)
                self._chain.clear()
        # Over an even time, one count in each of so many readings would be one more or less now and then.
        timed = self._timed or (len(self._counts) == _TIMES and self.times_each_edge)
        seen = sorted(size / step * self._whole for size in self._bends) if timed else sorted(self._seen)
        enough = len(seen) >= (_FEW if timed else _ENOUGH)
        self.quantum = min(seen[int(_OFTEN * (len(seen) - 1))], self._whole) if enough else self._whole

    def error(self, readings: float, seconds: float) -> float:
        """Standard error of the mean of so many readings over so many seconds, rpm."""
        error = self.deviation / math.sqrt(max(readings, 1.0))
        if self._whole and self.deviation < _TELESCOPES * _OF_STEP * self.step_rpm:
            error = min(error, _OF_STEP * 60 * self._whole / max(seconds, 1e-3))
        return max(error, _ALIKE * self.left_out_rpm)
