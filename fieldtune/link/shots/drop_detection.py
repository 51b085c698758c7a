"""A flywheel's drop at a shot, told from other changes of its speed.

Each new count, or each rpm that the robot computed, is a point of turns over time. Where a drop stands out, a candidate
waits until it shows how the wheel goes on: a shot's wheel comes back, a lowered one does not.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import deque
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.frozen import frozen
from fieldtune.link.limits import Limits
from fieldtune.link.samples import Sample
from fieldtune.link.shots import around_drop, drop_fit
from fieldtune.link.shots.dip_rules import ALONE_ODDS, Answer, Dip, answer
from fieldtune.link.shots.doubted_drops import DoubtedDrops
from fieldtune.link.shots.drop_candidates import JUDGED_CELLS, Candidate, CandidateFinder, Look, Waiting, before_cells
from fieldtune.link.shots.lost_counts import LostCounts, over_lost
from fieldtune.link.shots.network_finder import NetworkFinder
from fieldtune.link.shots.one_step import one_step
from fieldtune.link.shots.usual_shots import UsualShots
from fieldtune.link.wheel.release_speed import release_rpm
from fieldtune.link.wheel.wheel_noise import FEWEST as STRETCH_CELLS
from fieldtune.link.wheel.wheel_noise import STRETCH_S, WheelNoise
from fieldtune.link.wheel.wheel_points import WheelPoints

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

_AFTER_S = 0.08
_SHOT_S = 0.2  # of the wheel's answer to a shot that is no noise of its own
_COURSE_S = 0.65
_SHALLOW = 0.6  # of the least that a shot takes
_NO_WIDTHS, _WIDTHS = 1.1, 1.4  # counts: a run this smooth shows nothing, or little
_LEFT_OUT = 2.5  # times what readings that leave some of the time out are off by
_RUN_S = 0.25
_SAME_S = 0.25  # what the network finds nearer to a shot is that one
_NEAR_S, _FARTHEST_S, _SPEED_ERROR = 0.025, 0.1, 0.003
_MISSING, _GONE = 3.0, 2.0  # cells
_LOWERED_S, _HELD_S = 0.4, 3.0
_FEWEST = 5  # points; so few tell no speed and depth


@frozen
class Drop:
    """A drop: the last sample before it at its instant, the wheel's rpm before and its depth. ``sure``: of a shot."""

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
        self.lost_counts = LostCounts()
        self._slowest, self._in_rpm = limits.slowest_rpm(robot), limits.setpoint_is_speed
        self._finder = CandidateFinder(self._points, self._noise, expected, self._slowest)
        self._waiting = Waiting(self._points)
        self._network = NetworkFinder(self._points, expected, self._slowest)
        self._lowered_s = -math.inf
        self._shots_s: deque[float] = deque(maxlen=20)
        self._doubted = DoubtedDrops(self._network)
        self._seen = self._broken = False
        self._clear_points()

    def _clear_points(self) -> None:
        self._points.clear()
        self._finder.clear()
        self._network.clear()
        self._waiting.clear()
        self._going_on: deque[tuple[float, float]] = deque()  # seconds of a shot, and turns/s before it
        self._heard_s = -math.inf

    @property
    def _last_s(self) -> float:
        """When the last shot was."""
        return max(self._shots_s, default=-math.inf)

    def _before_s(self, instant: float) -> float:
        """When the last shot before an instant was."""
        return max((at for at in self._shots_s if at < instant), default=-math.inf)

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
        heard: bool = False,
    ) -> list[Drop]:
        """Takes one sample; gives drops once it is clear what they were.

        ``placed``: seconds, turns and spread of the seconds of a new count, where the robot counts. ``eager`` halves
        the threshold (the robot says that it fired); ``noisy``: single points may be false; ``heard``: lines
        are timed as they come.
        """
        points = self._points
        found: list[Drop] = []
        if self._broken and not points.bridge(sample.time_s):
            found += self._settled(math.inf)
            self._clear_points()
        self._broken = False
        asked = points.samples[-1].setpoint if points.samples else None
        if sample.setpoint != asked and around_drop.lowered(points, sample):
            self._lowered_s = sample.time_s
        if not points.add(sample, placed, noisy, heard):
            return found
        self._seen = True
        if not points.cell_s:
            return found
        self._learn(tick_s)
        self._learn_courses(noisy)
        self._waiting.add(self._finder.found(self._last_s, eager, noisy))
        late = self._network.found(noisy, heard)
        self._waiting.add([Candidate(at, network=odds) for at, odds in late if not self._known(at)])
        for candidate in self._waiting.now():
            if not self._waiting.waits(candidate):
                continue
            before_s, judged = self._before_s(candidate.instant), self._judged(candidate, tick_s, noisy)
            if judged is not None:
                self._waiting.remove(candidate)
                for drop, dip in judged:
                    rpm = release_rpm(points, candidate.instant, before_s, tick_s)
                    drop = drop if rpm is None else replace(drop, before_rpm=rpm * points.over_held)
                    if eager or noisy or not self._doubted.doubts(drop, dip):
                        found.append(self._taken(drop, dip))
        return found + self._settled(points.now_s)

    def _settled(self, now_s: float) -> list[Drop]:
        """What of those that were doubted was a shot, or may have been."""
        found = []
        for drop, dip, what in self._doubted.settled(now_s):
            if drop.sure and what is not Answer.SHOT:
                self._shots_s.remove(dip.at_s)
            if what is not Answer.NONE:
                found.append(self._taken(replace(drop, sure=drop.sure and what is Answer.SHOT), dip))
        return found

    def _known(self, instant: float) -> bool:
        return any(abs(at - instant) < _SAME_S for at in self._shots_s)

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

    def _learn_courses(self, noisy: bool) -> None:
        """Lets a shot be seen once it shows how the wheel went on."""
        cell = self._cell_s
        while self._going_on and self._going_on[0][0] + _COURSE_S + 2 * cell < self._points.now_s:
            instant, rate = self._going_on.popleft()
            next_s = min((at for at in self._shots_s if at > instant), default=math.inf)
            before, after = before_cells(self._points), int(min(_COURSE_S, next_s - instant - 0.03) / cell)
            if after >= JUDGED_CELLS:
                seen = drop_fit.view_around(self._points, self._noise, instant, before, after, noisy)
                course = None if seen is None else drop_fit.course_of(seen[0], cell, before, after, rate)
                if course is not None:
                    self._usual.learn_course(course)

    def _assume(self, tick_s: float) -> None:
        """What the noise is where it wasn't seen, by the newest points: how they are timed shows by and by."""
        t, x, part = self._points.between(self._points.now_s - STRETCH_CELLS * self._cell_s, self._points.now_s)
        rate = float(np.ptp(x)) / max(float(np.ptp(t)), 1e-3)
        coarseness = self._points.coarseness(rate, part, tick_s)
        rounding = self._points.quantum**2 / 12
        adds_up = not self._points.are_counts or self.lost_counts.known
        self._noise.assume(coarseness, rounding, self._cell_s, rate, adds_up)
        # A straight line through points of this variance, so far to either side, tells the speed to within the error.
        error = _SPEED_ERROR * max(rate, 1.0)
        self._near_s = min((12 * coarseness * self._cell_s / error**2) ** (1 / 3) / 2, _FARTHEST_S)

    def _judged(self, candidate: Candidate, tick_s: float, noisy: bool) -> list[tuple[Drop, Dip]] | None:
        """What a candidate was, once that is clear: a drop, or none; None while it isn't."""
        look = self._waiting.next_look(candidate)
        if look is None:
            return None
        candidate.judged += 1
        lowered = -0.15 < candidate.instant - self._lowered_s < _LOWERED_S
        same = self._known(candidate.instant) if candidate.network else self._waiting.echoes(candidate, self._last_s)
        if lowered or same:
            return []
        measured = self._measured(candidate, look, tick_s, noisy)
        if measured is not None:
            drop, dip = measured
            what = answer(dip, self._usual, self.lost_counts, self._noise.knows, noisy)
            if what is Answer.SHOT:
                self._shots_s.append(dip.at_s)
            if what in (Answer.SHOT, Answer.PERHAPS):
                self._forget(dip.at_s)
                return [(replace(drop, sure=what is Answer.SHOT), dip)]
        return [] if look.last else None

    def _measured(self, candidate: Candidate, look: Look, tick_s: float, noisy: bool) -> tuple[Drop, Dip] | None:
        """The drop and what is seen of it; None where too little is, or nothing."""
        points, cell, instant = self._points, self._cell_s, candidate.instant
        before, after = before_cells(points), look.after
        last_s = self._before_s(instant)
        before = min(before, max(int((instant - last_s - 0.06) / cell), 4)) if last_s > 0 else before
        seen = drop_fit.view_around(points, self._noise, instant, before, after, noisy)
        late_s = 0.0 if seen is None else drop_fit.begun(seen[0], cell, before, after)
        if late_s:
            instant = candidate.instant = instant + late_s
            after -= math.ceil(late_s / cell)
            seen = drop_fit.view_around(points, self._noise, instant, before, after, noisy)
        if noisy and seen is not None:
            instant = candidate.instant = around_drop.last_fast(points, instant, seen[1] * 60)
        drop = self._speed_and_depth(instant, tick_s)
        t, x, _ = points.between(instant - (before + 0.5) * cell, instant + (after + 0.5) * cell)
        if seen is None or drop is None or not drop.before_rpm > 0.0 or points.too_coarse(drop.before_rpm):
            return None  # not above 0 by false counts
        off = drop_fit.off_smooth(t - instant, x)
        network_is_sure = (candidate.network or 0.0) > ALONE_ODDS
        if off < _NO_WIDTHS * points.quantum and not network_is_sure:
            return None
        t, x, speed = t - instant, x - x[0], drop.before_rpm / 60
        around = seen[0], cell, before, after
        low, high = (share * speed for share in self._usual.shares)
        as_seen = drop_fit.verdict(*around, (low, high), self._usual.learned)
        if as_seen.missed * 60 < _LEFT_OUT * points.left_out_rpm and not network_is_sure:
            return None
        course = self._usual.course
        usual = None if course is None else drop_fit.as_usual(*around, course, speed)
        freely = drop_fit.verdict(*around)
        missing, rising = drop_fit.coming_back(t, x)
        asked_rpm = points.samples[-1].setpoint if self._in_rpm else None
        fall_v = around_drop.battery_fall(points, instant)
        return drop, Dip(
            at_s=instant,
            speed=speed,
            seen=as_seen,
            shallow=drop_fit.verdict(*around, (0.0, _SHALLOW * low), self._usual.learned),
            freely=freely,
            deep=as_seen.depth > self._usual.deep_share * speed,
            usual=usual,
            missing=missing,
            rising=rising,
            behind_s=float(t[-1]),
            faint=off < _WIDTHS * points.quantum,
            even=drop_fit.even_before(t, x, cell, as_seen.depth),
            held=around_drop.holds_setpoint(points, instant - before * cell),
            coasts=drop_fit.coasting(t, x),
            undriven=not around_drop.holds_setpoint(points, instant - _HELD_S)
            and around_drop.below_running_out(asked_rpm, t, x, speed),
            battery_fall_v=fall_v,
            eases=around_drop.drive_eases(points, instant, fall_v),
            network=candidate.network,
            over_lost=over_lost(*around, points.quantum, [v.left for v in (freely, usual) if v is not None]),
            one_step=one_step(points, instant - before * cell, instant, instant + after * cell),
            sparse=points.thinned > 1.0,
            cut_short=look.cut_short,
            last=look.last,
        )

    def _taken(self, drop: Drop, dip: Dip) -> Drop:
        """The drop, from which is learned if it is surely a shot's."""
        if drop.sure:
            # What a wheel misses that runs out, and is not brought back, says nothing of others.
            missed = dip.seen.missed / dip.speed
            if not dip.coasts and self._usual.learn(dip.seen.over_nothing, missed, dip.battery_fall_v):
                self._going_on.append((dip.at_s, dip.speed))
        return drop

    def _forget(self, at_s: float) -> None:
        """What was heard around a shot is no noise."""
        self._noise.forget(at_s, at_s + max(STRETCH_S, STRETCH_CELLS * self._cell_s) + _SHOT_S)

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

    def _speed_and_depth(self, instant: float, tick_s: float) -> Drop | None:
        """The speed at release from the run before it, and the depth with the recovery taken out; None of few points.

        A strong motor makes good within a few hundredths of a second what a straight line would average over.
        """
        points, cell = self._points, self._cell_s
        since = max(instant - max(_RUN_S, 5 * cell), self._before_s(instant) + _AFTER_S)
        t, x, part = points.between(since, instant + max(0.1, 3.5 * cell))
        if len(t) < _FEWEST or not t[0] < instant < t[-1]:
            return None
        last = max(bisect_right(points.t, instant + 0.002) - 1, 0)
        at, late_s = points.samples[last], instant - points.t[last]
        if late_s > 0.0 and points.t[last + 1] - points.t[last] > _GONE * cell:
            at = replace(at, time_s=at.time_s + late_s, arrival_s=at.arrival_s + late_s)
        floor = points.coarseness(float((x[-1] - x[0]) / (t[-1] - t[0])), part, tick_s)
        rate, depth = drop_fit.speed_and_depth(t - instant, x - x[0], floor)
        return Drop(at, rate * 60, min(max(depth, 0.0), rate) * 60, sure=False)
