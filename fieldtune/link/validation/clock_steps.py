"""Whether a clock goes in coarse steps though each line brings a new time: 16, 16, 16, 32 ms for lines 20 ms apart.

Its times are all multiples of one step, and far less even than the moments at which the lines arrive. A program whose
loop waits for such a step prints as unevenly as its clock says, and its clock is right.
"""

from __future__ import annotations

import math
from collections import deque
from statistics import pvariance

_MANY = 40  # steps from line to line
_COARSE_US = 8000
_LESS_EVEN = 2.0  # times the variance of arrival
_UNEVEN_S = 0.001  # of less nobody would see anything
_PAUSE_S = 0.5
_PACE = 0.2  # what it may be off in all: else it is no question of steps


class ClockSteps:
    """Sees the clock line by line; ``step_s``: its steps once they turn out to be coarse, else None."""

    def __init__(self) -> None:
        self.step_s: float | None = None
        self._clock: deque[float] = deque(maxlen=_MANY)
        self._arrival: deque[float] = deque(maxlen=_MANY)
        self._last: tuple[float, float] | None = None

    def clear(self) -> None:
        """What comes next has no connection with what was before."""
        self._clock.clear()
        self._arrival.clear()
        self._last = None

    def see(self, clock_s: float, arrival_s: float) -> None:
        """Takes the clock of the first line that arrived then, seconds."""
        last, self._last = self._last, (clock_s, arrival_s)
        if last is None:
            return
        went, waited = clock_s - last[0], arrival_s - last[1]
        if went < 0 or waited > _PAUSE_S:
            self.clear()
            return
        self._clock.append(went)
        self._arrival.append(waited)
        if len(self._clock) == _MANY:
            self._judge()
            self.clear()
            self._last = (clock_s, arrival_s)

    def _judge(self) -> None:
        """Looks at the last steps together."""
        clock, arrival = list(self._clock), list(self._arrival)
        step_us = math.gcd(*(round(1e6 * one) for one in clock))
        took_s = sum(arrival)
        if step_us < _COARSE_US or abs(sum(clock) - took_s) > _PACE * took_s:
            return
        if pvariance(clock) > max(_LESS_EVEN * pvariance(arrival), _UNEVEN_S**2):
            self.step_s = step_us / 1e6
