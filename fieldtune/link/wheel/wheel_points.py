"""The wheel's turns over time as the line tells of them, and its mean speeds in even cells of time."""

from __future__ import annotations

import math
import statistics
from array import array
from bisect import bisect_left, bisect_right
from collections import deque
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.link.samples import Sample
from fieldtune.link.wheel.excursion import Excursion
from fieldtune.link.wheel.rpm_steps import RpmSteps
from fieldtune.link.wheel.speed_cells import FEWEST, Cells, fine_points, speed_cells

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

SPACING_S = 0.004
_SHORTEST_S, _LONGEST_NOISY_S = 0.01, 0.03
_STEADY = 0.3  # of the time between lines: a counter read seldom is mostly read at the same place between them
_KEPT_POINTS = 700
_ALIKE = 0.15  # of a cell's length that the spacing may drift before cells get another one
_HELD = 0.85  # of own rpm that is new: less, and the robot prints oftener than it calculates
_LATELY, _SURELY = 40, 3  # news by which the spacing is told, and how often it has to be told anew
_THIN, _THINNED = 1.85, 2.0  # times the shortest that lines are apart on the mean; 1.8 at most where counts are seldom
_FEWEST_LINES = 10  # that tell whether others are missing
_PAUSE = 8.0  # likewise, at most: one pause makes no lines missing
_SHIFTED = 0.25  # of a cell: where readings are taken to be older than before, or not any more, time jumps by as much
_WAITED, _POORLY = 1.3, 0.5  # cells since the reading before: lines between brought none; of that, its time's spread
_EVEN, _EVEN_OVER_A_BREAK = 3, 5  # steps that tell what is to come next
_MANY_COUNTS = 2.5  # that a step is off by, at least, where time jumps
_LEAP, _LEAP_OLD = 0.4, 0.25  # and by what share of itself; where readings are older than their lines
_BRIDGED_S = 0.3
_UNHEARD_S = 0.06
_STEP = 0.1  # of own rpm: more has to be said twice on a damaged line
_TOO_COARSE = 0.35


