"""Battery readings that are none: of an input that is connected to nothing, or that the program no longer reads.

An input that floats says any voltage from line to line; under on-off control a battery sags and recovers, but not by
half, and not with each line. One that is no longer read stands at one value to the last digit while the wheel turns and
is made faster, which draws current.
"""

from __future__ import annotations

import math
import statistics
from collections import deque
from itertools import pairwise

from fieldtune.link.validation.standing_value import StandingValue

_LATELY, _FEWEST, _LATELY_S = 24, 12, 2.0
_STEP, _RANGE = 0.08, 0.4  # of the highest: the middle step from line to line, and between lowest and highest
_TURNING_RPM = 200.0
_LONG_S, _FASTER = 4.0, 1.05  # at one value, while the wheel became as many times as fast

JUMPS = "battery jumps up and down as none does: is its wire off?"
STANDS = "battery stands at one value to the last digit: no longer read?"


class BatteryDoubts:
    """Sees the battery's voltage line by line; ``why``: why it is none now, in words, empty where it is one."""

    def __init__(self) -> None:
        self.why = ""
        self._lately: deque[tuple[float, float]] = deque(maxlen=_LATELY)
        self._standing = StandingValue()
        self._since_s = -math.inf
        self._slowest, self._faster = math.inf, 1.0

    def see(self, time_s: float, volts: float, rpm: float | None) -> bool:
        """Takes the next reading, and how fast the wheel turns; whether it is none."""
        lately = self._lately
        lately.append((time_s, volts))
        if rpm is not None and rpm > _TURNING_RPM:
            self._look(time_s, volts, rpm)
        elif self._standing.stands:
            self._standing.see(volts)
        while time_s - lately[0][0] > _LATELY_S:
            lately.popleft()
        self.why = JUMPS if self._jumps() else STANDS if self._stands(time_s) else ""
        return bool(self.why)

    def _look(self, time_s: float, volts: float, rpm: float) -> None:
        """Takes the reading of a wheel that turns, and by how much it became faster since the reading changed."""
        if not self._standing.see(volts):
            self._since_s, self._slowest, self._faster = time_s, rpm, 1.0
        self._slowest = min(self._slowest, rpm)
        self._faster = max(self._faster, rpm / self._slowest)

    def _stands(self, time_s: float) -> bool:
        return self._standing.stands and time_s - self._since_s > _LONG_S and self._faster > _FASTER

    def _jumps(self) -> bool:
        said = [volts for _, volts in self._lately]
        if len(said) < _FEWEST:
            return False
        highest = max(said)
        if highest - min(said) < _RANGE * highest:
            return False
        return statistics.median(abs(then - one) for one, then in pairwise(said)) > _STEP * highest
