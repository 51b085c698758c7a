"""Wheel speed from encoder counts by a local least-squares slope.

The window reaches back from the newest count as far as the slopes agree within their standard errors (intersection of
confidence intervals: Goldenshluger & Nemirovski, Math. Methods Stat. 6 (1997) 135): long and quiet while the wheel runs
evenly, short where it drops or spins up. A speed that isn't known well enough to be shown is unknown.
"""

from __future__ import annotations

import math
from collections import deque
from itertools import pairwise

from fieldtune.link.limits import EDGE_COUNTS
from fieldtune.link.wheel.refresh import RefreshTimes
from fieldtune.link.wheel.seldom_read import SeldomCounts

_GAMMA = 2.0  # width of the intervals, in standard errors
_FEWEST, _FEWEST_NOISY = 3, 5
_SHORTEST_S = 0.035
_USUAL_S, _LONGEST_S = 0.25, 1.0  # a coarse encoder needs longer
_GOOD, _GOOD_RPS = 0.02, 0.1  # error of a speed that needs no longer window: of the speed, at least 6 rpm
_ROUGH_RPS = 0.8  # and of one that is shown while the wheel spins up or down
_SLIP = 0.75  # a count more on the way tilts a fitted line by up to twice this many counts over its length
_SPARSE_S = 0.09
_ODD = 3.0
_STILL_S, _STILL_AFTER_S = 1.0, 1.5  # without a count; behind a break in the line, before which it turned
_SEEN_STILL_S = 0.12
_OVERDUE = 1.5
_LATE_READING = 2.5  # times the longest wait for a new reading of the counter lately
_FEW_COUNTS, _FEW_A_LINE = 3.0, 0.7  # the latter: less, and two counts don't come between two lines
_SELDOM, _FORGET_WAITS = 0.25, 0.1
_LAST_POINTS = 4
_RATE_OVER, _NEAR = 12, (0.15, 0.0015)
_TIMED, _UNEVEN, _TIMES, _TIMES_WITHIN_S = 0.25, 1.6, 5, 1.0  # of a count's time; times; counts; seconds
_POORLY = 0.5  # of the time between two lines
_ROOM = 1.2  # times the time between two readings, as it is learned from a few
_TO_NEXT, _LONGEST_BEAT_S = 2.5, 2.5  # nearly in step with the lines a counter is read once less from time to time
_STALE_S = 0.3  # so long after one reading older than its line, others are held to be so too


