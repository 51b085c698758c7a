"""The rpm that a robot computes itself, made quiet: as sent where it is even, else a median over what agrees.

As in ``speed``, the window grows as long as all shorter ones agree with it within their errors; how rough the reading
is shows from its second differences, their median so that spin-up and shots count little.
"""

from __future__ import annotations

import math
import statistics
from collections import deque

_WINDOWS = (1, 2, 3, 5, 8, 13, 21, 34, 55)
_LONGEST_S = 0.25
_GAMMA = 2.0
_MEDIAN = math.sqrt(math.pi / 2)  # a median's standard error over a mean's, for normal errors
_SECOND = 0.6745 * math.sqrt(6)  # median size of a second difference over the standard deviation, of normal errors
_BENDS = 25
_FORGET = 0.05
_DOUBTED = 3


class Roughness:
    """How much a reading goes up and down by itself: its standard deviation, and that of means of it."""

    def __init__(self) -> None:
        self.deviation = 0.0
        self._fresh = 1.0  # share of lines that bring a new value: some robots print oftener than they compute
        self._values: deque[float] = deque(maxlen=3)
        self._bends: deque[float] = deque(maxlen=_BENDS)

    def see(self, value: float) -> None:
        """Takes the next value."""
        values = self._values
        if values:
            new = value != values[-1]
            self._fresh += _FORGET * (new - self._fresh)
            if not new:
                return
        values.append(value)
        if len(values) == 3:
            self._bends.append(abs(values[2] - 2 * values[1] + values[0]))
            self.deviation = statistics.median(self._bends) / _SECOND

    def of_mean(self, lines: int) -> float:
        """Standard error of the mean of so many lines."""
        return self.deviation / math.sqrt(max(lines * self._fresh, 1.0))


class Reading:
    """Follows one reading over time."""

    def __init__(self) -> None:
        self._points: deque[tuple[float, float]] = deque(maxlen=_WINDOWS[-1])
        self._rough = Roughness()

    def clear(self) -> None:
        """Forgets the past, but not how rough the reading is."""
        self._points.clear()

    def add(self, time_s: float, value: float, doubted: bool = False) -> float:
        """Takes one value and returns the one to show. ``doubted``: some values may be false, so none stands alone."""
        points = self._points
        points.append((time_s, value))
        self._rough.see(value)
        back = [v for t, v in reversed(points) if time_s - t <= _LONGEST_S]
        low, high, best = -math.inf, math.inf, value
        for n in _WINDOWS:
            if n > len(back):
                break
            middle = statistics.median(back[:n])
            error = _GAMMA * self._rough.of_mean(n) * (_MEDIAN if n > 2 else 1.0)
            low, high = max(low, middle - error), min(high, middle + error)
            if low > high and not (doubted and n <= _DOUBTED):
                break
            best = middle
        return best
