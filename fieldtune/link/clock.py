"""How much time lies between two lines: by the robot's own clock over its roll-over, else by when they arrived.

Without a usable clock, ``ArrivalClock`` gives lines their times: the robot prints evenly, the host hears in bursts and
late. Lines are counted, refused ones too, and a slow filter follows when the last one of each chunk arrived: a g-h
filter, whose gains begin as those of a growing memory (formulas from memory, after E. Brookner, Tracking and Kalman
Filtering Made Easy, 1998). A chunk that is late by much more than usual hardly moves it: that was the host, not the
robot.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from fieldtune.line_fields import CLOCKS
from fieldtune.link.clock_judge import PAUSE_S, STILL, ClockJudge, steps_words

if TYPE_CHECKING:
    from fieldtune.link.wire_values import WireValues

AHEAD_S = 0.25  # a line is never older for the robot than for the host by more than this
TRAIL = 8
_GAIN_S = 0.15


@dataclass(slots=True)
class LineState:
    """State behind the last believed line. ``clock`` is the robot's reading in ticks, None where arrival serves.

    ``mark`` is then the line's time by arrival; ``late_s``: how much later than the next lines came lately.
    ``turned_s`` is when a new count came last, ``trail`` the last (seconds, turns) of new counts; ``stood``: the last
    line brought none, ``still``: none came for long; ``stale_s``: how old a count may be when it is printed. ``rpms``
    has the last (seconds, rpm) of the robot's own, ``gained_rps2`` the most that such a stretch gained, turns/s^2;
    ``scatter`` is how far that rpm goes up and down from line to line, turns/s; ``dead``: it stands at zero though the
    wheel can't. ``change`` is what it means if this state does not follow the last one.
    """

    clock: float | None
    tick: float
    counts: int | None
    time_s: float
    arrival_s: float
    mark: float = 0.0
    period: float = 0.0
    late_s: float = AHEAD_S
    turns: float = 0.0
    turned_s: float = 0.0
    rpm: float | None = None
    rpm_s: float = 0.0
    dead: bool = False
    stood: bool = False
    still: bool = False
    stale_s: float = 0.0
    rpms: deque[tuple[float, float]] = field(default_factory=deque)
    gained_rps2: float = 0.0
    scatter: float = 0.0
    volts: float | None = None
    trail: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=TRAIL))
    change: str | None = None

    @property
    def rate(self) -> float | None:
        """Turns a second over the last lines; None with fewer than two."""
        trail = self.trail
        if len(trail) < 2:
            return None
        (start, turns), (end, last) = trail[0], trail[-1]
        return (last - turns) / (end - start) if end > start else None

    def follow_rpm(self, time_s: float, rpm: float) -> None:
        """Takes the robot's own rpm; one false line counts little for how uneven it is."""
        if self.rpm is not None:
            change = abs(rpm - self.rpm) / 60
            self.scatter += 0.05 * (min(change, 4 * self.scatter + 0.2) - self.scatter)
        self.rpm, self.rpm_s, self.dead = rpm, time_s, False
        rpms = self.rpms
        rpms.append((time_s, rpm))
        first_s, first = rpms[0]
        if time_s - first_s > _GAIN_S:
            self.gained_rps2 = max(self.gained_rps2, (rpm - first) / 60 / (time_s - first_s))
            while time_s - rpms[0][0] > _GAIN_S:
                rpms.popleft()


_WRAPS = (2**16, 2**32)
_LONGEST_S = 10.0
_SHORT_WRAPS = 2  # roll-overs at 16 bits after which the clock is known to be so short


def clock_of(wire: WireValues) -> tuple[int | float | None, float]:
    """The clock that a line names, in ticks, the finer one of two; None where it names none. And seconds a tick."""
    return (wire.t_ms, CLOCKS["t_ms"]) if wire.t_us is None else (wire.t_us, CLOCKS["t_us"])


class Clocks:
    """Reads the robot's clock, as long as it can be trusted."""

    def __init__(self) -> None:
        self.arrival = ArrivalClock()
        self.fault: str | None = None
        """Why the host's arrival time is the clock although the robot sends one."""
        self.judging = True
        """False where arrival times are made up, as of plain text."""
        self._judge = ClockJudge()
        self._stood_s: float | None = None
        self._short = 0

    @property
    def plain(self) -> bool:
        """Whether the robot's clock is trusted, and never rolled over early."""
        return self.fault is None and self._short < _SHORT_WRAPS

    def distrust(self, why: str) -> None:
        """From now on the host's arrival time is the clock."""
        self.fault = why

    def judge(self, wire: WireValues, arrival_s: float, lines: int = 1) -> bool:
        """Takes the clock of a line, the last of ``lines`` that each moved it on; True when trust ends with it."""
        if self.fault == STILL:
            self._look_again(wire)
        clock, tick = self.reading(wire)
        if clock is None or not self.judging:
            return False
        return self.judge_s(clock * tick, arrival_s, lines)

    def judge_s(self, clock_s: float, arrival_s: float, lines: int = 1) -> bool:
        """As ``judge``, of a clock in seconds that is trusted so far."""
        if self.judging:
            self._judge.see(clock_s, arrival_s, lines)
            self.fault = self._judge.verdict
        return self.fault is not None

    def judge_more(self, clocks_s: Sequence[float]) -> None:
        """Takes lines of the same arrival, of which ``judge_s`` took the first: nothing new of the clock's pace."""
        if self.judging and len(clocks_s) > 1:
            self._judge.see_more(clocks_s)

    def _look_again(self, wire: WireValues) -> None:
        """A clock that stood still may count whole seconds."""
        ticks, tick = clock_of(wire)
        if ticks is not None:
            stood, self._stood_s = self._stood_s, ticks * tick
            if stood is not None and 0 < self._stood_s - stood < PAUSE_S:
                self.fault = steps_words(self._stood_s - stood)

    def reading(self, wire: WireValues) -> tuple[float | None, float]:
        """The robot's clock in ticks, None without a usable one, and the seconds of a tick (or its uncertainty)."""
        ticks, tick = clock_of(wire)
        return (None, self.arrival.tick_s) if ticks is None or self.fault is not None else (ticks, tick)

    def elapsed(self, base: LineState, wire: WireValues, number: int, waited: float) -> float | None:
        """Seconds from ``base`` to line ``number``, None if the clock went where no clock goes.

        ``waited``: seconds between their arrivals, which tell roll-over from restart.
        """
        clock, tick = self.reading(wire)
        if clock is None or base.clock is None:
            return self.arrival.time_of(number) - base.mark
        before = base.clock if tick == base.tick else base.clock * base.tick / tick
        ticks = clock - before
        if self._short >= _SHORT_WRAPS and max(clock, before) < _WRAPS[0]:
            lap = _WRAPS[0] * tick
            since = ticks % _WRAPS[0] * tick
            return since + max(round((waited - since) / lap), 0) * lap
        if ticks >= 0:
            return ticks * tick
        for wrap in _WRAPS:
            since = (ticks + wrap) * tick
            if before < wrap and 0 <= since <= min(waited + AHEAD_S, _LONGEST_S):
                return since
        return None

    def rolled_over(self, before: float, clock: float) -> bool:
        """Whether a believed clock began anew; notes how long it is."""
        if clock >= before:
            if clock >= _WRAPS[0]:
                self._short = 0
            return False
        if before < _WRAPS[0]:
            self._short += 1
        return True


