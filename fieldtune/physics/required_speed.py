"""How fast a launch must leave to hit: the flight solved for its exit speed, a whole batch of targets at once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldtune.frozen import frozen
from fieldtune.physics.flight_integration import STEEPEST, TOLERANCE, at_exit, carry, is_vacuum, lanes

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.physics.air_forces import Course
    from fieldtune.physics.flying_body import Body

FASTEST = 300.0
"""Exit speeds above this (m/s) are not looked for: the drag laws end well before the speed of sound."""

_PASSES = 60
_NEAR = 5e-3
"""Change of ln(speed) from which on Newton's method takes over."""

_ROUGH = 1e-3
"""Tolerance (m) of the flights on the way to the last step."""

_CLOSE = 1e-6
"""Height (m) off the target that counts as none."""

_RUNGS = 80
_NUDGE = 0.01


@frozen
class NeededSpeed:
    """Exit speeds (n,), m/s, that reach a height at a distance, with ``slope`` (tangent), ``time`` (s) and ``apex``
    (m above exit) there, and the derivatives of ln(speed) over distance and rise, 1/m. nan where no speed does it."""

    speed: FloatArray
    slope: FloatArray
    time: FloatArray
    apex: FloatArray
    d_ln_speed_d_distance: FloatArray
    d_ln_speed_d_rise: FloatArray


def needed_speed(
    body: Body,
    distance: ArrayLike,
    rise: ArrayLike,
    elevation: ArrayLike,
    spin_ratio: ArrayLike = 0.0,
    log_drag: ArrayLike = 0.0,
    thorough: bool = True,
) -> NeededSpeed:
    """Exit speed at which the centre passes ``rise`` (m above exit) at ``distance`` (m), leaving at ``elevation``
    (rad); the spin grows with the speed (fixed ``spin_ratio``). All broadcast to (n,).

    nan where it is impossible: the target lies on or above the straight line of departure, or it takes more than
    ``FASTEST``. Not ``thorough``: nan also where strong lift makes more speed not always go farther, which takes a long
    search.
    """
    d, h, angle, spin, scale = lanes(distance, rise, elevation, spin_ratio, log_drag)
    drop = d * np.tan(angle) - h
    possible = np.flatnonzero((drop > 0) & (d > 0) & (np.abs(angle) < np.pi / 2) & np.isfinite(drop + spin + scale))
    case = _Case(body, thorough, *(a[possible] for a in (d, angle, spin, scale, drop)))
    results = np.full((6, d.size), np.nan)
    results[:, possible] = case.figures()
    return NeededSpeed(*results)


