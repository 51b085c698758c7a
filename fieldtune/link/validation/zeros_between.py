"""Own rpm that is zero again and again while the wheel turns, as where it is computed oftener than the counter is read.

The counts of two lines then come in one of them: 0, 3600, 0, 3600 is a wheel at 1,800 rpm. So is that of a coarse
encoder with less than a count a line. Such zeros are readings, and the mean over time is the speed. Where the speed
behind a zero is what it is on lines that follow none, a faulty reading may have made it, or not: it is unknown then.
"""

from __future__ import annotations

import statistics
from collections import deque

_RUNS, _LONGEST = 8, 6  # so often a few lines with a speed between two zeros
_LEAST_RPM, _ROUNDS = 100.0, 2
_ENOUGH, _ALIKE = 5, (0.8, 1.25)  # speeds behind a zero and behind none, and when they are taken for the same
_WHOLE = 0.003  # share by which multiples of one count are off


class ZerosBetween:
    """Sees own rpm line by line.

    ``are_readings``: its zeros belong to the speed, which is the ``mean``. ``unclear``: nobody knows.
    """

    def __init__(self) -> None:
        self._lately: deque[float] = deque(maxlen=_ROUNDS * (2 * _LONGEST + 1))
        self._run: list[float] = []
        self._zeros = 0
        self._runs: deque[list[float]] = deque(maxlen=_RUNS)
        self._cycles: deque[int] = deque(maxlen=_RUNS)  # lines from one speed behind a zero to the next
        self._since = 0
        self.are_readings = self.unclear = False

    @property
    def mean(self) -> float:
        """Mean over the last lines: as many as there are in two rounds, from one speed behind a zero to the next."""
        lines = max(round(_ROUNDS * statistics.mean(self._cycles)), 1)
        return statistics.mean(list(self._lately)[-lines:])

    def see(self, rpm: float) -> None:
        """Takes the next value, with or without a sign."""
        self._lately.append(abs(rpm))
        self._since += 1
        if rpm:
            if self._zeros:
                self._cycles.append(self._since)
                self._since = 0
            self._zeros = 0
            if len(self._run) <= _LONGEST:
                self._run.append(abs(rpm))
            elif self._runs:
                self._forget()
            return
        self._zeros += 1
        if self._run:
            if len(self._run) <= _LONGEST and min(self._run) > _LEAST_RPM:
                self._runs.append(self._run)
                often, alike = len(self._runs) == _RUNS, self._are_alike()
                self.are_readings, self.unclear = often and not alike, often and alike
            else:
                self._forget()
            self._run = []
        elif self._zeros > _LONGEST:
            self._forget()

    def _forget(self) -> None:
        self._runs.clear()
        self.are_readings = self.unclear = False

    def _are_alike(self) -> bool:
        """Whether the speed behind a zero is what it is elsewhere, and no small number of counts."""
        first = [run[0] for run in self._runs]
        other = [rpm for run in self._runs for rpm in run[1:]]
        if len(other) < _ENOUGH:
            return False
        low, high = _ALIKE
        if not low < statistics.median(first) / statistics.median(other) < high:
            return False
        count = min(*first, *other)
        return any(abs(rpm / count - round(rpm / count)) > _WHOLE * rpm / count for rpm in (*first, *other))
