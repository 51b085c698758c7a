"""Springs: stored energy, moving mass, and the rate and stress of a helical compression spring from its wire.

Sources: Budynas & Nisbett, Shigley's Mechanical Engineering Design, 10th ed., chapter 10 (rate eq. 10-9,
curvature factor eq. 10-5, strength eq. 10-14, tables 10-4 and 10-5). Everything broadcasts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class WireMaterial:
    """Strength S_ut = strength / d^exponent (Pa, d in mm) and shear modulus (Pa) by wire diameter up to
    ``modulus_up_to`` (m).
    """

    name: str
    strength: float
    exponent: float
    modulus_up_to: tuple[float, ...]
    modulus: tuple[float, ...]
    yield_share: float
    """Torsional yield over tensile strength before set removal, Shigley table 10-6."""


_STEPS = (0.8e-3, 1.61e-3, 3.0e-3, math.inf)
_ANY = (math.inf,)
WIRES: dict[str, WireMaterial] = {
    "A228": WireMaterial("music wire", 2211e6, 0.145, _STEPS, (82.7e9, 81.7e9, 81.0e9, 80.0e9), 0.45),
    "A227": WireMaterial("hard-drawn wire", 1783e6, 0.190, _STEPS, (80.7e9, 80.0e9, 79.3e9, 78.6e9), 0.45),
    "A229": WireMaterial("oil-tempered wire", 1855e6, 0.187, _ANY, (77.2e9,), 0.50),
    "A232": WireMaterial("chrome-vanadium wire", 2005e6, 0.168, _ANY, (77.2e9,), 0.50),
    "A401": WireMaterial("chrome-silicon wire", 1974e6, 0.108, _ANY, (77.2e9,), 0.50),
    # The 302 stainless row of table 10-4 for 0.3 to 2.5 mm; thicker wire is weaker than this.
    "A313": WireMaterial("302 stainless wire", 1867e6, 0.146, _ANY, (69.0e9,), 0.35),
}
"""Spring wires by ASTM designation."""


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


def exact_mass_share(load_over_spring: ArrayLike) -> FloatArray:
    """Share of the spring's mass in the effective mass of the lowest mode, over load mass / spring mass.

    1/x^2 - M/m with x tan(x) = m/M (wave equation of a uniform spring): 1/3 for a heavy load, 4/pi^2 for none.
    """
    ratio = np.asarray(load_over_spring, dtype=float)
    low, high = np.zeros_like(ratio), np.full_like(ratio, np.pi / 2)
    for _ in range(60):
        middle = (low + high) / 2
        under = ratio * middle * np.tan(middle) < 1
        low, high = np.where(under, middle, low), np.where(under, high, middle)
    x = (low + high) / 2
    # For a heavy load both terms are large; 1/3 + x^2/45 is the same number without the cancellation.
    share = np.where(x < 0.02, 1 / 3 + x**2 / 45, 1 / np.maximum(x, 1e-9) ** 2 - ratio)
    return np.asarray(share, dtype=float)


def helical_rate(
    wire_diameter: ArrayLike, coil_diameter: ArrayLike, active_turns: ArrayLike, shear_modulus: ArrayLike
) -> FloatArray:
    """Rate (N/m) of a helical spring: d^4 G / (8 D^3 N), lengths in m, D the mean coil diameter."""
    d, coil = np.asarray(wire_diameter, dtype=float), np.asarray(coil_diameter, dtype=float)
    turns, g = np.asarray(active_turns, dtype=float), np.asarray(shear_modulus, dtype=float)
    return np.asarray(d**4 * g / (8 * coil**3 * turns), dtype=float)


def wahl_factor(spring_index: ArrayLike) -> FloatArray:
    """Stress factor for curvature and shear over the spring index D/d: (4C - 1)/(4C - 4) + 0.615/C (Wahl)."""
    c = np.asarray(spring_index, dtype=float)
    return np.asarray((4 * c - 1) / (4 * c - 4) + 0.615 / c, dtype=float)


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
    """Tensile strength (Pa) of a wire by ASTM designation and diameter (m); KeyError for a wire there isn't."""
    wire = WIRES[material]
    return np.asarray(wire.strength / (np.asarray(wire_diameter, dtype=float) * 1e3) ** wire.exponent, dtype=float)


def shear_yield(material: str, wire_diameter: ArrayLike) -> FloatArray:
    """Torsional yield strength (Pa) before set removal: a share of the tensile strength."""
    return WIRES[material].yield_share * tensile_strength(material, wire_diameter)


def shear_modulus(material: str, wire_diameter: ArrayLike) -> FloatArray:
    """Shear modulus (Pa) of a wire by ASTM designation and diameter (m); KeyError for a wire there isn't."""
    wire = WIRES[material]
    place = np.searchsorted(wire.modulus_up_to[:-1], np.asarray(wire_diameter, dtype=float), side="left")
    return np.asarray(wire.modulus, dtype=float)[place]


def solid_length(wire_diameter: ArrayLike, total_turns: ArrayLike, ground_ends: bool = False) -> FloatArray:
    """Length (m) of a compression spring with all turns touching: d N_t with ground ends, d (N_t + 1) without."""
    turns = np.asarray(total_turns, dtype=float) + (0 if ground_ends else 1)
    return np.asarray(np.asarray(wire_diameter, dtype=float) * turns, dtype=float)
