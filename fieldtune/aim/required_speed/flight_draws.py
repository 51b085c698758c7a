"""Needed exit speed of a flight for draws whose unknowns are given once, to be asked at many distances.

What the table says of angle and drag is summed up a draw; what is left is a spline over the distance (and the drop).
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.aim.required_speed.interface import RequiredSpeedPoint, SplineAxis
from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.aim.required_speed.flight import FlightRequiredSpeed
    from fieldtune.arrays import FloatArray, IntArray
    from fieldtune.physics.openings import Free

_RUN = 4  # cubic splines: so many coefficients count at a point


@frozen
class FlightForDraws:
    """``table`` (K, splines, 4): corrections of log speed and of slope, and what an error of the angle adds to each.

    ``runs``: all its neighbouring rows, ``_RUN`` at a time along each spline, as a view.
    """

    need: FlightRequiredSpeed
    angle_error: FloatArray
    log_drag: FloatArray
    angle: FloatArray
    tangent: FloatArray
    table: FloatArray
    runs: FloatArray

    @classmethod
    def of(
        cls, need: FlightRequiredSpeed, angle_error: FloatArray, log_drag: FloatArray, steepest: float
    ) -> FlightForDraws:
        """With unknowns (K,) put in; the last ones are kept, as every answer to the same shots asks for them."""
        for made in _made:
            if made.need is need and made.angle_error is angle_error and made.log_drag is log_drag:
                return made
        angle = need.exit_angle + angle_error
        given = need.table.given([angle_error, log_drag])
        table = np.ascontiguousarray(given.reshape(len(angle), -1, given.shape[-1]))
        usable = np.where(angle < steepest, angle, np.nan)
        rows = table.reshape(-1, table.shape[-1])
        runs = np.lib.stride_tricks.sliding_window_view(rows, (_RUN, rows.shape[1]))[:, 0]
        if len(given.shape) > 3:  # over two splines: _RUN such runs, one a place of the first
            runs = np.lib.stride_tricks.sliding_window_view(runs, given.shape[2] * (_RUN - 1) + 1, axis=0)
            runs = np.moveaxis(runs[..., :: given.shape[2]], -1, 1)
        made = cls(need, angle_error, log_drag, usable, np.tan(angle), table, runs)
        _made.appendleft(made)
        return made

    def log_speed(self, distance: ArrayLike, miss: ArrayLike, which: IntArray) -> RequiredSpeedPoint:
        """See ``DrawsRequiredSpeed.log_speed``."""
        need = self.need
        window = need.target.miss_is_height
        d, beyond = np.asarray(distance, dtype=float), np.asarray(miss, dtype=float)
        rise = need.rise + beyond if window else need.rise
        d = d if window else d + beyond
        angle, tangent = self.angle[which], self.tangent[which]
        drop = d * tangent - rise
        possible = (drop > 0) & (d > 0)
        with np.errstate(invalid="ignore", divide="ignore"):
            drop, d = np.where(possible, drop, np.nan), np.where(possible, d, np.nan)
            points = [np.log(d), np.log(drop / d)] if window else [np.log(d)]
        value, slopes, by_drop_bend = self._summed(points, which)
        sec2 = 1 + tangent**2
        by_drop = -0.5 / drop + (slopes[1] / drop if window else 0.0)
        d_distance = (1 + slopes[0] - (slopes[1] if window else 0.0)) / d + by_drop * tangent
        end = 2 * np.exp(value[1]) / d
        slope = tangent - end * drop
        return RequiredSpeedPoint(
            value=vacuum_log_speed(d, drop, angle) + value[0],
            d_distance=d_distance,
            d_miss=-by_drop if window else d_distance,
            d_angle=tangent + value[2] + by_drop * d * sec2,
            d_drag=np.full_like(d, np.nan),
            slope=slope,
            slope_by_angle=sec2 - end * (d * sec2 * (1 + by_drop_bend) + drop * value[3]),
            bend=-(tangent - slope) / d * last_bend(value[1]),
        )

    def _summed(
        self, points: list[FloatArray], which: IntArray
    ) -> tuple[FloatArray, list[FloatArray], FloatArray | float]:
        """The four functions (4, n) at the points of those draws, the first one's derivatives along the splines, and
        the second one's over the drop.

        Along the last axis the coefficients near a point lie side by side, so they are fetched together.
        """
        axes = [axis for axis in self.need.table.axes if isinstance(axis, SplineAxis)]
        local = [axis.pieces(x) for axis, x in zip(axes, points, strict=True)]
        place, weights, bends = local[-1]
        start = which * self.table.shape[1] + place
        if len(local) == 1:
            near = self.runs[start]
            return np.einsum("kn,nkm->mn", weights, near), [np.einsum("kn,nk->n", bends, near[..., 0])], 0.0
        far_place, *far = local[0]
        near = self.runs[start + far_place * (axes[1].count + 2)]
        # Along the first spline, by its values and its derivatives: (n, 2, what is left).
        both = np.stack(far).transpose(2, 0, 1) @ near.reshape(*near.shape[:2], -1)
        line, bent = both.reshape(-1, 2, _RUN, near.shape[-1]).swapaxes(0, 1)
        value, by_drop = np.einsum("kn,nkm->mn", weights, line), np.einsum("kn,nkm->mn", bends, line[..., :2])
        return value, [np.einsum("kn,nk->n", weights, bent[..., 0]), by_drop[0]], by_drop[1]

    def free_at(self, center: RequiredSpeedPoint) -> Free:
        """See ``RequiredSpeed.free_at``."""
        return self.need.free_at(center)


_made: deque[FlightForDraws] = deque(maxlen=4)


def vacuum_log_speed(distance: FloatArray, drop: FloatArray, angle: FloatArray) -> FloatArray:
    return 0.5 * np.log(STANDARD_GRAVITY * distance**2 / (2 * drop)) - np.log(np.cos(angle))


def last_bend(slope_residual: FloatArray) -> FloatArray:
    """Bend of a path where it ends over its mean bend, where air makes the bend grow exponentially on the way.

    The residual is then ln(a (e^a - 1) / (2 (e^a - 1 - a))), a / 6 + a^2 / 72 ..., with a the logarithm of that growth.
    """
    growth = np.clip(6 * slope_residual, -4.0, 8.0)
    small = np.abs(growth) < 1e-6
    safe = np.where(small, 1.0, growth)
    return np.where(small, 1.0, safe / -np.expm1(-safe))
