"""How old a count may be when it is printed, by a program that reads its counter oftener than it prints, at own times.

Of the readings between two lines only the last one is printed: lines bring one reading's worth of counts more or less
in turn, though the wheel runs evenly. No wheel goes so: it would have to jump ahead and fall back from line to line.
"""

from __future__ import annotations

import statistics
from collections import deque

_PAUSE_S = 0.3
_RATE_OVER = 8  # lines
_EVENTS, _WITHIN_S = 3, 3.0
_COUNTS, _TICKS, _LEAST_S = 2.0, 2.2, 0.0005  # of two lines' rounding each
_ALIKE = 0.5
_LINES, _PART, _WHOLE = 100, 0.3, (0.7, 1.3)
_FEW, _STILL_FEW = 0.5, 1.0
_MOST = 1.2  # times of a line: such a reading is made at least once a line


class ReadingAge:
    """Sees counts line by line; ``between_s``: time between two readings, 0 while they are as old as their lines."""

    def __init__(self) -> None:
        self.between_s = 0.0
        self._time_s: float | None = None
        self._steps: deque[tuple[float, float]] = deque()  # seconds, counts
        self._took_s = self._counts = 0.0  # of all steps
        self._off = 0.0
        self._offs: deque[float] = deque(maxlen=_LINES)
        self._events: deque[tuple[float, float]] = deque(maxlen=12)  # when, and by how many seconds a line was off

    def see(self, time_s: float, counts: float, tick_s: float) -> None:
        """Takes the counts since the last line, and the line's time with its uncertainty, seconds."""
        before_s, self._time_s = self._time_s, time_s
        since_s = 0.0 if before_s is None else time_s - before_s
        if not 0 < since_s < _PAUSE_S or counts == 0 or (self._steps and counts * self._steps[-1][1] < 0):
            self._steps.clear()
            self._off = self._took_s = self._counts = 0.0
        else:
            self._compare(time_s, since_s, counts, tick_s)
        if not self._events:
            self.between_s = 0.0
            return
        while self._events and not 0 <= time_s - self._events[0][0] <= _WITHIN_S:
            self._events.popleft()
        between_s = statistics.median(size for _, size in self._events) if len(self._events) >= _EVENTS else 0.0
        self.between_s = between_s if between_s and self._by_one_reading(between_s) else 0.0

    def _by_one_reading(self, between_s: float) -> bool:
        """Whether lines are off by one reading or none: the time of a reading that just wavers has all values."""
        whole = sum(_WHOLE[0] * between_s < off < _WHOLE[1] * between_s for off in self._offs)
        part = sum(_PART * between_s < off <= _WHOLE[0] * between_s for off in self._offs)
        return part <= (_STILL_FEW if self.between_s else _FEW) * whole

    def _compare(self, time_s: float, since_s: float, counts: float, tick_s: float) -> None:
        """Notes a line that was off by far more than rounding, and the next one back by as much."""
        steps, off_before, off = self._steps, self._off, 0.0
        took_s, total = self._took_s + since_s, self._counts + counts
        if steps:
            last_s, last = steps[-1]
            rate = abs(total) / took_s
            off = (counts - last * since_s / last_s) / rate * (1 if counts > 0 else -1)
            self._offs.append(abs(off))
            if off * off_before < 0:
                least_s = _COUNTS / rate + _TICKS * tick_s + _LEAST_S
                small, size = sorted((abs(off), abs(off_before)))
                if least_s < size <= _MOST * since_s and small > _ALIKE * size:
                    self._events.append((time_s, size))
        steps.append((since_s, counts))
        if len(steps) > _RATE_OVER:
            first_s, first = steps.popleft()
            took_s -= first_s
            total -= first
        self._off, self._took_s, self._counts = off, took_s, total
