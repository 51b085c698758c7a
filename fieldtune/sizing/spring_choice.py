"""Choosing a spring from load and travel: wire, coil, turns and lengths of compression and extension springs.

The procedure of Budynas & Nisbett, Shigley's Mechanical Engineering Design, 10th ed., chapter 10: for each wire the
largest coil that the stress allows, the turns that the rate asks for, then the lengths. Wires are the preferred numbers
R20 of ISO 3. What is lightest is best: a third of a spring's mass moves with the striker.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.person_units import amount, size
from fieldtune.physics.spring_strength import DENSITY, LEAST_INDEX, MOST_INDEX, index_for_stress
from fieldtune.physics.springs import WIRES, shear_modulus, shear_yield
from fieldtune.robot.spring import Hooks, SpringWire
from fieldtune.sizing.hazards import FEW_CYCLES, STRAINED
from fieldtune.sizing.reach import ReachTable, near_and_far
from fieldtune.sizing.spring_sweep import needed_share

if TYPE_CHECKING:
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.model import Robot

SpringKind = Literal["compression", "extension"]

_LEFT = 0.15
"""Share of the greatest deflection that is left before the coils touch (Shigley, eq. 10-19)."""
_FEWEST_TURNS = 3.0
"""Active turns below which a rate can't be wound well (Shigley, eq. 10-20)."""
_SLENDER = 5.26
"""Free length over mean coil diameter beyond which a steel spring between flat plates buckles (Shigley, eq. 10-13)."""
_HOOK_TURNS = 0.4
"""Turns by which two hooks yield like active ones, G/E of spring wires (Shigley, eq. 10-40)."""
_END_TURNS = 2.0
"""Dead turns of squared and ground ends; about as much wire is in two hooks."""
_SHOWN = 10
_R20 = (1.0, 1.12, 1.25, 1.4, 1.6, 1.8, 2.0, 2.24, 2.5, 2.8, 3.15, 3.55, 4.0, 4.5, 5.0, 5.6, 6.3, 7.1, 8.0, 9.0)
WIRES_M = tuple(step * size for step in (1e-4, 1e-3) for size in _R20)
"""Wire diameters from 0.1 to 9 mm: preferred numbers R20 of ISO 3."""


@frozen
class SpringNeed:
    """What a spring has to do: force (N) at rest and after a travel (m), of which wire (ASTM designation)."""

    kind: SpringKind
    preload_n: float
    load_n: float
    travel_m: float
    material: str = "A228"
    shot_peened: bool = False

    @property
    def rate(self) -> float:
        """N/m."""
        return (self.load_n - self.preload_n) / self.travel_m

    @property
    def energy(self) -> float:
        """J given up over the travel."""
        return (self.load_n + self.preload_n) / 2 * self.travel_m


@frozen
class SpringPick:
    """One spring that does it. Diameters and lengths in mm, ``coil_mm`` the mean diameter.

    ``free_length_mm`` without load, inside the hooks of an extension spring. ``safety``: what its weakest place stands
    over the stress there at the greatest load; ``life_cycles``: draws until it may break, at most ten million, None
    where not known. ``guide``: it buckles unless a rod or a tube guides it.
    """

    wire_mm: float
    coil_mm: float
    outside_mm: float
    index: float
    active_turns: float
    total_turns: float
    free_length_mm: float
    solid_length_mm: float | None
    initial_tension_n: float | None
    rate_n_per_mm: float
    safety: float
    weakest: str
    life_cycles: float | None
    mass_g: float
    guide: bool
    best: bool = False


def needed_spring(robot: Robot, table: ReachTable, kind: SpringKind) -> SpringNeed:
    """Of a striker's or an arm's spring: the present one's forces, scaled so that the longest draw scores from the
    farthest spot with a tenth of the speed to spare. As it is where that isn't known.

    Raises ``InputError`` for a launcher without a spring.
    """
    drawn: Drawn | None = robot.launcher.mechanism.by_motion(lambda _: None, lambda drawn: drawn)
    if drawn is None:
        raise InputError(f"--spring: {robot.name} has no spring; strikers and arms have")
    travel, load = drawn.draw_max, drawn.force_max
    if load is None or drawn.spring_rate is None:
        raise InputError(f"{robot.name} is driven by a torque, not by a spring")
    share = needed_share(robot, drawn, table, near_and_far(robot, table).far_m) or 1.0
    wire = drawn.wire
    material, peened = ("A228", False) if wire is None else (wire.material, wire.shot_peened)
    return SpringNeed(kind, share * drawn.preload, share * load, travel, material, peened)


def stated_need(
    need: SpringNeed,
    travel: float | None = None,
    load: float | None = None,
    energy: float | None = None,
    preload: float | None = None,
    wire: str | None = None,
) -> SpringNeed:
    """The need with what was asked for in its place (SI); a load follows from an energy (J) over the travel."""
    first = need.preload_n if preload is None else preload
    way = need.travel_m if travel is None else travel
    if energy is not None:
        load = 2 * energy / way - first if way > 0 else math.nan
    last = need.load_n if load is None else load
    return replace(need, preload_n=first, load_n=last, travel_m=way, material=wire or need.material)


