"""A flywheel's drop at a shot, found in its turns over time.

Each new count, or each rpm that the robot computed, is a point of turns over time. A little behind the newest point the
drop that fits best is weighed against its error; where it stands out, a candidate waits until it shows how the wheel
goes on: a shot's wheel comes back, a lowered one does not.
"""

from __future__ import annotations

import math
import statistics
from bisect import bisect_left, bisect_right
from collections import deque
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.frozen import frozen
from fieldtune.link import drop_fit
from fieldtune.link.limits import Limits
from fieldtune.link.samples import Sample

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot

_AFTER_S = 0.08
_SPACING_S = 0.004
_SURE, _SURE_NOISY = 4.3, 5.5  # standard errors; false values are no normal errors
_LEAST = 0.012  # of the wheel's speed
_SHARE = 0.15  # of the drop that the element's momentum makes
_SHARE_SURE, _MOST_EXPECTED = 0.3, 2.5  # less than this, or more, has to be asked about
_LEARNED, _LEAST_USUAL, _MOST_USUAL = 5, 0.7, 1.7  # likewise, of what that many shots beyond doubt took
_BEYOND_DOUBT, _NEARLY = 50.0, 0.75
_CLEAR, _CLEAR_SUM, _CLEAR_NOISY, _CLEAR_NOISY_SUM = 25.0, 28.0, 27.0, 44.0
_WEIGHT, _MOST_WEIGHED = 1.5, 10.0  # of a drop's standard errors beside its evidence
_MOST = 0.6  # of the wheel's speed: what falls deeper did not throw
_APART_S, _APART_POINTS = 0.055, 2.0
_SAME_S = 0.15  # the second look sees an instant less sharply
_JUDGED_FROM_S, _JUDGED_POINTS = 0.12, 5.0
_JUDGED_UNTIL_S = 0.75
_JUDGED_EVERY_S = 0.04
_EVIDENCE, _LEAST_EVIDENCE = 36.0, 8.0
_PLAIN = 60.0
_RETURNS, _NO_LOWERING = 10.0, 6.0
_BACK = 0.6  # of a drop made good: the wheel comes back
_COMING_BACK, _BACK_BY_SHARE, _RISING = 0.5, 5.5, 0.1
_PERHAPS = 0.6
_STEADY = 0.3  # of the time between lines: a counter read seldom is mostly read at the same place between them
_USUALLY_BACK_S = 0.5
_RUN_S = 0.25
_NEAR_S = 0.025
_LOWERED_S = 0.4
_KEPT_POINTS, _FEWEST = 700, 5  # points; so few tell no speed and depth


@frozen
class Drop:
    """A drop: the sample at its start, the wheel's rpm before and its depth. ``sure``: whether it was a shot's."""

    at: Sample
    before_rpm: float
    depth_rpm: float
    sure: bool = True


@dataclass(slots=True)
class _Look:
    """Where a drop is looked for behind the newest point: with so many seconds, or points, on both sides of it.

    The first look is quick, and sees shots close together; the second sees drops that a strong motor makes good at
    once, of which a coarse encoder shows only that some turns are missing behind.
    """

    before: tuple[float, float]
    after: tuple[float, float]
    recoveries_s: FloatArray
    every_s: float
    looked_s: float = -math.inf
    peaks_until: float = -math.inf
    fits: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=90))  # instant, standard errors


def _looks() -> tuple[_Look, _Look]:
    return (
        _Look((0.15, 6.0), (0.08, 3.5), np.array([0.02, 0.05, 0.12, 0.4, 30.0]), 0.0),
        _Look((0.35, 8.0), (0.3, 6.0), np.array([0.02, 0.05, 0.12, 0.3]), 0.009),
    )


@dataclass(slots=True)
class _Candidate:
    instant: float
    sureness: float
    judged_s: float = 0.0
    evidence: float = -math.inf
    returns: float = -math.inf
    depth: float = 0.0


