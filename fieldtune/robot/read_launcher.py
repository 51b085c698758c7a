"""Reads what drives a striker or an arm: spring rate, preload, draw, wire."""
# MERGED: Reads ``[launcher]``: by which mechanism the element is launched, and how it leaves.

from __future__ import annotations

import math
from typing import Literal, cast

from fieldtune.errors import UnitError
from fieldtune.robot.model import Arm, Element, Flywheel, Launcher, SpringWire, Striker
from fieldtune.robot.table_reader import Section
from fieldtune.units import (
    ANGLE,
    ANGULAR_SPEED,
    DENSITY,
    FORCE,
    INERTIA,
    LENGTH,
    MASS,
    PRESSURE,
    RATIO,
    STIFFNESS,
    TORQUE,
    TORSION,
    Dimension,
    parse,
    shown,
)


def spring_rate(section: Section, wire: SpringWire | None, arm_length: float | None = None) -> float | None:
    """N/m; an arm's may be given about its pivot (N m/rad) and is then referred to its tip: torque over length^2."""
    raw = section.take("spring_rate")
    if raw is None and wire is not None:
        return _wire_rate(wire)
    if raw is not None and arm_length is not None and _is(raw, TORSION):
        torsion = section.checked("spring_rate", raw, TORSION, "0 N m/rad", most="2000 N m/rad")
        return None if torsion is None else torsion / arm_length**2
    rate = section.quantity("spring_rate", STIFFNESS, over="0 N/m", most="1000 N/mm", usual=("0.01 N/mm", "50 N/mm"))
    if wire is not None and arm_length is None and rate > 0 and not 0.75 < rate / _wire_rate(wire) < 1.33:
        section.warn("spring_rate", f"found {shown(raw)}; its wire gives {_wire_rate(wire) / 1e3:.3g} N/mm, check both")
    return None if math.isnan(rate) else rate


def _wire_rate(wire: SpringWire) -> float:
    """Rate of a close-coiled helical spring, d^4 G / (8 D^3 N) (Budynas & Nisbett, Shigley's, 10th ed., eq. 10-9)."""
    from fieldtune.physics.springs import shear_modulus  # here: most profiles name no wire, and numpy takes a while

    shear = float(shear_modulus(wire.material, wire.wire_diameter))
    return wire.wire_diameter**4 * shear / (8 * wire.coil_diameter**3 * wire.active_turns)


def _is(raw: object, dimension: Dimension) -> bool:
    try:
        parse(raw, dimension)
    except UnitError:
        return False
    return True


def preload(section: Section, rate: float | None) -> float:
    """Newtons at the stop, given as a force or as the length by which the spring is squeezed there."""
    raw = section.take("preload")
    if raw is None:
        return 0.0
    if rate is not None and _is(raw, LENGTH):
        squeeze = section.checked("preload", raw, LENGTH, least="0 mm", most="2 m")
        return 0.0 if squeeze is None else squeeze * rate
    return section.checked("preload", raw, FORCE, least="0 N", most="20 kN", usual=(None, "1 kN")) or 0.0


def draw(section: Section, arm_length: float | None = None) -> tuple[float, float]:
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
        found, most = shown(section.values["draw_max"]), f"{arm_length * 5.236 * 1e3:.0f} mm"
        section.error("draw_max", f"found {found}; expected at most {most} (300 deg of swing, along the tip's arc)")
    return low, high


def check_solid(section: Section, wire: SpringWire, draw_max: float, squeezed: float) -> None:
    """Refuses a draw beyond the length at which the coils touch; ``squeezed``: what the preload takes, metres."""
    if wire.free_length is None:
        return
    solid = wire.wire_diameter * (wire.total_turns or wire.active_turns)
    room = wire.free_length - solid - squeezed
    if draw_max > room:
        found = shown(section.values["draw_max"])
        section.error("draw_max", f"found {found}; expected at most {room * 1e3:.0f} mm (the spring is solid there)")


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


