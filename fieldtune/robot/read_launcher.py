"""Reads ``[element]`` and ``[launcher]``: what is launched, by which mechanism, and how it leaves."""

from __future__ import annotations

import math
from typing import Literal, cast

from fieldtune.errors import UnitError
from fieldtune.robot.model import Arm, Element, Flywheel, Launcher, Shape, SpringWire, Striker, Surface
from fieldtune.robot.section import Section
from fieldtune.units import (
    ANGLE,
    DENSITY,
    FORCE,
    INERTIA,
    LENGTH,
    MASS,
    RATIO,
    STIFFNESS,
    TORQUE,
    TORSION,
    Dimension,
    parse,
    shown,
)

_SIZES = {"sphere": ("diameter",), "disc": ("diameter", "height"), "block": ("length", "width", "height")}
_SURFACES = ("smooth", "felt", "seamed", "dimpled", "perforated")
_SPRUNG = ("spring_rate", "preload", "draw_min", "draw_max", "efficiency", "spring")
_KEYS = {
    "flywheel": ("wheels", "wheel_diameter", "wheel_inertia", "speed_ratio", "grip", "wheel_density"),
    "striker": ("contact", "spring_mass", "striker_mass", "restitution", *_SPRUNG),
    "arm": ("arm_length", "arm_inertia", "release_angle", "torque", *_SPRUNG),
}
_MATERIALS = ("A228", "A229", "A227", "A313", "A401")


def read_element(section: Section) -> Element:
    """The element; sizes in metres, mass in kilograms."""
    shape = cast(Shape, section.choice("shape", ("sphere", "disc", "block")))
    sizes: dict[str, float] = {}
    for key in _SIZES[shape]:
        default = 0.0 if (shape, key) == ("disc", "height") else None
        sizes[key] = section.quantity(key, LENGTH, default, over="0 mm", most="2 m", usual=("1 mm", "60 cm"))
    for key in ("diameter", "length", "width", "height"):
        if key not in sizes and key in section and "shape" in section:
            section.take(key)
            section.error(key, f"does not belong to a {shape}, which has {' and '.join(_SIZES[shape])}")
    if shape == "disc" and sizes["height"] == 0.0:
        sizes["height"] = sizes["diameter"] / 10
    element = Element(
        shape=shape,
        mass=section.quantity("mass", MASS, over="0 g", most="20 kg", usual=("0.5 g", "2 kg")),
        **sizes,
        surface=cast(Surface, section.choice("surface", _SURFACES, "smooth")),
        drag=_coefficient(section, "drag", 3.0),
        lift=_coefficient(section, "lift", 3.0),
    )
    section.close()
    _doubt_density(section, element)
    return element


def _coefficient(section: Section, key: str, most: float) -> float | None:
    raw = section.take(key)
    if raw is None:
        return None
    if isinstance(raw, bool) or not isinstance(raw, int | float) or not 0 <= raw <= most:
        section.error(key, f"found {shown(raw)}; expected a plain number from 0 to {most:g}")
        return None
    return float(raw)


def _doubt_density(section: Section, element: Element) -> None:
    """Osmium, the densest stuff there is, has 22.6 g/cm^3 (CRC Handbook); steel 7.9; a foam ball 0.02 or more."""
    if element.shape == "block":
        volume = (element.length or math.nan) * (element.width or math.nan) * (element.height or math.nan)
    elif element.shape == "disc":
        volume = math.pi / 4 * (element.diameter or math.nan) ** 2 * (element.height or math.nan)
    else:
        volume = math.pi / 6 * (element.diameter or math.nan) ** 3
    density = element.mass / volume
    if density > 22_600:
        section.error("mass", f"gives {density / 1000:.3g} g/cm^3 with this size, denser than any metal; check both")
    elif density > 9_000 or density < 5:
        section.warn("mass", f"gives {density / 1000:.3g} g/cm^3 with this size; check both")


def read_launcher(section: Section, element: Element) -> Launcher:
    """The mechanism; angles in radians, the rest in SI."""
    kind = cast(Literal["flywheel", "striker", "arm"], section.choice("kind", ("flywheel", "striker", "arm")))
    if "kind" in section:
        for other, keys in _KEYS.items():
            for key in keys:
                if key in section and other != kind and key not in _KEYS[kind]:
                    section.take(key)
                    section.error(key, f"does not belong to a launcher of kind {kind} but to {_article(other)}")
    wire = _read_wire(section)
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


