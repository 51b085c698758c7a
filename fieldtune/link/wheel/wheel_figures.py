"""The wheel over the last seconds: its course, how well it holds its setpoint, and how fast it gets there."""

from __future__ import annotations

import statistics
from collections import deque
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.link.samples import ShotSeen, WheelFigures

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.link.samples import Sample
    from fieldtune.robot.model import Robot

KEPT_S = 10.0
_SPACING_S = 0.009
_SLOTS = 1200


class History:
    """Wheel rpm over the last ten seconds of the line's clock; a gap is a row of nan."""

    def __init__(self) -> None:
        self._rows = np.full((2, _SLOTS), np.nan)
        self._next = 0
        self._count = 0
        self._last_s = -np.inf

    def add(self, time_s: float, rpm: float | None) -> None:
        """Keeps one point, at most one each 9 ms."""
        if time_s - self._last_s < _SPACING_S:
            return
        self._last_s = time_s
        self._put(time_s, np.nan if rpm is None else rpm)

    def gap(self) -> None:
        """Marks a break that a drawing must not join."""
        if self._count and np.isfinite(self._last_s):
            self._put(self._last_s + 1e-3, np.nan)

    def _put(self, *row: float) -> None:
        self._rows[0, self._next], self._rows[1, self._next] = row
        self._next = (self._next + 1) % _SLOTS
        self._count = min(self._count + 1, _SLOTS)

    def arrays(self) -> tuple[FloatArray, FloatArray]:
        """Seconds and rpm (n,), oldest first, copies."""
        order = np.arange(self._next - self._count, self._next) % _SLOTS
        seconds, rpm = self._rows[:, order]
        first = int(np.searchsorted(seconds, self._last_s - KEPT_S)) if self._count else 0
        return seconds[first:], rpm[first:]


_STEADY_S = 1.5
_AT_SPEED = 0.02


class WheelFollower:
    """Follows wheel speed against the setpoint."""

    def __init__(self, robot: Robot) -> None:
        self._ratio = robot.launcher.mechanism.by_motion(lambda wheel: wheel.second_ratio, lambda _: None) or 1.0
        self._in_rpm = robot.setpoint.scale.is_speed
        self._recent: deque[tuple[float, float]] = deque(maxlen=400)
        self._wanted: float | None = None
        self._raised_s: float | None = None
        self._spin_up_s: float | None = None
        self._now_s = 0.0

    def see(self, sample: Sample) -> None:
        """Takes one sample with its speed."""
        rpm = sample.wheel_rpm
        self._now_s = sample.time_s
        if sample.fresh:
            self._recent.clear()
            self._raised_s = None
        if rpm is None:
            return
        recent = self._recent
        recent.append((sample.time_s, rpm))
        while sample.time_s - recent[0][0] > _STEADY_S:
            recent.popleft()
        if self._in_rpm and sample.setpoint is not None:
            self._follow(sample.time_s, rpm, sample.setpoint)

    def _follow(self, now_s: float, rpm: float, wanted: float) -> None:
        before, self._wanted = self._wanted, wanted
        if before != wanted:
            self._recent.clear()
            raised = wanted > 0 and rpm < (1 - 0.15) * wanted
            self._raised_s = now_s if raised and (before is None or wanted > before) else None
        if self._raised_s is not None and abs(rpm - wanted) <= _AT_SPEED * wanted:
            self._spin_up_s = now_s - self._raised_s
            self._raised_s = None

    def now(
        self, shots: tuple[ShotSeen, ...], rpm: float | None, rpm2: float | None, jam_a: float | None
    ) -> WheelFigures:
        """The figures at this moment; steady ones only where no shot disturbed the last second and a half.

        ``rpm`` and ``rpm2`` are the wheels' speeds as shown, None where they aren't known any more. ``jam_a``: see
        ``WheelFigures``.
        """
        error, ripple = (None, None) if rpm is None else self._steady(shots)
        recoveries = [s.recovery_s for s in shots[-5:] if s.recovery_s is not None]
        mismatch = None
        if rpm and rpm2 is not None:
            mismatch = (rpm2 / (rpm * self._ratio) - 1) * 100
        return WheelFigures(
            steady_error_rpm=error,
            ripple_rpm=ripple,
            spin_up_s=self._spin_up_s,
            recovery_s=statistics.median(recoveries) if recoveries else None,
            shots_per_minute=self._shot_rate(shots),
            second_wheel_mismatch_pct=mismatch,
            jam_a=None if rpm is None else jam_a,
        )

    def _steady(self, shots: tuple[ShotSeen, ...]) -> tuple[float | None, float | None]:
        recent = self._recent
        if len(recent) < 12 or recent[-1][0] - recent[0][0] < 0.5 * _STEADY_S:
            return None, None
        if shots and shots[-1].time_s > recent[0][0] - 0.5:
            return None, None
        speeds = np.fromiter((rpm for _, rpm in recent), dtype=float, count=len(recent))
        mean, spread = float(speeds.mean()), float(speeds.std())
        if spread > 0.05 * max(mean, 1.0):
            return None, None
        return (mean - self._wanted if self._in_rpm and self._wanted else None), spread

    def _shot_rate(self, shots: tuple[ShotSeen, ...]) -> float | None:
        """Shots a minute from the first to the last of the newest ten that are less than a minute old; None of one."""
        recent = [s.time_s for s in shots[-10:] if self._now_s - s.time_s < 60.0]
        if len(recent) < 2 or recent[-1] <= recent[0]:
            return None
        return 60.0 * (len(recent) - 1) / (recent[-1] - recent[0])


