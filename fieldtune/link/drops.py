"""A flywheel's drop at a shot, found as a kink in its turns over time.

A shot takes its energy within milliseconds: turns run straight, break, and run straight again more slowly. Each new
sample fits a broken line around an instant a little back; where the break is deeper than its error allows, and
deepest, a shot left the wheel. A slow change (coasting, braking) has no such break, it stays broken everywhere.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

import numpy as np

from fieldtune.aim.exit import model_log_speed, spin_ratio
from fieldtune.link.sample import RPM, Limits, Sample
from fieldtune.physics.flywheel import shot_energy
from fieldtune.robot.model import Robot

_BEFORE_S = 0.110
_AFTER_S = 0.060
_SPACING_S = 0.004
_SURE = 5.0  # standard errors
_SHARE = 0.30  # of the drop that the element's energy makes
_LEAST = 0.02  # of the wheel's speed
_WIDEST_S = 0.20


@dataclass(frozen=True, slots=True)
class Drop:
    """A drop: the sample at its start, the wheel's rpm before and its depth."""

    at: Sample
    before_rpm: float
    depth_rpm: float


def shot_energy_j(robot: Robot, speed: float) -> float:
    """Energy (J) the wheels give for one element leaving at ``speed`` (m/s): its kinetic energy, over grip losses."""
    element, wheel = robot.element, robot.launcher.flywheel
    if wheel is None:
        return float(shot_energy(element.mass, speed))
    radius = max(element.passing_size, 1e-6) / 2
    spin = spin_ratio(robot) * speed / radius
    own_inertia = (0.4 if element.shape == "sphere" else 0.5) * element.mass * radius**2
    return float(shot_energy(element.mass, speed, spin, own_inertia)) / wheel.grip


def drop_share(robot: Robot) -> float | None:
    """Drop over speed that one element's energy makes; None where the profile can't tell. Independent of speed."""
    total = inertia(robot)
    if not total:
        return None
    omega = 100.0
    given = shot_energy_j(robot, float(np.exp(model_log_speed(robot, omega * RPM))))
    return 1 - math.sqrt(max(1 - given / (total * omega**2 / 2), 0.04))


def inertia(robot: Robot) -> float:
    """Of all wheels, referred to the first one's speed, kg m^2; 0 where unknown."""
    wheel = robot.launcher.flywheel
    if wheel is None or not wheel.wheel_inertia:
        return 0.0
    return wheel.wheel_inertia * (1 + wheel.speed_ratio**2 if wheel.wheels == 2 else 1.0)


def released_energy(robot: Robot, drop: Drop) -> float | None:
    """Energy the wheels lost in a drop, joules; None without an inertia."""
    total = inertia(robot)
    if not total:
        return None
    before, after = drop.before_rpm / RPM, max(drop.before_rpm - drop.depth_rpm, 0.0) / RPM
    return total * (before**2 - after**2) / 2


@dataclass(slots=True)
class _Peak:
    drop: Drop
    began_s: float