_SPRUNG = ("spring_rate", "preload", "draw_min", "draw_max", "efficiency", "spring")
_WHEEL = ("wheel_diameter", "wheel_inertia", "wheel_density", "wheel_strength", "wheel_top_speed")
_KEYS = {
    "flywheel": ("wheels", *_WHEEL, "speed_ratio", "grip"),
    "striker": ("contact", "spring_mass", "striker_mass", "restitution", *_SPRUNG),
    "arm": ("arm_length", "arm_inertia", "release_angle", "torque", *_SPRUNG),
}


def read_launcher(section: Section, element: Element) -> Launcher:
    """The mechanism; angles in radians, the rest in SI."""
    kind = cast(Literal["flywheel", "striker", "arm"], section.choice("kind", ("flywheel", "striker", "arm")))
    if section.faulty("kind"):  # no value in the table can be judged
        section.knows("exit_angle", "exit_height", *(key for keys in _KEYS.values() for key in keys))
        section.close()
        return Launcher(kind, math.nan, math.nan)
    _refuse_foreign_keys(section, kind)
    wire = read_wire(section)
    flywheel = _read_flywheel(section) if kind == "flywheel" else None
    striker = _read_striker(section, wire) if kind == "striker" else None
    arm = _read_arm(section, wire) if kind == "arm" else None
    launcher = Launcher(
        kind=kind,
        exit_angle=_exit_angle(section, kind, arm),
        exit_height=_exit_height(section, kind, element),
        flywheel=flywheel,
        striker=striker,
        arm=arm,
        spring_wire=wire,
    )
    section.close()
    return launcher


def _refuse_foreign_keys(section: Section, kind: str) -> None:
    for key in section.values:
        owners = [f"an {other}" if other == "arm" else f"a {other}" for other, keys in _KEYS.items() if key in keys]
        if owners and key not in _KEYS[kind]:
            section.take(key)
            section.error(key, f"does not belong to a launcher of kind {kind} but to {' or '.join(owners)}")


def _exit_angle(section: Section, kind: str, arm: Arm | None) -> float:
    default = {"flywheel": None, "striker": 0.0, "arm": math.pi / 2 - arm.release_angle if arm else math.nan}[kind]
    angle = section.quantity("exit_angle", ANGLE, default, usual=("-30 deg", "85 deg"))
    if not abs(angle) < math.radians(89.5) and not math.isnan(angle):
        key = "exit_angle" if "exit_angle" in section else "release_angle"
        where = "up, the element falls back on the robot" if angle > 0 else "down, it goes nowhere"
        found = shown(section.values.get(key))
        section.error(key, f"found {found}; expected an exit between -89 and 89 deg: straight {where}")
    if arm and "exit_angle" in section and abs(angle + arm.release_angle - math.pi / 2) > math.radians(15):
        tangent = math.degrees(math.pi / 2 - arm.release_angle)
        section.warn("exit_angle", f"an arm released there throws at about {tangent:.0f} deg; check release_angle")
    return angle


def _exit_height(section: Section, kind: str, element: Element) -> float:
    half = (element.height or element.diameter or math.nan) / 2
    default = half if kind == "striker" else None
    height = section.quantity("exit_height", LENGTH, default, least="0 mm", most="20 m", usual=(None, "3 m"))
    if height < half - 5e-4:
        section.warn("exit_height", f"is to the element's centre, which can't be lower than {half * 1e3:.0f} mm")
    return height


def _read_flywheel(section: Section) -> Flywheel:
    wheels = section.integer("wheels", least=1, most=2)
    if wheels == 1 and "speed_ratio" in section:
        section.warn("speed_ratio", "has no effect with one wheel")
    if "grip" not in section:
        section.warn("grip", "not given; taken as 0.85 until shots tell")
    wheel = Flywheel(
        wheels=wheels,
        wheel_diameter=section.quantity("wheel_diameter", LENGTH, over="0 mm", most="1 m", usual=("2 cm", "30 cm")),
        wheel_inertia=section.maybe("wheel_inertia", INERTIA, over="0 kg m^2", most="10 kg m^2"),
        speed_ratio=section.quantity("speed_ratio", RATIO, 1.0, over="0", most="10"),
        grip=section.quantity(
            "grip", RATIO, 0.85, over="0", most="1.2", usual=("0.3", "1.0"),
            why="exit speed over ideal rolling speed",
        ),
        wheel_density=section.maybe("wheel_density", DENSITY, over="0 kg/m^3", most="22600 kg/m^3"),
        wheel_strength=section.maybe(
            "wheel_strength", PRESSURE, over="0 MPa", most="5000 MPa", usual=("0.5 MPa", "1000 MPa")
        ),
        wheel_top_speed=section.maybe("wheel_top_speed", ANGULAR_SPEED, over="0 rpm", most="200000 rpm"),
    )  # fmt: skip
    _doubt_inertia(section, wheel)
    return wheel