class DropDetector:
    """Finds drops in a stream of samples that carry turns, or else the robot's own rpm."""

    def __init__(self, robot: Robot) -> None:
        limits, kept = Limits.of(robot), robot.speed_kept
        self._quantum = 1.0 / limits.counts_per_turn if limits.counts_per_turn else 0.0
        self._expected = 0.0 if kept is None else 1 - kept
        self._slowest = limits.slowest_rpm(robot)
        self._shares: deque[float] = deque(maxlen=15)
        self._lowered_s = self._last_s = -math.inf
        self._seen = False
        self._clear_points()

    def _clear_points(self) -> None:
        self._t: list[float] = []
        self._turns: list[float] = []
        self._spread_s: list[float] = []
        self._samples: list[Sample] = []
        self._rpms: deque[float] = deque(maxlen=3)
        self._looks = _looks()
        self._waiting: deque[_Candidate] = deque()
        self._tried: deque[float] = deque(maxlen=6)

    @property
    def sees(self) -> bool:
        """Whether this robot sends wheel data at all, in which a shot would show."""
        return self._seen

    def clear(self) -> None:
        """Forgets the past."""
        self._clear_points()

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
        asked = self._samples[-1].setpoint if self._samples else None
        if sample.setpoint is not None and asked is not None and sample.setpoint < 0.97 * asked:
            self._lowered_s = sample.time_s
        point = placed if sample.turns is not None else self._from_rpm(sample, noisy)
        if point is None or (self._t and point[0] - self._t[-1] < _SPACING_S):
            return []
        self._seen = True
        self._keep(point, sample)
        t = self._t
        if len(t) < 10:
            return []
        period = (t[-1] - t[-9]) / 8
        for look in self._looks[:1] if noisy else self._looks:
            self._look(look, period, tick_s, eager, noisy)
        found = []
        for candidate in list(self._waiting):
            judged = self._judged(candidate, period, tick_s, noisy)
            if judged is not None:
                self._waiting.remove(candidate)
                found += judged
        return found

    def _from_rpm(self, sample: Sample, noisy: bool) -> tuple[float, float, float] | None:
        """Turns summed from the robot's own rpm; on a noisy line from the middle one of three, as a false value would
        stay in the sum for good.
        """
        if sample.wheel_rpm is None:
            return None
        self._rpms.append(sample.wheel_rpm)
        rpm = statistics.median(self._rpms) if noisy and len(self._rpms) == 3 else sample.wheel_rpm
        before = self._turns[-1] + rpm / 60 * (sample.time_s - self._t[-1]) if self._t else 0.0
        return sample.time_s, before, 0.0

    def _keep(self, point: tuple[float, float, float], sample: Sample) -> None:
        self._t.append(point[0])
        self._turns.append(abs(point[1]))
        self._spread_s.append(point[2])
        self._samples.append(sample)
        if len(self._t) > _KEPT_POINTS:
            for kept in (self._t, self._turns, self._spread_s, self._samples):
                del kept[: _KEPT_POINTS // 3]

    def _between(self, since: float, until: float) -> tuple[FloatArray, FloatArray, slice]:
        """Seconds and turns (n,) of the points from ``since`` to ``until``."""
        part = slice(bisect_left(self._t, since), bisect_right(self._t, until))
        return np.array(self._t[part]), np.array(self._turns[part]), part

    def _floor(self, t: FloatArray, x: FloatArray, part: slice, tick_s: float) -> float:
        """The least variance a point has, turns^2: of whole counts at uncertain times (evenly spread: GUM 4.3.7)."""
        rate = (x[-1] - x[0]) / (t[-1] - t[0])
        spread_s = max(tick_s, _STEADY * statistics.median(self._spread_s[part]))
        return float(self._quantum**2 + (rate * spread_s) ** 2) / 12 + 1e-12

    def _look(self, look: _Look, period: float, tick_s: float, eager: bool, noisy: bool) -> None:
        """Fits a drop at an instant; makes a candidate of one that stands out a little earlier."""
        behind = max(look.after[0], look.after[1] * period)
        instant = self._t[-1] - behind
        if instant - look.looked_s < look.every_s:
            return
        look.looked_s = instant
        t, x, part = self._between(instant - max(look.before[0], look.before[1] * period), instant + behind)
        before = int(np.count_nonzero(t < instant))
        sureness = 0.0
        if before >= 4 and len(t) - before >= 3 and (look.every_s or drop_fit.slower_behind(t, x, before)):
            fit = drop_fit.drop_at(t - instant, x - x[0], look.recoveries_s, self._floor(t, x, part, tick_s), noisy)
            rate = (x[before - 1] - x[0]) / (t[before - 1] - t[0])
            sureness = fit.depth / fit.error
            least = max(_LEAST, _SHARE * self._expected) * rate * (0.5 if eager else 1.0)
            if rate * 60 < self._slowest or not least < fit.depth < _MOST * rate:
                sureness = 0.0
        look.fits.append((instant, sureness))
        self._find_peaks(look, instant, period, eager, noisy)

    def _find_peaks(self, look: _Look, instant: float, period: float, eager: bool, noisy: bool) -> None:
        """Makes candidates of fits that stand out most among their neighbours on both sides."""
        apart = max(_APART_S, _APART_POINTS * period)
        needed = (_SURE_NOISY if noisy else _SURE) * (0.5 if eager else 1.0)
        for at, sureness in list(look.fits):
            if not look.peaks_until < at <= instant - apart:
                continue
            look.peaks_until = at
            near = [fit[1] for fit in look.fits if abs(fit[0] - at) <= apart]
            reach = max(apart, _SAME_S) if look.every_s else apart
            taken = at - self._last_s <= apart or any(abs(tried - at) <= reach for tried in self._tried)
            if sureness >= needed and sureness == max(near) and not taken:
                self._waiting.append(_Candidate(at, sureness))
                self._tried.append(at)

    def _judged(self, candidate: _Candidate, period: float, tick_s: float, noisy: bool) -> list[Drop] | None:
        """What a candidate was, once that is clear: a drop, or none; None while it isn't."""
        instant, now = candidate.instant, self._t[-1]
        next_s = min((c.instant - 0.015 for c in self._waiting if c.instant > instant), default=math.inf)
        until = min(now, instant + _JUDGED_UNTIL_S, next_s)
        last_chance = until < now
        if not last_chance and (
            now - instant < max(_JUDGED_FROM_S, _JUDGED_POINTS * period) or now - candidate.judged_s < _JUDGED_EVERY_S
        ):
            return None
        candidate.judged_s = now
        if -0.15 < instant - self._lowered_s < _LOWERED_S:
            return []
        since = max(instant - max(0.3, 8 * period), self._last_s + 0.06)
        t, x, part = self._between(since, until)
        if np.count_nonzero(t < instant) < 4 or np.count_nonzero(t > instant) < 4:
            return [] if last_chance else None
        t, x, floor = t - instant, x - x[0], self._floor(t, x, part, tick_s)
        drop = self._measured(instant, period, tick_s)
        if drop is None:
            return [] if last_chance else None
        low, high = (share * drop.before_rpm / 60 for share in self._usual())
        candidate.depth = candidate.depth or drop.depth_rpm / 60
        summed = noisy and self._samples[-1].turns is None
        slow, stays = drop_fit.suddenness(t, x, floor, math.sqrt(12 * floor), (low, high), summed)
        candidate.evidence = max(candidate.evidence, slow)
        candidate.returns = max(candidate.returns, min(slow, stays))
        sure = 4 * min(candidate.sureness, 7.0)
        sudden = candidate.evidence > max(_EVIDENCE - sure, _LEAST_EVIDENCE)
        plain = candidate.evidence > max(_PLAIN - sure, _LEAST_EVIDENCE)
        if not plain and not drop_fit.even_before(t, x, period, candidate.depth):
            return []
        if not _LEAST * drop.before_rpm <= drop.depth_rpm <= _MOST * drop.before_rpm:
            return [] if last_chance else None
        usual = (0.5 if len(self._shares) >= _LEARNED else _NEARLY) * low <= drop.depth_rpm / 60 <= high
        clear = slow + _WEIGHT * min(candidate.sureness, _MOST_WEIGHED) > self._clear(noisy)
        sudden, plain = sudden and usual and clear, plain and usual and clear
        back, rising = drop_fit.made_good(t, x, drop.depth_rpm / 60)
        if sudden and (
            (back >= _BACK and candidate.returns > _NO_LOWERING)
            or (plain and drop_fit.coasting(t, x))
            or self._holds_setpoint(since)
        ):
            return [self._shot(drop, candidate)]
        if not last_chance:
            return None
        # A heavy wheel falls little and comes back slowly; one that falls deep is light, and is back soon.
        enough = min(_COMING_BACK, _BACK_BY_SHARE * drop.depth_rpm / max(drop.before_rpm, 1.0))
        if until == next_s:  # cut short by the next one: as it would have gone on
            back += rising * max(_USUALLY_BACK_S - t[-1], 0.0)
        coming = back / enough if rising > _RISING or back >= _BACK else 0.0
        # Of one that the next one cuts short, only that it was sudden can be told; nobody lowers a wheel twice so soon.
        if (
            (usual and clear and candidate.returns > max(_EVIDENCE - sure, _RETURNS))
            or (sudden and until == next_s and (not noisy or candidate.returns > _NO_LOWERING))
        ) and coming >= 1.0:
            return [self._shot(drop, candidate)]
        if coming < _PERHAPS:
            return []
        sudden = candidate.evidence > 0 or drop_fit.suddenness(t, x, floor, math.sqrt(12 * floor), summed=summed)[0] > 0
        return [drop] if sudden else []  # whatever its depth

    def _shot(self, drop: Drop, candidate: _Candidate) -> Drop:
        self._last_s = candidate.instant
        if min(candidate.evidence, candidate.returns) > _BEYOND_DOUBT:
            self._shares.append(drop.depth_rpm / drop.before_rpm)
        return replace(drop, sure=True)

    def _usual(self) -> drop_fit.Span:
        """Shares of its speed that a shot may take from this wheel: about what shots did lately, or what is expected.

        Others have to be asked about. Elements and wheels are the same from shot to shot; a profile is often off by a
        factor of two.
        """
        if len(self._shares) >= _LEARNED:
            usual = statistics.median(self._shares)
            return _LEAST_USUAL * usual, _MOST_USUAL * usual
        return (_SHARE_SURE * self._expected, _MOST_EXPECTED * self._expected) if self._expected else (_LEAST, _MOST)

    def _clear(self, noisy: bool) -> float:
        """How clear a drop has to be: errors of single values stay in a sum of own rpm, and look like a drop."""
        counts = self._samples[-1].turns is not None
        if noisy:
            return _CLEAR_NOISY if counts else _CLEAR_NOISY_SUM
        return _CLEAR if counts else _CLEAR_SUM

    def _holds_setpoint(self, since: float) -> bool:
        """Whether the robot has said all the time that it asks for the same speed: then nothing was lowered."""
        asked = {sample.setpoint for sample in self._samples[bisect_left(self._t, since) :]}
        return len(asked) == 1 and None not in asked

    @property
    def half_s(self) -> float:
        """Half the stretch over which ``speed_near`` takes a speed, seconds."""
        t = self._t
        period = (t[-1] - t[-9]) / 8 if len(t) >= 9 else 0.0
        return max(_NEAR_S, 2.2 * period)

    def speed_near(self, at: float) -> float | None:
        """The wheel's rpm around an instant, from the turns on both sides of it; None where points are missing."""
        half = self.half_s
        t, x, _ = self._between(at - half, at + half)
        return float(np.polyfit(t - at, x - x[0], 1)[0]) * 60 if len(t) >= 3 else None

    def _measured(self, instant: float, period: float, tick_s: float) -> Drop | None:
        """The speed at release from the run before it, and the depth with the recovery taken out; None of few points.

        A strong motor makes good within a few hundredths of a second what a straight line would average over.
        """
        since = max(instant - max(_RUN_S, 5 * period), self._last_s + _AFTER_S)
        t, x, part = self._between(since, instant + max(0.1, 3.5 * period))
        if len(t) < _FEWEST or not t[0] < instant < t[-1]:
            return None
        at = self._samples[max(bisect_right(self._t, instant + 0.002) - 1, 0)]
        rate, depth = drop_fit.speed_and_depth(t - instant, x - x[0], self._floor(t, x, part, tick_s))
        return Drop(at, rate * 60, min(max(depth, 0.0), rate) * 60, sure=False)
