"""Needed exit speed of a throw that lands first, then bounces and slides or rolls to rest (``physics.landing``).

Tabulated once: throws over the speeds the launcher has are followed to rest, and the ln(speed) that ends at a distance
is read off them. Distance grows with the speed, so that there is one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.aim.floor_path import thrown
from fieldtune.aim.required_speed.interface import RequiredSpeedPoint, exit_angle_room
from fieldtune.aim.required_speed.tensor import Axis, SplineAxis, Tensor

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.physics.openings import Free
    from fieldtune.robot.model import Element, Robot, Target

_SPEEDS, _DISTANCES, _ANGLES, _FRICTIONS = 40, 48, 5, 5
_SLOWEST = 0.1
_FARTHEST_ROLL = 60.0


@dataclass(frozen=True, slots=True)
class LandingRequiredSpeed:
    """Required speed of a zone or a gate that a throw reaches over the floor; ``log_drag`` scales friction and rolling
    resistance."""

    target: Target
    element: Element
    slope: float
    table: Tensor
    d_low: float
    d_high: float

    @classmethod
    def made(cls, robot: Robot, target: Target, top_speed: float) -> LandingRequiredSpeed:
        """For distances up to where ``top_speed`` comes to rest, and unknowns within three standard deviations."""
        angle_sd, friction_sd = robot.uncertainty.exit_angle, robot.uncertainty.friction
        exit_angle = robot.launcher.exit_angle
        angle_span = min(max(3 * angle_sd, math.radians(2)), math.radians(15), exit_angle_room(exit_angle))
        friction_span = min(max(3 * friction_sd, 0.1), 1.5)
        angles, frictions = Axis(-angle_span, angle_span, _ANGLES), Axis(-friction_span, friction_span, _FRICTIONS)
        log_speed = np.linspace(math.log(_SLOWEST), math.log(max(1.3 * top_speed, 2 * _SLOWEST)), _SPEEDS)
        v, error, scale = np.meshgrid(np.exp(log_speed), angles.nodes(), frictions.nodes(), indexing="ij")
        rest = thrown(robot, v.ravel(), error.ravel(), scale.ravel()).distance.reshape(v.shape)
        d_low, d_high = _span(rest[:, _ANGLES // 2, _FRICTIONS // 2])
        distances = SplineAxis(math.log(d_low), math.log(d_high), _DISTANCES)
        needed = np.empty((_DISTANCES, _ANGLES, _FRICTIONS, 1))
        for place in np.ndindex(_ANGLES, _FRICTIONS):
            needed[:, *place, 0] = _inverse(rest[:, *place], log_speed, distances.nodes())
        table = Tensor.fitted((distances, angles, frictions), needed)
        return cls(target, robot.element, robot.floor.slope, table, d_low, d_high)

    def log_speed(
        self, distance: ArrayLike, miss: ArrayLike = 0.0, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0
    ) -> RequiredSpeedPoint:
        """See ``RequiredSpeed.log_speed``."""
        d, m, error, scale = (
            np.array(a, dtype=float).ravel() for a in np.broadcast_arrays(distance, miss, angle_error, log_drag)
        )
        length = np.where(d + m > 0, d + m, np.nan)
        place = np.log(length)
        held = np.clip(place, self.table.axes[0].low, self.table.axes[0].high)
        (value,), slopes = self.table.at([held, error, scale])
        by_place, by_angle, by_scale = (slope[0] for slope in slopes)
        return RequiredSpeedPoint(
            value=value + by_place * (place - held),
            d_distance=by_place / length,
            d_miss=by_place / length,
            d_angle=by_angle,
            d_drag=by_scale,
            slope=np.full_like(length, math.tan(self.slope)),
        )

    def free(self, distance: ArrayLike, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0) -> Free:
        """See ``RequiredSpeed.free``."""
        return self.free_at(self.log_speed(distance, 0.0, angle_error, log_drag))

    def free_at(self, center: RequiredSpeedPoint) -> Free:
        """See ``RequiredSpeed.free_at``."""
        return self.target.free(self.element, center.slope)


def _span(rest: FloatArray) -> tuple[float, float]:
    """Distances worth tabulating: from the slowest throw's to the fastest's."""
    known = rest[np.isfinite(rest) & (rest > 0)]
    if not known.size:
        return 0.05, 0.1
    low = max(float(known.min()), 0.02)
    return low, min(max(float(known.max()), 2 * low), _FARTHEST_ROLL)


def _inverse(rest: FloatArray, log_speed: FloatArray, log_distance: FloatArray) -> FloatArray:
    """ln(speed) at which throws come to rest at exp(log_distance), continued in a straight line at either end.

    Where a faster throw ends nearer, bitten by its backspin, the slowest that gets there counts.
    """
    known = np.isfinite(rest) & (rest > 1e-3)
    farther = known & (rest > np.maximum.accumulate(np.concatenate([[0.0], np.where(known, rest, 0.0)[:-1]])) * 1.0001)
    x, y = np.log(rest[farther]), log_speed[farther]
    if len(x) < 2:
        return np.full_like(log_distance, 20.0)
    held = np.clip(log_distance, x[0], x[-1])
    edge = np.where(log_distance < x[0], (y[1] - y[0]) / (x[1] - x[0]), (y[-1] - y[-2]) / (x[-1] - x[-2]))
    return np.asarray(np.interp(held, x, y) + edge * (log_distance - held))
