"""Own rpm of a program that divides its counts by the time its loop should take, while the loop takes more or less.

Such a speed goes up and down with the times between lines. Where it is far smoother for the times that passed, these
are what it should have been divided by. The time that was meant is a round one: the usual, or where each loop is late,
one that is a little shorter than all.
"""

from __future__ import annotations

import statistics
from collections import deque

_PAUSE_S = 0.3
_FOLLOW, _FORGET = 0.02, 0.03  # a line
_ENOUGH = 50  # lines
_SMOOTHER, _NO_SMOOTHER = 0.55, 0.8  # by how much it has to be smoother, and from where it is so no more
_NEAR = 0.5, 1.6  # of the usual time; else lines are missing in between
_CLIP = 4.0
_ROUND_S = (0.001, 0.002, 0.004, 0.005, 0.008, 0.01, 0.0125, 0.015, 0.02, 0.025, 0.03, 0.04, 0.05, 0.1, 0.2)
_SAME, _LATE, _TICK_S = 0.02, 0.8, 0.0006


class NominalTime:
    """Sees own rpm line by line; ``sure`` while it is divided by a time that is not the one that passed."""

    def __init__(self) -> None:
        self.sure = False
        self._last_s: float | None = None
        self._usual_s = self._meant_s = 0.0
        self._times: deque[float] = deque(maxlen=2 * _ENOUGH)
        self._lines = 0
        self._together = 0  # values without a pause between, at most two, the newer one last
        self._said = self._timed = 0.0, 0.0
        self._rough_said = self._rough_timed = 0.0  # the usual size of a second difference

    def see(self, time_s: float, rpm: float) -> float:
        """Takes the rpm of a line at that time of the robot's clock; what it should have said."""
        last_s, self._last_s = self._last_s, time_s
        since_s = 0.0 if last_s is None else time_s - last_s
        if not 0 < since_s < _PAUSE_S:
            self._together = 0
            return rpm
        usual_s = self._usual_s
        usual_s += (_FOLLOW if usual_s else 1.0) * (min(since_s, 3 * (usual_s or 1)) - usual_s)
        self._usual_s = usual_s
        if not _NEAR[0] < since_s / usual_s < _NEAR[1]:
            return rpm
        self._times.append(since_s)
        if self._lines % _ENOUGH == 0:
            self._meant_s = _meant(sorted(self._times))
        timed = rpm * self._meant_s / since_s
        (said_first, said_then), (timed_first, timed_then) = self._said, self._timed
        self._said, self._timed = (said_then, rpm), (timed_then, timed)
        if self._together < 2:
            self._together += 1
        else:
            said, by_time = self._rough_said, self._rough_timed
            self._rough_said = said = said + _FORGET * (
                min(abs(rpm - 2 * said_then + said_first), _CLIP * said + 1.0) - said
            )
            self._rough_timed = by_time = by_time + _FORGET * (
                min(abs(timed - 2 * timed_then + timed_first), _CLIP * by_time + 1.0) - by_time
            )
            self._lines += 1
            share = _NO_SMOOTHER if self.sure else _SMOOTHER
            self.sure = self._lines > _ENOUGH and by_time < share * said
        return timed if self.sure else rpm


def _meant(times_s: list[float]) -> float:
    """The time that a loop was meant to take, by those it took, the shortest first."""
    usual_s, least_s = statistics.fmean(times_s), times_s[len(times_s) // 10]
    for round_s in reversed(_ROUND_S):
        if abs(usual_s / round_s - 1) < _SAME:
            return round_s
        if _LATE * usual_s < round_s < min(usual_s, least_s + _TICK_S):
            return round_s
    return usual_s
