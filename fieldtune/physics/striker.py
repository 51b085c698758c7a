"""Two bodies meeting on a line: impact with restitution, and the two ways a striker passes its energy on.

Momentum is kept and Newton's coefficient of restitution e relates the relative speeds after and before (closed form).
Everything broadcasts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class Collision:
    """Speeds (m/s) of both bodies after an impact, and the kinetic energy lost in it (J)."""

    first: FloatArray
    second: FloatArray
    loss: FloatArray


@dataclass(frozen=True, slots=True)
class Release:
    """Exit speed of the element (m/s), and what the striker then still carries into its stop: speed (m/s), energy
    (J).
    """

    exit_speed: FloatArray
    striker_speed: FloatArray
    energy_left: FloatArray


def collide(
    mass_1: ArrayLike, speed_1: ArrayLike, mass_2: ArrayLike, speed_2: ArrayLike, restitution: ArrayLike
) -> Collision:
    """Direct central impact of masses (kg) at signed speeds (m/s); restitution 0 (they stay together) to 1
    (elastic).
    """
    m1, v1, m2, v2, e = (np.asarray(a, dtype=float) for a in (mass_1, speed_1, mass_2, speed_2, restitution))
    common = (m1 * v1 + m2 * v2) / (m1 + m2)
    closing = v1 - v2
    loss = 0.5 * m1 * m2 / (m1 + m2) * closing**2 * (1 - e**2)
    first = common - e * m2 / (m1 + m2) * closing
    second = common + e * m1 / (m1 + m2) * closing
    return Collision(np.asarray(first), np.asarray(second), np.asarray(loss))


def strike(energy: ArrayLike, moving_mass: ArrayLike, element_mass: ArrayLike, restitution: ArrayLike) -> Release:
    """A striker that has all of the energy (J) hits the element at rest and lets go of it.

    ``moving_mass`` (kg) is the striker's with the spring's share. Without energy nothing leaves: speed 0.
    """
    work, moving = np.maximum(np.asarray(energy, dtype=float), 0.0), np.asarray(moving_mass, dtype=float)
    hit = collide(moving, np.sqrt(2 * work / moving), element_mass, 0.0, restitution)
    return Release(hit.second, hit.first, np.asarray(0.5 * moving * hit.first**2))


def push(energy: ArrayLike, moving_mass: ArrayLike, element_mass: ArrayLike) -> Release:
    """Striker and element share the energy (J) and move together until the striker's stop; masses in kg."""
    work, moving = np.maximum(np.asarray(energy, dtype=float), 0.0), np.asarray(moving_mass, dtype=float)
    speed = np.asarray(np.sqrt(2 * work / (moving + np.asarray(element_mass, dtype=float))))
    return Release(speed, speed.copy(), np.asarray(0.5 * moving * speed**2))