class DropWatch:
    """Finds drops in a stream of samples that carry turns, or else the robot's own rpm."""

    def __init__(self, robot: Robot) -> None:
        limits = Limits.of(robot)
        self._quantum = 1.0 / limits.counts_per_turn if limits.counts_per_turn else 0.0
        self._expected = drop_share(robot)
        self._slowest = _slowest(robot, limits)
        self._points: deque[tuple[float, float, Sample]] = deque(maxlen=160)
        self._peak: _Peak | None = None
        self._above_since: float | None = None
        self._turns = 0.0
        self._lowered_s = -math.inf

    @property
    def sees(self) -> bool:
        """Whether there is wheel data enough to witness a shot."""
        return len(self._points) >= 8

    def clear(self) -> None:
        """Forgets the past."""
        self._points.clear()
        self._peak = None
        self._above_since = None

    def see(self, sample: Sample, tick_s: float, eager: bool = False) -> Drop | None:
        """Takes one sample; a drop once it is past, about 80 ms after its start. ``eager`` halves the threshold."""
        turns = self._place(sample)
        points = self._points
        if turns is None or (points and sample.time_s - points[-1][0] < _SPACING_S):
            return None
        asked = points[-1][2].setpoint if points else None
        if sample.setpoint is not None and asked is not None and sample.setpoint < 0.97 * asked:
            self._lowered_s = sample.time_s
        points.append((sample.time_s, turns, sample))
        if len(points) < 8:
            return None
        found, needed = self._break(tick_s)
        if found is None:
            return self._pass(None, sample.time_s)
        strong = found.depth_rpm > (0.5 * needed if eager else needed)
        return self._pass(found if strong else None, sample.time_s, found.depth_rpm)

    def _place(self, sample: Sample) -> float | None:
        """Turns at a sample: counted, or summed from the robot's own rpm."""
        if sample.turns is not None:
            return sample.turns
        if sample.wheel_rpm is None:
            return None
        if self._points:
            self._turns = self._points[-1][1] + sample.wheel_rpm / 60 * (sample.time_s - self._points[-1][0])
        return self._turns

    def _break(self, tick_s: float) -> tuple[Drop | None, float]:
        """The broken line's drop at the instant watched now, and the depth from which it would be a shot."""
        points = self._points
        newest = points[-1][0]
        period = (newest - points[-8][0]) / 7
        after, before = max(_AFTER_S, 3.5 * period), max(_BEFORE_S, 5.5 * period)
        instant = newest - after
        near = [p for p in points if p[0] >= instant - before]
        t = np.array([p[0] for p in near]) - instant
        x = np.array([p[1] for p in near])
        if np.count_nonzero(t < 0) < 4 or np.count_nonzero(t > 0) < 3 or t[0] > -0.6 * before:
            return None, 0.0
        x = np.abs(x - x[0])
        design = np.column_stack([np.ones_like(t), t, np.maximum(t, 0.0)])
        covariance = np.linalg.inv(design.T @ design)
        fit = covariance @ (design.T @ x)
        rest = x - design @ fit
        rate = abs(float(fit[1]))
        variance = max(float(rest @ rest) / max(len(t) - 3, 1), (self._quantum**2 + (rate * tick_s) ** 2) / 12)
        error = math.sqrt(variance * covariance[2, 2]) * 60
        before_rpm, depth = rate * 60, -float(fit[2]) * 60
        needed = max(_SURE * error, (self._expected or 0.0) * _SHARE * before_rpm, _LEAST * before_rpm)
        if before_rpm < self._slowest or depth <= 0:
            return None, needed
        start = next((p[2] for p in reversed(near) if p[0] <= instant), near[0][2])
        return Drop(start, before_rpm, min(depth, before_rpm)), needed

    def _pass(self, found: Drop | None, now: float, depth: float = 0.0) -> Drop | None:
        """Keeps the deepest break of a run; hands it out when the run is over and was short."""
        peak = self._peak
        if found is not None and (peak is None or found.depth_rpm > peak.drop.depth_rpm):
            self._peak = _Peak(found, peak.began_s if peak else now)
            return None
        if peak is None or (found is not None and depth > 0.7 * peak.drop.depth_rpm):
            return None
        if found is not None and now - peak.drop.at.time_s < _AFTER_S + 0.04:
            return None
        self._peak = None
        braked = abs(peak.drop.at.time_s - self._lowered_s) < 0.4
        return None if braked or now - peak.began_s > _WIDEST_S else peak.drop


def _slowest(robot: Robot, limits: Limits) -> float:
    """Below this rpm a wheel isn't up for a shot."""
    if robot.setpoint.unit == "rpm":
        return max(0.5 * robot.setpoint.low, 0.08 * robot.setpoint.high)
    return 0.05 * limits.wheel_rpm
