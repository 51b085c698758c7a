"""How old a count may be when it is printed, by a program that reads its counter oftener than it prints, at own times.

Of the readings between two lines only the last one is printed: lines bring one reading's worth of counts more or less
in turn, though the wheel runs evenly. No wheel goes so: it would have to jump ahead and fall back from line to line.
"""

from __future__ import annotations

import statistics
from collections import deque
from collections.abc import Iterable

_PAUSE_S = 0.3
_RATE_OVER = 8  # lines
_EVENTS, _WITHIN_S, _LATE_WITHIN_S = 3, 6.0, 3.0
_LATE_S = 0.002  # of lines timed no better than this, late ones look like such events by chance
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

    def see(self, lines: Iterable[tuple[float, float]], tick_s: float) -> None:
        """Takes lines: of each its time, with its uncertainty in seconds, and the counts since the one before."""
        steps, offs, events = self._steps, self._offs, self._events
        before_s, off, took_s, total = self._time_s, self._off, self._took_s, self._counts
        for time_s, counts in lines:
            since_s = 0.0 if before_s is None else time_s - before_s
            before_s = time_s
            if not 0 < since_s < _PAUSE_S or counts == 0 or (steps and counts * steps[-1][1] < 0):
                steps.clear()
                off = took_s = total = 0.0
            else:
                off_before, off = off, 0.0
                took_s, total = took_s + since_s, total + counts
                if steps:
                    last_s, last = steps[-1]
                    rate = abs(total) / took_s
                    off = (counts - last * since_s / last_s) / rate * (1 if counts > 0 else -1)
                    size = abs(off)
                    offs.append(size)
                    if off * off_before < 0:  # off by far more than rounding, and the next one back by as much
                        small, size = sorted((size, abs(off_before)))
                        least_s = _COUNTS / rate + _TICKS * tick_s + _LEAST_S
                        if least_s < size <= _MOST * since_s and small > _ALIKE * size:
                            events.append((time_s, size))
                steps.append((since_s, counts))
                if len(steps) > _RATE_OVER:
                    first_s, first = steps.popleft()
                    took_s, total = took_s - first_s, total - first
            if events or self.between_s:
                self._decide(time_s, _WITHIN_S if tick_s < _LATE_S else _LATE_WITHIN_S)
        self._time_s, self._off, self._took_s, self._counts = before_s, off, took_s, total

    def _decide(self, time_s: float, within_s: float) -> None:
        """What is known of the time between readings by then, from events within so many seconds."""
        events = self._events
        while events and not 0 <= time_s - events[0][0] <= within_s:
            events.popleft()
        between_s = statistics.median(size for _, size in events) if len(events) >= _EVENTS else 0.0
        self.between_s = between_s if between_s and self._by_one_reading(between_s) else 0.0

    def _by_one_reading(self, between_s: float) -> bool:
        """Whether lines are off by one reading or none: the time of a reading that just wavers has all values."""
        whole = sum(_WHOLE[0] * between_s < off < _WHOLE[1] * between_s for off in self._offs)
        part = sum(_PART * between_s < off <= _WHOLE[0] * between_s for off in self._offs)
        return part <= (_STILL_FEW if self.between_s else _FEW) * whole