_LEAST_G, _LEAST_H = 0.1, 0.005
_WARM = 10  # chunks until the usual lateness is known
_CLIP = 3.0
_EVEN, _OFF = 0.3, 0.6  # of a period
_FORGET = 0.05
_LOST_S = 0.25
_SHORTEST_S = 1e-4
_TICK_S = (0.001, 0.02)
_SURELY_EVEN = -0.3
_SPREAD = 3.0  # of what is spread evenly, its whole width over its mean size is four


class ArrivalClock:
    """Seconds on the host's clock at which each line, by its number, was probably printed. Steadily rising.

    A robot that prints unevenly is better followed line by line as they arrive; ``heard`` and ``prefer`` find that out.
    """

    def __init__(self) -> None:
        self._chunks = 0
        self._end = 0.0
        self._lines = 0
        self._step = 0.0
        self._late = 0.0
        self._usual = 0.0
        self._arrival_s = 0.0
        self._alone = False
        self._uneven = -0.1
        self._last = 0.0
        self._shift = 0.0
        self.heard: tuple[float, float] | None = None
        """Seconds since the line before, evenly and as heard, where this line and the one before came alone."""
        self.period = 0.0

    @property
    def tick_s(self) -> float:
        """Uncertainty of a line's time, seconds."""
        if self._as_heard:
            return _TICK_S[0]
        even = self._uneven < _SURELY_EVEN
        return min(max(_TICK_S[0], self._usual if even else _SPREAD * self._usual), _TICK_S[1])

    @property
    def _as_heard(self) -> bool:
        return self._uneven > 0

    def hear(self, arrival_s: float, lines: int, doubted: bool) -> None:
        """A chunk arrived, with which ``lines`` lines have come in all. ``doubted``: lines were damaged lately."""
        came = lines - self._lines
        if came <= 0:
            return
        if self._chunks == 1 and self.period == 0.0:
            self.period = (arrival_s - self._arrival_s) / came
        self._lines = lines
        alone, since = self._alone, arrival_s - self._arrival_s
        self._alone, self._arrival_s = came == 1, arrival_s
        self._last = self._end + self._shift
        ahead = came * self.period
        late = arrival_s - (self._end + ahead)
        off_s = _OFF * self.period
        # Damage made two lines of one: nothing comes early. Or one of two: the host is not late twice in a row.
        miscounted = late < -off_s or (late > off_s and self._late > off_s and alone and came == 1)
        if doubted and miscounted and self._usual < _EVEN * self.period:
            ahead += self.period * round(late / self.period)
            late = arrival_s - (self._end + ahead)
        if self._chunks == 0 or abs(late) > _LOST_S + 4 * self.period:
            self._anew(arrival_s)
            return
        k = self._chunks
        g = max(_LEAST_G, 2 * (2 * k + 1) / ((k + 1) * (k + 2)))
        h = max(_LEAST_H, 6 / ((k + 1) * (k + 2)))
        if k > _WARM:
            most = _CLIP * self._usual + _SHORTEST_S
            late = max(-most, min(late, most))
        self._usual += max(_FORGET, 1 / k) * (abs(late) - self._usual) if k > 1 else 0.0
        self._chunks += 1
        self._step = max((ahead + g * late) / came, _SHORTEST_S)
        self._end += came * self._step
        self.period = max(self.period + h * late / came, _SHORTEST_S)
        self._late = arrival_s - self._end
        self.heard = (self._step, since) if alone and self._alone else None
        self._shift = self._late if self._as_heard and came == 1 else 0.0

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

    def prefer(self, evenly_off: float, heard_off: float) -> None:
        """How far off the wheel was with each of the two times of ``heard``."""
        both = evenly_off + heard_off
        if both > 0:
            self._uneven += _FORGET * ((evenly_off - heard_off) / both - self._uneven)

    def believe(self) -> None:
        """The wheel has turned as much further: the chunk was not late, the robot was."""
        self._end += self._late
        self._late = 0.0
