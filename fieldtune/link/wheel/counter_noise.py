"""Whether a counter counts a wheel, or what an open wire picks up: pulses at random, or the mains' hum.

A wheel has inertia. Braked as hard as its motor can it makes a definite number of turns until it stands: a counter that
goes on with far fewer has lost the wheel. And its counts are even: of those that come in a short time, one half comes
in the first half of it, give or take a count, while counts at random scatter by their square root (Poisson). A rough
encoder, its slots off by a third of a count, stays far below that.
"""

from __future__ import annotations

import math
from collections import deque

_LOST_COUNTS, _LOST_SHARE = 3.0, 0.1  # counts, and share of what an even wheel would have made
_KNOWN, _KNOWN_S = 12, 0.5  # last speeds by which it is known how many counts were due: how many, how old
_LINES = 2  # in a row with too few counts
_BACK = 0.7  # of the speed before: so fast again it is the wheel
_HUM_HZ, _EVEN_S = 250.0, 1.0  # mains' hum counts by both edges, on two channels; a faster even count is a wheel's
_HALF, _PARTS, _MOST_S = 4, 14, 0.5  # counts in half a stretch; stretches looked at; seconds a half
_RANDOM, _EVEN, _MOST = 0.5, 0.25, 3.0  # of what counts at random scatter
_UNEVEN, _OFTEN = 0.3, 0.4  # of that: more than half of them are; of a wheel that spins up, a few
_STEP, _STEPS = 60, 4  # counts to a line, from which on a wheel's own unevenness is more than theirs; times in a row


class CounterNoise:
    """Sees turns line by line; ``quantum``: one count in turns, ``brake_rps2``: the hardest that a wheel is braked.

    ``fell``: it goes on with far fewer counts than a wheel can; ``at_random``: its counts scatter as no wheel's do.
    """

    def __init__(self, quantum: float, brake_rps2: float) -> None:
        self._quantum, self._brake_rps2 = quantum, brake_rps2
        self.clear()

    def clear(self) -> None:
        """What comes next has no connection with the past."""
        self.fell = self.at_random = False
        self._known: deque[tuple[float, float, float]] = deque(maxlen=_KNOWN)  # seconds, turns, turns a second
        self._too_few = 0
        self._turns, self._time_s = math.nan, -math.inf
        self._before = 0.0  # turns a second, when it fell
        self._even_since_s = math.inf
        self._start: tuple[float, float] | None = None  # seconds and turns at which a stretch began
        self._middle: tuple[float, float] | None = None
        self._scatter: deque[float] = deque(maxlen=_PARTS)
        self._fast = 0

    @property
    def tells_no_wheel(self) -> bool:
        """Whether what is counted is no wheel."""
        return self.fell or self.at_random

    def see(
        self, time_s: float, turns: float, rate: float | None, tick_s: float, reading_s: float, whole: bool
    ) -> bool:
        """Takes a line; whether its counts are a wheel's no more.

        ``rate``: turns a second by these counts, None where unknown; ``tick_s``: uncertainty of the time;
        ``reading_s``: time between two readings of the counter, where lines come in between; ``whole``: no line was
        damaged, and none overtook another.
        """
        moved, late_s, since_s = turns - self._turns, max(tick_s, reading_s), time_s - self._time_s
        if whole:
            self._see_scatter(time_s, turns, moved, max(tick_s, min(reading_s, since_s)))
        else:
            self._start = self._middle = None
        self._turns, self._time_s = turns, time_s
        if self.fell:
            self._look_whether_it_is_back(time_s, rate)
        elif abs(moved) > 0:
            self._look_whether_it_fell(time_s, turns)
        if rate and moved and not self.fell:
            self._known.append((time_s + late_s, turns, abs(rate)))
        return self.tells_no_wheel

    def _look_whether_it_fell(self, time_s: float, turns: float) -> None:
        known = self._known
        while known and time_s - known[0][0] > _KNOWN_S:
            known.popleft()
        before, enough = 0.0, _LOST_COUNTS * self._quantum
        for then_s, then, rate in known:
            missing = (1 - _LOST_SHARE) * rate * (time_s - then_s) - abs(turns - then)
            if missing > enough and self._are_lost(time_s - then_s, turns - then, rate):
                before = max(before, rate)
        self._too_few = self._too_few + 1 if before else 0
        if self._too_few >= _LINES:
            self.fell, self._before, self._even_since_s = True, before, math.inf

    def _are_lost(self, since_s: float, turned: float, rate: float) -> bool:
        """Whether a wheel of that many turns a second, braked since then, would have made more."""
        braked_s = min(since_s, rate / self._brake_rps2)
        least = (1 - _LOST_SHARE) * rate * braked_s - self._brake_rps2 * braked_s**2 / 2
        return least - abs(turned) > _LOST_COUNTS * self._quantum

    def _look_whether_it_is_back(self, time_s: float, rate: float | None) -> None:
        """It is the wheel again if it is as fast as before, or faster than any hum and even for long."""
        even = rate is not None and abs(rate) > _HUM_HZ * self._quantum and not self.at_random
        self._even_since_s = min(self._even_since_s, time_s) if even else math.inf
        as_before = rate is not None and abs(rate) > _BACK * self._before
        if as_before or time_s - self._even_since_s > _EVEN_S:
            self.fell, self._too_few = False, 0
            self._known.clear()

    def _see_scatter(self, time_s: float, turns: float, moved: float, off_s: float) -> None:
        """Follows stretches of some counts, and how unevenly each comes in its two halves of about the same time.

        A stretch begins and ends with a new count; ``off_s``: by how much the time of one may be off.
        """
        if moved == 0:
            return
        if self._start is None or abs(moved) > _STEP * self._quantum or math.isnan(moved):
            self._start, self._middle = (time_s, turns), None
            if abs(moved) > _STEP * self._quantum:
                self._is_too_fast()
            return
        start_s, start = self._start
        if self._middle is None:
            if time_s - start_s > _MOST_S:
                self._start = time_s, turns
            elif abs(turns - start) >= _HALF * self._quantum:
                self._middle = time_s, turns
            return
        middle_s, middle = self._middle
        if time_s - middle_s < middle_s - start_s:
            return
        self._start, self._middle = (time_s, turns), None
        share = (middle_s - start_s) / (time_s - start_s)
        counts = max(abs(turns - start), abs(turns - middle) + abs(middle - start)) / self._quantum
        off = ((middle - start) - share * (turns - start)) / self._quantum
        at_random = counts * share * (1 - share)
        by_time = (counts * off_s / (time_s - start_s)) ** 2 / 2
        if by_time > at_random:
            self._is_too_fast()
            return
        self._fast = 0
        self._scatter.append(min(off * off / (at_random + by_time), _MOST))
        if len(self._scatter) == _PARTS:
            mean, many = sum(self._scatter) / _PARTS, sum(one > _UNEVEN for one in self._scatter)
            self.at_random = mean > _EVEN if self.at_random else mean > _RANDOM and many > _OFTEN * _PARTS

    def _is_too_fast(self) -> None:
        """Nothing can be said; nor that it is at random, where that is so again and again."""
        self._fast += 1
        if self._fast >= _STEPS:
            self._scatter.clear()
            self.at_random = False
