"""A flywheel's drop at a shot, found as a break in its turns over time, and how deep it was.

A shot takes its energy within milliseconds: turns run straight, break, and run straight again more slowly. Each new
sample fits a broken line around an instant a little back; where the break is deeper than its error allows, and
deepest, a shot left the wheel. A slow change (coasting, braking) has no such break, it stays broken everywhere.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from itertools import islice, takewhile
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.link.limits import Limits
from fieldtune.link.sample import Sample
from fieldtune.link.wheel_speed import Scatter

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot

_STARTS_S = np.arange(-0.008, 0.0101, 0.003)
_RECOVERIES_S = np.geomspace(0.012, 0.6, 14)


def speed_and_depth(t: FloatArray, turns: FloatArray, floor: float) -> tuple[float, float]:
    """Speed before a drop near t = 0 and the drop's depth, both turns/s, from ``turns`` (n,) at ``t`` (n,) seconds.

    The speed falls at once and comes back exponentially, as under a speed loop: behind the drop the wheel lags by
    depth times tau (1 - exp(-t / tau)). When it began and how fast it recovers (tau) is not known: all are fitted, each
    weighed by how well it fits, as depth alone is ill told where tau is shorter than the samples' spacing.

    ``floor``: the least variance a point has, turns^2. At least five points, some of them on each side.
    """
    start, tau = (grid.ravel()[:, None] for grid in np.meshgrid(_STARTS_S, _RECOVERIES_S))
    lag = tau * -np.expm1(-np.maximum(t - start, 0.0) / tau)
    # A straight line is taken out of both; what is left of the lag is scaled to what is left of the turns.
    line = np.linalg.qr(np.column_stack([np.ones_like(t), t]))[0]
    bare_lag = lag - lag @ line @ line.T
    bare_turns = turns - line @ (line.T @ turns)
    strength = np.sum(bare_lag**2, axis=1)
    depth = -(bare_lag @ bare_turns) / np.maximum(strength, 1e-30)
    rest = np.sum((bare_turns + depth[:, None] * bare_lag) ** 2, axis=1)
    variance = max(float(rest.min()) / max(len(t) - 5, 1), floor)
    weight = np.exp(-(rest - rest.min()) / (2 * variance))
    deep = float(weight @ depth / weight.sum())
    behind = weight @ (depth[:, None] * lag) / weight.sum()
    return float(np.polyfit(t, turns + behind, 1)[0]), deep


_BEFORE_S = 0.110
_AFTER_S = 0.060
_SPACING_S = 0.004
_SURE = 5.0  # standard errors
_SHARE = 0.15  # of the drop that momentum makes; half of one by energy, for an element or a grip unlike the profile's
_LEAST = 0.02  # of the wheel's speed
_NOT_MORE, _NOT_FEWER = 1.0, 0.65
_ASIDE_S = 0.110  # how far before and behind a drop there must be none
_ASIDE_SURE = 3.5
_ASIDE_SHARE = 0.5
_LATE_S = 0.012  # the deepest break is fitted this much behind the drop's start
_RUN_S = 0.25
_WALK = math.sqrt(6 / 5)  # error of a line's slope through summed noise, over that of the noise's mean
_NEAR_S = 0.025


@dataclass(frozen=True, slots=True)
class Drop:
    """A drop: the sample at its start, the wheel's rpm before and its depth."""

    at: Sample
    before_rpm: float
    depth_rpm: float


_Point = tuple[float, float, Sample]


@dataclass(frozen=True, slots=True)
class _Break:
    """A broken line around an instant: speed before it, fall of speed there, both rpm, and the fall's error."""

    instant: float
    before_rpm: float
    depth_rpm: float
    error_rpm: float


