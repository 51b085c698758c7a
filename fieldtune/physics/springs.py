"""Springs, and the strikers and arms they drive: stored energy, stress, impact, a throw from an arm's tip.

Sources: Budynas & Nisbett, Shigley's Mechanical Engineering Design, 10th ed., chapter 10 (rate eq. 10-9,
curvature factor eq. 10-5, strength eq. 10-14, tables 10-4 and 10-5). Everything broadcasts.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray


@frozen
class WireMaterial:
    """Strength, stiffness and yield of a spring wire over its diameter.

    ``strength``: rows (up to that diameter in m, A in Pa, m) of S_ut = A / d^m, d in mm; ``modulus``: rows (up to that
    diameter in m, shear modulus in Pa). ``thinnest``: from which diameter (m) the strength holds, to the last row's.
    """

    name: str
    thinnest: float
    strength: tuple[tuple[float, float, float], ...]
    modulus: tuple[tuple[float, float], ...]
    yield_share: float
    """Torsional yield over tensile strength before set removal, Shigley table 10-6."""

    def covers(self, wire_diameter: float) -> bool:
        """Whether the table's strength was found for wire as thick as this (m)."""
        return self.thinnest * (1 - 1e-9) <= wire_diameter <= self.strength[-1][0] * (1 + 1e-9)


def _wire(
    name: str,
    thinnest_mm: float,
    strength: tuple[tuple[float, float, float], ...],
    modulus_gpa: tuple[float, ...],
    yield_share: float,
) -> WireMaterial:
    steps = (0.8, 1.61, 3.0, math.inf) if len(modulus_gpa) > 1 else (math.inf,)
    rows = tuple((1e-3 * up_to, 1e6 * size, exponent) for up_to, size, exponent in strength)
    stiff = tuple((1e-3 * up_to, 1e9 * g) for up_to, g in zip(steps, modulus_gpa, strict=True))
    return WireMaterial(name, 1e-3 * thinnest_mm, rows, stiff, yield_share)


WIRES: dict[str, WireMaterial] = {
    "A228": _wire("music wire", 0.10, ((6.5, 2211, 0.145),), (82.7, 81.7, 81.0, 80.0), 0.45),
    "A227": _wire("hard-drawn wire", 0.7, ((12.7, 1783, 0.190),), (80.7, 80.0, 79.3, 78.6), 0.45),
    "A229": _wire("oil-tempered wire", 0.5, ((12.7, 1855, 0.187),), (77.2,), 0.50),
    "A232": _wire("chrome-vanadium wire", 0.8, ((11.1, 2005, 0.168),), (77.2,), 0.50),
    "A401": _wire("chrome-silicon wire", 1.6, ((9.5, 1974, 0.108),), (77.2,), 0.50),
    "A313": _wire(
        "302 stainless wire", 0.3, ((2.5, 1867, 0.146), (5.0, 2065, 0.263), (10.0, 2911, 0.478)), (69.0,), 0.35
    ),
    "B159": _wire("phosphor-bronze wire", 0.1, ((0.6, 1000, 0.0), (2.0, 913, 0.028), (7.5, 932, 0.064)), (41.4,), 0.35),
}
"""Spring wires by ASTM designation. Diameters, the thicker stainless and the bronze are from memory of the tables."""


def spring_energy(rate: ArrayLike, draw: ArrayLike, preload: ArrayLike = 0.0) -> FloatArray:
    """Energy (J) given up between a draw (m) and the stop by a spring of rate (N/m) that pulls ``preload`` (N) at the
    stop.
    """
    k, d, force = (np.asarray(a, dtype=float) for a in (rate, draw, preload))
    return np.asarray(0.5 * k * d**2 + force * d, dtype=float)


def effective_mass(spring_mass: ArrayLike) -> FloatArray:
    """The part of a spring's mass (kg) that counts as moving with its end: a third, for a load heavier than the
    spring.
    """
    return np.asarray(spring_mass, dtype=float) / 3


def helical_rate(
    wire_diameter: ArrayLike, coil_diameter: ArrayLike, active_turns: ArrayLike, shear_modulus: ArrayLike
) -> FloatArray:
    """Rate (N/m) of a helical spring: d^4 G / (8 D^3 N), lengths in m, D the mean coil diameter."""
    d, coil = np.asarray(wire_diameter, dtype=float), np.asarray(coil_diameter, dtype=float)
    turns, g = np.asarray(active_turns, dtype=float), np.asarray(shear_modulus, dtype=float)
    return np.asarray(d**4 * g / (8 * coil**3 * turns), dtype=float)


def bergstrasser_factor(spring_index: ArrayLike) -> FloatArray:
    """Stress factor for curvature and shear over the spring index D/d: (4C + 2)/(4C - 3) (Bergstraesser)."""
    c = np.asarray(spring_index, dtype=float)
    return np.asarray((4 * c + 2) / (4 * c - 3), dtype=float)