_BUCKET_S, _BUCKETS = 0.1, 5
_AFTER_SHOT_S, _STARTS_WITH = 1.0, 15
_RISES, _MOVES, _BAND = 0.005, 0.02, 0.15
_TIMES, _AMPS = 2.0, 1.0
"""A jam draws more than this many times the holding current and so many amperes more (common practice: an element stuck
in the wheels rubs with several times what bearings and gears do)."""


class JamWatch:
    """Names a jam: far more current than this speed usually takes, for half a second, with no shot and no speed gained.

    What it usually takes is the least half second seen near that speed; before a second and a half of it were seen,
    nothing is said. ``count``: jams so far.
    """

    def __init__(self) -> None:
        self.amps: float | None = None
        self.count = 0
        self._sums = [0.0, 0.0, 0]
        self._begun_s = self._shot_s = -np.inf
        self._setpoint: float | None = None
        self._full: deque[tuple[float, float]] = deque(maxlen=_BUCKETS)
        self._holding: dict[int, tuple[float, int]] = {}

    def see(self, sample: Sample, shots: Sequence[ShotSeen]) -> None:
        """Takes one sample with its speed, and the shots recognised so far."""
        amps, rpm = sample.current_a, sample.wheel_rpm
        if sample.fresh or (sample.setpoint is not None and sample.setpoint != self._setpoint):
            self._setpoint = sample.setpoint
            self._begin_anew(sample.time_s)
        if shots and shots[-1].time_s > self._shot_s:
            self._shot_s = shots[-1].time_s
            self._begin_anew(self._shot_s + _AFTER_SHOT_S)
        if amps is None or rpm is None or sample.time_s < self._begun_s:
            return
        self._sums[0] += abs(amps)
        self._sums[1] += rpm
        self._sums[2] += 1
        if sample.time_s - self._begun_s >= _BUCKET_S:
            self._full.append((self._sums[0] / self._sums[2], self._sums[1] / self._sums[2]))
            self._sums, self._begun_s = [0.0, 0.0, 0], sample.time_s
            if len(self._full) == _BUCKETS:
                self._judge()

    def _begin_anew(self, at_s: float) -> None:
        self._full.clear()
        self._sums, self._begun_s = [0.0, 0.0, 0], at_s
        self.amps = None

    def _judge(self) -> None:
        """Looks at the last half second."""
        amps, rpm = (sum(column) / _BUCKETS for column in zip(*self._full, strict=True))
        first, last = self._full[0][1], self._full[-1][1]
        if last > first * (1 + _RISES) or rpm <= 0:
            return
        band = round(np.log(max(rpm, 1.0)) / _BAND)
        near = [self._holding[b] for b in (band - 1, band, band + 1, band + 2) if b in self._holding]
        known = [least for least, seen in near if seen >= _STARTS_WITH]
        usual = min(known) if known else None
        jammed = usual is not None and amps > _TIMES * usual + _AMPS
        self.count += jammed and self.amps is None
        self.amps = amps if jammed else None
        if not jammed and abs(last - first) <= _MOVES * rpm:
            least, seen = self._holding.get(band, (np.inf, 0))
            self._holding[band] = min(least, amps), seen + 1
