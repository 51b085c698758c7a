"""Lines without a clock that a network delivers out of order, twice or not at all, told by the wheel's counter.

A line whose counter is behind that of the line before is older, as a wheel that runs does not turn back. Lines that
are missing leave a gap in time and counter that are as many lines long. While lines overtake each other, each is timed
as it arrives, and is as uncertain as arrival and counter disagree.
"""

from __future__ import annotations

from collections import Counter, deque
from collections.abc import Sequence
from contextlib import suppress
from statistics import fmean, median
from typing import TYPE_CHECKING

from fieldtune.link.text.wire_values import own_rpm

if TYPE_CHECKING:
    from fieldtune.link.text.wire_values import WireValues
    from fieldtune.link.validation.plausibility import Continuity
    from fieldtune.link.validation.two_robots import TwoRobots

OVERTAKEN, TWICE = "overtaken", "duplicate"
_REACH_S = 0.3  # a line is overtaken by no more; a counter that stays behind for so long did go back
_LATELY_S = 5.0
_LEAST_BACK = 2  # counts: by one, a wheel that stands may go back and forth
_POINTS, _OFFS, _GAPS = 5, 40, 25
_WIDTHS = 5.0  # of what is spread evenly, its whole width over the mean distance of two is three; delays hang together
_LEAST_S = 0.001
_AT_ONCE, _MOVED = 0.6, 2.0  # of the usual time between lines, and counts in it, so that an equal line is the same one
_MOST_LOST, _STEP_OFF, _GAP_OFF, _EVEN, _ROUNDED = 8, 0.3, 0.4, 0.1, 1.5  # in lines, lines, lines, share and counts
_ALIKE, _ANOTHER = 0.2, 6  # share, and lines


