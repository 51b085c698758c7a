"""Sliding over a floor: Coulomb friction, slope and quadratic air drag, in closed form.

Along the floor v dv/dx = -a - c v^2 with a = g (mu cos(slope) + sin(slope)) and c = rho C_D A / (2 m) in 1/m, so v^2
falls exponentially towards -a / c (closed form; Coulomb's law of kinetic friction, independent of speed). Slopes are in
radians, rising away is positive. Distances are measured along the floor. Everything broadcasts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.constants import STANDARD_GRAVITY

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray


def slowing(friction: ArrayLike, slope: ArrayLike = 0.0, gravity: float = STANDARD_GRAVITY) -> FloatArray:
    """Deceleration (m/s^2) by friction and slope; zero or negative where the floor falls away too steeply to stop."""
    angle = np.asarray(slope, dtype=float)
    return np.asarray(gravity * (np.asarray(friction, dtype=float) * np.cos(angle) + np.sin(angle)), dtype=float)


def stop_distance(
    speed: ArrayLike,
    friction: ArrayLike,
    slope: ArrayLike = 0.0,
    drag: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Distance (m) to rest from a speed (m/s): ln(1 + c v^2 / a) / (2 c); inf on a floor that falls away too steeply
    to stop.
    """
    v, a, c = _lanes(speed, slowing(friction, slope, gravity), drag)
    with np.errstate(divide="ignore", invalid="ignore"):
        stop = v**2 / (2 * a) * _log_share(c * v**2 / a)
    return np.where(a > 0, stop, np.where(v > 0, np.inf, 0.0))


def needed_speed(
    distance: ArrayLike,
    friction: ArrayLike,
    slope: ArrayLike = 0.0,
    drag: ArrayLike = 0.0,
    speed_left: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Speed (m/s) that still has ``speed_left`` (m/s) after a distance (m), by default comes to rest there.

    nan for a negative distance, and where nothing comes to rest (downhill steeper than friction) or is ever that slow
    there.
    """
    x, a, c, left = _lanes(distance, slowing(friction, slope, gravity), drag, speed_left)
    growth = 2 * c * x
    square = left**2 * np.exp(growth) + 2 * a * x * _growth_share(growth)
    possible = (x >= 0) & (square >= 0) & ((a > 0) | (left > 0))
    return np.where(possible, np.sqrt(np.where(possible, square, 0.0)), np.nan)


def speed_at(
    speed: ArrayLike,
    distance: ArrayLike,
    friction: ArrayLike,
    slope: ArrayLike = 0.0,
    drag: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Speed left (m/s) after a distance (m); nan where the element has stopped before."""
    v, x, a, c = _lanes(speed, distance, slowing(friction, slope, gravity), drag)
    square = v**2 * np.exp(-2 * c * x) - 2 * a * x * _growth_share(-2 * c * x)
    # A distance worked out to be the stop itself may miss it by rounding.
    square = np.where(np.abs(square) < 1e-14 * v**2, 0.0, square)
    return np.where(square >= 0, np.sqrt(np.maximum(square, 0.0)), np.nan)


def time_to(
    speed: ArrayLike,
    distance: ArrayLike,
    friction: ArrayLike,
    slope: ArrayLike = 0.0,
    drag: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Time (s) to slide a distance (m); nan where the element has stopped before."""
    v, x, a, c = _lanes(speed, distance, slowing(friction, slope, gravity), drag)
    left = speed_at(v, x, friction, slope, drag, gravity)
    with np.errstate(divide="ignore", invalid="ignore"):
        # At the speed where drag balances the downhill pull both brackets vanish together.
        ratio = np.where(np.abs(a + c * v**2) < 1e-9 * np.abs(a), 1.0, (a + c * v**2) / (a + c * v * left))
        change = 2 * x * _growth_share(-2 * c * x) / (v + left) * ratio
        return np.where(x == 0, 0.0, change * _arc_share(c * a * change**2))


def stop_time(
    speed: ArrayLike,
    friction: ArrayLike,
    slope: ArrayLike = 0.0,
    drag: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Time (s) to rest: atan(v sqrt(c / a)) / sqrt(c a); inf where it never stops."""
    v, a, c = _lanes(speed, slowing(friction, slope, gravity), drag)
    with np.errstate(divide="ignore", invalid="ignore"):
        stop = v / a * _arc_share(c * v**2 / a)
    return np.where(a > 0, stop, np.where(v > 0, np.inf, 0.0))


def _lanes(*values: ArrayLike) -> list[FloatArray]:
    return [np.asarray(a, dtype=float) for a in np.broadcast_arrays(*(np.asarray(a, dtype=float) for a in values))]


def _log_share(z: FloatArray) -> FloatArray:
    """ln(1 + z) / z, 1 at zero."""
    safe = np.where(z == 0, 1.0, z)
    return np.where(z == 0, 1.0, np.log1p(safe) / safe)


def _growth_share(z: FloatArray) -> FloatArray:
    """(exp(z) - 1) / z, 1 at zero."""
    safe = np.where(z == 0, 1.0, z)
    return np.where(z == 0, 1.0, np.expm1(safe) / safe)


def _arc_share(square: FloatArray) -> FloatArray:
    """atan(w) / w of w^2 = square, atanh(w) / w for a negative square, 1 at zero."""
    w = np.sqrt(np.abs(square))
    safe = np.where(w == 0, 1.0, w)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(w == 0, 1.0, np.where(square > 0, np.arctan(safe), np.arctanh(safe)) / safe)
