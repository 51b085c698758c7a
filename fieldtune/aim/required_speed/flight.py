"""Needed exit speed of a throw, flying or landing first: the exact solvers tabulated once.

What is tabulated is the correction that air makes to the vacuum parabola, v^2 = g D^2 / (2 cos^2(angle) drop) with
drop = D tan(angle) - rise, so that the steep parts stay analytic and a few nodes are enough.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.aim.element_path import flying_body, thrown
from fieldtune.aim.required_speed.flight_draws import FlightForDraws, last_bend, vacuum_log_speed
from fieldtune.aim.required_speed.interface import (
    Axis,
    RequiredSpeedPoint,
    SplineAxis,
    TargetRequiredSpeed,
    Tensor,
    exit_angle_room,
)
from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.frozen import frozen
from fieldtune.physics.required_speed import needed_speed
from fieldtune.robot.exit_speed import soars, spin_ratio

if TYPE_CHECKING:
    from fieldtune.aim.rim_scores import RimScores
    from fieldtune.arrays import FloatArray
    from fieldtune.physics.flying_body import Body
    from fieldtune.physics.openings import Free
    from fieldtune.robot.model import Robot, Target

_FLATTEST_DROP, _STEEPEST = 0.05, math.radians(89.9)
_MARGIN = 3.5
_BASKET_NODES = {"distance": 24, "angle": 5, "drag": 5}
_WINDOW_NODES = {"distance": 26, "drop": 14, "angle": 4, "drag": 5}
_FARTHEST = 100.0
"""Distances (m) beyond which nothing is asked (``reach.check_distance``)."""
_USUAL_SPAN = math.log(16.0 / 0.8)
"""Span of ln(distance) that the nodes above are enough for; wider tables get more."""


@frozen
class FlightRequiredSpeed(TargetRequiredSpeed):
    """Required speed of a basket (rise fixed, miss shifts the distance) or a window (miss shifts the rise)."""

    exit_angle: float
    rise: float
    table: Tensor
    d_low: float
    d_high: float
    rim_scores: Callable[[], RimScores] | None = None

    @classmethod
    def made(cls, robot: Robot, target: Target, top_speed: float) -> FlightRequiredSpeed:
        """Tabulate for distances up to the reach of ``top_speed`` and unknowns within three standard deviations."""
        flying, spin = flying_body(robot), spin_ratio(robot)
        exit_angle = robot.launcher.exit_angle
        angle_sd, drag_sd = robot.uncertainty.exit_angle, robot.uncertainty.drag
        rise = target.height - robot.launcher.exit_height
        angle_span = min(max(3 * angle_sd, math.radians(2)), math.radians(15), exit_angle_room(exit_angle))
        drag_span = min(max(3 * drag_sd, 0.1), 1.5)
        window = target.miss_is_height
        d_low, d_high = _reach(flying, rise, exit_angle, spin, top_speed, window)
        nodes = _WINDOW_NODES if window else _BASKET_NODES
        wide = max(math.log(d_high / d_low) / _USUAL_SPAN, 1.0)
        count = math.ceil(nodes["distance"] * wide)
        axes: list[Axis | SplineAxis] = [SplineAxis(math.log(d_low), math.log(d_high), count)]
        if window:
            tallest = math.tan(exit_angle + angle_span) + (abs(rise) + 1.0) / d_low
            axes.append(SplineAxis(math.log(_FLATTEST_DROP), math.log(max(tallest, 0.2)), nodes["drop"]))
        axes += [Axis(-angle_span, angle_span, nodes["angle"]), Axis(-drag_span, drag_span, nodes["drag"])]
        grid = np.meshgrid(*[axis.nodes() for axis in axes], indexing="ij")
        distance, angle, log_drag = np.exp(grid[0].ravel()), exit_angle + grid[-2].ravel(), grid[-1].ravel()
        drop = distance * np.exp(grid[1].ravel()) if window else distance * np.tan(angle) - rise
        # Above the straight line of departure no speed gets there; falls far below any floor are not worth their time.
        deepest = _MARGIN * (distance * np.abs(np.tan(angle)) + abs(rise) + 1.0)
        drop = np.where((drop > 0) & (drop < deepest), drop, np.nan)
        searched = soars(robot)
        climb = distance * np.tan(angle) - drop
        solved = needed_speed(flying, distance, climb, angle, spin, log_drag, thorough=searched)
        speed_residual = np.log(solved.speed) - vacuum_log_speed(distance, drop, angle)
        with np.errstate(invalid="ignore"):
            slope_residual = np.log(np.maximum((np.tan(angle) - solved.slope) * distance / (2 * drop), 1e-3))
        residuals, shape = (speed_residual, slope_residual), grid[0].shape
        made = cls(
            target,
            robot.element,
            exit_angle,
            rise,
            Tensor.fitted(tuple(axes), np.stack([_filled(r.reshape(shape)) for r in residuals], axis=-1)),
            d_low,
            d_high,
        )
        touched = target.touched(robot.element)
        if touched is None:
            return made

        @cache  # worked out when first asked for: of all that asks for needed speeds, hit chances alone want it
        def rim_scores() -> RimScores:
            from fieldtune.aim.rim_scores import RimScores

            return RimScores.made(robot, touched, made, angle_span)

        return replace(made, rim_scores=rim_scores)

    @property
    def rim(self) -> RimScores | None:
        """See ``RequiredSpeed.rim``."""
        return None if self.rim_scores is None else self.rim_scores()

    def log_speed(
        self, distance: ArrayLike, miss: ArrayLike = 0.0, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0
    ) -> RequiredSpeedPoint:
        """See ``RequiredSpeed.log_speed``."""
        d, m, error, drag = (
            np.array(a, dtype=float).ravel() for a in np.broadcast_arrays(distance, miss, angle_error, log_drag)
        )
        window = self.target.miss_is_height
        rise = self.rise + m if window else np.full_like(d, self.rise)
        if not window:
            d = d + m
        angle = self.exit_angle + error
        tangent = np.tan(angle)
        drop = d * tangent - rise
        possible = (drop > 0) & (d > 0) & (angle < _STEEPEST)
        drop, d, angle = (np.where(possible, values, np.nan) for values in (drop, d, angle))
        points = [np.log(d), np.log(drop / d), error, drag] if window else [np.log(d), error, drag]
        (residual, slope_residual), gradients = self.table.at(points)
        slopes = [gradient[0] for gradient in gradients]
        bends = [gradient[1] for gradient in gradients]
        sec2 = 1 + tangent**2
        by_drop = -0.5 / drop + (slopes[1] / drop if window else 0.0)
        d_distance = (1 + slopes[0] - (slopes[1] if window else 0.0)) / d + by_drop * tangent
        d_angle = tangent + slopes[-2] + by_drop * d * sec2
        end = 2 * np.exp(slope_residual) / d
        slope = tangent - end * drop
        turned = sec2 - end * (d * sec2 * (1 + (bends[1] if window else 0.0)) + drop * bends[-2])
        return RequiredSpeedPoint(
            value=vacuum_log_speed(d, drop, angle) + residual,
            d_distance=d_distance,
            d_miss=-by_drop if window else d_distance,
            d_angle=d_angle,
            d_drag=slopes[-1],
            slope=slope,
            slope_by_angle=turned,
            bend=-(tangent - slope) / d * last_bend(slope_residual),
        )

    def free_at(self, center: RequiredSpeedPoint) -> Free:
        """See ``RequiredSpeed.free_at``."""
        return self.target.free(self.element, center.slope, center.bend, self.rise > 0)

    def for_draws(self, angle_error: FloatArray, log_drag: FloatArray) -> FlightForDraws:
        """See ``RequiredSpeed.for_draws``."""
        return FlightForDraws.of(self, angle_error, log_drag, _STEEPEST)


def _filled(residual: FloatArray) -> FloatArray:
    """Nodes without a solution (far beyond reach) go on in a straight line from their neighbours: along drag, then
    angle, then distance."""
    for axis in (-1, -2, 0):
        lines = np.moveaxis(residual.copy(), axis, 0)
        for run in (lines, lines[::-1]):
            for k in range(1, len(run)):
                on = run[k - 1] if k == 1 else np.where(np.isnan(run[k - 2]), run[k - 1], 2 * run[k - 1] - run[k - 2])
                run[k] = np.where(np.isnan(run[k]), on, run[k])
        residual = np.moveaxis(lines, 0, axis)
    return np.nan_to_num(residual)


def _reach(
    flying: Body, rise: float, exit_angle: float, spin_ratio: float, top_speed: float, window: bool
) -> tuple[float, float]:
    """Distances from the steepest path worth tabulating to the reach of the top speed, metres.

    A window's table knows no rise: it also serves draws that leave steeper, and what passes below its centre.
    """
    nearest = max((0.3 if window else 1.05) * rise / math.tan(max(exit_angle, math.radians(1))), 0.05)
    vacuum = top_speed**2 / STANDARD_GRAVITY + 2 * abs(rise) + 1
    candidates = np.geomspace(nearest, max(min(vacuum, _FARTHEST), 2 * nearest), 40)
    speeds = needed_speed(flying, candidates, rise, exit_angle, spin_ratio, thorough=False).speed
    good = candidates[np.isfinite(speeds) & (speeds <= top_speed)]
    farthest = float(good.max()) if good.size else 2 * nearest
    return nearest, max(min(1.15 * farthest, _FARTHEST), 1.5 * nearest)


# Needed exit speed of a throw that lands first, then bounces and slides or rolls to rest (``physics.landing``).
#
# Tabulated once: throws over the speeds the launcher has are followed to rest, and the ln(speed) that ends at a
# distance is read off them. Distance grows with the speed, so that there is one.


_SPEEDS, _DISTANCES, _ANGLES, _FRICTIONS = 40, 48, 5, 5
_SLOWEST = 0.1
_FARTHEST_ROLL = 60.0


@frozen
class LandingRequiredSpeed(TargetRequiredSpeed):
    """Required speed of a zone or a gate that a throw reaches over the floor; ``log_drag`` scales friction and rolling
    resistance."""

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
            slope_by_angle=np.zeros_like(length),
            bend=np.zeros_like(length),
        )


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