class WheelPoints:
    """Points of turns over time: new counts, or the robot's own rpm summed. ``count``: one in turns."""

    def __init__(self, count: float) -> None:
        self.count, self._steps, self._excursion = count, RpmSteps(count), Excursion[Sample]()
        self._apart_s: deque[float] = deque(maxlen=_LATELY)
        self._pace = self._odd = 0
        self._noisy = False
        self.cell_s = 0.0
        """Length of a cell, seconds; 0 while too little has come to tell."""
        self.thinned = 1.0
        """How much longer it takes than usual until enough is known of the wheel: lines are missing."""
        self.clear()

    def clear(self) -> None:
        """Forgets the past."""
        self.t, self.turns = array("d"), array("d")  # of which numpy's are made far more quickly than of lists
        self._spread_s: list[float] = []
        self.samples: list[Sample] = []
        self._offset = self._leap = 0.0
        self._breaks_s: deque[tuple[float, float]] = deque(maxlen=20)  # steps in which the time jumps
        self._rpm = self._rpm_before = -1.0
        self._doubted_s: float | None = None
        self._run = -math.inf, 0.0
        self._alone: Sample | None = None
        self._steps.clear()
        self._excursion.release()
        self._fresh = 1.0
        self.now_s = self._news_s = 0.0
        """When the last news came."""

    @property
    def quantum(self) -> float:
        """What is rounded to, in turns: counts, or less where own rpm is no whole count over some time."""
        return self.count if self.are_counts else self._steps.quantum

    @property
    def left_out_rpm(self) -> float:
        """By how much a mean of own rpm may be off as readings leave some of the time out."""
        return 0.0 if self.are_counts else self._steps.left_out_rpm

    def too_coarse(self, rpm: float) -> bool:
        """Whether own rpm goes in steps of whole counts so large that a drop from ``rpm`` can't be told from one."""
        steps = self._steps
        return not self.are_counts and steps.in_whole_counts and steps.step_rpm > _TOO_COARSE * rpm

    @property
    def over_held(self) -> float:
        """What a speed by these points has to be multiplied by: see ``RpmSteps``."""
        return 1.0 if self.are_counts else self._steps.over_held

    @property
    def are_counts(self) -> bool:
        """Whether turns are counted, not summed from own rpm."""
        return self.samples[-1].turns is not None

    def bridge(self, time_s: float) -> bool:
        """Goes on behind a break in the line, if that is a short one: its own cells alone are unknown."""
        if not self.t or not 0 < time_s - self.t[-1] < _BRIDGED_S:
            return False
        if self.are_counts and len(self.t) > 6:  # what the next lines contradict
            for kept in (self.t, self.turns, self._spread_s, self.samples):
                del kept[-1]
        self._offset = self.turns[-1] + self._evenly(time_s - self.t[-1], _EVEN_OVER_A_BREAK)
        self._breaks_s.append((self.t[-1], time_s))
        return True

    def add(
        self, sample: Sample, placed: tuple[float, float, float] | None, noisy: bool = False, heard: bool = False
    ) -> bool:
        """Takes a sample; says whether ``now_s`` moved on. The others: as in ``DropDetector.see``."""
        self._noisy = noisy
        if sample.turns is None:
            if sample.wheel_rpm is not None:
                self._steps.see(sample.time_s, sample.wheel_rpm)
            single = noisy or self._alone is not None
            if not single and self._steps.fine:
                return self._add_smooth_rpm(sample)
            for one in self._excursion.release():
                self._add_rpm(one)
            return self._add_doubtful_rpm(sample) if single else self._add_rpm(sample)
        if placed is None:
            return False
        at_s, turns, spread_s = placed[0], abs(placed[1]) + self._offset, placed[2]
        leapt = self._leapt(at_s, turns, spread_s, sure=not (heard or noisy))
        since_s = self.t[-1] if self.t else at_s
        if not self._put(sample, at_s, turns - leapt, spread_s):
            return False
        if leapt:
            self._offset -= leapt
            self._breaks_s.append((since_s, at_s))
        self._leap = leapt
        self._move_on(at_s)
        return True

    def _leapt(self, time_s: float, turns: float, spread_s: float, *, sure: bool) -> float:
        """By how many turns the counter went farther than the wheel, or less far, as its reading is newer or older
        than the one before; 0 where it did not. ``sure``: neither the count nor its time is doubted.

        A wheel that stops goes on to fall: what leapt twice to the same side in a row did not leap.
        """
        t, x = self.t, self.turns
        if len(t) <= _EVEN or not self.cell_s:
            return 0.0
        since_s = time_s - t[-1]
        expected = self._evenly(since_s, _EVEN)
        leapt = turns - x[-1] - expected
        waited = since_s > _WAITED * self.cell_s and spread_s > _POORLY * since_s
        if waited or abs(spread_s - self._spread_s[-1]) > _SHIFTED * self.cell_s:
            return leapt
        far = abs(leapt) > (_LEAP_OLD if spread_s else _LEAP) * expected > _MANY_COUNTS * self.count
        return leapt if sure and far and leapt * self._leap <= 0 else 0.0

    def _evenly(self, since_s: float, steps: int) -> float:
        """Turns in so long behind the last point, of a wheel that goes on as in its last ``steps``, or fewer."""
        first = max(len(self.t) - 1 - steps, 0)
        return (self.turns[-1] - self.turns[first]) / max(self.t[-1] - self.t[first], 1e-6) * since_s

    def _put(self, sample: Sample, time_s: float, turns: float, spread_s: float) -> bool:
        if self.t and time_s - self.t[-1] < SPACING_S:
            return False
        self.t.append(time_s)
        self.turns.append(turns)
        self._spread_s.append(spread_s)
        self.samples.append(sample)
        if len(self.t) > _KEPT_POINTS:
            for kept in (self.t, self.turns, self._spread_s, self.samples):
                del kept[: _KEPT_POINTS // 3]
        return True

    def _add_doubtful_rpm(self, sample: Sample) -> bool:
        """As ``_add_rpm``; a step that the next line takes back was a false reading: a digit was lost."""
        rpm, alone = sample.wheel_rpm, self._alone
        if rpm is None:
            return self._add_rpm(sample)
        moved, self._alone = False, None
        if alone is not None and alone.wheel_rpm is not None:
            if abs(rpm - alone.wheel_rpm) < abs(rpm - self._rpm):
                moved = self._add_rpm(alone)
            elif self._doubted_s is None:
                self._doubted_s = alone.before_s
        if self.t and abs(rpm - self._rpm) > _STEP * self._rpm:
            self._alone = sample
            return moved
        return self._add_rpm(sample) or moved

    def _add_smooth_rpm(self, sample: Sample) -> bool:
        """As ``_add_rpm``; readings far off that the next takes back are of an edge missed, or seen twice."""
        if sample.wheel_rpm is None or not self.t:
            return self._add_rpm(sample)
        step = self._rpm - self._rpm_before
        true, false = self._excursion.take(sample, sample.time_s, sample.wheel_rpm, self._rpm, step)
        if false and self._doubted_s is None:
            self._doubted_s = false[0].before_s
        moved = False
        for one in true:
            moved = self._add_rpm(one) or moved
        return moved

    def _add_rpm(self, sample: Sample) -> bool:
        """Sums turns from the robot's own rpm. Where that is said again and again, only its changes are news."""
        rpm, t = sample.wheel_rpm, self.t
        said_until_s = sample.before_s if self._doubted_s is None else self._doubted_s
        if rpm is None:  # a step that has to be confirmed by the next line
            self._doubted_s = said_until_s
            return False
        new, before, self._doubted_s = rpm != self._rpm, self._rpm, None
        if new:
            self._rpm, self._rpm_before = rpm, before
        if t and new and said_until_s is not None:  # lines passed over said what was said before
            self._put(self.samples[-1], said_until_s, self._summed(said_until_s, before), 0.0)
        last_s = t[-1] if t else sample.time_s
        if not self._put(sample, sample.time_s, self._summed(sample.time_s, rpm), 0.0) and not new:
            return False
        self._fresh += 0.05 * (new - self._fresh)
        if self._fresh > _HELD:
            self._move_on(t[-1])
        elif new and last_s > self._news_s:
            self._move_on(last_s)
        elif t[-1] - self.now_s > (1.2 * self.cell_s or _UNHEARD_S):
            self.now_s = t[-1]
        else:
            return False
        return True

    def _summed(self, time_s: float, rpm: float) -> float:
        """Turns until then; also what is said too soon behind a point to be one itself counts."""
        if not self.t:
            self._run = time_s, 0.0
        else:
            self._run = max(self._run, (self.t[-1], self.turns[-1]))
        since_s, turns = self._run
        self._run = time_s, turns + abs(rpm) / 60 * (time_s - since_s)
        return self._run[1]

    def _move_on(self, now_s: float) -> None:
        """Cells are as long as news are apart: the lowest fifth, as lines may be missing and rpm may come out alike.

        Where lines are damaged or missing, the middle one up to a limit: most of so short ones would be empty.
        """
        if self._news_s > 0.0:
            self._apart_s.append(now_s - self._news_s)
        self.now_s = self._news_s = now_s
        self._pace += 1
        if len(self._apart_s) >= 9 and (self._pace >= _LATELY // 2 or not self.cell_s):
            self._pace = 0
            steps = sorted(self._apart_s)
            apart = steps[len(steps) // 5]
            missing, mean_s = self._lines_missing()
            if self._noisy or missing:
                apart = max(apart, min(steps[len(steps) // 2], _LONGEST_NOISY_S))
            self._odd = self._odd + 1 if abs(max(apart, _SHORTEST_S) - self.cell_s) > _ALIKE * self.cell_s else 0
            if not self.cell_s or self._odd >= _SURELY:
                self.cell_s, self._odd = max(apart, _SHORTEST_S), 0
            self.thinned = _THINNED if missing and not self._noisy and mean_s > _THIN * self.cell_s else 1.0

    def _lines_missing(self) -> tuple[bool, float]:
        """Whether many lines are, by how unevenly they come, and how far they are apart on the mean, seconds."""
        if len(self.t) < _FEWEST_LINES:  # the first behind a silence
            return False, 0.0
        apart_s = np.sort(np.diff(self.t[-_LATELY:]))
        short_s = max(float(apart_s[len(apart_s) // 5]), _SHORTEST_S)
        mean_s = float(np.minimum(apart_s, _PAUSE * short_s).mean())
        return mean_s > _THIN * short_s, mean_s

    def between(self, since: float, until: float) -> tuple[FloatArray, FloatArray, slice]:
        """Seconds and turns (n,) of the points from ``since`` to ``until``."""
        part = slice(bisect_left(self.t, since), bisect_right(self.t, until))
        return np.array(self.t[part]), np.array(self.turns[part]), part

    def slower_behind(self, instant: float, before_s: float, after_s: float) -> bool:
        """A glance at four points: whether the wheel could have lost speed at an instant, be it made good at once."""
        t, x = self.t, self.turns
        slack = 0.3 * self.cell_s  # the last point at or before each
        first, middle = bisect_left(t, instant - before_s - slack), bisect_left(t, instant - slack)
        soon = bisect_left(t, instant + self.cell_s - slack)
        last = min(bisect_left(t, instant + after_s - slack), len(t) - 1)
        if not first < middle < last:
            return False
        if t[middle] > instant + self.cell_s - slack and middle > first + 1:
            middle -= 1  # lines are missing here
        at_s, turns = t[middle], x[middle]
        before = (turns - x[first]) / (at_s - t[first])
        if x[last] - turns < before * (t[last] - at_s):
            return True
        return middle < soon <= last and x[soon] - turns < before * (t[soon] - at_s)

    def coarseness(self, rate: float, part: slice, tick_s: float) -> float:
        """The least variance of a point, turns^2: of whole counts at uncertain times (evenly spread: GUM 4.3.7)."""
        spread_s = max(tick_s, _STEADY * statistics.median(self._spread_s[part]))
        return float(self.quantum**2 + (rate * spread_s) ** 2) / 12 + 1e-12

    def cells(self, instant: float, before: int, after: int, noisy: bool) -> Cells | None:
        """So many cells before and behind an instant; None where too few of them are known."""
        cell, counts = self.cell_s, self.are_counts
        edges: FloatArray = cell * np.arange(-before, after + 1, dtype=np.float64)
        t, x, _ = self.between(instant - (before + 2) * cell, instant + (after + 2) * cell)
        if len(t) < FEWEST:
            return None
        t = t - instant
        if noisy and counts:
            fine = fine_points(t, x, self.quantum**2 / 12)
            t, x = t[fine], x[fine]
        breaks_s = [(since - instant, until - instant) for since, until in self._breaks_s] if counts else []
        return speed_cells(edges, t, x, counts, breaks_s, noisy)
