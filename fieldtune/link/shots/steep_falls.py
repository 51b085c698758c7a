"""Falls of a wheel that are steeper than any that it falls by itself.

A wheel whose drive is off loses speed evenly, by friction, and one that is held by no more than its control brakes; up
it may go in jerks. So its turns, with half that loss times the square of time added, bend upwards alone: they are a
convex function of time. A shot's are not. That tells it where what the control itself does is as large, as under a
drive switched on and off. How much nearer points come to a convex function where one concave bend is let in
(``concave_bend``) is judged in standard deviations of what they usually stray.

How fast a wheel falls by itself is 1.5 times what 40 % of the last hundred stretches stay below, less what rounding
makes. Eight standard deviations make a candidate, if it also stands out where the wheel may fall twice as fast: it
seldom runs out in quiet stretches, but does when lowered. Twelve are a shot at once (``dip_rules``), if the setpoint
was held for a second, or the wheel comes back, and the fall is 0.4 times as deep as the least that the profile lets
expect: where a drive makes it good within a few lines, the bend shows no more of the depth. Candidates found otherwise
stay.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections import deque
from itertools import takewhile
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.frozen import frozen
from fieldtune.link.shots.concave_bend import Bend

if TYPE_CHECKING:
    from fieldtune.link.wheel.wheel_points import WheelPoints

NEAR_S = 0.1  # so near one another instants are of one drop
_BEFORE_S, _BEFORE_CELLS = 0.15, 10
_AFTER_S, _AFTER_CELLS = 0.12, 8
_LEAST_CELLS = 5  # behind another steep fall
_GAP, _LONGEST = 2.5, 40  # cells
_FALL_S, _FALL_CELLS = 0.05, 2
_STRETCH_S, _STRETCH_CELLS, _SHOT_S = 0.6, 12, 0.4
_KEPT, _FEWEST, _FEW_BENT = 100, 8, 4  # stretches
_USUAL_FALL, _MORE, _OF_FALL = 0.4, 1.5, 0.25  # quantile; times it; the least of it that is no rounding
_COARSE = 0.3  # of how fast it falls
_LOW, _MIDDLE, _ALIKE = 0.15, 0.5, 1.35  # quantiles of falls; times the first, up to which all are of running out
_QUIET, _OF_QUIET = 0.3, 0.25  # quantile of the largest bends of stretches; of it, one standard deviation at least
_STEEP = 8.0  # standard deviations
_STEEPER, _STEEPER_ALIKE = 4.0, 1.5  # likewise, where the wheel may fall twice as fast by itself
_APART_S, _APART_CELLS = 0.12, 6.0


@frozen
class SteepFall:
    """When it was, how many standard deviations it stands out by, and how much slower the wheel is then, turns/s."""

    instant: float
    sureness: float
    depth: float


@frozen
class Steepness:
    """How large a bend is, in turns, how large it is by chance, and how fast a ``fall`` was allowed for, turns/s^2."""

    bend: float
    by_chance: float
    fall: float


@frozen
class _Stretch:
    """When it ended, its steepest fall in turns/s^2, what its points stray by and its largest bend in turns."""

    until_s: float
    fall: float
    strays: float
    bend: float


class SteepFalls:
    """Follows a wheel's points: how it falls by itself, and what falls more steeply. ``slowest``: rpm."""

    def __init__(self, points: WheelPoints, slowest: float) -> None:
        self._points, self._slowest = points, slowest / 60
        self._cell_s = 0.0
        self._stretches: deque[_Stretch] = deque(maxlen=_KEPT)
        self._learn()
        self.clear()

    def clear(self) -> None:
        """What comes next has no connection with the past."""
        self._next_s = -math.inf
        self.weighed_s = -math.inf
        """Until when instants were weighed."""
        self._turns: deque[float] = deque(maxlen=_LONGEST)  # at even times, of which so many of the last are known
        self._known = 0
        self._bends: deque[tuple[float, Bend]] = deque(maxlen=100)
        self._unsettled: deque[tuple[float, Bend]] = deque()  # of those, whose neighbours are still to come
        self._begin_stretch()

    def _begin_stretch(self) -> None:
        self._fallen: list[float] = []
        self._bent: list[Bend] = []
        self._whole = True

    def follow(self, steady: bool) -> list[SteepFall]:
        """Weighs the instants of which enough has come; gives steep falls, the steepest of near ones.

        ``steady``: no other setpoint was asked for lately.
        """
        cell, now = self._points.cell_s, self._points.now_s
        if cell != self._cell_s:
            self._cell_s = cell
            self._stretches.clear()
            self._learn()
            self.clear()
        if now - self._next_s > _LONGEST * cell:
            self.clear()
            self._next_s = now
        while self._next_s <= now:
            self._take(self._next_s)
            self._weigh(steady)
            self._next_s += cell
        return self._steepest(max(_APART_S, _APART_CELLS * cell))

    def _steepest(self, apart_s: float) -> list[SteepFall]:
        found, unsettled = [], self._unsettled
        while unsettled and unsettled[0][0] <= self.weighed_s - apart_s:
            at, bend = unsettled.popleft()
            if bend.rest > _STEEP * self._by_chance:
                by_chance = max(self._by_chance, bend.by_chance)
                near = [some for then, some in self._bends if abs(then - at) <= apart_s and some.rest >= bend.size]
                steep = bend.size > _STEEP * by_chance and bend.size == max(some.size for some in near)
                if steep and bend.steeper > self._steeper * self._by_chance:
                    found.append(SteepFall(at, bend.size / by_chance, bend.depth / self._cell_s))
        return found

    def steepness(self, instant: float) -> Steepness | None:
        """How steep the steepest fall near an instant is; None where that is unknown, or hidden by rounding."""
        if self._fall is None or self._by_chance == math.inf or self._rounding > _COARSE * self._fall:
            return None
        near = [bend.size for at, bend in self._bends if abs(at - instant) < NEAR_S]
        return Steepness(max(near), self._by_chance, self._fall) if near else None

    def _take(self, at_s: float) -> None:
        """Takes the turns at the next of even times; they are unknown in a gap, or where the wheel is slow."""
        t, x, cell = self._points.t, self._points.turns, self._cell_s
        i = bisect_left(t, at_s)
        if not 0 < i < len(t) or t[i] - t[i - 1] > _GAP * cell:
            self._known = 0
            return
        turns = x[i - 1] + (x[i] - x[i - 1]) * (at_s - t[i - 1]) / (t[i] - t[i - 1])
        if self._known and turns - self._turns[-1] < self._slowest * cell:
            self._known = 0
        self._turns.append(turns)
        self._known += 1

    def _weigh(self, steady: bool) -> None:
        """Weighs the instant so far back that enough is known of what came behind it."""
        cell = self._cell_s
        after, before = max(int(_AFTER_S / cell), _AFTER_CELLS), max(int(_BEFORE_S / cell), _BEFORE_CELLS)
        instant = self.weighed_s = self._next_s - after * cell
        known = self._known > before + after
        if known:
            fallen = self._fallen_at(-1 - after, max(round(_FALL_S / cell), _FALL_CELLS)) / cell**2
            self._fallen.append(fallen)
            if self._fall is not None and self._bends_down(-1 - after, self._fall * cell**2):
                before = self._since_last(instant, before)
                turns = np.array(list(self._turns)[-1 - after - before :])
                bend = Bend(turns, before, self._fall * cell**2)
                self._bends.append((instant, bend))
                self._unsettled.append((instant, bend))
                self._bent.append(bend)
        self._whole = self._whole and known and steady
        if len(self._fallen) >= max(round(_STRETCH_S / cell), _STRETCH_CELLS) or not known:
            if self._whole:
                self._stretches.append(self._stretch(instant))
                self._learn()
            self._begin_stretch()

    def _fallen_at(self, at: int, span: int) -> float:
        """By how much the wheel is slower over ``span`` cells behind one than before it, turns a cell in a cell."""
        turns = self._turns
        return (2 * turns[at] - turns[at - span] - turns[at + span]) / span**2

    def _bends_down(self, at: int, fall: float) -> bool:
        """A glance whether the wheel is slower behind than before, by more than it loses by itself."""
        turns = self._turns
        ahead = max(turns[at] - turns[at - 1], (turns[at] - turns[at - 2]) / 2)
        behind = min(turns[at + 1] - turns[at], (turns[at + 2] - turns[at]) / 2)
        return ahead - behind > fall

    def _stretch(self, until_s: float) -> _Stretch:
        """What is to be remembered of the last one; a shot that is missed leaves a quarter of its points alone."""
        if not self._bent:
            return _Stretch(until_s, max(self._fallen), 0.0, 0.0)
        strays = sorted(bend.rest / math.sqrt(bend.points) for bend in self._bent)
        largest = max(self._bent, key=lambda bend: bend.rest)
        return _Stretch(until_s, max(self._fallen), strays[len(strays) // 4], largest.size)

    def _since_last(self, instant: float, most: int) -> int:
        """So many cells before an instant are looked at: none across another steep fall, as that is no convex run."""
        cell = self._cell_s
        since, until = instant - most * cell, instant - _LEAST_CELLS * cell
        lately = takewhile(lambda bend: bend[0] > since, reversed(self._bends))
        near = [(bend.size, at) for at, bend in lately if at < until and bend.rest > _STEEP * self._by_chance]
        size, at = max(near, default=(0.0, 0.0))
        return max(round((instant - at) / cell) - 1, _LEAST_CELLS) if size > _STEEP * self._by_chance else most

    def _learn(self) -> None:
        """How fast the wheel falls by itself, turns/s in a second, and how large bends are by chance."""
        self._fall: float | None = None
        self._rounding = 0.0  # likewise, that it makes of a steady speed
        self._by_chance, self._steeper = math.inf, _STEEPER
        some = self._stretches
        if len(some) >= _FEWEST:
            span = max(round(_FALL_S / self._cell_s), _FALL_CELLS) * self._cell_s
            low, middle, most = np.quantile([stretch.fall for stretch in some], (_LOW, _MIDDLE, _USUAL_FALL))
            if middle < _ALIKE * low:
                self._steeper = _STEEPER_ALIKE
            self._rounding = self._points.quantum / span**2
            self._fall = _MORE * max(float(most) - self._rounding, _OF_FALL * float(most))
        bent = [stretch for stretch in some if stretch.strays]
        if len(bent) >= _FEW_BENT:
            largest = float(np.quantile([stretch.bend for stretch in bent], _QUIET))
            self._by_chance = max(median([stretch.strays for stretch in bent]), _OF_QUIET * largest)

    def forget(self, at_s: float) -> None:
        """Stretches around an instant were not quiet: a shot was in them."""
        until_s = at_s + max(_STRETCH_S, _STRETCH_CELLS * self._cell_s) + _SHOT_S
        quiet = [some for some in self._stretches if not at_s < some.until_s < until_s]
        self._stretches = deque(quiet, maxlen=_KEPT)
