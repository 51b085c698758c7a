"""Driven wheels that throw an element: exit speed and spin, what a shot takes out of them, stress in the rim.

Speeds of rotation in rad/s. Everything broadcasts.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray


def exit_speed(
    wheel_speed: ArrayLike,
    wheel_diameter: ArrayLike,
    *,
    wheels: int = 2,
    speed_ratio: ArrayLike = 1.0,
    grip: ArrayLike = 1.0,
) -> FloatArray:
    """Exit speed (m/s): the mean of both rim speeds of a pair, half the rim speed of one wheel against a rail, times
    grip.

    ``speed_ratio`` is the second wheel's speed over the first's (``wheel_speed``); it has no meaning for one wheel.
    Rolling without slip (closed form).
    """
    rim = np.asarray(wheel_speed, dtype=float) * np.asarray(wheel_diameter, dtype=float) / 2
    share = (1 + np.asarray(speed_ratio, dtype=float)) / 2 if wheels == 2 else 0.5
    return np.asarray(np.asarray(grip, dtype=float) * rim * share, dtype=float)


@frozen
class Drop:
    """What one shot takes out of the wheels: ``drop`` (wheels, n) of each one's speed, rad/s, first wheel first, and
    the ``energy`` (n) they lose together, J.
    """

    drop: FloatArray
    energy: FloatArray


def impulse_drop(
    element_mass: ArrayLike,
    exit_speed: ArrayLike,
    wheel_radius: ArrayLike,
    wheel_inertia: ArrayLike,
    wheel_speed: ArrayLike,
    *,
    wheels: int = 2,
    speed_ratio: ArrayLike = 1.0,
    inertia_ratio: ArrayLike = 0.4,
) -> Drop:
    """By momentum, whatever slips: each rim's impulse J on the element is what turns its wheel back, I dw = -J r.

    Linear and angular momentum of the element give J = (m v +- I_e s / R^2) / 2 for the lower and upper contact, with
    its spin's surface speed s: v where one wheel rolls it along a rail, and for a pair what is left of the rims' half
    difference after the same reasoning. For an equal pair sum(I) dw = -m v r. No motor torque during the few
    milliseconds of contact. ``wheel_inertia`` (kg m^2) is each wheel's, ``wheel_speed`` (rad/s) the first one's before,
    ``inertia_ratio`` the element's I / (m R^2). All broadcast to (n,); mechanics textbooks.
    """
    m, v, r, i, w, k, alpha = np.broadcast_arrays(
        *(np.asarray(a, dtype=float) for a in (
            element_mass, exit_speed, wheel_radius, wheel_inertia, wheel_speed, speed_ratio, inertia_ratio
        ))
    )  # fmt: skip
    if wheels == 2:
        turning = w * r * (1 - k) / 2 / (1 + alpha * m * r**2 / (2 * i))
        impulse = np.stack([m * v + alpha * m * turning, m * v - alpha * m * turning]) / 2
        before = np.stack([w, k * w])
    else:
        impulse, before = np.stack([(1 + alpha) * m * v / 2]), np.stack([w])
    drop = impulse * r / i
    return Drop(drop, np.asarray((i * drop * (before - drop / 2)).sum(axis=0)))


def rim_stress_thin(density: ArrayLike, rim_speed: ArrayLike) -> FloatArray:
    """Hoop stress (Pa) in a thin rim: density (kg/m^3) times rim speed (m/s) squared (closed form)."""
    return np.asarray(np.asarray(density, dtype=float) * np.asarray(rim_speed, dtype=float) ** 2, dtype=float)
