"""Wheel speed from encoder counts by a local least-squares slope, and the robot's own rpm made quiet.

The window reaches back from the newest count as far as the slopes agree within their standard errors (intersection of
confidence intervals: Goldenshluger & Nemirovski, Math. Methods Stat. 6 (1997) 135): long and quiet while the wheel runs
evenly, short where it drops or spins up. A speed that isn't known well enough to be shown is unknown. Own rpm is the
median over such a window; how rough it is shows from its second differences, so that spin-up and shots count little.
"""

from __future__ import annotations

import math
import statistics
from collections import deque

_GAMMA = 2.0  # width of the intervals, in standard errors
_FEWEST, _FEWEST_DOUBTED = 3, 5
_SHORTEST_S = 0.035
_USUAL_S, _LONGEST_S = 0.25, 1.0  # a coarse encoder needs longer
_GOOD, _GOOD_RPS = 0.02, 0.1  # error of a speed that needs no longer window: of the speed, at least 6 rpm
_ROUGH_RPS = 0.8  # and of one that is shown while the wheel spins up or down
_SLIP = 0.75  # a count more on the way tilts a fitted line by up to twice this many counts over its length
_SPARSE_S = 0.09
_ODD = 3.0
_STILL_S = 1.0
_OVERDUE = 1.5


class SpeedTrack:
    """Follows wheel turns over time and says the speed now, in rpm; ``None`` while it isn't known.

    ``quantum`` is one count in turns. While less than a count comes per line, what is timed is the count, not the line.
    """

    def __init__(self, quantum: float) -> None:
        self._quantum = quantum
        self._points: deque[tuple[float, float, float]] = deque(maxlen=160)  # seconds, turns, spread of the seconds
        self._lines: deque[float] = deque(maxlen=_FEWEST_DOUBTED)
        self._turns = 0.0
        self._waited = False
        self._moved_s = 0.0
        self._rate: float | None = None

    def clear(self) -> None:
        """Forgets the past: what comes next has no connection with it."""
        self._points.clear()
        self._lines.clear()
        self._rate = None

    def add(
        self,
        time_s: float,
        turns: float,
        tick_s: float,
        thin_s: float = 0.3,
        doubted: bool = False,
        before_s: float | None = None,
    ) -> float | None:
        """Takes the count of one line and returns the speed, rpm, with the sign of the turning.

        ``tick_s`` is the uncertainty of the time. ``doubted``: some counts may be false. None too if the last lines
        span more than ``thin_s``. ``before_s``: time of the line before, where not all lines are told.
        """
        lines = self._lines
        if lines and time_s <= lines[-1]:
            return None if self._rate is None else self._rate * 60
        if lines:
            before_s = max(lines[-1], before_s or 0.0)
        lines.append(time_s)
        moved, self._turns = turns - self._turns, turns
        if len(lines) == 1 or before_s is None:
            self._place(time_s, turns + self._quantum / 2, 0.0)
        elif abs(moved) < 1e-9:
            self._waited = True
            return self._waiting(time_s)
        elif self._waited and abs(moved) < _OVERDUE * self._quantum:
            edge = turns if moved > 0 else turns + self._quantum
            self._place((before_s + time_s) / 2, edge, time_s - before_s)
        else:
            self._place(time_s, turns + self._quantum / 2, 0.0)
        self._waited = False
        fewest = _FEWEST_DOUBTED if doubted else _FEWEST
        thin = len(lines) >= fewest and time_s - lines[-fewest] > max(thin_s, 16 * tick_s)
        self._rate = None if thin or len(self._points) < fewest else self._slope(tick_s, fewest)
        return None if self._rate is None else self._rate * 60

    def _place(self, time_s: float, turns: float, spread_s: float) -> None:
        self._points.append((time_s, turns, spread_s))
        self._moved_s = time_s

    def _waiting(self, now: float) -> float | None:
        """The speed while no count comes: as before until one is overdue, zero once the wheel can only be creeping."""
        since = now - self._moved_s
        if since >= _STILL_S or self._quantum / since <= _GOOD_RPS:
            self._points.clear()
            self._rate = 0.0
        elif self._rate is not None and abs(self._rate) * since > _OVERDUE * self._quantum:
            self._rate = None
        return None if self._rate is None else self._rate * 60

    def _slope(self, tick_s: float, fewest: int) -> float | None:
        """Turns a second at the newest point, over the longest window that agrees with all shorter ones."""
        points = self._points
        now, here, _ = points[-1]
        rough = (here - points[-fewest][1]) / max(now - points[-fewest][0], 1e-9)
        # Half a count and half a tick are spread evenly: a twelfth of a square each (GUM, JCGM 100:2008, 4.3.7).
        jitter = (rough * tick_s) ** 2
        quantum = self._quantum
        variance = (quantum**2 + jitter) / 12
        shortest = max(_SHORTEST_S, 8 * tick_s)
        usual = max(_USUAL_S, 60 * tick_s)
        low, high, due = -math.inf, math.inf, fewest
        best: float | None = None
        n, s, st, sx, stt, stx, sxx, reach = 0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        error, slip, good = math.inf, 0.0, False
        for time, turns, spread_s in reversed(points):
            t, x = time - now, turns - here
            if n >= fewest and t < -usual and (good or t < -max(_LONGEST_S, usual)):
                break
            n += 1
            wt, wx = t, x
            if spread_s and rough:
                unit = abs(rough) * spread_s
                slip = max(slip, unit)
                w = 12 * variance / (unit * unit + jitter)
                s, wt, wx = s + w, w * t, w * x
            else:
                s, slip = s + 1, quantum
            st, sx, stt, stx, sxx = st + wt, sx + wx, stt + wt * t, stx + wt * x, sxx + wx * x
            if n < due or (-t < shortest and n < len(points)):
                continue
            due = n + 1 + n // 4
            spread = stt - st * st / s
            if spread <= 0:
                continue
            slope = (stx - st * sx / s) / spread
            width = _GAMMA * math.sqrt(variance / spread)
            low, high = max(low, slope - width), min(high, slope + width)
            if low > high:
                break
            if best is None and -t > (_SPARSE_S if fewest == _FEWEST_DOUBTED else usual):
                rest = max(sxx - sx * sx / s - slope * slope * spread, 0.0) / (n - 2)
                if rest > _ODD**2 * variance:
                    return None  # few counts far apart that are not in line: a false one, or no even run
            best, error, reach = slope, width, -t
            good = max(error, _SLIP * slip / reach) <= max(_GOOD * abs(best), _GOOD_RPS)
        if best is None or (reach > usual and not good) or error > max(_GOOD * abs(best), _ROUGH_RPS):
            return None
        return best