@dataclass(slots=True)
class _Case:
    """Targets (n,) that a straight departure passes above by ``drop``; solved over ln(speed)."""

    body: Body
    thorough: bool
    distance: FloatArray
    angle: FloatArray
    spin: FloatArray
    scale: FloatArray
    drop: FloatArray

    def at(
        self,
        log_speed: FloatArray,
        places: NDArray[np.intp],
        with_top: bool = False,
        tolerance: float = TOLERANCE,
    ) -> Course:
        """The launches at these places with these log speeds, carried to the target."""
        course = at_exit(np.exp(log_speed), self.angle[places], self.spin[places], self.scale[places])
        carry(self.body, course, self.distance[places], with_top, tolerance)
        return course

    def start(self) -> FloatArray:
        """ln(speed) without air, v^2 = g D^2 / (2 cos^2(angle) drop), raised by what a steady loss of speed asks
        for.
        """
        square = self.body.gravity * self.distance**2 / (2 * self.drop)
        guess = np.asarray(0.5 * np.log(square) - np.log(np.cos(self.angle)))
        if is_vacuum(self.body):
            return guess
        first = np.tan(self.angle)
        last = first - 2 * self.drop / self.distance
        steep = (np.hypot(1.0, first) + 4 * np.hypot(1.0, (first + last) / 2) + np.hypot(1.0, last)) / 6
        drag = self.body.drag.coefficient(self.body.reynolds_per_speed * np.exp(guess)) * np.exp(self.scale)
        loss = np.clip(2 * self.body.drag_per_metre * drag * steep * self.distance, 1e-4, 20.0)
        return np.asarray(guess + 0.5 * np.log(2 * (np.expm1(loss) - loss) / loss**2))

    def figures(self) -> FloatArray:
        """Rows speed, slope, time, apex, d ln(speed)/d distance, d ln(speed)/d rise; nan where there is no solution.

        Most targets take one pass: the start is good enough for one step with second derivatives. The others take the
        secant method, and those close to the speed that falls just short take it to the end.
        """
        every = np.arange(self.distance.size)
        figures, miss = self._stepped(self.start(), every)
        hard = every[~(miss < _CLOSE)]
        if hard.size:
            x = self._solved(hard)
            figures[:, hard], miss[hard] = self._stepped(x, hard)
            left = ~(miss[hard] < _CLOSE) & np.isfinite(x)
            hard, x = hard[left], x[left]
        if hard.size:
            x = self._refined(x, hard, *_unbounded(hard.size), near=1e-11)
            figures[:, hard] = self._stepped(x, hard, settled=True)[0]
        there = (np.abs(figures[1]) < 0.5 * STEEPEST) & (figures[0] <= FASTEST)
        return np.where(there, figures, np.nan)

    def _stepped(self, x: FloatArray, places: NDArray[np.intp], settled: bool = False) -> tuple[FloatArray, FloatArray]:
        """The figures after one step from ln(speed) = x, and a bound (m) on how far off the target they still are.

        Launches a little slower and faster give first and second derivatives, and carry the figures over the step.
        ``settled`` says that x is a solution already.
        """
        around = self.at(np.concatenate([x, x - _NUDGE, x + _NUDGE]), np.tile(places, 3), with_top=True)
        rows = np.stack([around.y, around.p, around.t, around.top]).reshape(4, 3, x.size)
        at, below, above = rows[:, 0], rows[:, 1], rows[:, 2]
        below = np.where(settled & np.isnan(below[0]), 2 * at - above, below)
        line, drop = self.distance[places] * np.tan(self.angle[places]), self.drop[places]
        with np.errstate(all="ignore"):
            by_log, bend = (above - below) / (2 * _NUDGE), (above - 2 * at + below) / _NUDGE**2
            here, slower, faster = np.log((line - rows[0]) / drop)
            slope, curve = (faster - slower) / (2 * _NUDGE), (faster - 2 * here + slower) / _NUDGE**2
            newton = -here / slope
            change = np.zeros_like(x) if settled else newton - 0.5 * curve / slope * newton**2
            # The next term of the series and the error of the differences, a third derivative of about this size given.
            third = np.abs(slope) * (1 + (curve / slope) ** 2)
            miss = drop * np.abs(newton) * third * (newton**2 + _NUDGE**2) / 6
            _, tangent, time, apex = at + change * by_log + 0.5 * change**2 * bend
            rate = by_log[0] + change * bend[0]
            figures = np.stack([np.exp(x + change), tangent, time, apex, -tangent / rate, 1 / rate])
        return figures, miss

    def _solved(self, places: NDArray[np.intp]) -> FloatArray:
        """ln(speed) by the secant method, and by a search where strong lift leads that astray; nan where there is
        none.
        """
        x = self._refined(self.start()[places], places, *_unbounded(places.size))
        missed = np.flatnonzero(np.isnan(x))
        if self.thorough and missed.size and self.body.lift.constant != 0.0 and np.any(self.spin[places[missed]] > 0):
            x[missed] = self._searched(places[missed])
        return x

    def _refined(
        self, x: FloatArray, places: NDArray[np.intp], low: FloatArray, high: FloatArray, near: float = _NEAR
    ) -> FloatArray:
        """Secant on the excess, which is -2 ln(speed) + const without air, kept within a bracket that closes."""
        x = x.copy()
        slope, x_old, f_old = np.full_like(x, -2.0), np.full_like(x, np.nan), np.full_like(x, np.nan)
        open_ = np.arange(x.size)
        for _ in range(_PASSES):
            if not open_.size:
                break
            here = x[open_]
            f = self._excess(here, places[open_], TOLERANCE if near < _NEAR else _ROUGH)
            low[open_] = np.where(f > 0, here, low[open_])
            high[open_] = np.where(f < 0, here, high[open_])
            slope[open_] = _secant_slope(here, f, x_old[open_], f_old[open_], slope[open_])
            x_old[open_], f_old[open_] = here, f
            x[open_] = _inside(here, f, slope[open_], low[open_], high[open_])
            settled = (np.abs(x[open_] - here) < near) & np.isfinite(f)
            hopeless = low[open_] >= np.log(FASTEST)
            x[open_[hopeless]] = np.nan
            open_ = open_[~(settled | hopeless)]
        x[open_] = np.nan
        return x

    def _searched(self, places: NDArray[np.intp]) -> FloatArray:
        """The slowest solution on a ladder of speeds, where strong lift makes more speed not always go farther."""
        ladder = np.linspace(np.log(0.05), np.log(FASTEST), _RUNGS)
        grid = np.repeat(places, _RUNGS)
        f = self._excess(np.tile(ladder, places.size), grid, _ROUGH).reshape(places.size, _RUNGS)
        turns = np.isfinite(f[:, :-1]) & np.isfinite(f[:, 1:]) & (f[:, :-1] > 0) & (f[:, 1:] <= 0)
        rung = np.argmax(turns, axis=1)
        found = np.flatnonzero(turns.any(axis=1))
        low, high = ladder[rung[found]].copy(), ladder[rung[found] + 1].copy()
        x = np.full(places.size, np.nan)
        x[found] = self._refined((low + high) / 2, places[found], low, high)
        return x

    def _excess(self, log_speed: FloatArray, places: NDArray[np.intp], tolerance: float) -> FloatArray:
        """ln(drop reached / drop asked): +inf where the path ends before the target, -inf where lift takes it above."""
        reached = self.distance[places] * np.tan(self.angle[places]) - self.at(log_speed, places, tolerance=tolerance).y
        with np.errstate(divide="ignore", invalid="ignore"):
            f = np.log(reached / self.drop[places])
        return np.where(np.isnan(reached), np.inf, np.where(reached <= 0, -np.inf, f))


def _unbounded(n: int) -> tuple[FloatArray, FloatArray]:
    return np.full(n, -np.inf), np.full(n, np.inf)


def _secant_slope(x: FloatArray, f: FloatArray, x_old: FloatArray, f_old: FloatArray, last: FloatArray) -> FloatArray:
    with np.errstate(divide="ignore", invalid="ignore"):
        slope = (f - f_old) / (x - x_old)
    usable = np.isfinite(slope) & (slope < -1e-3)
    return np.where(usable, slope, last)


def _inside(x: FloatArray, f: FloatArray, slope: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    """The secant's next trial within the bracket; where it leaves it or is no number, bisect or stride outward."""
    with np.errstate(invalid="ignore"):
        trial = np.clip(x - f / slope, x - 1.0, x + 1.0)
        middle = (low + high) / 2
    outward = np.where(np.isinf(high), low + 0.5, np.where(np.isinf(low), high - 0.5, middle))
    usable = np.isfinite(f) & (trial > low) & (trial < high)
    return np.where(usable, trial, np.where(f == 0, x, outward))
