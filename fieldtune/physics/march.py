"""Marching a batch of launches through the air in horizontal distance, each with steps of its own.

With p the tangent of the path's angle, r = 1/v_x, s = sqrt(1 + p^2), v = s / r and k = rho A / (2 m), Newton's law
reads

    dp/dx = -g r^2 + k C_L s^3,    dr/dx = k s (C_D + C_L p) r,    dy/dx = p,    dt/dx = r

(drag against the velocity, lift square to it, up for backspin). Height and time are plain integrals of p and r, so only
two equations have to be stepped. The spin stays as it was at exit, so the spin ratio grows as the element slows down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldtune.physics.body import Body
from fieldtune.physics.dop853 import ERROR_3, ERROR_5, SOLUTION, STAGE_WEIGHTS, STAGES

FloatArray = NDArray[np.float64]
TOLERANCE = 2e-5
"""Height error (m) a step may add at the target by its own estimate, which is far above the true error."""

STEEPEST = 1e4
"""Tangent of a path that counts as vertical: it never gets any farther."""

_MOST_STEPS = 200
_CHUNK = 2048
"""Launches marched together: their work arrays stay in the cache."""


@dataclass(slots=True)
class Course:
    """State of launches (n,): tangent ``p``, slowness ``r`` (s/m), height ``y`` (m), time ``t`` (s) and greatest height
    ``top`` (m) so far; ``spin`` is the surface speed of the spin (m/s), ``scale`` the factor on drag."""

    p: FloatArray
    r: FloatArray
    y: FloatArray
    t: FloatArray
    top: FloatArray
    spin: FloatArray
    scale: FloatArray

    def take(self, index: NDArray[np.intp] | slice) -> Course:
        """The launches at these places."""
        return Course(*(getattr(self, name)[index] for name in self.__slots__))

    def put(self, index: NDArray[np.intp] | slice, other: Course) -> None:
        """Overwrite the state of launches at these places."""
        for name in ("p", "r", "y", "t", "top"):
            getattr(self, name)[index] = getattr(other, name)


def march(body: Body, course: Course, distance: FloatArray, with_top: bool = True) -> None:
    """Carry launches (n,) over horizontal distances (n,) in place; nan where a path turns vertical before."""
    with np.errstate(all="ignore"):
        for start in range(0, distance.size, _CHUNK):
            part = slice(start, start + _CHUNK)
            piece = course.take(part)
            _march_chunk(body, piece, distance[part].copy(), with_top)
            course.put(part, piece)


def _march_chunk(body: Body, course: Course, left: FloatArray, with_top: bool) -> None:
    active = np.flatnonzero(left > 0)
    now = course.take(active)
    left = left[active]
    step = _first_step(body, now, left)
    for _ in range(_MOST_STEPS):
        if not active.size:
            return
        stages = _Stages(body, now, step)
        error = stages.error(left - step)
        good = error <= TOLERANCE
        after = stages.after(with_top)
        dead = ~(np.abs(after.p) < STEEPEST) & good | (step < 1e-10 * left) | ~np.isfinite(now.p)
        for name in ("p", "r", "y", "t", "top"):
            np.copyto(getattr(now, name), getattr(after, name), where=good)
            getattr(now, name)[dead] = np.nan
        left = np.where(good, left - step, left)
        done = dead | (left <= 0)
        if done.any():
            course.put(active[done], now.take(done))
            keep = ~done
            active, now, left, step, error = active[keep], now.take(keep), left[keep], step[keep], error[keep]
        factor = 0.85 * (TOLERANCE / np.maximum(np.nan_to_num(error, nan=1e30), 1e-30)) ** 0.125
        step = np.minimum(step * np.clip(factor, 0.1, 6.0), left)
    course.put(active, Course(*(np.full(active.size, np.nan) for _ in range(7))))


def _first_step(body: Body, course: Course, left: FloatArray) -> FloatArray:
    """A step over which drag takes a moderate share of the speed, along the path as steep as it starts."""
    loss = drag_loss(body, course.r, course.p) * course.scale
    return np.minimum(left, 1.2 / np.maximum(loss, 1e-9))


def drag_loss(body: Body, slowness: FloatArray, tangent: FloatArray) -> FloatArray:
    """Relative loss of speed a metre of horizontal distance, 1/m."""
    steep = np.sqrt(1 + tangent**2)
    drag = body.drag.coefficient(body.reynolds_per_speed * steep / slowness)
    return np.asarray(body.drag_per_metre * drag * steep, dtype=float)


class _Stages:
    """One step of every launch: stage values and derivatives of (p, r)."""

    def __init__(self, body: Body, course: Course, step: FloatArray) -> None:
        n = step.size
        self.course, self.step = course, step
        self.values = np.empty((STAGES, 2, n))
        self.slopes = np.empty((STAGES, 2, n))
        self.values[0, 0], self.values[0, 1] = course.p, course.r
        self._derive(body, 0)
        flat = self.slopes.reshape(STAGES, 2 * n)
        for stage, weights in enumerate(STAGE_WEIGHTS, start=1):
            value = self.values[stage]
            np.dot(weights, flat[:stage], out=value.reshape(2 * n))
            value *= step
            value += self.values[0]
            self._derive(body, stage)

    def _derive(self, body: Body, stage: int) -> None:
        (p, r), (dp, dr) = self.values[stage], self.slopes[stage]
        derive(body, self.course, p, r, dp, dr)

    def after(self, with_top: bool) -> Course:
        """State at the end of the step."""
        now, n = self.course, self.step.size
        change = (SOLUTION @ self.slopes.reshape(STAGES, 2 * n)).reshape(2, n) * self.step
        travel = (SOLUTION @ self.values.reshape(STAGES, 2 * n)).reshape(2, n) * self.step
        after = Course(
            now.p + change[0], now.r + change[1], now.y + travel[0], now.t + travel[1], now.top, now.spin, now.scale
        )
        if with_top:
            after.top = np.maximum(now.top, after.y)
            turned = np.flatnonzero((now.p > 0) & (after.p < 0))
            if turned.size:
                after.top[turned] = self._top(after, turned)
        return after

    def _top(self, after: Course, turned: NDArray[np.intp]) -> FloatArray:
        """Greatest height within the step: the quintic through heights, slopes and curvatures at both ends."""
        h, rise = self.step[turned], after.y[turned] - self.course.y[turned]
        a1, a2 = self.course.p[turned] * h, self.slopes[0, 0][turned] * h**2 / 2
        end_slope = after.p[turned] * h
        # The last stage is a node at the end of the step, so its curvature serves for the end.
        end_curve = self.slopes[STAGES - 1, 0][turned] * h**2
        gap, gap1, gap2 = rise - a1 - a2, end_slope - a1 - 2 * a2, end_curve - 2 * a2
        a3 = 10 * gap - 4 * gap1 + gap2 / 2
        a4 = -15 * gap + 7 * gap1 - gap2
        a5 = 6 * gap - 3 * gap1 + gap2 / 2
        at = a1 / (a1 - end_slope)
        for _ in range(4):
            slope = a1 + at * (2 * a2 + at * (3 * a3 + at * (4 * a4 + at * 5 * a5)))
            curve = 2 * a2 + at * (6 * a3 + at * (12 * a4 + at * 20 * a5))
            at = np.clip(at - slope / curve, 0.0, 1.0)
        return np.asarray(self.course.y[turned] + at * (a1 + at * (a2 + at * (a3 + at * (a4 + at * a5)))), dtype=float)

    def error(self, beyond: FloatArray) -> FloatArray:
        """Estimated error of the height at the target (m), the slope's error carried over what is left."""
        n = self.step.size
        p_slopes = self.slopes.reshape(STAGES, 2 * n)[:, :n]
        p_values = self.values.reshape(STAGES, 2 * n)[:, :n]
        five = np.abs(ERROR_5 @ p_values) + np.abs(ERROR_5 @ p_slopes) * beyond
        three = np.abs(ERROR_3 @ p_values) + np.abs(ERROR_3 @ p_slopes) * beyond
        return np.asarray(self.step * five**2 / np.sqrt(five**2 + 0.01 * three**2 + 1e-300), dtype=float)


def derive(
    body: Body, course: Course, p: FloatArray, r: FloatArray, dp: FloatArray, dr: FloatArray
) -> None:
    """Write dp/dx and dr/dx at tangents p and slownesses r (n,)."""
    steep = np.sqrt(1 + p * p)
    speed = steep / r
    drag = body.drag.coefficient(body.reynolds_per_speed * speed) * course.scale
    np.multiply(r, r, out=dp)
    dp *= -body.gravity
    if body.lift.constant != 0.0:
        lift = body.lift.coefficient(course.spin / speed)
        dp += body.drag_per_metre * lift * steep**3
        drag = drag + lift * p
    np.multiply(drag, steep, out=dr)
    dr *= r
    dr *= body.drag_per_metre
