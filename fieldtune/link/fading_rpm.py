"""Own rpm that a program smooths over time, of an encoder whose wire is pulled: it fades by the same share each time.

Only a filter that is fed nothing but zeros does so to the last digit: a wheel that brakes has friction as well, stops
at a definite time, and its counts are whole.
"""

from __future__ import annotations

from collections import deque

_VALUES, _FALLEN = 7, 0.45  # values in a row, and the share of the first that the last may be at most
_OFF_RPM, _OFF = 0.6, 0.0015  # a whole number's rounding, and share by which uneven lines change a step
_RISES = 1.02


class FadingRpm:
    """Sees own rpm line by line; ``dead`` from when it fades as no wheel does until it rises again."""

    def __init__(self) -> None:
        self._values: deque[float] = deque(maxlen=60)
        self.dead = False

    def see(self, rpm: float) -> None:
        """Takes the next value."""
        values = self._values
        last = values[-1] if values else None
        if last is not None:
            if rpm == last:
                return
            if rpm > last:
                self.dead = self.dead and rpm <= _RISES * last + _OFF_RPM
                values.clear()
        values.append(rpm)
        if not self.dead and rpm > 0 and len(values) >= _VALUES:
            self.dead = self._fades()

    def _fades(self) -> bool:
        """Whether the last values fall by one share each, from where that began."""
        values = list(self._values)
        share = values[-1] / values[-2]
        last, at = values[-1], 0.0
        for back in range(1, len(values)):
            at = last / share**back
            if abs(values[-1 - back] - at) > (_OFF_RPM + _OFF * at) * (1 + back * _OFF_RPM / last):
                break
        else:
            back = len(values)
        return back >= _VALUES and last <= _FALLEN * values[-back]
