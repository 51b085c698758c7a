"""A flywheel's drop at a shot, told from other changes of its speed.

Each new count, or each rpm that the robot computed, is a point of turns over time. Where a drop stands out, a candidate
waits until it shows how the wheel goes on: a shot's wheel comes back, a lowered one does not.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from collections import deque
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.frozen import frozen
from fieldtune.link import drop_fit
from fieldtune.link.drop_candidates import Candidate, CandidateFinder, before_cells
from fieldtune.link.limits import Limits
from fieldtune.link.release_speed import release_rpm
from fieldtune.link.samples import Sample
from fieldtune.link.usual_shots import LEAST, MOST, UsualShots
from fieldtune.link.wheel_noise import FEWEST as STRETCH_CELLS
from fieldtune.link.wheel_noise import STRETCH_S, WheelNoise
from fieldtune.link.wheel_points import WheelPoints

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

_AFTER_S = 0.08
_SHOT_S = 0.2  # of the wheel's answer to a shot that is no noise of its own
_JUDGED_S, _JUDGED_CELLS = (0.12, 0.2, 0.3, 0.45, 0.65, 0.8), 5
_ECHO_S = 0.12
_NEXT_SHOWS_S = 0.16  # so long behind the next drop, it is a candidate itself
_RETURNS, _STAYS, _PLAIN, _COMES, _AS_WELL = 6.0, -2.0, 15.0, -15.0, 4.0  # twice the log likelihood ratios
_SHALLOW, _LOWERED_AS_WELL = 0.6, 0.5
_BACK = 0.6  # of a drop made good: the wheel comes back
_RAISED = 1.7  # likewise: somebody raised it, and what stands out is the rise
_COMING_BACK, _BACK_BY_SHARE, _RISING = 0.5, 4.0, 0.1
_PERHAPS = 0.6
_PERHAPS_OUT, _PERHAPS_SUDDEN = 14.0, 3.0
_WIDTHS = 1.4  # counts: a run this smooth shows nothing
_USUALLY_BACK_S = 0.5
_RUN_S = 0.25
_NEAR_S, _FARTHEST_S, _SPEED_ERROR = 0.025, 0.1, 0.003
_MISSING = 3.0  # cells
_LOWERED_S = 0.4
_FEWEST = 5  # points; so few tell no speed and depth


@frozen
class Drop:
    """A drop: the sample at its start, the wheel's rpm before and its depth. ``sure``: whether it was a shot's."""

    at: Sample
    before_rpm: float
    depth_rpm: float
    sure: bool = True


class DropDetector:
    """Finds drops in a stream of samples that carry turns, or else the robot's own rpm."""

    def __init__(self, robot: Robot) -> None:
        limits = Limits.of(robot)
        kept = robot.speed_kept
        self._points = WheelPoints(1.0 / limits.counts_per_turn if limits.counts_per_turn else 0.0)
        self._noise, self._cell_s, self._near_s = WheelNoise(), 0.0, 0.0
        expected = 0.0 if kept is None else 1 - kept
        self._usual = UsualShots(expected)
        self._slowest = limits.slowest_rpm(robot)
        self._finder = CandidateFinder(self._points, self._noise, expected, self._slowest)
        self._lowered_s = self._last_s = -math.inf
        self._seen = self._broken = False
        self._clear_points()

    def _clear_points(self) -> None:
        self._points.clear()
        self._finder.clear()
        self._waiting: deque[Candidate] = deque()
        self._heard_s = -math.inf

    @property
    def sees(self) -> bool:
        """Whether this robot sends wheel data at all, in which a shot would show."""
        return self._seen

    def clear(self) -> None:
        """What comes next has no connection with the past."""
        self._broken = True

    def see(
        self,
        sample: Sample,
        placed: tuple[float, float, float] | None,
        tick_s: float,
        eager: bool = False,
        noisy: bool = False,
    ) -> list[Drop]:
        """Takes one sample; gives drops once it is clear what they were.

        ``placed``: seconds, turns and spread of the seconds of a new count, where the robot counts. ``eager`` halves
        the threshold (the robot says that it fired); ``noisy``: single points may be false.
        """
        points = self._points
        if self._broken and not points.bridge(sample.time_s):
            self._clear_points()
        self._broken = False
        asked = points.samples[-1].setpoint if points.samples else None
        if sample.setpoint is not None and asked is not None and sample.setpoint < 0.97 * asked:
            self._lowered_s = sample.time_s
        if not points.add(sample, placed, noisy):
            return []
        self._seen = True
        if not points.cell_s:
            return []
        self._learn(tick_s)
        self._waiting += self._finder.found(self._last_s, eager, noisy)
        found = []
        for candidate in list(self._waiting):
            before_s, judged = self._last_s, self._judged(candidate, tick_s, noisy)
            if judged is not None:
                self._waiting.remove(candidate)
                for drop in judged:
                    rpm = release_rpm(points, candidate.instant, before_s, tick_s)
                    found.append(drop if rpm is None else replace(drop, before_rpm=rpm))
        return found

    def _learn(self, tick_s: float) -> None:
        """Lets the noise see each stretch of cells once."""
        points, now = self._points, self._points.now_s
        if self._cell_s != points.cell_s:
            self._cell_s = points.cell_s
            self._noise.begin_anew()
            self._heard_s = -math.inf
        count = max(round(STRETCH_S / self._cell_s), STRETCH_CELLS)
        if now - self._heard_s < count * self._cell_s / 3:
            return
        self._heard_s = now
        self._assume(tick_s)
        cells = points.cells(now, count, 0, False)
        if cells is not None:
            single = cells.ends - cells.begins == 1
            speeds, known = np.zeros(count), np.zeros(count)
            speeds[cells.begins[single]], known[cells.begins[single]] = cells.speeds[single], 1.0
            if known @ speeds * 60 > self._slowest * known.sum():
                self._noise.see(speeds, known, self._cell_s, now)

    def _assume(self, tick_s: float) -> None:
        """What the noise is where it wasn't seen, by the newest points: how they are timed shows by and by."""
        t, x, part = self._points.between(self._points.now_s - STRETCH_CELLS * self._cell_s, self._points.now_s)
        rate = float(np.ptp(x)) / max(float(np.ptp(t)), 1e-3)
        coarseness = self._points.coarseness(rate, part, tick_s)
        rounding, adds_up = self._points.quantum**2 / 12, not self._points.are_counts
        self._noise.assume(coarseness, rounding, self._cell_s, rate, adds_up)
        # A straight line through points of this variance, so far to either side, tells the speed to within the error.
        error = _SPEED_ERROR * max(rate, 1.0)
        self._near_s = min((12 * coarseness * self._cell_s / error**2) ** (1 / 3) / 2, _FARTHEST_S)

    def _judged(self, candidate: Candidate, tick_s: float, noisy: bool) -> list[Drop] | None:
        """What a candidate was, once that is clear: a drop, or none; None while it isn't."""
        points, cell, instant = self._points, self._cell_s, candidate.instant
        behind = instant + max(_ECHO_S, _JUDGED_CELLS * cell)  # nearer ones are the same drop, seen less sharply
        next_s = min((c.instant - 0.015 for c in self._waiting if c.instant > behind), default=math.inf)
        steps = sorted({max(math.ceil(seconds / cell), _JUDGED_CELLS) for seconds in _JUDGED_S})
        if candidate.judged >= len(steps):
            return []
        after = steps[candidate.judged]
        last_chance = after == steps[-1]
        cut_short = instant + after * cell > next_s
        if cut_short:
            after, last_chance = int((next_s - instant) / cell), True
        if instant + after * cell + _NEXT_SHOWS_S * (last_chance and not cut_short) > points.now_s:
            return None
        candidate.judged += 1
        if -0.15 < instant - self._lowered_s < _LOWERED_S or instant - self._last_s < _ECHO_S:
            return []
        before = before_cells(cell)
        before = min(before, max(int((instant - self._last_s - 0.06) / cell), 4)) if self._last_s > 0 else before
        seen = drop_fit.view_around(points, self._noise, instant, before, after, noisy)
        late_s = 0.0 if seen is None else drop_fit.begun(seen[0], cell, before, after)
        if late_s:
            instant = candidate.instant = instant + late_s
            after -= math.ceil(late_s / cell)
            seen = drop_fit.view_around(points, self._noise, instant, before, after, noisy)
        drop = self._measured(instant, tick_s)
        if seen is None or drop is None:
            return [] if last_chance else None
        view, _ = seen
        learned = self._usual.learned
        low, high = (share * drop.before_rpm / 60 for share in self._usual.shares)
        seen_as = drop_fit.verdict(view, cell, before, after, (low, high), learned)
        out, sudden, returns = seen_as.over_nothing, seen_as.over_slow, seen_as.over_lowered
        since, until = instant - before * cell, instant + after * cell
        t, x, _ = points.between(since - 0.5 * cell, until + 0.5 * cell)
        t, x = t - instant, x - x[0]
        if drop_fit.off_smooth(t, x) < _WIDTHS * points.quantum:
            return [] if last_chance else None
        if sudden < _PLAIN and not drop_fit.even_before(t, x, cell, seen_as.depth):
            return [] if last_chance else None
        clear = self._usual.shows(out, sudden, noisy) and self._noise.knows
        if clear:  # and no less deep by what is seen: an early look that can't tell waits for the next
            shallow = drop_fit.verdict(view, cell, before, after, (0.0, _SHALLOW * low), learned)
            clear = shallow.over_nothing < out + (_AS_WELL if last_chance and learned else -_AS_WELL)
        back, rising = drop_fit.made_good(t, x, seen_as.depth)
        held = self._holds_setpoint(since)
        clear = clear and (back < _RAISED or held)
        runs_out = sudden > _PLAIN and returns > _STAYS and drop_fit.coasting(t, x)
        plain = held or (back >= _BACK and returns > _RETURNS) or runs_out
        doubtful = not self._usual.beyond_doubt(out, noisy)
        if clear and plain and not doubtful:
            return [self._shot(drop, instant, seen_as)]
        if not last_chance:
            return None
        if not clear:  # of another depth than a shot's it may only be asked about
            seen_as = drop_fit.verdict(view, cell, before, after)
            out, sudden = seen_as.over_nothing, seen_as.over_slow
            back, rising = drop_fit.made_good(t, x, seen_as.depth)
        # A heavy wheel falls little and comes back slowly; one that falls deep is light, and is back soon.
        share = 60 * seen_as.depth / max(drop.before_rpm, 1.0)
        enough = max(min(_COMING_BACK, _BACK_BY_SHARE * share), 1e-9)
        if cut_short:  # as it would have gone on
            back += rising * max(_USUALLY_BACK_S - t[-1], 0.0)
        coming = back / enough if rising > _RISING or back >= _BACK else 0.0
        # Of one that the next one cuts short, only that it was sudden can be told; nobody lowers a wheel twice so soon.
        comes = coming >= 1.0 and (returns > _COMES or cut_short)
        comes = comes or (cut_short and returns > _RETURNS and rising > _RISING)
        doubtful = doubtful or not (plain or learned or returns > _LOWERED_AS_WELL)
        if clear and (plain or comes):
            missed = 60 * seen_as.missed / drop.before_rpm
            if not doubtful or self._usual.came_before(instant, missed):
                return [self._shot(drop, instant, seen_as)]
        perhaps = coming >= _PERHAPS and out > _PERHAPS_OUT and sudden > _PERHAPS_SUDDEN
        return [drop] if perhaps and LEAST <= share <= MOST else []

    def _shot(self, drop: Drop, instant: float, seen_as: drop_fit.Verdict) -> Drop:
        self._last_s = instant
        self._noise.forget(instant, instant + max(STRETCH_S, STRETCH_CELLS * self._cell_s) + _SHOT_S)
        self._usual.learn(seen_as.over_nothing, 60 * seen_as.missed / drop.before_rpm)
        return replace(drop, sure=True)

    def _holds_setpoint(self, since: float) -> bool:
        """Whether the robot has said all the time that it asks for the same speed: then nothing was lowered."""
        points = self._points
        asked = {sample.setpoint for sample in points.samples[bisect_left(points.t, since) :]}
        return len(asked) == 1 and None not in asked

    @property
    def half_s(self) -> float:
        """Half the stretch over which ``speed_near`` takes a speed, seconds."""
        return max(_NEAR_S, 2.2 * self._cell_s, self._near_s)

    def speed_near(self, at: float) -> float | None:
        """The wheel's rpm around an instant, from the turns on both sides of it; None where points are missing."""
        half = self.half_s
        t, x, _ = self._points.between(at - half, at + half)
        missing = len(t) < 3 or np.diff(t).max() > _MISSING * self._cell_s
        return None if missing else float(np.polyfit(t - at, x - x[0], 1)[0]) * 60

    def _measured(self, instant: float, tick_s: float) -> Drop | None:
        """The speed at release from the run before it, and the depth with the recovery taken out; None of few points.

        A strong motor makes good within a few hundredths of a second what a straight line would average over.
        """
        points, cell = self._points, self._cell_s
        since = max(instant - max(_RUN_S, 5 * cell), self._last_s + _AFTER_S)
        t, x, part = points.between(since, instant + max(0.1, 3.5 * cell))
        if len(t) < _FEWEST or not t[0] < instant < t[-1]:
            return None
        at = points.samples[max(bisect_right(points.t, instant + 0.002) - 1, 0)]
        floor = points.coarseness(float((x[-1] - x[0]) / (t[-1] - t[0])), part, tick_s)
        rate, depth = drop_fit.speed_and_depth(t - instant, x - x[0], floor)
        return Drop(at, rate * 60, min(max(depth, 0.0), rate) * 60, sure=False)