def shear_stress(
    force: ArrayLike, wire_diameter: ArrayLike, coil_diameter: ArrayLike, factor: ArrayLike | None = None
) -> FloatArray:
    """Largest shear stress (Pa) in the wire under a force (N): factor * 8 F D / (pi d^3); Bergstraesser's factor by
    default.
    """
    f, d, coil = (np.asarray(a, dtype=float) for a in (force, wire_diameter, coil_diameter))
    curved = bergstrasser_factor(coil / d) if factor is None else np.asarray(factor, dtype=float)
    return np.asarray(curved * 8 * f * coil / (np.pi * d**3), dtype=float)


def tensile_strength(material: str, wire_diameter: ArrayLike) -> FloatArray:
    """Tensile strength (Pa) of a wire by ASTM designation and diameter (m); KeyError for a wire there isn't.

    Outside of the diameters of its table (``WireMaterial.covers``) the nearest row is carried on.
    """
    diameter, rows = np.asarray(wire_diameter, dtype=float), WIRES[material].strength
    place = np.searchsorted([up_to for up_to, _, _ in rows[:-1]], diameter * (1 - 1e-9), side="left")
    size, exponent = np.array([row[1] for row in rows])[place], np.array([row[2] for row in rows])[place]
    return np.asarray(size / (diameter * 1e3) ** exponent, dtype=float)


def shear_yield(material: str, wire_diameter: ArrayLike) -> FloatArray:
    """Torsional yield strength (Pa) before set removal: a share of the tensile strength."""
    return WIRES[material].yield_share * tensile_strength(material, wire_diameter)


def shear_modulus(material: str, wire_diameter: ArrayLike) -> FloatArray:
    """Shear modulus (Pa) of a wire by ASTM designation and diameter (m); KeyError for a wire there isn't."""
    rows = WIRES[material].modulus
    place = np.searchsorted([up_to for up_to, _ in rows[:-1]], np.asarray(wire_diameter, dtype=float), side="left")
    return np.array([modulus for _, modulus in rows])[place]


# Two bodies meeting on a line: impact with restitution, and the two ways a striker passes its energy on.
#
# Momentum is kept and Newton's coefficient of restitution e relates the relative speeds after and before (closed
# form). Everything broadcasts.


@frozen
class Collision:
    """Speeds (m/s) of both bodies after an impact, and the kinetic energy lost in it (J)."""

    first: FloatArray
    second: FloatArray
    loss: FloatArray


@frozen
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


# A swinging arm that throws an element from its tip: work of spring or torque, less gravity's share, into arm and
# element.


def lift_work(
    draw: ArrayLike,
    arm_length: ArrayLike,
    release_angle: ArrayLike,
    tip_mass: ArrayLike,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Work (J) that lifts a mass (kg) at the tip through a draw (m along the arc) up to the release angle (rad, from
    behind).

    Negative where the tip comes down: an arm drawn beyond the vertical.
    """
    d, length, up, mass = (np.asarray(a, dtype=float) for a in (draw, arm_length, release_angle, tip_mass))
    return np.asarray(mass * gravity * length * (np.sin(up) - np.sin(up - d / length)), dtype=float)


def exit_speed(
    draw: ArrayLike,
    *,
    arm_length: ArrayLike,
    arm_inertia: ArrayLike,
    element_mass: ArrayLike,
    release_angle: ArrayLike,
    spring_rate: float | None,
    torque: float | None,
    preload: ArrayLike = 0.0,
    efficiency: ArrayLike = 1.0,
    arm_moment: ArrayLike = 0.0,
    gravity: float = STANDARD_GRAVITY,
) -> FloatArray:
    """Speed (m/s) of the tip, and so of the element, at release; 0 where the arm is too weak to lift it.

    ``draw`` (m) is the tip's way along its arc. A spring of rate (N/m, at the tip) gives k d^2 / 2 + preload d, a
    constant torque (N m, at the pivot) gives torque d / length; ``spring_rate`` wins where both are given, and one
    must be. ``efficiency`` is on that work. The arm stands ``release_angle`` (rad) above the horizontal at release,
    seen from behind. ``arm_moment`` (kg m) is the arm's own mass times its centre's distance from the pivot, 0 where
    the arm is balanced or unknown. Broadcasts.
    """
    d, length = np.asarray(draw, dtype=float), np.asarray(arm_length, dtype=float)
    if spring_rate is not None:
        work = 0.5 * spring_rate * d**2 + np.asarray(preload, dtype=float) * d
    elif torque is not None:
        work = torque * d / length
    else:
        raise ValueError("an arm needs spring_rate or torque")
    mass = np.asarray(element_mass, dtype=float)
    weight_at_tip = mass + np.asarray(arm_moment, dtype=float) / length
    left = np.asarray(efficiency, dtype=float) * work - lift_work(d, length, release_angle, weight_at_tip, gravity)
    moving = np.asarray(arm_inertia, dtype=float) / length**2 + mass
    return np.asarray(np.sqrt(2 * np.maximum(left, 0.0) / moving), dtype=float)
