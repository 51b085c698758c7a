"""Flight of a batch of launches: where they are at a distance, how fast they must leave to hit, what their path looks
like.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldtune.physics.body import Body
from fieldtune.physics.march import Course, march

FloatArray = NDArray[np.float64]
FASTEST = 300.0
"""Exit speeds above this (m/s) are not looked for: the drag laws end well before the speed of sound."""

_PASSES = 40
_LOG_SPEED_TOLERANCE = 1e-9


@dataclass(frozen=True, slots=True)
class FlightPoint:
    """Launches (n,) at their distance: ``height`` and ``apex`` (greatest height so far) in metres above the exit,
    ``slope`` the tangent of the path's angle (negative: descending), ``speed`` m/s, ``time`` s. nan where a path
    never gets there.
    """

    height: FloatArray
    slope: FloatArray
    speed: FloatArray
    time: FloatArray
    apex: FloatArray


@dataclass(frozen=True, slots=True)
class NeededSpeed:
    """Exit speeds (n,), m/s, that reach a height at a distance, with ``slope`` (tangent), ``time`` (s) and ``apex``
    (m above exit) there, and the derivatives of ln(speed) over distance and rise, 1/m. nan where no speed does it."""

    speed: FloatArray
    slope: FloatArray
    time: FloatArray
    apex: FloatArray
    d_ln_speed_d_distance: FloatArray
    d_ln_speed_d_rise: FloatArray


def fly(
    body: Body,
    speed: ArrayLike,
    elevation: ArrayLike,
    spin_ratio: ArrayLike,
    distance: ArrayLike,
    log_drag: ArrayLike = 0.0,
) -> FlightPoint:
    """Launches at speed (m/s), elevation (rad) and spin ratio (surface speed over exit speed, backspin positive), at a
    horizontal distance (m); ``log_drag`` is a log factor on drag. All broadcast to (n,).

    nan where a path turns vertical first, and for speeds or distances that aren't positive (distance 0 is the exit).
    """
    v, angle, spin, d, scale = _lanes(speed, elevation, spin_ratio, distance, log_drag)
    course = _at_exit(v, angle, spin, scale)
    if _is_vacuum(body):
        _vacuum(body, course, d)
    else:
        march(body, course, d)
    lost = ~(d >= 0) | np.isnan(course.r)
    for values in (course.p, course.r, course.y, course.t, course.top):
        values[lost] = np.nan
    return FlightPoint(course.y, course.p, np.hypot(1.0, course.p) / course.r, course.t, course.top)


def needed_speed(
    body: Body,
    distance: ArrayLike,
    rise: ArrayLike,
    elevation: ArrayLike,
    spin_ratio: ArrayLike = 0.0,
    log_drag: ArrayLike = 0.0,
) -> NeededSpeed:
    """Exit speed at which the centre passes ``rise`` (m above exit) at ``distance`` (m), leaving at ``elevation``
    (rad); the spin grows with the speed (fixed ``spin_ratio``). All broadcast to (n,).

    nan where it is impossible: the target lies on or above the straight line of departure, or it takes more than
    ``FASTEST``.
    """
    d, h, angle, spin, scale = _lanes(distance, rise, elevation, spin_ratio, log_drag)
    drop = d * np.tan(angle) - h
    possible = np.flatnonzero((drop > 0) & (d > 0) & (np.abs(angle) < np.pi / 2) & np.isfinite(drop + spin + scale))
    case = _Case(body, *(a[possible] for a in (d, angle, spin, scale, drop)))
    log_speed = case.solve()
    results = np.full((6, d.size), np.nan)
    results[:, possible] = case.figures(log_speed)
    return NeededSpeed(*results)


def path(
    body: Body,
    speed: ArrayLike,
    elevation: ArrayLike,
    spin_ratio: ArrayLike,
    x: ArrayLike,
    log_drag: ArrayLike = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Heights above the exit (m) and speeds (m/s) of launches (n,) at rising distances x (m,), each (n, m).

    nan beyond the point where a path turns vertical.
    """
    places = np.asarray(x, dtype=float).ravel()
    v, angle, spin, scale = _lanes(speed, elevation, spin_ratio, log_drag)
    course = _at_exit(v, angle, spin, scale)
    heights, speeds = np.empty((v.size, places.size)), np.empty((v.size, places.size))
    at = 0.0
    for column, place in enumerate(places):
        gap = np.full(v.size, place - at)
        if _is_vacuum(body):
            _vacuum(body, course, gap)
        else:
            march(body, course, gap, with_top=False)
        at = float(place)
        heights[:, column], speeds[:, column] = course.y, np.hypot(1.0, course.p) / course.r
    return heights, speeds


