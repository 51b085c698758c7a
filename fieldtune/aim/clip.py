"""Exit speed and angle from a film: points of the element's path, fitted with gravity, drag and spin.

Least squares over exit point, speed and elevation; spreads from what the points leave, from the ruler and from how
level the camera stood.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.optimize import least_squares

from fieldtune.aim.element_path import flying_body
from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.person_units import amount
from fieldtune.physics.flight import fly
from fieldtune.robot.exit_speed import spin_ratio

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.physics.flying_body import Body
    from fieldtune.robot.model import Robot

LEAST, MOST = 3, 30
"""Points of a clip: fewer say too little, more are no help to type."""
_PIXEL, _RULER_PX, _LEVEL = 1.0, 1.5, math.radians(0.5)
"""How well a point is hit (pixels), a ruler's two ends, and the camera's level (common practice)."""
_STEPS = 40


@frozen
class Clip:
    """Points (n, 2) in pixels, x to either side, y downwards as pictures have it, ``every`` frames apart at
    ``frames_per_s``; ``ruler_m`` metres in the picture are ``ruler_px`` long. The first point is where it leaves."""

    points: tuple[tuple[float, float], ...]
    frames_per_s: float
    ruler_m: float
    ruler_px: float
    every: int = 1


@frozen
class ClipExit:
    """Exit speed (m/s) and angle (degrees above the horizontal) with one standard deviation each; ``residual_px``:
    root mean square distance of the points from the fitted path."""

    speed_mps: float
    speed_sd: float
    angle_deg: float
    angle_sd: float
    residual_px: float


def exit_from_clip(robot: Robot, clip: Clip) -> ClipExit:
    """The exit that fits the points best. Raises ``InputError`` for points that no throw makes."""
    _check(clip)
    metres = clip.ruler_m / clip.ruler_px
    seen = np.array(clip.points) * [metres, -metres]
    if seen[-1, 0] < seen[0, 0]:
        seen[:, 0] *= -1
    time = np.arange(len(seen)) * clip.every / clip.frames_per_s
    body, spin = flying_body(robot), spin_ratio(robot)

    def off(u: FloatArray) -> FloatArray:
        x, y = _flown(body, spin, math.exp(u[2]), u[3], time)
        return np.concatenate([u[0] + x - seen[:, 0], u[1] + y - seen[:, 1]]) / metres

    step = (seen[1] - seen[0]) / time[1]
    step[1] += 0.5 * STANDARD_GRAVITY * time[1]
    start = np.array([*seen[0], math.log(max(math.hypot(*step), 0.1)), math.atan2(step[1], max(step[0], 1e-3))])
    found = least_squares(off, start, x_scale=[0.01, 0.01, 0.01, 0.01])
    spare = 2 * len(seen) - 4
    residual = math.sqrt(2 * found.cost / spare)
    slopes = np.asarray(found.jac)
    spread = np.linalg.pinv(slopes.T @ slopes) * max(residual, _PIXEL) ** 2
    speed, angle = math.exp(found.x[2]), math.degrees(found.x[3])
    if not (0.2 < speed < 200 and -45 < angle < 89):
        raise InputError(
            f"these points make {amount(speed, 'm/s')} at {angle:.0f} deg: check points, ruler and frames a second"
        )
    return ClipExit(
        speed,
        speed * math.hypot(math.sqrt(spread[2, 2]), _RULER_PX / clip.ruler_px),
        angle,
        math.degrees(math.hypot(math.sqrt(spread[3, 3]), _LEVEL)),
        residual,
    )


def _flown(body: Body, spin: float, speed: float, elevation: float, time: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where it is (n,), metres from the exit, after these times (s)."""
    far = max(speed * math.cos(elevation) * time[-1], 1e-6) * 1.02
    x = np.linspace(0.0, far, _STEPS)[1:]
    there = fly(body, speed, elevation, spin, x)
    good = np.isfinite(there.time) & np.isfinite(there.height)
    if np.count_nonzero(good) < 4:
        return np.full_like(time, 1e3), np.full_like(time, 1e3)
    at = np.concatenate([[0.0], there.time[good]])
    return (
        CubicSpline(at, np.concatenate([[0.0], x[good]]))(time),
        CubicSpline(at, np.concatenate([[0.0], there.height[good]]))(time),
    )


def _check(clip: Clip) -> None:
    count = len(clip.points)
    if not LEAST <= count <= MOST:
        raise InputError(f"{count} points: expected {LEAST} to {MOST} of them, such as 8")
    if not np.all(np.isfinite(clip.points)) or len(set(clip.points)) < count:
        raise InputError("points: expected plain numbers, each place once")
    for what, value, low, high in (
        ("frames a second", clip.frames_per_s, 5, 10_000),
        ("ruler in pixels", clip.ruler_px, 10, 100_000),
        ("ruler in metres", clip.ruler_m, 0.01, 100),
        ("frames from point to point", clip.every, 1, 1000),
    ):
        if not low <= value <= high:
            raise InputError(f"{what} {value:g}: expected {low:g} to {high:g}")


def read_points(text: str) -> tuple[tuple[float, float], ...]:
    """``312,640 335,611 …``: x and y of each point in pixels; raises ``InputError``."""
    try:
        pairs = [tuple(float(n) for n in word.split(",")) for word in text.split()]
    except ValueError:
        pairs = []
    if not pairs or any(len(pair) != 2 for pair in pairs):
        raise InputError('points: expected x,y of each in pixels, such as "312,640 335,611 360,588"')
    return tuple((pair[0], pair[1]) for pair in pairs)


def friction_from_tilt(angle: float, angle_sd: float = math.radians(1.0)) -> tuple[float, float]:
    """Friction and its standard deviation from the tilt (rad) at which a pushed element just keeps sliding: tan a."""
    return math.tan(angle), angle_sd / math.cos(angle) ** 2


def friction_from_run_out(speed: float, distance: float, speed_share: float = 0.05) -> tuple[float, float]:
    """Friction and its standard deviation from a run-out (m) on level ground from a known speed (m/s): v²/2 g d.

    ``speed_share``: standard deviation of the speed as a share of it. Air is left out; it is in the friction found.
    """
    value = speed**2 / (2 * STANDARD_GRAVITY * distance)
    return value, value * math.hypot(2 * speed_share, 0.02)
