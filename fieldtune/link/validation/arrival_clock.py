"""When lines were printed that bring no usable clock, by when they arrived.

The robot prints evenly, the host hears in bursts and late. Lines are counted, refused ones too, and a slow filter
follows when the last one of each chunk arrived: a g-h filter, whose gains begin as those of a growing memory (formulas
from memory, after E. Brookner, Tracking and Kalman Filtering Made Easy, 1998). A chunk that is late by much more than
usual hardly moves it: that was the host, not the robot.

Over a network, or from a program that sends its buffer when it is full, lines come in clumps, with a silence between.
Then only the last line of each clump says when it was printed: those before it waited. The lines of a clump are timed
evenly, each to a millisecond, unless counts show that the robot prints unevenly by more than 3 %, or lines are damaged;
else they are as uncertain as clumps are late. What puts evenly printed lines right is spread over them, 2 % of a line
at most: a larger step between two looked like a shot.
"""

from __future__ import annotations

import math
from collections import deque
from statistics import median

_LEAST_G, _LEAST_H = 0.1, 0.005
_WARM, _LATELY = 10, 25  # chunks until the usual lateness is known, and of which it is the middle one
_EVENLY, _MISLED = 0.15, 0.03  # of the time from line to line
_SETTLED = 50  # chunks from which on gains are the least ones
_CLIP = 3.0
_EVEN, _OFF = 0.3, 0.6  # of a period
_FORGET = 0.05
_ON_TIME, _FASTER = 0.6, 0.3  # of a period late, and of the time lines took to be printed, made up for
_LOST_S = 0.25
_SHORTEST_S = 1e-4
_TICK_S = (0.001, 0.02)
_SURELY_EVEN = -0.3
_SPREAD = 3.0  # of what is spread evenly, its whole width over its mean size is four
_SILENCE_S, _OVER_S = 0.1, 12.0
_CLUMPS = ((3, 4), (1, 15))  # so many clumps, of so many lines each at least
_CLUMP_SHARE = 0.5  # of the time, in which lines come: more is a flow with pauses
_CLUMP_G, _CLUMP_H, _NEAR, _SLEW = 0.2, 0.02, 0.5, 0.02
_EVEN_SHARE, _UNEVEN_AT_FIRST, _FORGET_UNEVEN = 0.03, 0.3, 0.03  # of the time from line to line; a line


class Clumps:
    """Sees when lines arrive, and whether they come in clumps with a silence of ``_SILENCE_S`` or more between."""

    def __init__(self) -> None:
        self._ends: deque[tuple[float, int, float]] = deque()  # of each clump: arrival, lines so far, seconds it took
        self._began_s = self._arrival_s = 0.0
        self._lines = 0
        self.period_s = 0.0
        """Time from line to line, over the last clumps; 0 while they don't come so."""
        self.ended: tuple[float, int] | None = None
        """Arrival of the last line of a clump, and its lines, if the newest line is the first behind it."""

    def see(self, arrival_s: float, came: int) -> None:
        """Takes the arrival of the next ``came`` lines."""
        before_s, self._arrival_s, self.ended = self._arrival_s, arrival_s, None
        if arrival_s - before_s >= _SILENCE_S:
            ends = self._ends
            if self._lines:
                self.ended = before_s, self._lines - (ends[-1][1] if ends else 0)
                ends.append((before_s, self._lines, before_s - self._began_s))
            while ends and arrival_s - ends[0][0] > _OVER_S:
                ends.popleft()
            self._began_s = arrival_s
            self.period_s = self._period_s()
        self._lines += came

    def _period_s(self) -> float:
        ends = self._ends
        clumps = len(ends) - 1
        if clumps < 1:
            return 0.0
        took_s, lines = ends[-1][0] - ends[0][0], ends[-1][1] - ends[0][1]
        flowing_s = sum(seconds for _, _, seconds in ends) - ends[0][2]
        enough = any(clumps >= fewest and lines >= each * clumps for fewest, each in _CLUMPS)
        together = enough and flowing_s < _CLUMP_SHARE * took_s
        return took_s / lines if together else 0.0


