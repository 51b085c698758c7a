"""What a spring's wire and hooks stand: stress at a hook, how many draws until it breaks, the coil that a load allows.

Sources: Budynas & Nisbett, Shigley's Mechanical Engineering Design, 10th ed., chapter 10; Norton, Machine Design,
chapter 14, whose tables of stress over cycles are those of Associated Spring's Design Handbook (1987). The tables are
from memory. Curvature is counted by Bergstraesser's factor (``springs.bergstrasser_factor``), as EN 13906-1 does;
Wahl's is at most 1.4 % above it at the indices that springs have. Everything but the cycles broadcasts.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.physics.springs import WIRES, tensile_strength

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

Place = Literal["coils", "hook's bend", "foot of the hook"]
"""Where a spring may give way: torsion in its coils, bending of a hook's loop, torsion where the loop is bent up."""

DENSITY = 7850.0
"""Of spring steel, kg/m^3 (common practice)."""

LEAST_INDEX, MOST_INDEX = 4.0, 12.0
"""Coil over wire diameter that can be wound well and doesn't tangle (Shigley, eq. 10-18)."""


def hook_bending(force: ArrayLike, wire: ArrayLike, coil: ArrayLike, loop_radius: ArrayLike) -> FloatArray:
    """Tensile stress (Pa) in the loop of a hook, under a force (N): bending and pull (Shigley, eqs. 10-34 and 10-35).

    Lengths in m: wire and mean coil diameter, mean radius of the loop (half the coil's where it is a full loop).
    """
    f, d, mean, r = (np.asarray(a, dtype=float) for a in (force, wire, coil, loop_radius))
    c = 2 * r / d
    curved = (4 * c**2 - c - 1) / (4 * c * (c - 1))
    return np.asarray(f * (curved * 16 * mean / (np.pi * d**3) + 4 / (np.pi * d**2)), dtype=float)


def hook_torsion(force: ArrayLike, wire: ArrayLike, coil: ArrayLike, bend_radius: ArrayLike) -> FloatArray:
    """Shear stress (Pa) where a hook's loop is bent up from the last coil, under a force (N) (Shigley, eq. 10-36).

    Lengths in m: wire and mean coil diameter, mean radius of that bend.
    """
    f, d, mean, r = (np.asarray(a, dtype=float) for a in (force, wire, coil, bend_radius))
    c = 2 * r / d
    return np.asarray((4 * c - 1) / (4 * c - 4) * 8 * f * mean / (np.pi * d**3), dtype=float)


def index_for_stress(force: ArrayLike, wire: ArrayLike, stress: ArrayLike) -> FloatArray:
    """Largest spring index D/d at which a force (N) puts a shear stress (Pa) into a wire (m): Shigley, eq. 10-23.

    nan for a wire too thin for the force at any index. Bergstraesser's factor solved for the index.
    """
    f, d, most = (np.asarray(a, dtype=float) for a in (force, wire, stress))
    one = 8 * f / (np.pi * d**2)
    half = (2 * most - one) / (4 * one)
    inside = half**2 - 3 * most / (4 * one)
    return np.where((inside >= 0) & (half > 0), half + np.sqrt(np.maximum(inside, 0.0)), np.nan)


_HOOKS_STAND = {"A313": (0.30, 0.55), "B159": (0.30, 0.55)}
"""Static limits over tensile strength at a hook, torsion and bending, of stainless and bronze (Shigley table 10-7)."""


def static_limit(material: str, wire: ArrayLike, place: Place = "coils") -> FloatArray:
    """Stress (Pa) that the wire (m) stands at a place before it sets; tensions of hooks from Shigley table 10-7."""
    torsion, bending = _HOOKS_STAND.get(material, (0.40, 0.75))
    share = {"coils": WIRES[material].yield_share, "foot of the hook": torsion, "hook's bend": bending}[place]
    return share * tensile_strength(material, wire)


# How often a spring can be drawn. Stress of pulses from zero over tensile strength, by cycles; a pulse that begins
# higher is brought to an alternating stress by Goodman's line, with a shear strength of 0.67 of the tensile strength.
# Up to ten thousand draws a load counts as static (EN 13906-1; from memory).


_CYCLES = np.array([1e4, 1e5, 1e6, 1e7])
_STEADY = ((0.36, 0.33, 0.30), (0.42, 0.39, 0.36))
_COILS = {"A228": _STEADY, "A313": _STEADY, "B159": _STEADY, "A232": ((0.42, 0.40, 0.38), (0.49, 0.47, 0.46))}
"""At 1e5, 1e6 and 1e7 cycles, as wound and shot-peened (Norton table 14-8: music, stainless, bronze; valve wire)."""

_HOOKS = {"foot of the hook": (0.34, 0.30, 0.28), "hook's bend": (0.51, 0.47, 0.45)}
"""The same for hooks of music and stainless wire (Norton table 14-12)."""

SHEAR_SHARE = 0.67
"""Strength in shear over tensile strength (Shigley, eq. 10-30)."""

_ZIMMERLI = {False: (241e6, 379e6), True: (398e6, 534e6)}
"""Alternating and mean shear stress (Pa) that spring steel stands without end, as wound and shot-peened: Zimmerli
1957, as in Shigley eqs. 10-28 and 10-29; of wire up to 10 mm, whatever its strength."""

_NO_STEEL = ("A313", "B159")


def endless(material: str, wire: float, peened: bool = False) -> float | None:
    """Alternating shear stress (Pa) about zero that coils stand without end, by Zimmerli's data and Goodman's line.

    None for wires that the data are not of.
    """
    if material in _NO_STEEL or wire > 0.010:
        return None
    amplitude, mean = _ZIMMERLI[peened]
    return amplitude / (1 - mean / (SHEAR_SHARE * float(tensile_strength(material, wire))))


def cycles_to_break(
    material: str, wire: float, least: float, greatest: float, *, peened: bool = False, place: Place = "coils"
) -> float | None:
    """About how often the stress (Pa) at a place may go from ``least`` to ``greatest`` and back; inf beyond ten
    million.

    None where it sets at once, or where no published curve is at hand for this wire.
    """
    tensile = float(tensile_strength(material, wire))
    ultimate = tensile if place == "hook's bend" else SHEAR_SHARE * tensile
    if greatest > float(static_limit(material, wire, place)):
        return None
    alternating = (greatest - least) / 2 / (1 - (greatest + least) / 2 / ultimate)
    unending = endless(material, wire, peened) if place == "coils" else None
    if place == "coils":
        shares = _COILS[material][int(peened)] if material in _COILS else None
    else:
        shares = _HOOKS[place] if material in ("A228", "A313") else None
    if shares is None:
        return math.inf if unending is not None and alternating <= unending else None
    pulses = np.array([float(static_limit(material, wire, place)), *(tensile * share for share in shares)]) / 2
    strength = pulses * ultimate / (ultimate - pulses)
    if unending is not None:
        strength[-1] = min(strength[-1], unending)
    strength = np.minimum.accumulate(strength)
    if alternating <= strength[-1]:
        return math.inf
    return float(np.exp(np.interp(-math.log(alternating), -np.log(strength), np.log(_CYCLES))))
