"""A batch of launches carried through the air in horizontal distance, each in steps of its own of order 8.

With p the tangent of the path's angle, r = 1/v_x, s = sqrt(1 + p^2), v = s / r and k = rho A / (2 m), Newton's law
reads

    dp/dx = -g r^2 + k C_L s^3,    dr/dx = k s (C_D + C_L p) r,    dy/dx = p,    dt/dx = r

(drag against the velocity, lift square to it, up for backspin). Height and time are plain integrals of p and r, so only
two equations have to be stepped. The spin stays as it was at exit, so the spin ratio grows as the element slows down.
Without air the parabola is exact.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldtune.physics.air_forces import Course, Forces
from fieldtune.physics.runge_kutta_coefficients import ERROR_3, ERROR_5, SOLUTION, STAGE_WEIGHTS, STAGES

if TYPE_CHECKING:
    from fieldtune.arrays import BoolArray, FloatArray
    from fieldtune.physics.flying_body import Body

TOLERANCE = 8e-6
"""Height error (m) a step may add at the target by its own estimate, usually far above the true error."""

STEEPEST = 1e3
"""Tangent of a path that counts as vertical: it never gets any farther."""

_STEEP = 4.0
_MOST_GROWTH = 4.0
_WEIGHTS = np.stack([SOLUTION, ERROR_5, ERROR_3])


class Step:
    """A step from ``now``: ``length`` (m) and ``error`` (m, of the height at the target) a launch, and whether it is
    ``good``.

    ``left`` is the distance to the target (m); without ``length`` the step is as long as it looks safe to try.
    """

    def __init__(
        self, body: Body, now: Course, left: FloatArray, length: FloatArray | None, tolerance: float = TOLERANCE
    ) -> None:
        n = left.size
        self._now, self._gravity, self._tolerance = now, body.gravity, tolerance
        self._forces = forces = Forces(body, now.spin, now.scale)
        self._values, self._slopes = np.empty((STAGES, 2, n)), np.empty((STAGES, 2, n))
        self._values[0, 0], self._values[0, 1] = now.p, now.r
        forces.slopes(*self._values[0], *self._slopes[0])
        self.length = forces.first_step(left, self._slopes[0, 0], tolerance) if length is None else length
        flat = self._slopes.reshape(STAGES, 2 * n)
        for stage, weights in enumerate(STAGE_WEIGHTS, start=1):
            value = self._values[stage]
            np.dot(weights, flat[:stage], out=value.reshape(2 * n))
            value *= self.length
            value += self._values[0]
            forces.slopes(value[0], value[1], *self._slopes[stage])
        self._change = np.dot(_WEIGHTS, flat).reshape(3, 2, n)
        self._travel = np.dot(_WEIGHTS, self._values.reshape(STAGES, 2 * n)).reshape(3, 2, n)
        self.error = self._estimate(left - self.length)
        self.good = self.error <= tolerance

    def _estimate(self, beyond: FloatArray) -> FloatArray:
        """Error of the height at the target: its own, and the slope's and slowness's carried over what is left.

        Hairer's blend of the estimates of orders 5 and 3, of all three added up so that none hides where it
        crosses zero.
        """
        lever = beyond + 0.5 * self.length
        by_slowness = 2 * self._gravity * self._now.r * lever * lever
        change, travel = np.abs(self._change[1:]), np.abs(self._travel[1:, 0])
        change[:, 0] *= lever
        change[:, 1] *= by_slowness
        travel += change[:, 0]
        travel += change[:, 1]
        five, three = travel
        error = self.length * five * five / np.sqrt(five * five + 0.01 * three * three + 1e-60)
        return np.asarray(error * self._growth(beyond))

    def _growth(self, beyond: FloatArray) -> FloatArray:
        """How much an error may grow on the rest of the way: twice over as the square of the slowness does.

        Judged by the tangent at the end of the step and, the bend going on, at the target; limited, as paths that go on
        to fall steeply for long would ask for steps without end.
        """
        forces = self._forces
        ahead = np.abs(self._values[-1, 0] + self._slopes[-1, 0] * beyond)
        return np.asarray(np.exp(np.minimum(2 * np.abs(forces.drag) * beyond * (forces.steep + ahead), _MOST_GROWTH)))

    def next_length(self, left: FloatArray) -> FloatArray:
        """Length to try next, whether this one was good or not."""
        wanted = 0.85 * (self._tolerance / np.maximum(np.nan_to_num(self.error, nan=np.inf), 1e-20)) ** 0.125
        return np.minimum(self.length * np.clip(wanted, 0.1, 4.0), left)

    def after(self, with_top: bool) -> Course:
        """State at the end of the step."""
        now, h = self._now, self.length
        p, r = now.p + h * self._change[0, 0], now.r + h * self._change[0, 1]
        y, t = now.y + h * self._travel[0, 0], now.t + h * self._travel[0, 1]
        after = Course(p, r, y, t, now.top, now.spin, now.scale)
        if with_top:
            after.top = np.maximum(now.top, y)
            turned = np.flatnonzero((now.p > 0) & (p < 0))
            if turned.size:
                after.top[turned] = self._top(after, turned)
        return after

    def _top(self, after: Course, turned: NDArray[np.intp]) -> FloatArray:
        """Greatest height within the step: the quintic through heights, slopes and curvatures at both ends."""
        now, end, h = self._now.take(turned), after.take(turned), self.length[turned]
        a1, a2 = now.p * h, 0.5 * self._slopes[0, 0][turned] * h * h
        end1 = end.p * h
        end2 = self._forces.curvature(end) * h * h
        gap, gap1, gap2 = end.y - now.y - a1 - a2, end1 - a1 - 2 * a2, 0.5 * end2 - a2
        a3 = 10 * gap - 4 * gap1 + gap2
        a4 = -15 * gap + 7 * gap1 - 2 * gap2
        a5 = 6 * gap - 3 * gap1 + gap2
        at = a1 / (a1 - end1)
        if self._forces.lifted:
            at = _sign_change(a1, 2 * a2, 3 * a3, 4 * a4, 5 * a5)
        for _ in range(3):
            slope = a1 + at * (2 * a2 + at * (3 * a3 + at * (4 * a4 + at * 5 * a5)))
            curve = 2 * a2 + at * (6 * a3 + at * (12 * a4 + at * 20 * a5))
            at = np.clip(at - slope / curve, 0.0, 1.0)
        return np.asarray(now.y + at * (a1 + at * (a2 + at * (a3 + at * (a4 + at * a5)))))

    def hopeless(self, now: Course, left: FloatArray) -> BoolArray:
        """Launches, now at the step's end, that turn vertical long before the target.

        Downward the air eats the forward speed within about 1 / (k s (C_D + C_L p)). Upward that happens where lift far
        outweighs gravity: the tangent then has a pole p / (2 dp/dx) ahead.
        """
        steep: BoolArray = np.abs(now.p) > _STEEP
        if not steep.any():
            return steep
        forces, bend = self._forces, self._slopes[-1, 0]
        falls = (now.p < 0) & (left * forces.drag * forces.steep > 10)
        loops = (now.p > 0) & (bend > 3 * self._gravity * now.r**2) & (left * bend > 4 * now.p)
        return np.asarray(steep & (falls | loops) | ~(np.abs(now.p) < STEEPEST))


def _sign_change(*coefficients: FloatArray) -> FloatArray:
    """About where polynomials, rising powers, positive at 0 and negative at 1, change sign: eight halvings.

    Lift may bend a path upward first, so that Newton's method from a straight guess would run the wrong way.
    """
    low, width = np.zeros_like(coefficients[0]), 0.5
    for _ in range(8):
        middle, value = low + width, np.zeros_like(low)
        for coefficient in reversed(coefficients):
            value = value * middle + coefficient
        low, width = np.where(value > 0, middle, low), width / 2
    return low + width


def lanes(*values: ArrayLike) -> list[FloatArray]:
    """Flat copies (n,) of values broadcast against one another."""
    arrays = np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in values))
    return [np.array(a, dtype=float).ravel() for a in arrays]


def at_exit(speed: FloatArray, angle: FloatArray, spin_ratio: FloatArray, log_drag: FloatArray) -> Course:
    """Speeds (m/s), elevations (rad), spin ratios and log factors on drag, (n,), as states; nan where none is
    possible.
    """
    forward = speed * np.cos(angle)
    with np.errstate(divide="ignore", invalid="ignore"):
        slowness = np.where(forward > 0, 1 / forward, np.nan)
    zero = np.zeros_like(speed)
    return Course(np.tan(angle), slowness, zero, zero.copy(), zero.copy(), spin_ratio * speed, np.exp(log_drag))


def carry(
    body: Body, course: Course, distance: FloatArray, with_top: bool = True, tolerance: float = TOLERANCE
) -> None:
    """Carry launches (n,) over horizontal distances (n,) in place; nan for negative ones and where a path turns
    vertical.
    """
    if is_vacuum(body):
        course.lose(~((distance >= 0) & np.isfinite(course.r)))
        _parabola(body, course, distance)
    else:
        march(body, course, distance, with_top, tolerance)


def is_vacuum(body: Body) -> bool:
    """Whether the air does nothing to the body."""
    return body.drag_per_metre == 0 or (body.drag.constant == 0.0 and body.lift.constant == 0.0)


def _parabola(body: Body, course: Course, distance: FloatArray) -> None:
    """The parabola, exact, in place."""
    bend = body.gravity * course.r**2
    with np.errstate(divide="ignore", invalid="ignore"):
        crest = np.clip(np.nan_to_num(course.p / bend), 0.0, np.maximum(distance, 0.0))
    course.top = np.maximum(course.top, course.y + crest * (course.p - bend * crest / 2))
    course.y = course.y + distance * (course.p - bend * distance / 2)
    course.t = course.t + course.r * distance
    course.p = course.p - bend * distance


_MOST_STEPS = 200
_CHUNK = 4096
"""Launches marched together: few enough to keep their work arrays in the cache, enough to outweigh the calls."""


def march(
    body: Body, course: Course, distance: FloatArray, with_top: bool = True, tolerance: float = TOLERANCE
) -> None:
    """Carry launches (n,) over horizontal distances (n,) in place; nan where a path turns vertical before.

    ``tolerance`` (m) is what a step may err by its own estimate; ``with_top`` keeps the greatest height up to date.
    """
    with np.errstate(all="ignore"):
        for start in range(0, distance.size, _CHUNK):
            part = slice(start, start + _CHUNK)
            _march_chunk(body, course.take(part), distance[part], with_top, tolerance)


def _march_chunk(body: Body, course: Course, distance: FloatArray, with_top: bool, tolerance: float) -> None:
    """Take the step that each launch's own error allows, again and again for those that haven't arrived."""
    usable = (distance >= 0) & np.isfinite(course.p) & np.isfinite(course.r)
    course.lose(~usable)
    places = np.flatnonzero(usable & (distance > 0))
    left, trial = distance[places], None
    for _ in range(_MOST_STEPS):
        if not places.size:
            return
        now = course.take(places)
        step = Step(body, now, left, trial, tolerance)
        good, after = step.good, step.after(with_top)
        if good.all():
            now = after
        else:
            now.put(good, after.take(good))
        left = np.where(good, left - step.length, left)
        lost = good & step.hopeless(now, left) | ~(step.length > 1e-12 * left)
        if lost.any():
            now.lose(lost)
        course.put(places, now)
        going = (left > 0) & ~lost
        if not going.any():
            return
        places, left, trial = places[going], left[going], step.next_length(left)[going]
    course.lose(places)
