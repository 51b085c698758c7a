"""The wheel over the last seconds: its course, how well it holds its setpoint, and how fast it gets there."""

from __future__ import annotations

import statistics
from collections import deque
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
        self._rows[:, self._next] = row
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

    def now(self, shots: tuple[ShotSeen, ...], rpm: float | None, rpm2: float | None) -> WheelFigures:
        """The figures at this moment; steady ones only where no shot disturbed the last second and a half.

        ``rpm`` and ``rpm2`` are the wheels' speeds as shown, None where they aren't known any more.
        """
        error, ripple = (None, None) if rpm is None else self._steady(shots)
        recoveries = [s.recovery_s for s in shots[-5:] if s.recovery_s is not None]
        mismatch = None
        if rpm and rpm2 is not None and self._ratio:
            mismatch = (rpm2 / (rpm * self._ratio) - 1) * 100
        return WheelFigures(
            steady_error_rpm=error,
            ripple_rpm=ripple,
            spin_up_s=self._spin_up_s,
            recovery_s=statistics.median(recoveries) if recoveries else None,
            shots_per_minute=self._shot_rate(shots),
            second_wheel_mismatch_pct=mismatch,
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
        """Shots a minute over the last burst: shots less than ten seconds apart, up to now."""
        burst = [s.time_s for s in shots[-10:] if self._now_s - s.time_s < 60.0]
        if len(burst) < 2 or burst[-1] <= burst[0]:
            return None
        return 60.0 * (len(burst) - 1) / (burst[-1] - burst[0])
