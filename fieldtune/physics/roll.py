"""A ball over the floor: it slides until its surface keeps up, then rolls.

A solid sphere that starts without spin is slowed by friction, which turns it until it rolls, on level floor at 5/7 of
its speed (textbook). Rolling, it carries 7/5 of its mass: slope, rolling resistance and air drag slow it by 5/7 of
what they would slow a sliding body. Air drag is left out of the short slide. Slopes in radians, rising away positive;
distances along the floor. Everything broadcasts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldtune.physics import slide

FloatArray = NDArray[np.float64]
STANDARD_GRAVITY = slide.STANDARD_GRAVITY
_ROLLING = 5 / 7
_PASSES = 40


@dataclass(frozen=True, slots=True)
class Rolling:
    """Where rolling begins: speed (m/s), distance (m) and time (s) from the start; nan where it never does."""

    speed: FloatArray
    distance: FloatArray
    time: FloatArray


def rolling_start(
    speed: ArrayLike, friction: ArrayLike, slope: ArrayLike = 0.0, gravity: float = STANDARD_GRAVITY
) -> Rolling:
    """When a ball that starts at a speed (m/s) without spin rolls: on level floor after 2 v / (7 mu g)."""
    v, mu, angle = (np.asarray(a, dtype=float) for a in (speed, friction, slope))
    slowing = slide.slowing(mu, angle, gravity)
    closing = slowing + 2.5 * gravity * mu * np.cos(angle)
    time = v / np.where(closing > 0, closing, np.nan)
    return Rolling(v - slowing * time, v * time - 0.5 * slowing * time**2, time)


def roll_stop_distance(
    speed: ArrayLike,
    friction: ArrayLike,
    rolling: ArrayLike,
    slope: ArrayLike = 0.0,
    drag: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Distance (m) to rest of a ball; ``rolling`` is rolling resistance over weight, ``drag`` rho C_D A / (2 m) in 1/m.

    inf without rolling resistance on level floor, and where the floor falls away too steeply.
    """
    begin = rolling_start(speed, friction, slope, gravity)
    rolls = slide.stop_distance(begin.speed, rolling, slope, drag, gravity) / _ROLLING
    return np.asarray(begin.distance + rolls, dtype=float)


def roll_needed_speed(
    distance: ArrayLike,
    friction: ArrayLike,
    rolling: ArrayLike,
    slope: ArrayLike = 0.0,
    drag: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Speed (m/s) at which a ball comes to rest after a distance (m), and passes anything before it; nan where none
    does.

    Newton's method on v^2, whose stop distance rises and bends down: from below it never overshoots.
    """
    stop, c = np.asarray(distance, dtype=float), np.asarray(drag, dtype=float)
    unit = rolling_start(1.0, friction, slope, gravity)
    slowing = slide.slowing(rolling, slope, gravity)
    slowing = np.where(slowing > 0, slowing, np.nan)
    share = unit.speed**2 / (2 * slowing * _ROLLING)
    square = np.where(stop >= 0, stop, np.nan) / (unit.distance + share)
    for _ in range(_PASSES):
        reached = roll_stop_distance(np.sqrt(square), friction, rolling, slope, c, gravity)
        per_square = unit.distance + share / (1 + c * square * unit.speed**2 / slowing)
        square = square + (stop - reached) / per_square
    return np.asarray(np.sqrt(square), dtype=float)


def roll_speed_at(
    speed: ArrayLike,
    distance: ArrayLike,
    friction: ArrayLike,
    rolling: ArrayLike,
    slope: ArrayLike = 0.0,
    drag: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Speed left (m/s) of a ball after a distance (m); nan where it has stopped before."""
    begin = rolling_start(speed, friction, slope, gravity)
    x = np.asarray(distance, dtype=float)
    sliding = slide.speed_at(speed, np.minimum(x, begin.distance), friction, slope, 0.0, gravity)
    further = np.maximum(x - begin.distance, 0.0) * _ROLLING
    rolls = slide.speed_at(begin.speed, further, rolling, slope, drag, gravity)
    return np.where(x < begin.distance, sliding, rolls)


def roll_time_to(
    speed: ArrayLike,
    distance: ArrayLike,
    friction: ArrayLike,
    rolling: ArrayLike,
    slope: ArrayLike = 0.0,
    drag: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Time (s) of a ball to a distance (m); nan where it has stopped before."""
    begin = rolling_start(speed, friction, slope, gravity)
    x = np.asarray(distance, dtype=float)
    sliding = slide.time_to(speed, np.minimum(x, begin.distance), friction, slope, 0.0, gravity)
    further = np.maximum(x - begin.distance, 0.0) * _ROLLING
    # Slowed by 5/7 over x is the same speed as slowed in full over 5/7 x, but takes 7/5 of its time.
    rolls = slide.time_to(begin.speed, further, rolling, slope, drag, gravity) / _ROLLING
    return np.where(x < begin.distance, sliding, begin.time + rolls)