class DropDetector:
    """Finds drops in a stream of samples that carry turns, or else the robot's own rpm."""

    def __init__(self, robot: Robot) -> None:
        limits = Limits.of(robot)
        self._quantum = 1.0 / limits.counts_per_turn if limits.counts_per_turn else 0.0
        kept = robot.speed_kept
        self._expected = None if kept is None else 1 - kept
        self._slowest = _slowest(robot, limits)
        self._points: deque[_Point] = deque(maxlen=240)
        self._deepest: _Break | None = None
        self._waiting: deque[_Break] = deque()
        self._turns = 0.0
        self._scatter = Scatter()
        self._lowered_s = -math.inf
        self._last_s = -math.inf
        self._noisy = False
        self._spacing = math.inf  # between samples while none are lost
        self._seen = False

    @property
    def sees(self) -> bool:
        """Whether this robot sends wheel data at all, which could witness a shot."""
        return self._seen

    def clear(self) -> None:
        """Forgets the past."""
        self._points.clear()
        self._waiting.clear()
        self._deepest = None

    def see(self, sample: Sample, tick_s: float, eager: bool = False, noisy: bool = False) -> Drop | None:
        """Takes one sample; gives a drop once it is past, about 170 ms after its start.

        ``eager`` halves the threshold (the robot says that it fired), ``noisy`` doubts more (the line is bad).
        """
        turns = self._place(sample)
        points = self._points
        if turns is None or (points and sample.time_s - points[-1][0] < _SPACING_S):
            return None
        asked = points[-1][2].setpoint if points else None
        if sample.setpoint is not None and asked is not None and sample.setpoint < 0.97 * asked:
            self._lowered_s = sample.time_s
        points.append((sample.time_s, turns, sample))
        self._seen = True
        if len(points) < 8:
            return None
        self._noisy = noisy
        period = (points[-1][0] - points[-8][0]) / 7
        self._spacing = min(period, 1.0002 * self._spacing)
        after = max(_AFTER_S, 3.5 * period)
        self._follow(self._strong(points[-1][0] - after, period, tick_s, eager))
        waiting = self._waiting
        if waiting and points[-1][0] >= waiting[0].instant + after + _ASIDE_S:
            return self._judged(waiting.popleft(), period, tick_s)
        return None

    def _place(self, sample: Sample) -> float | None:
        """Turns at a sample: counted, or summed from the robot's own rpm."""
        if sample.turns is not None:
            return sample.turns
        if sample.wheel_rpm is None:
            return None
        if self._points:
            self._turns = self._points[-1][1] + sample.wheel_rpm / 60 * (sample.time_s - self._points[-1][0])
        self._scatter.see(sample.wheel_rpm / 60)
        return self._turns

    def _strong(self, instant: float, period: float, tick_s: float, eager: bool) -> _Break | None:
        """The break at an instant, if it is as deep as a shot's."""
        near = self._near(instant, period)
        if self._deepest is None and not self._suspicious(near, instant):
            return None
        found = self._break(near, instant, tick_s)
        if found is None or found.before_rpm < self._slowest:
            return None
        expected = (self._expected or 0.0) * found.before_rpm
        needed = max(_SURE * found.error_rpm, _SHARE * expected, _LEAST * found.before_rpm)
        if self._noisy:
            fullest = (near[-1][0] - near[0][0]) / self._spacing + 1
            # False turns bend the line more than a shot can, and where many lines are lost a few are enough.
            if (expected and found.depth_rpm > _NOT_MORE * expected) or len(near) < _NOT_FEWER * fullest:
                return None
            needed = max(needed, 2 * _LEAST * found.before_rpm)
        return found if found.depth_rpm > (0.5 * needed if eager else needed) else None

    def _follow(self, found: _Break | None) -> None:
        """Keeps the deepest break of a run; when the run is over, it waits for what comes behind it."""
        deepest = self._deepest
        if found is not None and (deepest is None or found.depth_rpm > deepest.depth_rpm):
            self._deepest = found
        elif deepest is not None and (found is None or found.depth_rpm < 0.7 * deepest.depth_rpm):
            self._waiting.append(deepest)
            self._deepest = None

    def _judged(self, found: _Break, period: float, tick_s: float) -> Drop | None:
        """A shot breaks the line once: a wheel that is braked or coasts breaks as much a little earlier or later."""
        if abs(found.instant - self._lowered_s) < 0.4:
            return None
        close_behind = found.instant - self._last_s < 2 * _ASIDE_S + 0.02  # the shot before is no sign of braking
        for instant in (found.instant + _ASIDE_S, *(() if close_behind else (found.instant - _ASIDE_S,))):
            other = self._break(self._near(instant, period), instant, tick_s)
            if other is None and self._noisy:
                return None  # too many lines are lost to tell
            if other is not None and found.depth_rpm - other.depth_rpm < max(
                _ASIDE_SURE * math.hypot(found.error_rpm, other.error_rpm), _ASIDE_SHARE * found.depth_rpm
            ):
                return None
        if not close_behind and self._rises(found):
            return None
        start = found.instant - _LATE_S
        at = next((p[2] for p in reversed(self._points) if p[0] <= start), self._points[0][2])
        previous, self._last_s = self._last_s, found.instant
        return self._measured(Drop(at, found.before_rpm, found.depth_rpm), previous, tick_s)

    def _rises(self, found: _Break) -> bool:
        """Whether the wheel was gaining speed right before: the hump of an overshoot, not a shot."""
        earlier, later = (
            self._slope(found.instant - since, found.instant - until)
            for since, until in ((2 * _BEFORE_S, _BEFORE_S), (_BEFORE_S, _LATE_S))
        )
        return earlier is not None and later is not None and later - earlier > 0.5 * found.depth_rpm

    @property
    def half_s(self) -> float:
        """Half the stretch over which ``speed_near`` takes a speed, seconds."""
        points = self._points
        period = (points[-1][0] - points[-8][0]) / 7 if len(points) >= 8 else 0.0
        return max(_NEAR_S, 2.2 * period)

    def speed_near(self, at: float) -> float | None:
        """The wheel's rpm around an instant, from the turns on both sides of it."""
        half = self.half_s
        return self._slope(at - half, at + half)

    def _slope(self, since: float, until: float) -> float | None:
        back = takewhile(lambda p: p[0] >= since, reversed(self._points))
        near = [(p[0] - since, p[1]) for p in back if p[0] <= until]
        if len(near) < 3:
            return None
        t, x = np.array(near).T
        return abs(float(np.polyfit(t, x - x[0], 1)[0])) * 60

    def _near(self, instant: float, period: float) -> list[_Point]:
        """The points a break at an instant is fitted to, oldest first."""
        after, before = max(_AFTER_S, 3.5 * period), max(_BEFORE_S, 5.5 * period)
        reach = (self._points[-1][0] - instant + before) / max(period, _SPACING_S)
        back = islice(reversed(self._points), round(reach) + 8)
        return [p for p in back if instant - before <= p[0] <= instant + after][::-1]

    def _suspicious(self, near: list[_Point], instant: float) -> bool:
        """A glance before the fit: do three points bend downwards by a good part of what a shot would be?"""
        middle = next((p for p in near if p[0] >= instant), None)
        if middle is None or not near[0][0] < middle[0] < near[-1][0]:
            return False
        first, last = near[0], near[-1]
        rate = abs(middle[1] - first[1]) / (middle[0] - first[0])
        slower = rate - abs(last[1] - middle[1]) / (last[0] - middle[0])
        return slower > 0.3 * max(_LEAST, _SHARE * (self._expected or 0.0)) * rate

    def _break(self, near: list[_Point], instant: float, tick_s: float) -> _Break | None:
        """The line broken at an instant, fitted to the points near it; None where they are too few."""
        t = np.array([p[0] for p in near]) - instant
        if np.count_nonzero(t < 0) < 4 or np.count_nonzero(t > 0) < 3 or t[0] > -0.6 * _BEFORE_S:
            return None
        x = np.array([p[1] for p in near])
        x = np.abs(x - x[0])
        rate, change, error = _broken_line(t, x, self._floor(t, x, tick_s))
        if near[-1][2].turns is None:  # turns summed from the robot's rpm go astray together, not each by itself
            sides = (self._scatter.of_mean(int((t < 0).sum())), self._scatter.of_mean(int((t > 0).sum())))
            error = max(error, _WALK * math.hypot(*sides))
        return _Break(instant, rate * 60, min(-change, rate) * 60, error * 60)

    def _measured(self, drop: Drop, previous_s: float, tick_s: float) -> Drop:
        """The speed at release from the run before it, and the depth with the recovery taken out.

        A strong motor makes good within a few hundredths of a second what a straight line would average over.
        """
        start = drop.at.time_s
        since = max(start - _RUN_S, previous_s + _AFTER_S)
        near = [p for p in self._points if since <= p[0] <= start + _LATE_S + 0.1]
        t = np.array([p[0] for p in near]) - start - _LATE_S
        if np.count_nonzero(t > 0) < 5 or np.count_nonzero(t < 0) < 4:
            return drop
        turns = np.abs(np.array([p[1] for p in near]) - near[0][1])
        before, depth = speed_and_depth(t, turns, self._floor(t, turns, tick_s))
        return Drop(drop.at, before * 60, min(max(depth * 60, drop.depth_rpm), before * 60))

    def _floor(self, t: FloatArray, turns: FloatArray, tick_s: float) -> float:
        """The least variance a point has: of whole counts, read at whole ticks."""
        return float(self._quantum**2 + (turns[-1] / (t[-1] - t[0]) * tick_s) ** 2) / 12


