"""Where a batch of launches is on its way, and what the air does to it, fast.

Drag comes from a table over speed, lift from its closed form. The table holds rho A C_D / (2 m) as parabolas over
speed, 256 to each doubling of the speed, each through the law at both ends and in the middle. A speed's place in it is
read off the leading bits of its floating-point number. It follows the law to a few parts in 1e6 within the drag crisis,
and to 1e-8 elsewhere; unlike the law it costs no logarithm or power.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.physics.flying_body import Body

Places = NDArray[np.intp] | NDArray[np.bool_] | slice


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

    def take(self, places: Places) -> Course:
        """The launches at these places."""
        return Course(
            self.p[places],
            self.r[places],
            self.y[places],
            self.t[places],
            self.top[places],
            self.spin[places],
            self.scale[places],
        )

    def put(self, places: Places, other: Course) -> None:
        """Overwrite the state of launches at these places."""
        self.p[places], self.r[places], self.y[places] = other.p, other.r, other.y
        self.t[places], self.top[places] = other.t, other.top

    def lose(self, places: Places) -> None:
        """These launches never get there."""
        for values in (self.p, self.r, self.y, self.t, self.top):
            values[places] = np.nan


SLOWEST, QUICKEST = 2.0**-7, 2.0**10
"""Speeds (m/s) that the table spans; beyond them the coefficient stays."""

_BITS = 8
_SHIFT = 52 - _BITS


def _bits(speed: float) -> int:
    return int(np.float64(speed).view(np.int64)) >> _SHIFT


@lru_cache(maxsize=64)
def drag_table(body: Body) -> FloatArray:
    """Rows c0, c1, c2 of rho A C_D / (2 m) = c0 + c1 v + c2 v^2, a column each stretch of speed."""
    first, last = _bits(SLOWEST), _bits(QUICKEST)
    edges = (np.arange(first, last + 1, dtype=np.int64) << _SHIFT).view(np.float64)
    left, right = edges[:-1], edges[1:]
    middle = (left + right) / 2
    y0, y1, y2 = (
        body.drag_per_metre * body.drag.coefficient(body.reynolds_per_speed * at) for at in (left, middle, right)
    )
    half = (right - left) / 2
    bend = (y2 - 2 * y1 + y0) / (2 * half**2)
    tilt = (y2 - y0) / (2 * half)
    table = np.stack([y1 - tilt * middle + bend * middle**2, tilt - 2 * bend * middle, bend])
    table[:, 0], table[:, -1] = (y0[0], 0.0, 0.0), (y2[-1], 0.0, 0.0)
    return table


class Forces:
    """Right-hand side of the equations of motion for launches (n,) of one body; see ``march`` for the equations.

    ``spin`` is the surface speed of the spin (m/s, backspin positive), ``scale`` a factor on drag.
    """

    def __init__(self, body: Body, spin: FloatArray, scale: FloatArray) -> None:
        n = spin.size
        self._body, self._gravity = body, body.gravity
        self._constant = None if body.drag.constant is None else body.drag_per_metre * body.drag.constant
        if self._constant is None:
            self._rows, self._first = tuple(drag_table(body)), _bits(SLOWEST)
            self._place = np.empty(n, dtype=np.int64)
        self._scale = None if np.all(scale == 1.0) else scale
        law, k = body.lift, body.drag_per_metre
        self._lift = None if law.constant is None else k * law.constant
        self.lifted = law.constant != 0.0 and (law.constant is not None or bool(np.any(spin != 0.0)))
        spins = body.drag.by_spin != 0.0 and bool(np.any(spin != 0.0))
        self._spin_top = k * body.drag.by_spin * np.abs(spin) if spins else None
        self._spin_floor = body.drag.spin_ceiling * np.abs(spin)
        self._slowness, self._lift_top, self._lift_floor = law.slowness, k * spin, law.ceiling * np.abs(spin)
        self.steep2, self.steep, self.speed, self.drag, self.lift, self._work = np.empty((6, n))
        self._speed_bits = self.speed.view(np.int64)

    def slopes(self, p: FloatArray, r: FloatArray, dp: FloatArray, dr: FloatArray) -> None:
        """Write dp/dx and dr/dx at tangents p and slownesses r; leaves speed, drag and lift (both 1/m) behind."""
        steep2, steep, drag = self.steep2, self.steep, self.drag
        np.multiply(p, p, out=steep2)
        steep2 += 1.0
        np.sqrt(steep2, out=steep)
        np.divide(steep, r, out=self.speed)
        self._look_up()
        np.multiply(r, r, out=dp)
        dp *= -self._gravity
        if self.lifted:
            self._add_lift(p, dp)
        np.multiply(drag, steep, out=dr)
        dr *= r

    def first_step(self, left: FloatArray, bend: FloatArray, tolerance: float) -> FloatArray:
        """How far to try at the start (m), after ``slopes`` gave dp/dx = ``bend``, in equal steps to the target.

        Not farther than the air takes to change the motion, nor than the bend takes to leave the series in s that the
        air's part of the error grows with: h * air * (bend * h)^8 of a given size.
        """
        air = np.abs(self.drag)
        if self.lifted:
            air += np.abs(self.lift) * self.steep2
        safe = 3.2 * ((air * np.abs(bend) ** 7 + 1e-30) / tolerance) ** (-1 / 9)
        safe = np.minimum(safe, 1.1 / (air * self.steep))
        return np.asarray(left / np.ceil(left / safe))

    def curvature(self, at: Course) -> FloatArray:
        """dp/dx of launches anywhere, (m,)."""
        bend = -self._gravity * at.r * at.r
        if not self.lifted:
            return np.asarray(bend)
        steep = np.hypot(1.0, at.p)
        speed = steep / at.r
        lift = self._body.lift.coefficient(at.spin / speed)
        return np.asarray(bend + self._body.drag_per_metre * lift * steep**3)

    def _look_up(self) -> None:
        drag, speed, work = self.drag, self.speed, self._work
        if self._constant is not None:
            drag.fill(self._constant)
        else:
            place = self._place
            np.right_shift(self._speed_bits, _SHIFT, out=place)
            place -= self._first
            c0, c1, c2 = self._rows
            c2.take(place, out=drag, mode="clip")
            drag *= speed
            c1.take(place, out=work, mode="clip")
            drag += work
            drag *= speed
            c0.take(place, out=work, mode="clip")
            drag += work
        if self._spin_top is not None:
            np.add(speed, self._spin_floor, out=work)
            np.divide(self._spin_top, work, out=work)
            drag += work
        if self._scale is not None:
            drag *= self._scale

    def _add_lift(self, p: FloatArray, dp: FloatArray) -> None:
        lift, work = self.lift, self._work
        if self._lift is not None:
            lift.fill(self._lift)
        else:
            np.multiply(self.speed, self._slowness, out=lift)
            lift += self._lift_floor
            np.divide(self._lift_top, lift, out=lift)
        np.multiply(lift, self.steep2, out=work)
        work *= self.steep
        dp += work
        np.multiply(lift, p, out=work)
        self.drag += work
