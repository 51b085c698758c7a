"""Driven wheels that throw an element: exit speed and spin, what a shot takes out of them, stress in the rim.

Speeds of rotation in rad/s. Everything broadcasts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

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


def exit_spin(
    wheel_speed: ArrayLike,
    wheel_diameter: ArrayLike,
    element_radius: ArrayLike,
    *,
    wheels: int = 2,
    speed_ratio: ArrayLike = 1.0,
    grip: ArrayLike = 1.0,
) -> FloatArray:
    """Spin of the element (rad/s), backspin positive: half the difference of the rim speeds of a pair over its radius
    (m).

    One wheel below rolls it backward along the rail above: half the rim speed over the radius.
    """
    rim = np.asarray(wheel_speed, dtype=float) * np.asarray(wheel_diameter, dtype=float) / 2
    share = (1 - np.asarray(speed_ratio, dtype=float)) / 2 if wheels == 2 else 0.5
    surface = np.asarray(grip, dtype=float) * rim * share
    return np.asarray(surface / np.asarray(element_radius, dtype=float), dtype=float)


def shot_energy(
    element_mass: ArrayLike, speed: ArrayLike, spin: ArrayLike = 0.0, element_inertia: ArrayLike = 0.0
) -> FloatArray:
    """Kinetic energy (J) the element leaves with: m v^2 / 2 + I w^2 / 2."""
    m, v, w, i = (np.asarray(a, dtype=float) for a in (element_mass, speed, spin, element_inertia))
    return np.asarray(0.5 * m * v**2 + 0.5 * i * w**2, dtype=float)


def speed_after(inertia: ArrayLike, wheel_speed: ArrayLike, energy: ArrayLike) -> FloatArray:
    """Speed of wheels of that total inertia (kg m^2) after an energy (J) was taken out of I w^2 / 2; nan where it
    stops them.
    """
    i, w, e = (np.asarray(a, dtype=float) for a in (inertia, wheel_speed, energy))
    square = w**2 - 2 * e / i
    return np.where(square >= 0, np.sqrt(np.maximum(square, 0.0)), np.nan)


def sustained_rate(power: ArrayLike, energy: ArrayLike) -> FloatArray:
    """Highest rate (shots/s) at which a drive of that power (W) makes good the energy (J) of each shot."""
    return np.asarray(np.asarray(power, dtype=float) / np.asarray(energy, dtype=float), dtype=float)


def rim_stress_thin(density: ArrayLike, rim_speed: ArrayLike) -> FloatArray:
    """Hoop stress (Pa) in a thin rim: density (kg/m^3) times rim speed (m/s) squared (closed form)."""
    return np.asarray(np.asarray(density, dtype=float) * np.asarray(rim_speed, dtype=float) ** 2, dtype=float)


def disc_stress(
    density: ArrayLike, speed: ArrayLike, inner_radius: ArrayLike, outer_radius: ArrayLike, poisson: ArrayLike = 0.3
) -> FloatArray:
    """Largest stress (Pa) of a flat disc turning at rad/s: the hoop stress at its bore; radii in m.

    (3 + nu)/4 rho w^2 (c^2 + (1 - nu)/(3 + nu) b^2): Ugural & Fenster, Advanced Strength and Applied Elasticity,
    chapter 8. A disc without a hole (``inner_radius`` 0) has half of that at its centre.
    """
    rho, w, b, c, nu = (np.asarray(a, dtype=float) for a in (density, speed, inner_radius, outer_radius, poisson))
    bored = (3 + nu) / 4 * rho * w**2 * (c**2 + (1 - nu) / (3 + nu) * b**2)
    return np.asarray(np.where(b > 0, bored, bored / 2), dtype=float)