class ArrivalClock:
    """Seconds on the host's clock at which each line, by its number, was probably printed. Steadily rising.

    A robot that prints unevenly is better followed line by line as they arrive: ``compare`` finds that out.
    """

    def __init__(self) -> None:
        self._clumps = Clumps()
        self._chunks = 0
        self._end = 0.0
        self._lines = 0
        self._step = 0.0
        self._late = 0.0
        self._usual = 0.0
        self._lates: deque[float] = deque(maxlen=_LATELY)
        self._gaps_s: deque[float] = deque(maxlen=_LATELY)  # from chunk to chunk, a line
        self._arrival_s = 0.0
        self._alone = False
        self._uneven = -0.1
        self._uneven_by: float | None = None  # of lines in clumps, once the wheel's turns told
        self._noisy = False
        self._behind_s = 0.0  # what the times of lines in clumps have still to be put right by
        self.waited_s = 0.0
        """By how much the last line was late, of those that waited through a silence; 0 of others."""
        self._last = 0.0
        self._shift = 0.0
        self.heard: tuple[float, float] | None = None
        """Seconds since the line before, evenly and as heard, where this line and the one before came alone."""
        self.period = 0.0
        self.jitter_s = 0.0
        """By how much lines are late by turns where they overtake each other: then each is timed as it arrives."""

    @property
    def tick_s(self) -> float:
        """Uncertainty of a line's time, seconds."""
        if self.jitter_s:
            return self.jitter_s
        if self._as_heard or (self._clumps.period_s and self._steady):
            return _TICK_S[0]
        even = self._uneven < _SURELY_EVEN
        return min(max(_TICK_S[0], self._usual if even else _SPREAD * self._usual), _TICK_S[1])

    @property
    def _steady(self) -> bool:
        """Whether lines that come in clumps are printed evenly, as far as the wheel's turns tell, and none is lost."""
        return (self._uneven_by or 0.0) < _EVEN_SHARE and not self._noisy

    @property
    def _as_heard(self) -> bool:
        return self._uneven > 0

    def hear(self, arrival_s: float, lines: int, noisy: bool) -> None:
        """A chunk arrived, with which ``lines`` lines have come in all. ``noisy``: lines were damaged lately."""
        came = lines - self._lines
        if came <= 0:
            return
        if self.jitter_s:
            self._hear_jittered(arrival_s, lines)
            return
        self._clumps.see(arrival_s, came)
        self._noisy = noisy
        if self._clumps.period_s:
            self._lines, self._arrival_s = lines, arrival_s
            self._hear_clump(came, self._clumps.period_s)
            return
        if self._chunks == 1 and self.period == 0.0:
            self.period = (arrival_s - self._arrival_s) / came
        self._lines = lines
        alone, since = self._alone, arrival_s - self._arrival_s
        self._alone, self._arrival_s = came == 1, arrival_s
        self._last = self._end + self._shift
        self._gaps_s.append(since / came)
        if noisy and (gap_s := self._even_gap_s()) and abs(self.period - gap_s) > _MISLED * gap_s:
            self.period = gap_s
            self._lates.clear()
            self._anew(arrival_s)
            return
        ahead = came * self.period
        late = arrival_s - (self._end + ahead)
        usual = median(self._lates) if noisy and self._lates else self._usual  # damage makes a few very late
        if noisy and usual < _EVEN * self.period:
            off_s = _OFF * self.period
            # Damage made two lines of one: nothing comes early. Or one of two: the host is not late twice in a row.
            if late < -off_s or (late > off_s and self._late > off_s and alone and came == 1):
                ahead += self.period * round(late / self.period)
                late = arrival_s - (self._end + ahead)
        if self._chunks > _WARM and not noisy and self._catches_up(late, ahead):
            self._step, self._late, self._shift, self.heard = self.period, late, 0.0, None
            self._end += ahead
            return
        if self._chunks == 0 or abs(late) > _LOST_S + 4 * self.period:
            self._anew(arrival_s)
            return
        k, g, h = self._chunks, _LEAST_G, _LEAST_H
        if k < _SETTLED:
            g, h = max(g, 2 * (2 * k + 1) / ((k + 1) * (k + 2))), max(h, 6 / ((k + 1) * (k + 2)))
        self._lates.append(abs(late))
        if k > _WARM:
            most = _CLIP * usual + _SHORTEST_S
            late = most if late > most else -most if late < -most else late
        if k > 1:
            self._usual += (_FORGET if k >= _SETTLED else max(_FORGET, 1 / k)) * (abs(late) - self._usual)
        self._chunks = k + 1
        step = (ahead + g * late) / came
        self._step = step = step if step > _SHORTEST_S else _SHORTEST_S
        self._end = end = self._end + came * step
        period = self.period + h * late / came
        self.period = period if period > _SHORTEST_S else _SHORTEST_S
        self._late = arrival_s - end
        self.heard = (step, since) if alone and self._alone else None
        self._shift = self._late if came == 1 and self._as_heard else 0.0

    def _catches_up(self, late: float, ahead: float) -> bool:
        """Whether lines may have waited through a silence: the first one behind it, and those that come too fast.

        ``late``: by how much the last one is; ``ahead``: the time that these lines took to be printed.
        """
        before = self.waited_s
        first = not before and late > _LOST_S + 4 * self.period
        too_fast = before > 0.0 and late > _ON_TIME * self.period and before - late > _FASTER * ahead
        self.waited_s = late if first or too_fast else 0.0
        return first or too_fast

    def _even_gap_s(self) -> float:
        """The time from line to line where lines come evenly, but for those that damage made one, or two; else 0."""
        gaps = sorted(self._gaps_s)
        if len(gaps) < _WARM:
            return 0.0
        few, middle, many = (gaps[len(gaps) * quarter // 4] for quarter in (1, 2, 3))
        return middle if many - few < _EVENLY * middle else 0.0

    def _hear_clump(self, came: int, period_s: float) -> None:
        """As ``hear``, where lines come in clumps: they go on evenly, and each clump's last line corrects it."""
        self._last = self._end + self._shift
        if not _NEAR * self.period < period_s < self.period / _NEAR:
            self.period = period_s
        if self._clumps.ended is not None:
            heard_s, lines = self._clumps.ended
            late = heard_s - self._end
            if abs(late) > _LOST_S + 4 * self.period:
                self._end += late
            else:
                self._behind_s = _CLUMP_G * late
                self.period = max(self.period + _CLUMP_H * late / lines, _SHORTEST_S)
                self._usual += _FORGET * (abs(late) - self._usual)
        # Little by little: a wheel that seems to lose a quarter of its speed between two lines looks like a shot's.
        most_s = _SLEW * self.period * came if self._steady else math.inf
        slewed_s = min(max(self._behind_s, -most_s), most_s)
        self._behind_s -= slewed_s
        self._step = max(self.period + slewed_s / came, _SHORTEST_S)
        self._late, self._shift, self.heard, self._alone = 0.0, 0.0, None, False
        self._end += came * self._step

    def _hear_jittered(self, arrival_s: float, lines: int) -> None:
        """As ``hear``, where lines overtake each other: how many were printed meanwhile isn't known."""
        self._last = self._end + self._shift
        self._end = max(arrival_s, self._last + (lines - self._lines) * _SHORTEST_S)
        self._lines, self._arrival_s, self._chunks, self._alone = lines, arrival_s, 1, False
        self._step, self._late, self._shift, self.heard = _SHORTEST_S, 0.0, 0.0, None

    def _anew(self, arrival_s: float) -> None:
        """The first chunk, or the first after a silence."""
        self._chunks = max(self._chunks, 1)
        self._end, self._step, self._late = max(arrival_s, self._end + _SHORTEST_S), self.period, 0.0
        self.heard, self._shift = None, 0.0

    def time_of(self, number: int) -> float:
        """When the line of that number, of the last chunk, was printed."""
        return max(self._end + self._shift - (self._lines - number) * self._step, self._last + _SHORTEST_S)

    def late(self) -> float:
        """By how much the last chunk came later than the filter says; the robot may have paused, or lines are lost."""
        return self._late - self._shift

    def compare(self, turned: float, rate: float, count: float) -> None:
        """Takes what a wheel ``turned`` since the line before, by how evenly it turns at ``rate``; turns, turns/s.

        ``count``: one in turns, by which ``turned`` may be off.
        """
        if self.heard is not None:
            evenly_off, heard_off = (abs(turned - rate * since) for since in self.heard)
            if both := evenly_off + heard_off:
                self._uneven += _FORGET * ((evenly_off - heard_off) / both - self._uneven)
        elif self._clumps.period_s:
            expected = abs(rate) * self._step
            off = max(abs(abs(turned) - expected) - count / 3, 0.0) / max(expected, count)
            so_far = _UNEVEN_AT_FIRST if self._uneven_by is None else self._uneven_by
            self._uneven_by = so_far + _FORGET_UNEVEN * (min(off, 1.0) - so_far)

    def believe(self) -> None:
        """The wheel has turned as much further: the chunk was not late, the robot was."""
        self._end += self._late
        self._late = 0.0
