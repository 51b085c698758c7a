"""Whether a robot reads its counter, or works out its rpm, more seldom than it prints: shots fall between.

Between two readings of a counter lines say the same count though the wheel turns fast. Own rpm that is held stands for
about as many lines each time; rounded rpm of an even wheel stands for any number of them.
"""

from __future__ import annotations

import math
import statistics
from collections import deque

_READINGS, _HARMLESS_S = 20, 0.035  # a shot takes several such readings
_LINES, _TURNING_COUNTS = 300, 6.0  # lines looked back on, and counts that were to come with each
_A_READING, _STANDS_S = 2.5, 0.4  # counts
_BEATS, _SELDOM = 0.012, 0.25  # share of lines without a new count: now and then, and most of the time
_RUNS, _ALIKE, _LEAST_LINES, _LEAST_S = 30, 0.8, 2, 0.05
_SURELY_LINES, _SURELY = 5, 0.9

ANEW = "read the encoder anew for each line"


class SeldomCounts:
    """Sees the turns of a wheel that turns fast; ``words``: what there is to say."""

    def __init__(self) -> None:
        self.words: tuple[str, ...] = ()
        self._new: deque[bool] = deque(maxlen=_LINES)
        self._between_s: deque[float] = deque(maxlen=_READINGS)
        self._waits = 0  # lines since the last new count, at ``_read_s``
        self._read_s = -math.inf

    def see(self, time_s: float, moved: float, since_s: float, rate: float, quantum: float) -> None:
        """Takes one line: turns since the one before, so many seconds ago; the wheel makes ``rate`` turns a second."""
        if rate * since_s < _TURNING_COUNTS * quantum:
            return
        if abs(moved) < _A_READING * quantum:
            self._waits += 1
            return
        waits, between_s = self._waits, time_s - self._read_s
        self._waits, self._read_s = 0, time_s
        if between_s > _STANDS_S:  # so long no program waits
            return
        self._new.extend([False] * waits + [True])
        self._between_s.append(between_s)
        if len(self._new) < _LINES:
            return
        share, between_s = 1 - sum(self._new) / _LINES, statistics.fmean(self._between_s)
        if share > _SELDOM:
            self.words = (_seldom("wheel_counts", between_s),) if between_s > _HARMLESS_S else ()
        elif share > _BEATS:
            self.words = (f"wheel_counts is at times the same once more: {ANEW}",)
        else:
            self.words = ()


class HeldRpm:
    """Sees own rpm; ``words``: what there is to say."""

    def __init__(self) -> None:
        self.words: tuple[str, ...] = ()
        self._runs: deque[tuple[int, float]] = deque(maxlen=_RUNS)
        self._said: float | None = None
        self._since_s, self._lines = 0.0, 0

    def see(self, time_s: float, rpm: float) -> None:
        """Takes one line."""
        if rpm == self._said:
            self._lines += 1
            return
        if self._said:
            self._runs.append((self._lines, time_s - self._since_s))
            if len(self._runs) == _RUNS:
                self._judge()
        self._said, self._since_s, self._lines = rpm, time_s, 1

    def _judge(self) -> None:
        usual, held_s = sorted(self._runs)[_RUNS // 8]
        off = [lines % usual for lines, _ in self._runs]
        alike = sum(abs(lines - usual) <= 1 for lines, _ in self._runs) >= _ALIKE * _RUNS
        # Two readings in a row may be the same number.
        times = usual >= _SURELY_LINES and sum(min(one, usual - one) <= 1 for one in off) >= _SURELY * _RUNS
        held = usual >= _LEAST_LINES and held_s >= _LEAST_S and (alike or times)
        self.words = (_seldom("wheel_rpm", held_s),) if held else ()


def _seldom(name: str, every_s: float) -> str:
    return f"{name} is new only every {1000 * every_s:.0f} ms: {ANEW}"
