"""Needed exit speed of a slide over the floor: Coulomb friction, slope and air drag, in closed form.

v^2 = (a / c) (exp(2 c D) - 1) with a = g (mu cos(slope) + sin(slope)) and c = rho Cd A / (2 m): the energy lost a metre
is linear in v^2. D is the way over the floor, longer than the horizontal distance by the cosine of the slope.
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


@dataclass(frozen=True, slots=True)
class SlideNeed:
    """Need of a zone (stop there) or a gate (still moving there): friction is what ``log_drag`` scales."""

    target: Target
    element: Element
    friction: float
    slope: float
    drag_per_metre: float
    d_low: float
    d_high: float

    @classmethod
    def made(cls, robot: Robot, target: Target, top_speed: float) -> SlideNeed:
        """For distances up to where ``top_speed`` comes to rest with the profile's friction."""
        c = sliding_drag(robot)
        a = G * (robot.floor.friction * math.cos(robot.floor.slope) + math.sin(robot.floor.slope))
        farthest = math.log1p(2 * c * top_speed**2 / (2 * a)) / (2 * c) if a > 0 else math.inf
        farthest *= math.cos(robot.floor.slope)
        return cls(target, robot.element, robot.floor.friction, robot.floor.slope, c, 0.05, min(1.15 * farthest, 200.0))

    def log_speed(
        self, distance: ArrayLike, miss: ArrayLike = 0.0, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0
    ) -> NeedPoint:
        """See ``need.Need.log_speed``; the exit angle has no say in a slide."""
        d, m, drag, _ = (
            np.array(a, dtype=float).ravel() for a in np.broadcast_arrays(distance, miss, log_drag, angle_error)
        )
        length = np.where(d + m > 0, d + m, np.nan)
        rubbing = G * self.friction * np.exp(drag) * math.cos(self.slope)
        deceleration = rubbing + G * math.sin(self.slope)
        deceleration = np.where(deceleration > 0, deceleration, np.nan)
        loss = 2 * self.drag_per_metre / math.cos(self.slope)
        growth = loss * length
        per_metre = 0.5 * np.exp(growth) * loss / np.expm1(growth)
        return NeedPoint(
            value=0.5 * np.log(deceleration * np.expm1(growth) / self.drag_per_metre),
            d_distance=per_metre,
            d_miss=per_metre,
            d_angle=np.zeros_like(length),
            d_drag=0.5 * rubbing / deceleration,
            slope=np.full_like(length, math.tan(self.slope)),
        )

    def free(self, distance: ArrayLike, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0) -> Free:
        """See ``need.Need.free``."""
        return self.free_at(self.log_speed(distance, 0.0, angle_error, log_drag))

    def free_at(self, center: NeedPoint) -> Free:
        """See ``need.Need.free_at``."""
        return free(self.target, self.element, center.slope)