def choose_springs(need: SpringNeed, wires_m: tuple[float, ...] = WIRES_M) -> tuple[SpringPick, ...]:
    """Springs that do it, a wire diameter each, the lightest that lasts marked best; ``wires_m`` to choose from, m.

    Raises ``InputError`` where the need makes no sense or no wire does it.
    """
    if not 0 <= need.preload_n < need.load_n < math.inf or not 0 < need.travel_m < math.inf:
        raise InputError(
            f"spring: found {amount(need.preload_n, 'N')} at rest, {amount(need.load_n, 'N')} "
            f"after {size(1000 * need.travel_m)}; "
            "expected a load above the preload, and a travel above zero"
        )
    make = _compression if need.kind == "compression" else _extension
    tried = (make(need, d) for d in wires_m if WIRES[need.material].covers(d))
    found = [pick for pick in tried if pick is not None]
    if not found:
        raise InputError(_none_does(need))
    lasting = [p for p in found if p.life_cycles is None or p.life_cycles >= FEW_CYCLES] or found
    best = min(lasting, key=lambda p: p.mass_g)
    at = found.index(best)
    first = max(0, min(at - _SHOWN // 2, len(found) - _SHOWN))
    return tuple(replace(p, best=p is best) for p in found[first : first + _SHOWN])


def _none_does(need: SpringNeed) -> str:
    wire = WIRES[need.material].name
    if need.kind == "extension":
        return (
            f"no extension spring of {wire} pulls only {amount(need.preload_n, 'N')} at rest "
            f"and {amount(need.load_n, 'N')} after "
            f"{size(1000 * need.travel_m)}: wound close it has more initial tension; more preload, or compression"
        )
    return (
        f"no {wire} of 0.1 to 9 mm gives {amount(need.load_n, 'N')} after {size(1000 * need.travel_m)} with an "
        "index of "
        f"{LEAST_INDEX:.0f} to {MOST_INDEX:.0f}: other travel or load, or springs side by side"
    )


def _turns(need: SpringNeed, d: float, index: float) -> float:
    """Active turns, d G / (8 C^3 k)."""
    return d * float(shear_modulus(need.material, d)) / (8 * index**3 * need.rate)


def _most_index(need: SpringNeed, d: float) -> float:
    """The index beyond which too few turns would be left, or none can be wound."""
    return min(MOST_INDEX, math.cbrt(_turns(need, d, 1.0) / _FEWEST_TURNS))


def _compression(need: SpringNeed, d: float) -> SpringPick | None:
    solid_load = (1 + _LEFT) * need.load_n
    allowed = float(index_for_stress(solid_load, d, shear_yield(need.material, d) / STRAINED))
    index = min(allowed, _most_index(need, d))
    if not index >= LEAST_INDEX:
        return None
    turns = _turns(need, d, index)
    solid = (turns + _END_TURNS) * d
    free = solid + solid_load / need.rate
    wire = SpringWire(d, index * d, turns, turns + _END_TURNS, free, need.material, None, need.shot_peened)
    return _pick(need, wire, index, free, solid, None)


def _extension(need: SpringNeed, d: float) -> SpringPick | None:
    most = _most_index(need, d)
    for index in np.arange(most, LEAST_INDEX - 1e-9, -0.05):
        coil = float(index) * d
        # Full loops, bent up over at least twice the wire (Norton, section 14.6).
        hooks = Hooks(coil / 2, max(coil / 4, 2 * d))
        wire = SpringWire(d, coil, _turns(need, d, float(index)), None, None, need.material, hooks, need.shot_peened)
        if wire.stress(need.load_n).safety >= STRAINED:
            least, usual = initial_tension(d, float(index))
            if need.preload_n < least:
                return None
            body = wire.active_turns - _HOOK_TURNS
            free = (2 * float(index) - 1 + body) * d
            return _pick(need, wire, float(index), free, None, min(usual, need.preload_n))
    return None


def initial_tension(wire_m: float, index: float) -> tuple[float, float]:
    """Least and usual force (N) that holds the turns of a close-wound extension spring together (Shigley, eq. 10-41).

    The stress behind it, without curvature: 33,500 / exp(0.105 C) +- 1,000 (4 - (C - 3) / 6.5) psi.
    """
    psi = 6894.757
    usual, spread = 33_500 / math.exp(0.105 * index), 1_000 * (4 - (index - 3) / 6.5)
    force = math.pi * wire_m**2 / (8 * index) * psi
    return (usual - spread) * force, usual * force


def _pick(
    need: SpringNeed, wire: SpringWire, index: float, free: float, solid: float | None, tension: float | None
) -> SpringPick:
    d, coil = wire.wire_diameter, wire.coil_diameter
    stress, life = wire.stress(need.load_n), wire.rounded_life(need.preload_n, need.load_n)
    turns = wire.active_turns + (_END_TURNS if solid is not None else -_HOOK_TURNS)
    length = math.pi * coil * (wire.active_turns + _END_TURNS)
    return SpringPick(
        wire_mm=1e3 * d,
        coil_mm=1e3 * coil,
        outside_mm=1e3 * (coil + d),
        index=index,
        active_turns=wire.active_turns,
        total_turns=turns,
        free_length_mm=1e3 * free,
        solid_length_mm=None if solid is None else 1e3 * solid,
        initial_tension_n=tension,
        rate_n_per_mm=wire.rate / 1e3,
        safety=stress.safety,
        weakest=stress.place,
        life_cycles=life,
        mass_g=1e3 * DENSITY * math.pi / 4 * d**2 * length,
        guide=solid is not None and free > _SLENDER * coil,
    )