def _article(kind: str) -> str:
    return f"an {kind}" if kind == "arm" else f"a {kind}"


def _exit_angle(section: Section, kind: str, arm: Arm | None) -> float:
    default = {"flywheel": None, "striker": 0.0, "arm": math.pi / 2 - arm.release_angle if arm else math.nan}[kind]
    angle = section.quantity("exit_angle", ANGLE, default, usual=("-30 deg", "85 deg"))
    if not -math.pi / 2 < angle < math.radians(89.5):
        source = section.values.get("exit_angle", section.values.get("release_angle"))
        section.error(
            "exit_angle" if "exit_angle" in section else "release_angle",
            f"found {shown(source)}; expected an exit below 90 deg: straight up, the element falls back on the robot",
        ) if angle == angle else None
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
        speed_ratio=section.number("speed_ratio", 1.0, over=0, most=10),
        grip=section.quantity(
            "grip", RATIO, 0.85, over="0", most="1.2", usual=("0.3", "1.0"),
            why="exit speed over ideal rolling speed",
        ),
        wheel_density=section.maybe("wheel_density", DENSITY, over="0 kg/m^3", most="22600 kg/m^3"),
    )  # fmt: skip
    _doubt_inertia(section, wheel)
    return wheel


def _doubt_inertia(section: Section, wheel: Flywheel) -> None:
    """Compares with a solid steel disc (7850 kg/m^3) as thick as half its diameter: m d^2 / 8."""
    solid = 7850 * math.pi / 8 * wheel.wheel_diameter**3 * wheel.wheel_diameter**2 / 8
    inertia = wheel.wheel_inertia
    if inertia is None:
        section.warn("wheel_inertia", "not given; drop in speed, recovery and rate of fire stay unknown")
    elif inertia > 30 * solid:
        section.error("wheel_inertia", f"is {inertia / solid:.0f} times that of a solid steel wheel; check the unit")
    elif not solid / 1000 < inertia < 2 * solid:
        section.warn("wheel_inertia", f"is {inertia / solid:.2g} times that of a solid steel wheel; check the unit")


def _read_striker(section: Section, wire: SpringWire | None) -> Striker:
    rate = _spring_rate(section, wire)
    draw_min, draw_max = _draw(section, wire, None)
    if "efficiency" not in section:
        section.warn("efficiency", "not given; taken as 0.8 until shots tell")
    contact = cast(Literal["strike", "push"], section.choice("contact", ("strike", "push"), "strike"))
    return Striker(
        contact=contact,
        spring_rate=math.nan if rate is None else rate,
        preload=_preload(section, rate),
        draw_min=draw_min,
        draw_max=draw_max,
        spring_mass=section.quantity("spring_mass", MASS, 0.0, least="0 g", most="20 kg"),
        striker_mass=section.quantity("striker_mass", MASS, over="0 g", most="50 kg", usual=("1 g", "5 kg")),
        restitution=section.quantity("restitution", RATIO, 0.6, least="0", most="1"),
        efficiency=section.quantity("efficiency", RATIO, 0.8, over="0", most="1"),
    )


def _read_arm(section: Section, wire: SpringWire | None) -> Arm:
    length = section.quantity("arm_length", LENGTH, over="0 mm", most="5 m", usual=("3 cm", "1.5 m"))
    given = [key for key in ("spring_rate", "torque", "spring") if key in section]
    if len(given) != 1:
        found = " and ".join(given) or "neither"
        section.error("spring_rate", f"found {found}; expected either spring_rate or torque, what drives the arm")
    torque = section.maybe("torque", TORQUE, over="0 N m", most="2000 N m")
    rate = None if torque is not None or len(given) != 1 else _spring_rate(section, wire, length)
    section.knows("spring_rate")
    default = None
    if "release_angle" not in section and "exit_angle" in section:
        exit_angle = section.maybe("exit_angle", ANGLE)
        default = math.nan if exit_angle is None else math.pi / 2 - exit_angle
    draw_min, draw_max = _draw(section, wire, length)
    if "efficiency" not in section:
        section.warn("efficiency", "not given; taken as 0.8 until shots tell")
    return Arm(
        arm_length=length,
        arm_inertia=section.quantity("arm_inertia", INERTIA, over="0 kg m^2", most="50 kg m^2"),
        release_angle=section.quantity("release_angle", ANGLE, default, least="-90 deg", most="180 deg"),
        spring_rate=rate,
        torque=torque,
        preload=_preload(section, rate),
        draw_min=draw_min,
        draw_max=draw_max,
        efficiency=section.quantity("efficiency", RATIO, 0.8, over="0", most="1"),
    )