def _broken_line(t: FloatArray, x: FloatArray, floor: float) -> tuple[float, float, float]:
    """Slope before t = 0, its change there and that change's standard error, of a broken line through (t, x), (n,).

    One point that lies far off all others is left out. ``floor`` is the least variance a point has.
    """
    keep = np.ones(len(t), dtype=bool)
    for _ in range(2):
        design = np.column_stack([np.ones_like(t), t, np.maximum(t, 0.0)])[keep]
        covariance = np.linalg.inv(design.T @ design)
        fit = covariance @ (design.T @ x[keep])
        rest = x - (fit[0] + fit[1] * t + fit[2] * np.maximum(t, 0.0))
        size = np.abs(np.where(keep, rest, 0.0))
        worst = int(np.argmax(size))
        if size[worst] < max(4 * math.sqrt(floor), 3 * float(np.median(size[keep]))) or not 0 < worst < len(t) - 1:
            break
        keep[worst] = False
    variance = max(float(np.sum(rest[keep] ** 2)) / max(int(keep.sum()) - 3, 1), floor)
    return abs(float(fit[1])), float(fit[2]), math.sqrt(variance * float(covariance[2, 2]))


def _slowest(robot: Robot, limits: Limits) -> float:
    """Below this rpm a wheel isn't up for a shot."""
    if robot.setpoint.scale.is_speed:
        return max(0.5 * robot.setpoint.low, 0.08 * robot.setpoint.high)
    return 0.05 * limits.wheel_rpm