@dataclass(slots=True)
class _Case:
    """Targets (n,) that a straight departure passes above by ``drop``; solved over ln(speed)."""

    body: Body
    distance: FloatArray
    angle: FloatArray
    spin: FloatArray
    scale: FloatArray
    drop: FloatArray

    def at(self, log_speed: FloatArray, lanes: NDArray[np.intp], with_top: bool = False) -> Course:
        """The launches at these lanes with these log speeds, carried to the target."""
        course = _at_exit(np.exp(log_speed), self.angle[lanes], self.spin[lanes], self.scale[lanes])
        if _is_vacuum(self.body):
            _vacuum(self.body, course, self.distance[lanes])
        else:
            march(self.body, course, self.distance[lanes], with_top)
        return course

    def vacuum_log_speed(self) -> FloatArray:
        """Closed form without air: v^2 = g D^2 / (2 cos^2(angle) drop)."""
        square = self.body.gravity * self.distance**2 / (2 * self.drop)
        return np.asarray(0.5 * np.log(square) - np.log(np.cos(self.angle)), dtype=float)

    def solve(self) -> FloatArray:
        """ln(speed): secant on ln(drop reached / drop asked), which is -2 ln(speed) + const without air, within a
        bracket.
        """
        x = self.vacuum_log_speed()
        if _is_vacuum(self.body):
            return np.where(x <= np.log(FASTEST), x, np.nan)
        low, high = np.full_like(x, -np.inf), np.full_like(x, np.inf)
        slope, x_old, f_old = np.full_like(x, -2.0), np.full_like(x, np.nan), np.full_like(x, np.nan)
        open_ = np.arange(x.size)
        for _ in range(_PASSES):
            if not open_.size:
                break
            here = x[open_]
            f = self._excess(here, open_)
            low[open_] = np.where(f > 0, here, low[open_])
            high[open_] = np.where(f < 0, here, high[open_])
            slope[open_] = _secant_slope(here, f, x_old[open_], f_old[open_], slope[open_])
            x_old[open_], f_old[open_] = here, f
            x[open_] = _inside(here - f / slope[open_], here, f, low[open_], high[open_])
            change = np.abs(x[open_] - here)
            settled = (change < _LOG_SPEED_TOLERANCE) | (f == 0)
            hopeless = low[open_] >= np.log(FASTEST)
            x[open_[hopeless]] = np.nan
            open_ = open_[~(settled | hopeless)]
        x[open_] = np.nan
        return x

    def _excess(self, log_speed: FloatArray, lanes: NDArray[np.intp]) -> FloatArray:
        """ln(drop reached / drop asked): +inf where the path ends before the target, -inf where lift takes it above."""
        reached = self.distance[lanes] * np.tan(self.angle[lanes]) - self.at(log_speed, lanes).y
        with np.errstate(divide="ignore", invalid="ignore"):
            f = np.log(reached / self.drop[lanes])
        return np.where(np.isnan(reached), np.inf, np.where(reached <= 0, -np.inf, f))

    def figures(self, log_speed: FloatArray) -> FloatArray:
        """Rows speed, slope, time, apex, d ln(speed)/d distance, d ln(speed)/d rise."""
        every, nudge = np.arange(log_speed.size), 0.01
        there = self.at(log_speed, every, with_top=True)
        both = self.at(np.concatenate([log_speed - nudge, log_speed + nudge]), np.concatenate([every, every]))
        below, above = np.split(both.y, 2)
        per_log = np.where(np.isnan(below), (above - there.y) / nudge, (above - below) / (2 * nudge))
        speed = np.exp(log_speed)
        return np.stack([speed, there.p, there.t, there.top, -there.p / per_log, 1 / per_log])


def _secant_slope(
    x: FloatArray, f: FloatArray, x_old: FloatArray, f_old: FloatArray, last: FloatArray
) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (f - f_old) / (x - x_old)
    usable = np.isfinite(slope) & (slope < -1e-3)
    return np.where(usable, slope, last)


def _inside(
    trial: FloatArray, x: FloatArray, f: FloatArray, low: FloatArray, high: FloatArray
) -> FloatArray:
    """A trial kept within the bracket; where it leaves it or is no number, bisect or stride outward."""
    with np.errstate(invalid="ignore"):
        middle = (low + high) / 2
    outward = np.where(np.isinf(high), low + 0.5, np.where(np.isinf(low), high - 0.5, middle))
    limited = np.clip(trial, x - 1.0, x + 1.0)
    usable = np.isfinite(f) & (limited > low) & (limited < high)
    return np.where(usable | (f == 0), np.where(f == 0, x, limited), outward)


def _lanes(*values: ArrayLike) -> list[FloatArray]:
    arrays = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in values))
    return [np.array(a, dtype=float).ravel() for a in arrays]


def _at_exit(speed: FloatArray, angle: FloatArray, spin_ratio: FloatArray, log_drag: FloatArray) -> Course:
    forward = speed * np.cos(angle)
    with np.errstate(divide="ignore", invalid="ignore"):
        slowness = np.where(forward > 0, 1 / forward, np.nan)
    zero = np.zeros_like(speed)
    return Course(np.tan(angle), slowness, zero, zero.copy(), zero.copy(), spin_ratio * speed, np.exp(log_drag))


def _is_vacuum(body: Body) -> bool:
    return body.drag_per_metre == 0 or (body.drag.constant == 0.0 and body.lift.constant == 0.0)


def _vacuum(body: Body, course: Course, distance: FloatArray) -> None:
    """The parabola, exact, in place."""
    bend = body.gravity * course.r**2
    with np.errstate(divide="ignore", invalid="ignore"):
        crest = np.clip(np.nan_to_num(course.p / bend), 0.0, np.maximum(distance, 0.0))
    course.top = np.maximum(course.top, course.y + crest * (course.p - bend * crest / 2))
    course.y = course.y + distance * (course.p - bend * distance / 2)
    course.t = course.t + course.r * distance
    course.p = course.p - bend * distance