def _spring_rate(section: Section, wire: SpringWire | None, arm_length: float | None = None) -> float | None:
    """N/m; an arm's may be given about its pivot (N m/rad) and is then referred to its tip: torque over length^2."""
    raw = section.take("spring_rate")
    if raw is None and wire is not None:
        return _wire_rate(wire)
    if raw is not None and arm_length is not None and _is(raw, TORSION):
        torsion = section.checked("spring_rate", raw, TORSION, "0 N m/rad", most="2000 N m/rad")
        return None if torsion is None else torsion / arm_length**2
    rate = section.quantity("spring_rate", STIFFNESS, over="0 N/m", most="1000 N/mm", usual=("0.01 N/mm", "50 N/mm"))
    return None if math.isnan(rate) else rate


def _wire_rate(wire: SpringWire) -> float:
    """Rate of a close-coiled helical spring, d^4 G / (8 D^3 N) (Budynas & Nisbett, Shigley's, 10th ed., eq. 10-9)."""
    from fieldtune.physics.spring import shear_modulus

    shear = float(shear_modulus(wire.material, wire.wire_diameter))
    return wire.wire_diameter**4 * shear / (8 * wire.coil_diameter**3 * wire.active_turns)


def _is(raw: object, dimension: Dimension) -> bool:
    try:
        parse(raw, dimension)
    except UnitError:
        return False
    return True


def _preload(section: Section, rate: float | None) -> float:
    """Newtons at the stop, given as a force or as the length by which the spring is squeezed there."""
    raw = section.take("preload")
    if raw is None:
        return 0.0
    if rate is not None and _is(raw, LENGTH):
        squeeze = section.checked("preload", raw, LENGTH, least="0 mm", most="2 m")
        return 0.0 if squeeze is None else squeeze * rate
    return section.checked("preload", raw, FORCE, least="0 N", most="20 kN", usual=(None, "1 kN")) or 0.0


def _draw(section: Section, wire: SpringWire | None, arm_length: float | None) -> tuple[float, float]:
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
        section.error("draw_max", "is more than 300 deg of swing for this arm_length; draw runs along the tip's arc")
    if wire is not None and wire.free_length is not None:
        room = wire.free_length - wire.wire_diameter * (wire.total_turns or wire.active_turns)
        if room < high:
            section.error("draw_max", f"is more than the {room * 1e3:.0f} mm that the spring can be squeezed to solid")
    return low, high


def _read_wire(section: Section) -> SpringWire | None:
    table = section.section("spring")
    if table is None:
        return None
    wire = SpringWire(
        wire_diameter=table.quantity("wire_diameter", LENGTH, over="0 mm", most="30 mm"),
        coil_diameter=table.quantity("coil_diameter", LENGTH, over="0 mm", most="500 mm"),
        active_turns=table.number("active_turns", over=0, most=1000),
        total_turns=table.number("total_turns", over=0, most=1000) if "total_turns" in table else None,
        free_length=table.maybe("free_length", LENGTH, over="0 mm", most="5 m"),
        material=table.choice("material", [m.casefold() for m in _MATERIALS], "a228").upper(),
    )
    table.knows("total_turns")
    table.close()
    if wire.coil_diameter <= 2 * wire.wire_diameter:
        table.error("coil_diameter", "expected the mean coil diameter, more than twice the wire's diameter")
    if wire.total_turns is not None and wire.total_turns < wire.active_turns:
        table.error("total_turns", "expected at least as many as active_turns")
    return wire