class LineOrder:
    """Takes out of the lines of each chunk those that say nothing new, and counts those that are missing.

    Only of lines by whose counter the wheel is timed: own rpm that comes late is hardly ever wrong.
    """

    def __init__(self, continuity: Continuity, two_robots: TwoRobots, dropped: Counter[str]) -> None:
        self._continuity, self._two_robots, self._dropped = continuity, two_robots, dropped
        self._front: WireValues | None = None
        self._front_s = self._overtaken_s = -_LATELY_S
        self._points: deque[tuple[float, int]] = deque(maxlen=_POINTS)  # arrival, and counts since the point before
        self._gaps_s: deque[float] = deque(maxlen=_GAPS)
        self._offs_s: deque[float] = deque(maxlen=_OFFS)  # how far arrival was off from what the counter went
        self._beside = 0  # lines taken out, less those missing
        self._number, self._alone = 0, False
        self._back, self._aside = (-_LATELY_S, 0), 0  # arrival and counter of the last line that was behind

    def sort(
        self, lines: list[WireValues], numbers: Sequence[int], arrival: float, total: int
    ) -> tuple[list[WireValues], Sequence[int], int]:
        """The lines in order, their numbers, and how many were printed in all, as far as that shows."""
        steps = self._continuity
        first = next((wire for wire in lines if wire.wheel_counts is not None), None)
        if first is None or own_rpm(first) is not None or steps.clocks.reading(first)[0] is not None:
            moved = [number - self._beside for number in numbers] if self._beside else numbers
            return lines, moved, total - self._beside
        kept: list[WireValues] = []
        places: list[int] = []
        for wire, number in zip(lines, numbers, strict=False):
            if steps.whole is not False and wire.wheel_counts is not None:
                steps.width.see(int(wire.wheel_counts))
            if wire.wheel_counts is None or not self._says_nothing_new(wire, int(wire.wheel_counts), arrival):
                if wire.wheel_counts is not None:
                    self._move_on(wire, number, arrival, alone=len(lines) == 1)
                kept.append(wire)
                places.append(number - self._beside)
            else:
                self._beside += 1
        self._alone = len(lines) == 1
        lately = arrival - self._overtaken_s < _LATELY_S and len(self._offs_s) > 0
        steps.clocks.arrival.jitter_s = max(_LEAST_S, _WIDTHS * fmean(self._offs_s)) if lately else 0.0
        return kept, places, total - self._beside

    def _rate(self) -> float:
        """Counts a second over the last lines; 0 while there are few."""
        points = self._points
        since_s = points[-1][0] - points[0][0] if len(points) == _POINTS else 0.0
        return (sum(step for _, step in points) - points[0][1]) / since_s if since_s > 0 else 0.0

    def _step(self, counts: int) -> int:
        before = None if self._front is None else self._front.wheel_counts
        return 0 if before is None else self._continuity.width.signed(counts - int(before))

    def _says_nothing_new(self, wire: WireValues, counts: int, arrival: float) -> bool:
        """Whether a line is older than the one before, or the same once more. Damage may look like that, too."""
        if self._continuity.whole is False or arrival - self._front_s > _REACH_S:
            return False
        step, rate = self._step(counts), self._rate()
        reach = abs(rate) * _REACH_S
        if step * rate < 0 and _LEAST_BACK <= abs(step) <= reach <= self._continuity.width.half:
            if not self._two_robots.quiet(None) or self._is_another(counts, step, arrival, rate):
                return False
            with suppress(OverflowError):  # a reading of some hundred digits
                volts = self._continuity.measured(wire, arrival).battery_v
                self._two_robots.see(wire, None, volts, arrival, doubtful=True)
            self._dropped[OVERTAKEN] += 1
            self._overtaken_s = arrival
            return True
        if step or wire != self._front or len(self._gaps_s) < _POINTS:
            return False
        usual_s = sorted(self._gaps_s)[len(self._gaps_s) // 4]  # 0 where lines come together
        again = arrival - self._points[-1][0] < _AT_ONCE * usual_s and abs(rate) * usual_s > _MOVED
        if again:
            self._dropped[TWICE] += 1
        return again

    def _is_another(self, counts: int, step: int, arrival: float, rate: float) -> bool:
        """Whether lines that are behind go on by themselves, each beside the front's last step: another robot's."""
        before_s, before = self._back
        self._back = arrival, counts
        went, should = self._continuity.width.signed(counts - before), rate * (arrival - before_s)
        goes_on = abs(went - should) < _ROUNDED + _ALIKE * abs(should) and abs(step) > abs(self._points[-1][1])
        self._aside = min(max(self._aside + (1 if goes_on else -3), 0), 2 * _ANOTHER)
        return self._aside >= _ANOTHER

    def _move_on(self, wire: WireValues, number: int, arrival: float, alone: bool) -> None:
        step, rate, points = self._step(int(wire.wheel_counts or 0)), self._rate(), self._points
        gap_s = arrival - points[-1][0] if points else 0.0
        if rate and gap_s < _REACH_S:
            self._offs_s.append(abs(step / rate - gap_s))
            if alone and self._alone and number == self._number + 1 and self._continuity.whole is not False:
                self._beside -= self._missing(step, gap_s, rate)
        if step * rate < 0 and abs(step) >= _LEAST_BACK:  # set back: what was before tells no rate
            points.clear()
        elif points and not self._continuity.clocks.arrival.waited_s:
            self._gaps_s.append(gap_s)
        if step or not points:
            self._front_s = arrival
        self._front, self._number = wire, number
        points.append((arrival, step))

    def _missing(self, step: int, gap_s: float, rate: float) -> int:
        """How many lines are missing before one that arrived alone, so long after another one."""
        a_line_s, (before_s, _), (last_s, last) = median(self._gaps_s), self._points[-2], self._points[-1]
        went = rate * (last_s - before_s)
        lines = step / (rate * a_line_s) if a_line_s else 0.0
        whole = round(lines)
        even = abs(last - went) < _ROUNDED + _EVEN * abs(went)
        fits = abs(lines - whole) < _STEP_OFF and abs(gap_s / a_line_s - whole) < _GAP_OFF if a_line_s else False
        return whole - 1 if even and fits and 1 < whole <= _MOST_LOST else 0