class SpeedTrack:
    """Follows wheel turns over time and says the speed now, in rpm; ``None`` while it isn't known.

    ``quantum`` is one count in turns, ``brake_rps2`` what a wheel can lose of its speed at most, turns/s^2.

    While less than a count comes per line, what is timed is the count, not the line. A counter that is read more seldom
    than lines are printed stands still in between: its readings are timed by the lines around each new one.
    """

    def __init__(self, quantum: float, brake_rps2: float = math.inf) -> None:
        self._quantum = quantum
        self._brake_rps2 = brake_rps2
        self._points: deque[tuple[float, float, float, bool]] = deque(maxlen=160)
        """Seconds, turns, spread of the seconds, and whether a count begins there: else it is a whole count wide."""
        self._lines: deque[float] = deque(maxlen=_FEWEST_NOISY)
        self._turns = 0.0
        self._waited = False
        self._waits = 0.0  # share of counts of late that came behind a line without a new one
        self._moved_s = 0.0
        self._edge: float | None = None  # turns at which it stood still of a sudden, give or take a count
        self._rate: float | None = None
        self._ran_before_break = False  # it turned before what was known of it ended
        self._ran = 0.0  # turns a second when that was known last
        self._refresh_s: deque[float] = deque(maxlen=8)  # times between new readings where lines came in between
        self._stale_until_s = self._refreshed_s = -math.inf
        self._refreshes = RefreshTimes()
        self._steps_s: deque[float] = deque(maxlen=3)  # times from single counts to the next
        self._alternated_s: deque[float] = deque(maxlen=_TIMES)  # when such a time was unlike both beside it
        self.seldom = SeldomCounts()
        self.placed: tuple[float, float, float] | None = None
        """Seconds, turns and spread of the seconds of the count that the last line brought, if it did."""
        self.longest_s = math.inf
        """How far back points may tell the speed."""
        self.dead = False
        """Whether the counter stands still although the wheel can't have stopped: a pulled wire, a frozen program."""

    @property
    def reading_s(self) -> float:
        """The longest time lately between two readings of a counter that was not read anew for each line; else 0."""
        may_be_old = self._lines and self._lines[-1] < self._stale_until_s
        return max(self._refresh_s, default=0.0) if may_be_old else 0.0

    def clear(self) -> None:
        """Forgets the past: what comes next has no connection with it."""
        self._points.clear()
        self._lines.clear()
        self._refreshes.clear()
        self._steps_s.clear()
        self._ran_before_break = self._ran_before_break or self._ran > 0.0
        self._rate, self._edge, self._ran = None, None, 0.0
        self._waited = self.dead = False

    def add(
        self,
        time_s: float,
        turns: float,
        tick_s: float,
        thin_s: float = 0.3,
        noisy: bool = False,
        before_s: float | None = None,
        reading_s: float = 0.0,
    ) -> float | None:
        """Takes the count of one line and returns the speed, rpm, with the sign of the turning.

        ``tick_s`` is the uncertainty of the time. ``noisy``: some counts may be false. None too if the last lines
        span more than ``thin_s``. ``before_s``: time of the line before, where not all lines are told.
        ``reading_s``: time between two readings of a counter that is read oftener than printed; 0 where it isn't.
        """
        self.placed = None
        lines = self._lines
        if lines and time_s <= lines[-1]:
            return None if self._rate is None else self._rate * 60
        if lines:
            before_s = max(lines[-1], before_s or 0.0)
        lines.append(time_s)
        moved, self._turns = turns - self._turns, turns
        if before_s is not None:
            self._ran = abs(self._rate or self._ran)
            self.seldom.see(time_s, moved, time_s - before_s, self._ran, self._quantum)
        if len(lines) == 1 or before_s is None:
            self._place(time_s, turns + self._quantum / 2, 0.0)
        elif abs(moved) < 1e-9 or self._on_an_edge(turns, moved, time_s):
            self._waited = True
            return self._waiting(time_s)
        else:
            self._take_count(time_s, before_s, turns, moved, tick_s, reading_s, noisy)
        fewest = _FEWEST_NOISY if noisy else _FEWEST
        thin = len(lines) >= fewest and time_s - lines[-fewest] > max(thin_s, 16 * tick_s)
        self._rate = None if thin or len(self._points) < fewest else self._slope(tick_s, fewest)
        self._ran_before_break = self._ran_before_break and self._rate is None
        return None if self._rate is None else self._rate * 60

    def _on_an_edge(self, turns: float, moved: float, time_s: float) -> bool:
        """Whether a count more or less is none: where many were to come, and ever since it went to and fro by it."""
        if self._edge is None and abs(moved) < _OVERDUE * self._quantum:
            if self._ran * (time_s - self._moved_s) > EDGE_COUNTS * self._quantum:
                self._edge = turns
        elif self._edge is not None and abs(turns - self._edge) > _OVERDUE * self._quantum:
            self._edge = None
        return self._edge is not None

    def _take_count(
        self, time_s: float, before_s: float, turns: float, moved: float, tick_s: float, reading_s: float, noisy: bool
    ) -> None:
        """Places a new count at the time at which it came."""
        if self.dead:
            self.clear()
            self._lines.append(time_s)
        gap_s, since_s = time_s - before_s, time_s - self._moved_s
        self._waits += _FORGET_WAITS * (self._waited - self._waits)
        refreshed = self._waited and abs(moved) * gap_s > _OVERDUE * self._quantum * since_s
        if self._waited and abs(moved) > _OVERDUE * self._quantum and self._rate:
            refreshed = refreshed or abs(self._rate) * gap_s < _FEW_A_LINE * self._quantum
        elif self._waited and gap_s < _TIMED * since_s and self._goes_to_and_fro(time_s, since_s):
            self._stale_until_s = time_s + _STALE_S
        if refreshed:
            self._refresh_s.append(since_s)
            between_s, self._refreshed_s = time_s - self._refreshed_s, time_s
            again_s = _TO_NEXT * between_s if between_s < _LONGEST_BEAT_S else 0.0
            self._stale_until_s = max(self._stale_until_s, time_s + max(again_s, _STALE_S))
        if refreshed or time_s < self._stale_until_s:
            at_s, spread_s, in_step = (before_s + time_s) / 2, gap_s, self._waits < _SELDOM
            if self._waited or not noisy:  # lines may be missing before it
                about_s = self._refreshes.period_s or gap_s if in_step else 0.0
                readings = self._readings(moved, about_s) if in_step and self._points else 0
                at_s, spread_s = self._refreshes.place(before_s, time_s, tick_s, readings, about_s)
            if in_step and spread_s > _POORLY * gap_s and self._rate and self._points:
                # Nearly in step with the lines, and hardly known: where an even wheel has it.
                last_s, last, *_ = self._points[-1]
                even_s = last_s + (turns + self._quantum / 2 - last) / self._rate
                at_s = min(max(even_s, before_s, at_s - spread_s / 2), time_s, at_s + spread_s / 2)
            self._place(at_s, turns + self._quantum / 2, spread_s)
        elif self._waited and abs(moved) < _OVERDUE * self._quantum:
            edge = turns if moved > 0 else turns + self._quantum
            self._place((before_s + time_s) / 2, edge, gap_s, begins=True)
        elif reading_s > tick_s and self._points:
            since_s, readings = time_s - _ROOM * reading_s, self._readings(moved, reading_s)
            at_s, spread_s = self._refreshes.place(since_s, time_s, tick_s, readings)
            self._place(at_s, turns + self._quantum / 2, spread_s)
        else:
            self._place(time_s, turns + self._quantum / 2, 0.0)
            self._refreshes.clear()  # of readings that it isn't told, it would count too few
        self._waited = False

    def _goes_to_and_fro(self, time_s: float, since_s: float) -> bool:
        """Whether times from count to count do, as no wheel turns: each waits for the next reading of the counter."""
        steps, alternated = self._steps_s, self._alternated_s
        steps.append(since_s)
        if len(steps) == 3:
            shorter, longer = sorted((steps[0], steps[2]))
            if _UNEVEN * steps[1] < shorter or steps[1] > _UNEVEN * longer:
                alternated.append(time_s)
        return len(alternated) == _TIMES and time_s - alternated[0] < _TIMES_WITHIN_S

    def _readings(self, moved: float, reading_s: float) -> int:
        """How many readings of the counter, so far apart, lie behind a step of so many turns."""
        (end, last, *_), (start, turns, *_) = self._points[-1], self._points[max(-_RATE_OVER, -len(self._points))]
        known_s = self._refreshes.period_s
        between_s = known_s if abs(known_s - reading_s) < max(_NEAR[0] * reading_s, _NEAR[1]) else reading_s
        a_reading = abs(last - turns) / max(end - start, 1e-9) * between_s
        return max(round(abs(moved) / a_reading), 1) if a_reading else 1

    def _place(self, time_s: float, turns: float, spread_s: float, begins: bool = False) -> None:
        self.placed = (time_s, turns, spread_s)
        self._points.append((*self.placed, begins))
        self._moved_s = time_s

    def _waiting(self, now: float) -> float | None:
        """The speed while no count comes.

        As before until a count, or the next reading of the counter, is overdue; zero once the wheel can only be
        creeping; unknown where it can't have come to a stop within what was counted.
        """
        since = now - self._moved_s
        if self._ran_before_break and since < _STILL_AFTER_S:  # what it did before a break says that it may turn on
            self._rate = None
            return None
        due_s = max(_LATE_READING * max(self._refresh_s, default=0.0), _SEEN_STILL_S)
        if since >= _STILL_S or (self._quantum / since <= _GOOD_RPS and since > due_s):
            self.dead = self.dead or self._turns_to_stop() > _FEW_COUNTS * self._quantum
            self._points.clear()
            self._rate = None if self.dead else 0.0
        elif (
            self._rate is not None
            and abs(self._rate) * since > _OVERDUE * self._quantum
            and (not self._refresh_s or since > due_s)
        ):
            self._rate = None
        return None if self._rate is None else self._rate * 60

    def _turns_to_stop(self) -> float:
        """Turns that a wheel makes at least while it is braked from its last known speeds, less those it has made.

        The last reading of all may fall just behind the moment at which a wire was pulled, and tells a slow wheel.
        """
        points = list(self._points)[-_LAST_POINTS:]
        most, newest = 0.0, points[-1][1] if points else 0.0
        for (start, turns, *_), (end, last, *_) in pairwise(points):
            rate = (last - turns) / max(end - start, 1e-9)
            most = max(most, rate * rate / (2 * self._brake_rps2) - abs(newest - last))
        return most

    def _slope(self, tick_s: float, fewest: int) -> float | None:
        """Turns a second at the newest point, over the longest window that agrees with all shorter ones."""
        points = self._points
        now, here, *_ = points[-1]
        rough = (here - points[-fewest][1]) / max(now - points[-fewest][0], 1e-9)
        # Half a count and half a tick are spread evenly: a twelfth of a square each (GUM, JCGM 100:2008, 4.3.7).
        jitter = (rough * tick_s) ** 2
        quantum = self._quantum
        variance = (quantum**2 + jitter) / 12
        longest = self.longest_s
        shortest = min(max(_SHORTEST_S, 8 * tick_s), longest)
        usual = min(max(_USUAL_S, 60 * tick_s), longest)
        low, high, due = -math.inf, math.inf, fewest
        best: float | None = None
        n, s, st, sx, stt, stx, sxx, reach = 0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        error, slip, good = math.inf, 0.0, False
        for time, turns, spread_s, begins in reversed(points):
            t, x = time - now, turns - here
            if t < -usual and n >= fewest and (good or t < -min(max(_LONGEST_S, usual), longest)):
                break
            n += 1
            if spread_s and rough:
                unit = abs(rough) * spread_s
                slip = max(slip, unit)
                w = 12 * variance / (unit * unit + jitter + (0.0 if begins else quantum * quantum))
                s += w
                wt, wx = w * t, w * x
            else:
                s += 1
                slip, wt, wx = quantum, t, x
            st += wt
            sx += wx
            stt += wt * t
            stx += wt * x
            sxx += wx * x
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
            if best is None and -t > (_SPARSE_S if fewest == _FEWEST_NOISY else usual):
                rest = max(sxx - sx * sx / s - slope * slope * spread, 0.0) / (n - 2)
                if rest > _ODD**2 * variance:
                    return None  # few counts far apart that are not in line: a false one, or no even run
            best, error, reach = slope, width, -t
            good = max(error, _SLIP * slip / reach) <= max(_GOOD * abs(best), _GOOD_RPS)
        if best is None or (reach > usual and not good) or error > max(_GOOD * abs(best), _ROUGH_RPS):
            return None
        return best
