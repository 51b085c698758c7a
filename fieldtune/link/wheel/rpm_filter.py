"""The robot's own rpm made quiet: the mean over the longest window that agrees with all shorter ones.

How rough it is shows from its second differences, so that spin-up and shots count little. Where a reading goes up and
down by whole counts that are many rpm, as of an encoder of one to eight counts, it takes longer, and until then the
speed is unknown: counted over 0.4 s, it has to be known to 50 rpm, one standard error. One count a turn, counted over a
quarter of a second, can't be right within 0.2 s. A single reading far off where the others follow smoothly is an edge
that was missed, or seen twice.
"""

from __future__ import annotations

import math
import statistics
from collections import deque
from itertools import pairwise

from fieldtune.link.wheel.excursion import Excursion
from fieldtune.link.wheel.rpm_steps import RpmSteps
from fieldtune.link.wheel.seldom_read import HeldRpm

_WINDOWS = (1, 2, 3, 5, 8, 13, 21, 34, 55, 89, 144)
_USUAL_LINES = 55
_LONGEST_S, _LONGEST_COARSE_S = 0.25, 0.4
_COARSE_RPM, _GOOD_RPM = 50.0, 25.0  # standard error of a mean that isn't shown, and of one that needs no more
_PATIENCE_S, _REMEDY = 2.0, "send the counts, or time the edges"
_GAMMA = 2.0  # width of the intervals, in standard errors
_SECOND = 0.6745 * math.sqrt(6)  # median size of a second difference over the standard deviation, of normal errors
_BENDS = 25
_STEPS, _MOST_STEPS, _OF_A_STEP = 40, 0.85, 0.4  # for normal errors that is less than the deviation
_FORGET = 0.05
_MANY = 10
_NOISY, _NOISY_S = 3, 0.35
_CHANGES, _OLD_S = 0.06, 0.04  # of the speed, over three lines: the middle one of them is old then
_FAR = 3.5  # standard deviations
_LEAST_S, _MOST_S = 1e-3, 0.05


class Scatter:
    """How much a reading goes up and down by itself: its standard deviation, and that of means of it."""

    def __init__(self) -> None:
        self.deviation = self._of_steps = 0.0
        self._fresh = 1.0  # share of lines that bring a new value: some robots print oftener than they compute
        self._values: deque[float] = deque(maxlen=3)
        self._bends: deque[float] = deque(maxlen=_BENDS)
        self._steps: deque[float] = deque(maxlen=_STEPS)

    def see(self, value: float) -> None:
        """Takes the next value."""
        values = self._values
        if values:
            new = value != values[-1]
            self._fresh += _FORGET * (new - self._fresh)
            if not new:
                return
            self._steps.append(value - values[-1])
        values.append(value)
        if len(values) == 3:
            self._bends.append(abs(values[2] - 2 * values[1] + values[0]))
            # A count more in one line of ten is rough as well, though most lines are smooth.
            trend = statistics.median(self._steps)
            step = sorted(abs(step - trend) for step in self._steps)[int(_MOST_STEPS * len(self._steps))]
            self.deviation = statistics.median(self._bends) / _SECOND
            self._of_steps = _OF_A_STEP * step

    def of_a_value(self, noisy: bool) -> float:
        """How far a value lies from the others; ``noisy``: not by a step that few of them make."""
        return self.deviation if noisy else max(self.deviation, self._of_steps)

    def of_mean(self, lines: int, many: bool) -> float:
        """Standard error of the mean of so many lines; ``many``: of lines that come fast, so that steps count."""
        deviation = max(self.deviation, self._of_steps) if many else self.deviation
        return deviation / math.sqrt(max(lines * self._fresh, 1.0))


