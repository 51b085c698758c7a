"""The spring that drives a striker or an arm: its wire, and how rate, preload, draw and wire are read."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

from fieldtune.errors import UnitError
from fieldtune.frozen import frozen
from fieldtune.person_units import amount, size
from fieldtune.units import ANGLE, FORCE, LENGTH, STIFFNESS, TORSION, Dimension, parse, shown

if TYPE_CHECKING:
    from fieldtune.physics.spring_strength import Place
    from fieldtune.robot.table_reader import Section


@frozen
class SpringWire:
    """Optional wire data of a helical spring, for stress: SI, ``material`` by ASTM designation."""

    wire_diameter: float
    coil_diameter: float
    active_turns: float
    total_turns: float | None
    free_length: float | None
    material: str
    hooks: Hooks | None = None
    shot_peened: bool = False

    @property
    def rate(self) -> float:
        """Rate (N/m) of a close-coiled spring, d^4 G / (8 D^3 N) (Budynas & Nisbett, Shigley's, 10th ed., eq. 10-9)."""
        from fieldtune.physics.springs import helical_rate, shear_modulus

        shear = shear_modulus(self.material, self.wire_diameter)
        return float(helical_rate(self.wire_diameter, self.coil_diameter, self.active_turns, shear))

    def stress(self, force: float) -> SpringStress:
        """Stress under a force (N) where the spring yields first, in its coils or at a hook, and what it stands there.

        With the curvature factors of coil and hook.
        """
        from fieldtune.physics.spring_strength import static_limit

        found = [
            SpringStress(stress / 1e6, float(static_limit(self.material, self.wire_diameter, place)) / 1e6, place)
            for place, stress in self._stresses(force)
        ]
        return min(found, key=lambda at: at.safety)

    def life(self, least: float, greatest: float) -> float | None:
        """About how often it can go from one force (N) to the other and back; inf beyond ten million.

        None where it sets at once, or where no published curve is at hand for its wire.
        """
        from fieldtune.physics.spring_strength import cycles_to_break

        pairs = zip(self._stresses(least), self._stresses(greatest), strict=True)
        lives = [
            cycles_to_break(self.material, self.wire_diameter, low, high, peened=self.shot_peened, place=place)
            for (place, low), (_, high) in pairs
        ]
        known = [cycles for cycles in lives if cycles is not None]
        return min(known) if len(known) == len(lives) else None

    def rounded_life(self, least: float, greatest: float) -> float | None:
        """As ``life``, in two figures and at most ten million: nobody knows it better."""
        cycles = self.life(least, greatest)
        return None if cycles is None else float(f"{min(cycles, 1e7):.1e}")

    def _stresses(self, force: float) -> list[tuple[Place, float]]:
        """Stresses (Pa) at each place that may give way, under a force (N)."""
        from fieldtune.physics.spring_strength import hook_bending, hook_torsion
        from fieldtune.physics.springs import shear_stress

        d, coil, hooks = self.wire_diameter, self.coil_diameter, self.hooks
        found: list[tuple[Place, float]] = [("coils", float(shear_stress(force, d, coil)))]
        if hooks is not None:
            found.append(("hook's bend", float(hook_bending(force, d, coil, hooks.loop_radius))))
            found.append(("foot of the hook", float(hook_torsion(force, d, coil, hooks.bend_radius))))
        return found

    @property
    def solid(self) -> float:
        """Length (m) with all turns touching."""
        return self.wire_diameter * (self.total_turns or self.active_turns)


@frozen
class Hooks:
    """The ends of an extension spring, m: mean radius of a hook's loop, and of the bend that raises it from the last
    coil.
    """

    loop_radius: float
    bend_radius: float


@frozen
class SpringStress:
    """Stress where the spring yields first, and what it stands there before it sets, both MPa; and where that is."""

    stress_mpa: float
    limit_mpa: float
    place: Place = "coils"

    @property
    def safety(self) -> float:
        """Limit over stress."""
        return self.limit_mpa / self.stress_mpa


def read_rate(section: Section, wire: SpringWire | None, arm_length: float | None = None) -> float | None:
    """N/m; an arm's may be given about its pivot (N m/rad) and is then referred to its tip: torque over length^2."""
    raw = section.take("spring_rate")
    if raw is None and wire is not None:
        return wire.rate
    if raw is not None and arm_length is not None and _is(raw, TORSION):
        torsion = section.checked("spring_rate", raw, TORSION, "0 N m/rad", most="2000 N m/rad")
        return None if torsion is None else torsion / arm_length**2
    rate = section.quantity("spring_rate", STIFFNESS, over="0 N/m", most="1000 N/mm", usual=("0.01 N/mm", "50 N/mm"))
    if wire is not None and arm_length is None and rate > 0 and not 0.75 < rate / wire.rate < 1.33:
        section.warn(
            "spring_rate",
            f"found {shown(raw)}; its wire gives {amount(wire.rate / 1e3, 'N/mm')}, check both",
        )
    return None if math.isnan(rate) else rate


def _is(raw: object, dimension: Dimension) -> bool:
    try:
        parse(raw, dimension)
    except UnitError:
        return False
    return True


def read_preload(section: Section, rate: float | None) -> float:
    """Newtons at the stop, given as a force or as the length by which the spring is squeezed there."""
    raw = section.take("preload")
    if raw is None:
        return 0.0
    if rate is not None and _is(raw, LENGTH):
        squeeze = section.checked("preload", raw, LENGTH, least="0 mm", most="2 m")
        return 0.0 if squeeze is None else squeeze * rate
    return section.checked("preload", raw, FORCE, least="0 N", most="20 kN", usual=(None, "1 kN")) or 0.0


def read_draw(section: Section, arm_length: float | None = None) -> tuple[float, float]:
    """Smallest and largest draw, metres; an arm's may be given as the angle it swings through."""

    def one(key: str, default: float | None) -> float:
        raw = section.values.get(key)
        if raw is not None and arm_length is not None and _is(raw, ANGLE):
            section.take(key)
            swing = section.checked(key, raw, ANGLE, least="0 deg", most="300 deg")
            return math.nan if swing is None else swing * arm_length
        least, over = ("0 mm", None) if key == "draw_min" else (None, "0 mm")
        return section.quantity(key, LENGTH, default, least=least, over=over, most="3 m", usual=(None, "60 cm"))

    high = one("draw_max", None)
    if "draw_min" not in section:
        section.warn("draw_min", "not given; taken as a tenth of draw_max")
    low = one("draw_min", high / 10)
    if low >= high:
        found = shown(section.values["draw_min"])
        section.error("draw_min", f"found {found}; expected less than draw_max, {shown(section.values['draw_max'])}")
    if arm_length is not None and high > 5.24 * arm_length:
        found, most = shown(section.values["draw_max"]), size(arm_length * 5.236 * 1e3, 0)
        section.error("draw_max", f"found {found}; expected at most {most} (300 deg of swing, along the tip's arc)")
    return low, high


def check_solid(section: Section, wire: SpringWire, draw_max: float, squeezed: float) -> None:
    """Refuses a draw beyond the length at which the coils touch; ``squeezed``: what the preload takes, metres."""
    if wire.free_length is None or wire.hooks is not None:
        return
    room = wire.free_length - wire.solid - squeezed
    if draw_max > room:
        found = shown(section.values["draw_max"])
        section.error(
            "draw_max",
            f"found {found}; expected at most {size(room * 1e3, 0)} (the spring is solid there)",
        )


def read_wire(section: Section) -> SpringWire | None:
    """The spring's wire, ``None`` where the profile doesn't tell."""
    table = section.section("spring")
    if table is None:
        return None
    wire = SpringWire(
        wire_diameter=table.quantity("wire_diameter", LENGTH, over="0 mm", most="30 mm"),
        coil_diameter=table.quantity("coil_diameter", LENGTH, over="0 mm", most="500 mm"),
        active_turns=table.number("active_turns", over=0, most=1000),
        total_turns=table.number("total_turns", over=0, most=1000) if "total_turns" in table else None,
        free_length=table.maybe("free_length", LENGTH, over="0 mm", most="5 m"),
        material=_read_material(table),
        shot_peened=table.choice("finish", ("as wound", "shot-peened"), "as wound") == "shot-peened",
    )
    table.knows("total_turns")
    if table.choice("kind", ("compression", "extension"), "compression") == "extension":
        wire = replace(wire, hooks=_read_hooks(table, wire))
    table.knows("hook_radius", "hook_bend_radius")
    table.close()
    if wire.coil_diameter <= 2 * wire.wire_diameter:
        found = shown(table.values["coil_diameter"])
        table.error("coil_diameter", f"found {found}; expected the mean diameter, more than twice the wire's")
    if wire.total_turns is not None and wire.total_turns < wire.active_turns:
        found = shown(table.values["total_turns"])
        table.error("total_turns", f"found {found}; expected at least the {wire.active_turns:g} active turns")
    return wire


def _read_hooks(table: Section, wire: SpringWire) -> Hooks:
    """A hook's loop, a full coil where not given, and the bend at its foot, half as wide where not given."""
    least = f"{600 * wire.wire_diameter:.4g} mm" if wire.wire_diameter > 0 else None
    why = "a mean radius lies outside of half the wire"
    loop = table.maybe("hook_radius", LENGTH, over=least, most="250 mm", why=why)
    bend = table.maybe("hook_bend_radius", LENGTH, over=least, most="250 mm", why=why)
    loop = wire.coil_diameter / 2 if loop is None else loop
    return Hooks(loop, max(wire.coil_diameter / 4, wire.wire_diameter) if bend is None else bend)


def _read_material(table: Section) -> str:
    """The wire's ASTM designation, given as such or by the material's name; music wire where left out."""
    raw = table.take("material")
    if raw is None:
        return "A228"
    found = wire_named(raw) if isinstance(raw, str) else None
    if found is None:
        table.error("material", f"found {shown(raw)}; expected {wires_known()}")
    return found or "A228"


def wire_named(text: str) -> str | None:
    """The ASTM designation of a wire given by it or by the material's name, None for one there isn't."""
    from fieldtune.physics.springs import WIRES

    word = text.strip().casefold().removeprefix("astm").strip()
    for designation, wire in WIRES.items():
        if word in (designation.casefold(), wire.name, wire.name.removesuffix(" wire")):
            return designation
    return None


def wires_known() -> str:
    """The wires there are, by designation and name."""
    from fieldtune.physics.springs import WIRES

    return ", ".join(f"{designation} ({wire.name})" for designation, wire in WIRES.items())
