"""Flight of a batch of launches: where they are at a distance, and what their path looks like."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.frozen import frozen
from fieldtune.physics.flight_integration import TOLERANCE, at_exit, carry, lanes
from fieldtune.physics.flying_body import Body

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray


@frozen
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


def fly(
    body: Body,
    speed: ArrayLike,
    elevation: ArrayLike,
    spin_ratio: ArrayLike,
    distance: ArrayLike,
    log_drag: ArrayLike = 0.0,
    tolerance: float = TOLERANCE,
) -> FlightPoint:
    """Launches at speed (m/s), elevation (rad) and spin ratio (surface speed over exit speed, backspin positive), at a
    horizontal distance (m); ``log_drag`` is a log factor on drag. All broadcast to (n,). ``tolerance``: see ``march``.

    nan where a path turns vertical first, and for speeds or distances that aren't positive (distance 0 is the exit).
    """
    v, angle, spin, d, scale = lanes(speed, elevation, spin_ratio, distance, log_drag)
    course = at_exit(v, angle, spin, scale)
    carry(body, course, d, tolerance=tolerance)
    return FlightPoint(course.y, course.p, np.hypot(1.0, course.p) / course.r, course.t, course.top)


def path(
    body: Body,
    speed: ArrayLike,
    elevation: ArrayLike,
    spin_ratio: ArrayLike,
    x: ArrayLike,
    log_drag: ArrayLike = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Heights above the exit (m) and speeds (m/s) of launches (n,) at rising distances x (m), shape (m,), each (n, m).

    nan beyond the point where a path turns vertical.
    """
    places = np.asarray(x, dtype=float).ravel()
    v, angle, spin, scale = (a[:, None] for a in lanes(speed, elevation, spin_ratio, log_drag))
    there = fly(body, v, angle, spin, places, scale)
    shape = (v.size, places.size)
    return there.height.reshape(shape), there.speed.reshape(shape)
