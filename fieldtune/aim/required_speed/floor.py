"""Required exit speed over the floor, of a slide and of a ball that rolls.

A slide has Coulomb friction, slope and air drag, in closed form.

v^2 = (a / c) (exp(2 c D) - 1) with a = g (mu cos(slope) + sin(slope)) and c = rho Cd A / (2 m): the energy lost a metre
is linear in v^2. D is the way over the floor, longer than the horizontal distance by the cosine of the slope.
A ball slides until it rolls, then rolls to rest (see ``physics.rolling``).
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.aim.element_path import ground, sliding_drag
from fieldtune.aim.required_speed.interface import RequiredSpeedPoint, TargetRequiredSpeed
from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.frozen import frozen
from fieldtune.physics.rolling import roll_needed_speed, roll_stop_distance
from fieldtune.robot.exit_speed import spin_ratio

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.physics.rolling import Ground
    from fieldtune.robot.model import Robot, Target


@frozen
class SlidingRequiredSpeed(TargetRequiredSpeed):
    """Required speed of a zone (stop there) or a gate (still moving there): friction is what ``log_drag`` scales."""

    friction: float
    slope: float
    drag_per_metre: float
    d_low: float
    d_high: float

    @classmethod
    def made(cls, robot: Robot, target: Target, top_speed: float) -> SlidingRequiredSpeed:
        """For distances up to where ``top_speed`` comes to rest with the profile's friction."""
        c = sliding_drag(robot)
        a = STANDARD_GRAVITY * (robot.floor.friction * math.cos(robot.floor.slope) + math.sin(robot.floor.slope))
        farthest = math.log1p(2 * c * top_speed**2 / (2 * a)) / (2 * c) if a > 0 else math.inf
        farthest *= math.cos(robot.floor.slope)
        return cls(target, robot.element, robot.floor.friction, robot.floor.slope, c, 0.05, min(1.15 * farthest, 200.0))

    def log_speed(
        self, distance: ArrayLike, miss: ArrayLike = 0.0, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0
    ) -> RequiredSpeedPoint:
        """See ``RequiredSpeed.log_speed``; the exit angle has no say in a slide."""
        d, m, drag, _ = (
            np.array(a, dtype=float).ravel() for a in np.broadcast_arrays(distance, miss, log_drag, angle_error)
        )
        length = np.where(d + m > 0, d + m, np.nan)
        rubbing = STANDARD_GRAVITY * self.friction * np.exp(drag) * math.cos(self.slope)
        deceleration = rubbing + STANDARD_GRAVITY * math.sin(self.slope)
        deceleration = np.where(deceleration > 0, deceleration, np.nan)
        loss = 2 * self.drag_per_metre / math.cos(self.slope)
        growth = loss * length
        per_metre = 0.5 * np.exp(growth) * loss / np.expm1(growth)
        return RequiredSpeedPoint(
            value=0.5 * np.log(deceleration * np.expm1(growth) / self.drag_per_metre),
            d_distance=per_metre,
            d_miss=per_metre,
            d_angle=np.zeros_like(length),
            d_drag=0.5 * rubbing / deceleration,
            slope=np.full_like(length, math.tan(self.slope)),
            slope_by_angle=np.zeros_like(length),
            bend=np.zeros_like(length),
        )


_DIFFERENCE = 1e-4


@frozen
class RollingRequiredSpeed(TargetRequiredSpeed):
    """Required speed of a zone or a gate for a ball; ``log_drag`` scales friction and rolling resistance together."""

    ground: Ground
    spin_ratio: float
    d_low: float
    d_high: float

    @classmethod
    def made(cls, robot: Robot, target: Target, top_speed: float) -> RollingRequiredSpeed:
        """For distances up to where ``top_speed`` comes to rest."""
        made = cls(target, robot.element, ground(robot), spin_ratio(robot), d_low=0.05, d_high=200.0)
        farthest = float(made._stop(np.array([math.log(top_speed)]), np.zeros(1))[0])
        return replace(made, d_high=min(max(1.15 * farthest, 0.1), 200.0)) if math.isfinite(farthest) else made

    def _resisting(self, log_scale: FloatArray) -> Ground:
        """The floor with friction and rolling resistance (n,) over the log scale of both."""
        scale, at = np.exp(log_scale), self.ground
        friction, rolling = (np.asarray(share, dtype=float) * scale for share in (at.friction, at.rolling))
        return replace(at, friction=friction, rolling=rolling)

    def _stop(self, log_speed: FloatArray, log_scale: FloatArray) -> FloatArray:
        """Distance to rest, metres, over ln(speed) and the log scale of both resistances."""
        v = np.exp(log_speed)
        return roll_stop_distance(v, self._resisting(log_scale), self.spin_ratio * v) * math.cos(self.ground.slope)

    def log_speed(
        self, distance: ArrayLike, miss: ArrayLike = 0.0, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0
    ) -> RequiredSpeedPoint:
        """See ``RequiredSpeed.log_speed``; the exit angle has no say on the floor."""
        d, m, scale, _ = (
            np.array(a, dtype=float).ravel() for a in np.broadcast_arrays(distance, miss, log_drag, angle_error)
        )
        length = np.where(d + m > 0, d + m, np.nan)
        at = self.ground
        needed = roll_needed_speed(length / math.cos(at.slope), self._resisting(scale), self.spin_ratio)
        value = np.log(needed)
        h = _DIFFERENCE
        by_speed = (self._stop(value + h, scale) - self._stop(value - h, scale)) / (2 * h)
        by_scale = (self._stop(value, scale + h) - self._stop(value, scale - h)) / (2 * h)
        return RequiredSpeedPoint(
            value=value,
            d_distance=1 / by_speed,
            d_miss=1 / by_speed,
            d_angle=np.zeros_like(length),
            d_drag=-by_scale / by_speed,
            slope=np.full_like(length, math.tan(at.slope)),
            slope_by_angle=np.zeros_like(length),
            bend=np.zeros_like(length),
        )
