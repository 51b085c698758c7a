"""Own rpm of an encoder whose wire is pulled, or of a program that no longer calculates it.

A program that smooths over time fades by the same share each time: only a filter that is fed nothing but zeros does so
to the last digit, as a wheel that brakes has friction as well, stops at a definite time, and its counts are whole. From
less than two counts a reading every wheel's last ones fade so. One that times pulses says its last speed for ever: no
wheel that was uneven in many ways turns evenly to the last digit.
"""

from __future__ import annotations

import statistics
from collections import deque
from itertools import pairwise

from fieldtune.link.validation.standing_value import StandingValue
from fieldtune.link.validation.zeros_between import ZerosBetween

_VALUES, _FALLEN = 7, 0.45  # values in a row, and the share of the first that the last may be at most
_OFF_RPM, _OFF = 0.6, 0.0015  # a whole number's rounding, and share by which uneven lines change a step
_RISES = 1.02
_KEPT = 60
_COUNTS = 2.0  # a reading, at least, where it begins to fade


class DeadRpm:
    """Sees own rpm line by line; ``dead`` from when it fades or stands as no wheel does until it lives again."""

    def __init__(self) -> None:
        self._values: deque[float] = deque(maxlen=_KEPT)
        self._falling = 0  # of these, since the last rise
        self._last: float | None = None
        self._fading = False
        self._standing = StandingValue()
        self.zeros = ZerosBetween()

    @property
    def dead(self) -> bool:
        """Whether what it says is no speed."""
        return self._fading or (self._standing.stands and self._last != 0.0) or self.zeros.unclear

    def see(self, rpm: float) -> None:
        """Takes the next value."""
        self.zeros.see(rpm)
        last, self._last = self._last, rpm
        if self._standing.see(rpm):
            return
        if last is not None and rpm > last:
            self._fading = self._fading and rpm <= _RISES * last + _OFF_RPM
            self._falling = 0
        self._values.append(rpm)
        self._falling = min(self._falling + 1, _KEPT)
        if not self._fading and rpm > 0 and self._falling >= _VALUES:
            self._fading = self._fades()

    def _fades(self) -> bool:
        """Whether the last values fall by one share each, from where that began."""
        lately = list(self._values)
        values = lately[-self._falling :]
        share = values[-1] / values[-2]
        last, at = values[-1], 0.0
        for back in range(1, len(values)):
            at = last / share**back
            if abs(values[-1 - back] - at) > (_OFF_RPM + _OFF * at) * (1 + back * _OFF_RPM / last):
                break
        else:
            back = len(values)
        begun = values[-back]
        if back < _VALUES or last > _FALLEN * begun:
            return False
        return begun >= _COUNTS * _count_rpm(lately[: 1 - back], (last / begun) ** (1 / (back - 1)))


def _count_rpm(values: list[float], share: float) -> float:
    """What a count makes in a reading before it is smoothed, of which ``share`` is the last; 0 where none shows."""
    least = 2 * _OFF_RPM / (1 - share)
    read = [(now - share * before) / (1 - share) for before, now in pairwise(values)]
    steps = [step for before, now in pairwise(read) if (step := abs(now - before)) > least]
    return statistics.median(steps) if steps else 0.0
