"""Launches at their exit, and how they are carried on: through the air in steps, without air in closed form."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldtune.physics.body import Body
from fieldtune.physics.course import Course
from fieldtune.physics.march import march
from fieldtune.physics.step import TOLERANCE

FloatArray = NDArray[np.float64]


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
