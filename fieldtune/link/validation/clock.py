"""How much time lies between two lines: by the robot's own clock over its roll-over, else by when they arrived."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING

from fieldtune.line_fields import CLOCKS
from fieldtune.link.validation.arrival_clock import ArrivalClock
from fieldtune.link.validation.clock_judge import PAUSE_S, STILL, ClockJudge, pace_words, steps_words
from fieldtune.link.validation.line_state import AHEAD_S, LineState

if TYPE_CHECKING:
    from fieldtune.link.text.wire_values import WireValues

_TIMES_LATE, _LATE_FORGOTTEN = 3.0, 0.95  # a line
_NEARER, _UNKNOWN_S = 1.02, 2e-4
_WRAPS = (2**16, 2**32)
_LONGEST_S = 10.0
_LONGEST_PERIOD_S = 2.0
_RIGHT = 0.01  # of the pace: a clock that was put right twice may be that of another robot, which is right
_SHORT_WRAPS = 2  # roll-overs at 16 bits after which the clock is known to be so short


_FINE_MS, _FINE_TIMES = 0.3, 6  # from line to line, with decimals: so often in a row no robot prints


class ClockUnit:
    """Which clocks count seconds under the name ``t_ms``: those with decimals that hardly go on from line to line."""

    def __init__(self) -> None:
        self.times = 1.0
        """What the numbers on the line are multiplied by to be in the unit of their name, and seconds by arrival."""
        self.counts_seconds = False
        self._last: float | None = None
        self._fine = 0

    def see(self, wire: WireValues) -> bool:
        """Takes the clock of a line; True when it turns out with it that it counts seconds."""
        now = wire.t_ms
        if self.counts_seconds or now is None or wire.t_us is not None:
            return False
        last, self._last = self._last, now
        if last is None or now == last:
            return False
        fine = isinstance(now, float) and 0 < now - last < _FINE_MS and not (now.is_integer() and last.is_integer())
        self._fine = self._fine + 1 if fine else 0
        if self._fine < _FINE_TIMES:
            return False
        self.times, self.counts_seconds = 1000.0, True
        return True


def clock_of(wire: WireValues) -> tuple[int | float | None, float]:
    """The clock that a line names, in ticks, the finer one of two; None where it names none. And seconds a tick."""
    return (wire.t_ms, CLOCKS["t_ms"]) if wire.t_us is None else (wire.t_us, CLOCKS["t_us"])


class Clocks:
    """Reads the robot's clock, as long as it can be trusted."""

    def __init__(self) -> None:
        self.arrival = ArrivalClock()
        self.fault: str | None = None
        """Why the host's arrival time is the clock although the robot sends one."""
        self.off: str | None = None
        """That the robot's clock is a little fast or slow, which is put right."""
        self.judging = True
        """False where arrival times are made up, as of plain text."""
        self.line_s = math.inf
        """Time between two lines, refused ones included: unknown is infinite."""
        self._judge = ClockJudge()
        self._wraps: tuple[float, ...] = _WRAPS
        self._stood_s: float | None = None
        self._short = 0
        self.unit = ClockUnit()

    @property
    def plain(self) -> bool:
        """Whether the robot's clock is trusted, in the unit of its name, and never rolled over early."""
        return self.fault is None and self._short < _SHORT_WRAPS and self.unit.times == 1.0

    def distrust(self, why: str) -> None:
        """From now on the host's arrival time is the clock."""
        self.fault = why

    def judge(self, wire: WireValues, arrival_s: float, lines: int = 1) -> bool:
        """Takes the clock of a line, the last of ``lines`` that each moved it on.

        True when it is not to be trusted any more, or is found to be in another unit.
        """
        if self.fault == STILL:
            self._look_again(wire)
        if self.unit.see(wire):
            self._judge, self.fault, self._wraps, self.off = ClockJudge(), None, _WRAPS, None
            return True
        ticks, tick = clock_of(wire)
        if ticks is None or not self.judging:
            return False
        clock_s = self.unit.times * ticks * tick
        return self.judge_s(clock_s, arrival_s, lines) if self.fault is None else self._is_right(clock_s, arrival_s)

    def _is_right(self, clock_s: float, arrival_s: float) -> bool:
        """Whether a clock that was not trusted turns out to be right."""
        if self.fault != self._judge.verdict:
            return False
        self._judge.see(clock_s, arrival_s)
        self.fault = self._judge.verdict
        return self.fault is None

    def judge_s(self, clock_s: float, arrival_s: float, lines: int = 1) -> bool:
        """As ``judge``, of a clock in seconds that is trusted so far."""
        if self.judging:
            self._judge.see(clock_s, arrival_s, lines)
            self.fault = self._judge.verdict
        if self._judge.pace != 1.0 and self.fault is None:
            self._put_right(self._judge.pace)
            return True
        return self.fault is not None

    def _put_right(self, pace: float) -> None:
        """From now on the clock is taken to run ``pace`` seconds a second more slowly than before."""
        self.unit.times /= pace
        self._wraps = tuple(wrap / pace for wrap in self._wraps)
        whole = self._wraps[0] / _WRAPS[0]
        self.off = None if abs(whole - 1) < _RIGHT else f"{pace_words(1 / whole)}, taken so"
        self._judge = ClockJudge()

    def judge_more(self, lines: int, last_s: float, clocks_s: Callable[[], list[float]]) -> None:
        """Takes lines of the same arrival, of which ``judge_s`` took the first: nothing new of the clock's pace."""
        if self.judging and lines > 1:
            self._judge.see_more(lines, last_s, clocks_s)

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
        unknown = self.fault is not None
        return (None, self.arrival.tick_s) if unknown or ticks is None else (self.unit.times * ticks, tick)

    def elapsed(self, base: LineState, wire: WireValues, number: int, waited: float) -> float | None:
        """Seconds from ``base`` to line ``number``, None if the clock went where no clock goes.

        ``waited``: seconds between their arrivals, which tell roll-over from restart.
        """
        clock, tick = self.reading(wire)
        if clock is None or base.clock is None:
            return self.arrival.time_of(number) - base.mark
        before = base.clock if tick == base.tick else base.clock * base.tick / tick
        ticks = clock - before
        if self._short >= _SHORT_WRAPS and max(clock, before) < self._wraps[0]:
            lap = self._wraps[0] * tick
            since = ticks % self._wraps[0] * tick
            return since + max(round((waited - since) / lap), 0) * lap
        if ticks >= 0:
            return ticks * tick
        for wrap in self._wraps:
            since = (ticks + wrap) * tick
            if before < wrap and 0 <= since <= min(waited + AHEAD_S, _LONGEST_S):
                return since
        return None

    def keep_pace(self, base: LineState, times_s: Iterable[float], waited: float) -> None:
        """Takes the times of lines that follow ``base``, before it moves on to them; the first was ``waited`` for."""
        before_s, late_s, period, line_s = base.time_s, base.late_s, base.period, self.line_s
        for time_s in times_s:
            since = time_s - before_s
            before_s = time_s
            late_s *= _LATE_FORGOTTEN
            if since - waited > late_s:
                late_s = since - waited
            waited = 0.0
            # Follows the middle of the times: some of two are longer, where one between them was refused. Of the first
            # lines, which came together and without a clock, no time between them is known.
            if since <= _UNKNOWN_S:
                continue
            if since > line_s:
                line_s *= _NEARER
            else:
                line_s = since if line_s == math.inf else line_s / _NEARER
            if period == 0.0:
                period = min(since, _LONGEST_PERIOD_S)
            elif since < 6 * period:
                period += 0.05 * (since - period)
        base.late_s, base.period, self.line_s = late_s, period, line_s

    def ahead_s(self, base: LineState, noisy: bool) -> float:
        """By how much a line may be ahead of the host: where lines are damaged, not by much more than others lately."""
        return min(_TIMES_LATE * (base.late_s + base.tick) + base.period, AHEAD_S) if noisy else AHEAD_S

    def rolled_over(self, before: float, clock: float) -> bool:
        """Whether a believed clock began anew; notes how long it is."""
        if clock >= before:
            if clock >= self._wraps[0]:
                self._short = 0
            return False
        if before < self._wraps[0]:
            self._short += 1
        return True
