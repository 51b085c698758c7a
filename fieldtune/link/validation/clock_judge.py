"""Whether the robot's clock can be trusted: this is judged by arrival.

That is late and uneven by some hundredths of a second, but over a quarter of a second it tells a clock that stands
still, goes in coarse steps, counts in another unit than its name says, or runs fast. Of lines that come in clumps only
the last one before each silence is hardly late.

A clock that is off by a twentieth, as of a program that adds 20 ms a turn of its loop that takes 21, makes every speed
as wrong, and shows over some seconds: again and again alike, as a host or network that is behind catches up again. What
was held back for seconds and then came too quickly is told from a fast clock so as well, be it later.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from operator import sub
from statistics import fmean

from fieldtune.link.validation.clock_steps import ClockSteps

_BLOCK_S = 0.25
_SILENCE_S = 0.03
PAUSE_S = 2.0  # a silence this long says nothing about the clock
_ENOUGH_LINES = 5
_COARSE_S = 0.008
_REPEATED = 0.3  # share of lines that bring no new time
_OFF_LOW, _OFF_HIGH = 0.87, 1.15
_BACK, _BACK_S, _ANEW_S = 5, 2.0, 1.0  # steps back by less than a restart, and never ahead of where it was, for so long
_OFF_BLOCKS = 3  # one after another, as a host that stops for a moment makes one slow block and one fast one
_SLIGHTLY = 0.03
_LONG_BLOCKS = ((5.0, _SLIGHTLY, 0.015), (1.25, 0.07, 0.02))  # seconds, off by more than, and alike within
_LONG, _TIMES = 3, 3.0


class _LongBlocks:
    """Paces of the last blocks of a clock, each so many seconds long, which tell the less the shorter they are."""

    def __init__(self, block_s: float, slightly: float, alike: float) -> None:
        self.slightly = slightly
        self._block_s, self._alike = block_s, alike
        self._since: tuple[float, float] | None = None
        self._paces: deque[float] = deque(maxlen=_LONG)

    def clear(self) -> None:
        """What comes next has no connection with what was before."""
        self._since = None
        self._paces.clear()

    def see(self, clock_s: float, arrival_s: float) -> tuple[float, ...]:
        """Takes the clock by then; where a block ends with it, the paces of the last ones, if they are alike."""
        start_s, began_s = self._since = self._since or (clock_s, arrival_s)
        if arrival_s - began_s < self._block_s:
            return ()
        self._since = clock_s, arrival_s
        self._paces.append((clock_s - start_s) / (arrival_s - began_s))
        paces = tuple(self._paces)
        return paces if len(paces) == _LONG and max(paces) - min(paces) <= self._alike else ()


class ClockJudge:
    """Follows the clock line by line; ``verdict`` says in words what is wrong with it, None as long as nothing is.

    That it runs fast or slow is taken back where it turns out right; any other verdict stays.

    ``pace``: seconds a second, other than 1 once it turns out to be a little fast or slow; that needs no verdict.
    """

    def __init__(self) -> None:
        self.verdict: str | None = None
        self.pace = 1.0
        self._since: tuple[float, float] | None = None
        self._last: float | None = None
        self._arrival_s = self._flowing_s = 0.0
        self._lines = self._repeated = self._off = 0
        self._least_s = float("inf")
        self._top_s = self._topped_s = 0.0  # the furthest it was, and when
        self._back = 0
        self._ran_off = False
        self._long = [_LongBlocks(*one) for one in _LONG_BLOCKS]
        self._steps = ClockSteps()

    def restart(self) -> None:
        """Begins anew behind a pause, a restart or a roll-over; what was found stays."""
        self._since = self._last = None
        for blocks in self._long:
            blocks.clear()
        self._steps.clear()
        self._lines = self._repeated = self._off = 0

    def see(self, clock_s: float, arrival_s: float, lines: int = 1) -> None:
        """Takes the clock of a line, seconds, and when it arrived; of the last of ``lines`` that each moved it on."""
        last, self._last = self._last, clock_s
        heard_s, self._arrival_s = self._arrival_s, arrival_s
        self._look_back(clock_s, last, arrival_s)
        if self.verdict is None:
            self._steps.see(clock_s, arrival_s)
            if self._steps.step_s is not None:
                self.verdict = steps_words(self._steps.step_s)
        if self._since is None or last is None or clock_s < last or arrival_s - self._since[1] > PAUSE_S:
            self.restart()
            self._since, self._last, self._flowing_s = (clock_s, arrival_s), clock_s, arrival_s
            return
        if arrival_s - heard_s > _SILENCE_S:
            self._flowing_s = arrival_s
            self._end_block(last, heard_s)
        self._lines += lines
        if clock_s == last:
            self._repeated += 1
        elif lines == 1 and clock_s - last < self._least_s:
            self._least_s = clock_s - last
        if arrival_s - self._flowing_s >= _BLOCK_S:
            self._end_block(clock_s, arrival_s)

    def _end_block(self, clock_s: float, arrival_s: float) -> None:
        """Judges the lines up to this one, if they took long enough."""
        start_s, began_s = self._since or (clock_s, arrival_s)
        if arrival_s - began_s >= _BLOCK_S:
            self._judge((clock_s - start_s) / (arrival_s - began_s))
            self._since, self._lines, self._repeated = (clock_s, arrival_s), 0, 0
            self._least_s = float("inf")
            self._judge_slightly(clock_s, arrival_s)

    def _judge_slightly(self, clock_s: float, arrival_s: float) -> None:
        """Whether it is a little fast or slow, block for block."""
        for blocks in self._long:
            paces = blocks.see(clock_s, arrival_s)
            if not paces:
                continue
            slowest, fastest = min(paces), max(paces)
            if self._ran_off and slowest > 1 - _SLIGHTLY and fastest < 1 + _SLIGHTLY:
                if blocks is self._long[0]:
                    self.verdict, self._ran_off = None, False
            elif self.verdict is None and (slowest > 1 + blocks.slightly or fastest < 1 - blocks.slightly):
                self.pace = fmean(paces)

    def _look_back(self, clock_s: float, last: float | None, arrival_s: float) -> None:
        """Whether it goes back again and again: over a network it does that, too, but gets on as well."""
        if last is None or clock_s > self._top_s or clock_s < self._top_s - _ANEW_S:
            self._top_s, self._topped_s, self._back = clock_s, arrival_s, 0
        elif clock_s < last:
            self._back += 1
            if self._back >= _BACK and arrival_s - self._topped_s > _BACK_S:
                self.verdict = "the robot's clock goes back again and again: the time since the last line?"

    def see_more(self, lines: int, last_s: float, clocks_s: Callable[[], list[float]]) -> None:
        """Takes lines of one arrival, each ahead of the one before, with the last clock, and all if they are asked for.

        ``see`` took the first of them.
        """
        self._lines += lines - 1
        if self._least_s >= _COARSE_S:  # of finer ones it doesn't matter how fine
            all_s = clocks_s()
            self._least_s = min(self._least_s, *map(sub, all_s[1:], all_s))
        self._last = last_s

    def _judge(self, pace: float) -> None:
        """Ends a block over which the clock ran at ``pace`` seconds a second."""
        if self._lines >= _ENOUGH_LINES and pace == 0:
            self.verdict = STILL
        elif self._repeated > _REPEATED * self._lines and _COARSE_S <= self._least_s < float("inf"):
            self.verdict = steps_words(self._least_s)
        off = int(pace > _OFF_HIGH) - int(pace < _OFF_LOW)
        self._off = 0 if off == 0 or off * self._off < 0 else self._off + off
        if abs(self._off) >= _OFF_BLOCKS and self.verdict is None:
            self.verdict, self._ran_off = pace_words(pace), True


CLOCK = "the robot's clock"
STILL = f"{CLOCK} stands still"
SECONDS = f"{CLOCK} counts a thousand times too slowly: seconds sent as t_ms, taken so"


def steps_words(step_s: float) -> str:
    """That a clock goes in steps of so much."""
    return f"{CLOCK} goes in steps of {1000 * step_s:.0f} ms"


def pace_words(pace: float) -> str:
    """That a clock runs so many seconds a second."""
    how = f"runs {abs(pace - 1):.0%} too {'fast' if pace > 1 else 'slowly'}".replace("%", " %")
    if 870 < pace < 1150:
        how = "counts a thousand times too fast: t_us sent as t_ms, or ns as t_us?"
    elif 0.00087 < pace < 0.00115:
        how = "counts a thousand times too slowly: seconds sent as t_ms?"
    elif pace > _TIMES:
        how = f"runs {pace:.0f} times too fast"
    elif pace < 0.02:
        how = "hardly moves: whole seconds?"
    return f"{CLOCK} {how}"