class RpmFilter:
    """Follows the robot's own rpm over time. ``counts_per_turn``: of its encoder, None where unknown.

    A mean and no median, as own rpm often comes in steps of one count: between two steps only the mean is right.
    """

    def __init__(self, counts_per_turn: float | None = None) -> None:
        self._points: deque[tuple[float, float, float]] = deque(maxlen=_WINDOWS[-1])  # seconds, rpm, seconds it is for
        self._excursion = Excursion[tuple[float, float, float]]()
        self._shown: float | None = None
        self.late_s = 0.0
        """By how much older the speed is that ``add`` gave last than a wheel's that changes may be."""
        self._known_s = math.inf
        self.why = ""
        """Why there has been no speed for some time, in words; empty where there is, or was a moment ago."""
        self.held = HeldRpm()
        self.scatter, self._steps = Scatter(), RpmSteps(1 / counts_per_turn if counts_per_turn else 0.0)

    def clear(self) -> None:
        """Forgets the past, but not how rough the reading is."""
        self._points.clear()
        self._steps.clear()
        self._excursion.release()
        self._shown, self._known_s, self.why = None, math.inf, ""

    def add(self, time_s: float, value: float, noisy: bool = False, before_s: float | None = None) -> float | None:
        """Takes one value and returns the one to show; None while it isn't known.

        ``before_s``: since when the value stands; until then the last one did, on lines that were passed over.
        ``noisy``: some values may be false, so none stands alone, and where they come seldom none is shown.
        """
        points = self._points
        self.late_s, since_s = 0.0, time_s - points[-1][0] if points else 0.0
        if points and before_s is not None and points[-1][0] < before_s < time_s:
            last_s, last, stood_s = points[-1]
            points[-1] = (last_s, last, min(stood_s + before_s - last_s, _MOST_S))
            since_s = time_s - before_s
        self._steps.see(time_s, value)
        self.held.see(time_s, value)
        point = (time_s, value, min(max(since_s, _LEAST_S), _MOST_S))
        true = self._true(point, noisy)
        points.extend(true)
        if point not in true:
            return self._shown
        self.scatter.see(value)
        self._shown = self._mean(time_s, value, noisy)
        if self._shown is not None or self._known_s > time_s:
            self._known_s = time_s
        unknown = not noisy and time_s - self._known_s > _PATIENCE_S
        self.why = f"wheel_rpm goes in steps of {self._steps.step_rpm:.0f} rpm: {_REMEDY}" if unknown else ""
        return self._shown

    def _true(self, point: tuple[float, float, float], noisy: bool) -> list[tuple[float, float, float]]:
        """Points that are true as far as is known: a step far from smooth ones waits for the next, and may be none."""
        points = self._points
        if self._steps.fine and len(points) > 1 and not noisy:
            last = points[-1][1]
            return self._excursion.take(point, *point[:2], last, last - points[-2][1]).true
        return [*self._excursion.release(), point]

    def _mean(self, time_s: float, value: float, noisy: bool) -> float | None:
        """The mean over the longest window that agrees with all shorter ones, if it is known well enough."""
        steps = self._steps
        coarse = steps.in_whole_counts and steps.deviation > _COARSE_RPM
        since = time_s - (_LONGEST_COARSE_S if coarse else _NOISY_S if noisy else _LONGEST_S)
        back = [point for point in reversed(self._points) if point[0] >= since]
        if not coarse:
            del back[_USUAL_LINES:]
        low, high, best, off = -math.inf, math.inf, value, steps.deviation
        if noisy:
            if len(back) < _NOISY:
                return None
            few = [rpm for _, rpm, _ in back[:_NOISY]]
            middle = statistics.median(few)
            changes = max(few) - min(few) > _CHANGES * middle
            self.late_s = max(time_s - back[1][0] - _OLD_S, 0.0) if changes else 0.0
            if len(back) < _WINDOWS[_NOISY]:
                return middle
        room = _FAR * max(self.scatter.of_a_value(noisy), 0.0 if noisy else steps.deviation)
        for n in _WINDOWS:
            if n > len(back):
                break
            some = back[:n]
            middle, error = self._middle(some, room), self.scatter.of_mean(n, len(back) >= _MANY)
            if coarse:
                new = 1 + sum(some[i][1] != some[i + 1][1] for i in range(n - 1))
                seconds = max(time_s - some[-1][0] + some[-1][2], steps.reading_s)
                if seconds > _LONGEST_S and off < _GOOD_RPM:
                    break
                error = max(error, by_steps := steps.error(new, seconds))
            low, high = max(low, middle - _GAMMA * error), min(high, middle + _GAMMA * error)
            if low > high and not (noisy and n <= _NOISY):
                break
            best, off = middle, by_steps if coarse else off
        return None if coarse and off > _COARSE_RPM else best

    def _middle(self, points: list[tuple[float, float, float]], room: float) -> float:
        """Mean of points, each by the seconds it is for, without those farther than ``room`` from the middle one.

        Where each reading is the time of one count, the mean is that of the times, each once.
        """
        if len(points) >= 3:
            said = sorted([rpm for _, rpm, _ in points])
            middle = statistics.median(said)
            if max(middle - said[0], said[-1] - middle) > room:
                points = [one for one in points if abs(one[1] - middle) <= room]
            if not points:
                return middle
        if self._steps.times_each_edge:
            news = [points[0][1], *(then[1] for one, then in pairwise(points) if then[1] != one[1])]
            return statistics.harmonic_mean(news)
        return sum([rpm * weight for _, rpm, weight in points]) / sum([weight for _, _, weight in points])