def _doubt_inertia(section: Section, wheel: Flywheel) -> None:
    """Compares with a solid steel disc (7850 kg/m^3) as thick as half its diameter: m d^2 / 8."""
    solid = 7850 * math.pi / 8 * wheel.wheel_diameter**3 * wheel.wheel_diameter**2 / 8
    inertia = wheel.wheel_inertia
    found, times = f"found {shown(section.values.get('wheel_inertia'))}", (inertia or 0.0) / solid
    if inertia is None:
        section.warn("wheel_inertia", "not given; drop in speed, recovery and rate of fire stay unknown")
    elif times > 30:
        section.error(
            "wheel_inertia", f"{found}, {times:.0f} times a solid steel wheel's; expected less, check the unit"
        )
    elif not 0.001 < times < 2:
        section.warn("wheel_inertia", f"{found}, {times:.2g} times a solid steel wheel's; check the unit")


def _read_striker(section: Section, wire: SpringWire | None) -> Striker:
    rate = spring_rate(section, wire)
    force = preload(section, rate)
    draw_min, draw_max = draw(section)
    if wire is not None and rate is not None:
        check_solid(section, wire, draw_max, force / rate)
    if "efficiency" not in section:
        section.warn("efficiency", "not given; taken as 0.8 until shots tell")
    contact = cast(Literal["strike", "push"], section.choice("contact", ("strike", "push"), "strike"))
    return Striker(
        contact=contact,
        spring_rate=math.nan if rate is None else rate,
        preload=force,
        draw_min=draw_min,
        draw_max=draw_max,
        spring_mass=section.quantity("spring_mass", MASS, 0.0, least="0 g", most="20 kg"),
        striker_mass=section.quantity("striker_mass", MASS, over="0 g", most="50 kg", usual=("1 g", "5 kg")),
        restitution=section.quantity("restitution", RATIO, 0.6, least="0", most="1"),
        efficiency=section.quantity("efficiency", RATIO, 0.8, over="0", most="1"),
    )


def _read_arm(section: Section, wire: SpringWire | None) -> Arm:
    length = section.quantity("arm_length", LENGTH, over="0 mm", most="5 m", usual=("3 cm", "1.5 m"))
    given = [key for key in ("spring_rate", "torque") if key in section] or ["spring"] * ("spring" in section)
    if len(given) != 1:
        found = " and ".join(given) or "neither"
        section.error("spring_rate", f"found {found}; expected either spring_rate or torque, what drives the arm")
    torque = section.maybe("torque", TORQUE, over="0 N m", most="2000 N m")
    rate = None if torque is not None or len(given) != 1 else spring_rate(section, wire, length)
    section.knows("spring_rate")
    default = None
    if "release_angle" not in section and "exit_angle" in section:
        exit_angle = section.maybe("exit_angle", ANGLE)
        default = math.nan if exit_angle is None else math.pi / 2 - exit_angle
    draw_min, draw_max = draw(section, length)
    if "efficiency" not in section:
        section.warn("efficiency", "not given; taken as 0.8 until shots tell")
    return Arm(
        arm_length=length,
        arm_inertia=section.quantity("arm_inertia", INERTIA, over="0 kg m^2", most="50 kg m^2"),
        release_angle=section.quantity("release_angle", ANGLE, default, least="-90 deg", most="180 deg"),
        spring_rate=rate,
        torque=torque,
        preload=preload(section, rate),
        draw_min=draw_min,
        draw_max=draw_max,
        efficiency=section.quantity("efficiency", RATIO, 0.8, over="0", most="1"),
    )
