"""The spring that drives a striker or an arm: its wire, and how rate, preload, draw and wire are read."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldtune.errors import UnitError
from fieldtune.person_units import amount, size
from fieldtune.units import ANGLE, FORCE, LENGTH, STIFFNESS, TORSION, Dimension, parse, shown

if TYPE_CHECKING:
    from fieldtune.robot.table_reader import Section


@dataclass(frozen=True, slots=True)
class SpringWire:
    """Optional wire data of a helical spring, for stress: SI, ``material`` by ASTM designation."""

    wire_diameter: float
    coil_diameter: float
    active_turns: float
    total_turns: float | None
    free_length: float | None
    material: str

    @property
    def rate(self) -> float:
        """Rate (N/m) of a close-coiled spring, d^4 G / (8 D^3 N) (Budynas & Nisbett, Shigley's, 10th ed., eq. 10-9)."""
        from fieldtune.physics.springs import helical_rate, shear_modulus

        shear = shear_modulus(self.material, self.wire_diameter)
        return float(helical_rate(self.wire_diameter, self.coil_diameter, self.active_turns, shear))

    def stress(self, force: float) -> SpringStress:
        """Stress in the wire under a force (N), with the curvature factor, and what its material stands."""
        from fieldtune.physics.springs import shear_stress, shear_yield

        stress = float(shear_stress(force, self.wire_diameter, self.coil_diameter))
        return SpringStress(stress / 1e6, float(shear_yield(self.material, self.wire_diameter)) / 1e6)

    @property
    def solid(self) -> float:
        """Length (m) with all turns touching."""
        return self.wire_diameter * (self.total_turns or self.active_turns)


@dataclass(frozen=True, slots=True)
class SpringStress:
    """Greatest shear stress in the wire, and the torsional yield it stands before it sets, both MPa."""

    stress_mpa: float
    limit_mpa: float

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
    if wire.free_length is None:
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
    )
    table.knows("total_turns")
    table.close()
    if wire.coil_diameter <= 2 * wire.wire_diameter:
        found = shown(table.values["coil_diameter"])
        table.error("coil_diameter", f"found {found}; expected the mean diameter, more than twice the wire's")
    if wire.total_turns is not None and wire.total_turns < wire.active_turns:
        found = shown(table.values["total_turns"])
        table.error("total_turns", f"found {found}; expected at least the {wire.active_turns:g} active turns")
    return wire


def _read_material(table: Section) -> str:
    """The wire's ASTM designation, given as such or by the material's name; music wire where left out."""
    from fieldtune.physics.springs import WIRES

    raw = table.take("material")
    if raw is None:
        return "A228"
    word = raw.strip().casefold().removeprefix("astm").strip() if isinstance(raw, str) else ""
    for designation, wire in WIRES.items():
        if word in (designation.casefold(), wire.name, wire.name.removesuffix(" wire")):
            return designation
    known = ", ".join(f"{designation} ({wire.name})" for designation, wire in WIRES.items())
    table.error("material", f"found {shown(raw)}; expected {known}")
    return "A228"