_WINDOWS = (1, 2, 3, 5, 8, 13, 21, 34, 55)
_LONGEST_RPM_S = 0.25
_MEDIAN = math.sqrt(math.pi / 2)  # a median's standard error over a mean's, for normal errors
_SECOND = 0.6745 * math.sqrt(6)  # median size of a second difference over the standard deviation, of normal errors
_BENDS = 25
_FORGET = 0.05
_DOUBTED = 3


class Scatter:
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


class RpmFilter:
    """Follows one reading over time."""

    def __init__(self) -> None:
        self._points: deque[tuple[float, float]] = deque(maxlen=_WINDOWS[-1])
        self._scatter = Scatter()

    def clear(self) -> None:
        """Forgets the past, but not how rough the reading is."""
        self._points.clear()

    def add(self, time_s: float, value: float, doubted: bool = False) -> float:
        """Takes one value and returns the one to show. ``doubted``: some values may be false, so none stands alone."""
        points = self._points
        points.append((time_s, value))
        self._scatter.see(value)
        back = [v for t, v in reversed(points) if time_s - t <= _LONGEST_RPM_S]
        low, high, best = -math.inf, math.inf, value
        for n in _WINDOWS:
            if n > len(back):
                break
            middle = statistics.median(back[:n])
            error = _GAMMA * self._scatter.of_mean(n) * (_MEDIAN if n > 2 else 1.0)
            low, high = max(low, middle - error), min(high, middle + error)
            if low > high and not (doubted and n <= _DOUBTED):
                break
            best = middle
        return best
