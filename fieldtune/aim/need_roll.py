"""Needed exit speed of a ball over the floor: it slides until it rolls, then rolls to rest.

A ball that starts without spin slides until its surface keeps up; on level floor it then rolls with 5/7 of its speed
(textbook result for a solid sphere). Rolling resistance and air drag stop it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldtune.aim.bodies import sliding_drag
from fieldtune.aim.need import NeedPoint
from fieldtune.aim.openings import Free, free
from fieldtune.robot.model import Element, Robot, Target

FloatArray = NDArray[np.float64]
G = 9.80665
_NEWTON_STEPS = 8
_DIFFERENCE = 1e-4


@dataclass(frozen=True, slots=True)
class RollNeed:
    """Need of a zone or a gate for a ball; ``log_drag`` scales friction and rolling resistance together."""

    target: Target
    element: Element
    friction: float
    rolling: float
    slope: float
    drag_per_metre: float
    d_low: float
    d_high: float

    @classmethod
    def made(cls, robot: Robot, target: Target, top_speed: float) -> RollNeed:
        """For distances up to where ``top_speed`` comes to rest."""
        floor, c = robot.floor, sliding_drag(robot)
        made = cls(target, robot.element, floor.friction, floor.rolling, floor.slope, c, 0.05, math.inf)
        farthest = float(made._length(np.array([2 * math.log(top_speed)]), np.zeros(1))[0][0])
        reach = 1.15 * farthest if math.isfinite(farthest) else 200.0
        return cls(
            target, robot.element, floor.friction, floor.rolling, floor.slope, c, 0.05, min(max(reach, 0.1), 200.0)
        )

    def _length(self, log_energy: FloatArray, log_scale: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Distance to rest and its derivative, over ln(v^2) and the log scale of both resistances."""
        scale, v2 = np.exp(log_scale), np.exp(log_energy)
        rubbing, uphill = self.friction * scale * math.cos(self.slope), math.sin(self.slope)
        slowing, closing = G * (rubbing + uphill), G * (3.5 * rubbing + uphill)
        closing = np.where(closing > 0, closing, np.nan)
        sliding = (1 / closing - 0.5 * slowing / closing**2) * v2
        rolls = (1 - slowing / closing) ** 2 * v2
        resisting = G * (self.rolling * scale * math.cos(self.slope) + 5 / 7 * uphill)
        resisting = np.where(resisting > 0, resisting, np.nan)
        loss = 2 * self.drag_per_metre
        length = sliding + np.log1p(loss * rolls / resisting / 2) / loss
        return length, sliding + (rolls / resisting / 2) / (1 + loss * rolls / resisting / 2)

    def _solve(self, length: FloatArray, log_scale: FloatArray) -> tuple[FloatArray, FloatArray]:
        """ln(v^2) that comes to rest after ``length``, and d length / d ln(v^2), by Newton on ln length."""
        log_energy = np.log(2 * G * self.rolling * length)
        for _ in range(_NEWTON_STEPS):
            reached, slope = self._length(log_energy, log_scale)
            log_energy = log_energy - np.clip((np.log(reached) - np.log(length)) * reached / slope, -2.0, 2.0)
        return log_energy, self._length(log_energy, log_scale)[1]

    def log_speed(
        self, distance: ArrayLike, miss: ArrayLike = 0.0, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0
    ) -> NeedPoint:
        """See ``need.Need.log_speed``; the exit angle has no say on the floor."""
        d, m, scale, _ = (
            np.array(a, dtype=float).ravel() for a in np.broadcast_arrays(distance, miss, log_drag, angle_error)
        )
        length = np.where(d + m > 0, d + m, np.nan)
        log_energy, per_log = self._solve(length, scale)
        more = self._length(log_energy, scale + _DIFFERENCE)[0] - self._length(log_energy, scale - _DIFFERENCE)[0]
        per_metre = 0.5 / per_log
        return NeedPoint(
            value=0.5 * log_energy,
            d_distance=per_metre,
            d_miss=per_metre,
            d_angle=np.zeros_like(length),
            d_drag=-per_metre * more / (2 * _DIFFERENCE),
            slope=np.full_like(length, math.tan(self.slope)),
        )

    def free(self, distance: ArrayLike, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0) -> Free:
        """See ``need.Need.free``."""
        return self.free_at(self.log_speed(distance, 0.0, angle_error, log_drag))

    def free_at(self, center: NeedPoint) -> Free:
        """See ``need.Need.free_at``."""
        return free(self.target, self.element, np.zeros_like(center.value))
