"""Needed exit speed of a ball over the floor: it slides until it rolls, then rolls to rest (see ``physics.roll``).

Distances are horizontal, the way over the floor is longer by the cosine of its slope.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldtune.aim.exit import spin_ratio
from fieldtune.aim.floor import ground
from fieldtune.aim.need import NeedPoint
from fieldtune.aim.openings import Free, free
from fieldtune.physics.landing import Ground
from fieldtune.physics.roll import roll_needed_speed, roll_stop_distance
from fieldtune.robot.model import Element, Robot, Target

FloatArray = NDArray[np.float64]
_DIFFERENCE = 1e-4


@dataclass(frozen=True, slots=True)
class RollNeed:
    """Need of a zone or a gate for a ball; ``log_drag`` scales friction and rolling resistance together."""

    target: Target
    element: Element
    ground: Ground
    spin_ratio: float
    d_low: float
    d_high: float

    @classmethod
    def made(cls, robot: Robot, target: Target, top_speed: float) -> RollNeed:
        """For distances up to where ``top_speed`` comes to rest."""
        made = cls(target, robot.element, ground(robot), spin_ratio(robot), d_low=0.05, d_high=200.0)
        farthest = float(made._stop(np.array([math.log(top_speed)]), np.zeros(1))[0])
        return replace(made, d_high=min(max(1.15 * farthest, 0.1), 200.0)) if math.isfinite(farthest) else made

    def _resisting(self, log_scale: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Friction and rolling resistance (n,) over the log scale of both."""
        scale, at = np.exp(log_scale), self.ground
        return np.asarray(at.friction, dtype=float) * scale, np.asarray(at.rolling, dtype=float) * scale

    def _stop(self, log_speed: FloatArray, log_scale: FloatArray) -> FloatArray:
        """Distance to rest, metres, over ln(speed) and the log scale of both resistances."""
        at, v = self.ground, np.exp(log_speed)
        turn = self.spin_ratio * v
        far = roll_stop_distance(v, *self._resisting(log_scale), at.slope, at.drag, inertia=at.inertia, spin=turn)
        return far * math.cos(at.slope)

    def log_speed(
        self, distance: ArrayLike, miss: ArrayLike = 0.0, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0
    ) -> NeedPoint:
        """See ``need.Need.log_speed``; the exit angle has no say on the floor."""
        d, m, scale, _ = (
            np.array(a, dtype=float).ravel() for a in np.broadcast_arrays(distance, miss, log_drag, angle_error)
        )
        length = np.where(d + m > 0, d + m, np.nan)
        at, ratio = self.ground, self.spin_ratio
        way, resisting = length / math.cos(at.slope), self._resisting(scale)
        needed = roll_needed_speed(way, *resisting, at.slope, at.drag, inertia=at.inertia, spin_ratio=ratio)
        value = np.log(needed)
        h = _DIFFERENCE
        by_speed = (self._stop(value + h, scale) - self._stop(value - h, scale)) / (2 * h)
        by_scale = (self._stop(value, scale + h) - self._stop(value, scale - h)) / (2 * h)
        return NeedPoint(
            value=value,
            d_distance=1 / by_speed,
            d_miss=1 / by_speed,
            d_angle=np.zeros_like(length),
            d_drag=-by_scale / by_speed,
            slope=np.full_like(length, math.tan(at.slope)),
        )

    def free(self, distance: ArrayLike, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0) -> Free:
        """See ``need.Need.free``."""
        return self.free_at(self.log_speed(distance, 0.0, angle_error, log_drag))

    def free_at(self, center: NeedPoint) -> Free:
        """See ``need.Need.free_at``."""
        return free(self.target, self.element, center.slope)
