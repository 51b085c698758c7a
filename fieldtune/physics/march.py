"""Marching a batch of launches through the air in horizontal distance, each with steps of its own.

With p the tangent of the path's angle, r = 1/v_x, s = sqrt(1 + p^2), v = s / r and k = rho A / (2 m), Newton's law
reads

    dp/dx = -g r^2 + k C_L s^3,    dr/dx = k s (C_D + C_L p) r,    dy/dx = p,    dt/dx = r

(drag against the velocity, lift square to it, up for backspin). Height and time are plain integrals of p and r, so only
two equations have to be stepped. The spin stays as it was at exit, so the spin ratio grows as the element slows down.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldtune.physics.body import Body
from fieldtune.physics.course import Course
from fieldtune.physics.step import TOLERANCE, Step

FloatArray = NDArray[np.float64]
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
