"""Reads what is launched and where it goes: element, targets, floor, air, spots."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, cast

from fieldtune.person_units import amount, size
from fieldtune.robot.element import Element, Seams, Shape, Surface
from fieldtune.robot.kinds import TARGETS
from fieldtune.robot.model import Air, Floor, Hood, Spot
from fieldtune.robot.table_reader import Findings, Section
from fieldtune.units import ANGLE, LENGTH, MASS, PRESSURE, RATIO, SPEED, TEMPERATURE, TIME, shown

if TYPE_CHECKING:
    from fieldtune.robot.launchers import Launcher
    from fieldtune.robot.targets import Target

_SIZES = {"sphere": ("diameter",), "disc": ("diameter", "height"), "block": ("length", "width", "height")}
_SURFACES = ("smooth", "felt", "seamed", "dimpled", "perforated", "foam")
_SEAMS = ("flat", "raised", "pebbled")


def read_element(section: Section) -> Element:
    """The element; sizes in metres, mass in kilograms."""
    shape = cast(Shape, section.choice("shape", ("sphere", "disc", "block")))
    sizes: dict[str, float] = {}
    if section.faulty("shape"):
        section.knows("diameter", "length", "width", "height")
    for key in _SIZES[shape] if not section.faulty("shape") else ():
        default = 0.0 if (shape, key) == ("disc", "height") else None
        sizes[key] = section.quantity(key, LENGTH, default, over="0 mm", most="2 m", usual=("1 mm", "60 cm"))
    for key in ("diameter", "length", "width", "height"):
        if key not in sizes and key in section and not section.faulty("shape"):
            section.take(key)
            section.error(key, f"does not belong to a {shape}, which has {' and '.join(_SIZES[shape])}")
    if sizes.get("height") == 0.0:
        sizes["height"] = sizes["diameter"] / 10
    element = Element(
        shape=shape,
        mass=section.quantity("mass", MASS, over="0 g", most="20 kg", usual=("0.5 g", "2 kg")),
        **sizes,
        surface=cast(Surface, section.choice("surface", _SURFACES, "smooth")),
        drag=section.maybe("drag", RATIO, least="0", most="3"),
        lift=section.maybe("lift", RATIO, least="0", most="3"),
        seams=cast(Seams, section.choice("seams", _SEAMS)) if "seams" in section else None,
    )
    section.knows("seams")
    if element.seams is not None and element.surface != "seamed" and not section.faulty("seams"):
        section.error("seams", f"belongs to a seamed surface; found {shown(element.surface)}")
    section.close()
    _doubt_density(section, element)
    return element


def _doubt_density(section: Section, element: Element) -> None:
    """Osmium, the densest stuff there is, has 22.6 g/cm^3 (CRC Handbook); steel 7.9; a foam ball 0.02 or more."""
    density = element.density
    words = f"found {shown(section.values.get('mass'))}, {density / 1000:.3g} g/cm^3 with this size"
    if density > 22_600:
        section.error("mass", f"{words}, denser than any metal; expected less, or a larger size")
    elif density < 2:
        section.error("mass", f"{words}, hardly heavier than air; expected more, or a smaller size")
    elif density > 9_000 or density < 5:
        section.warn("mass", f"{words}; check both")


def read_targets(profile: Section, element: Element) -> tuple[Target, ...]:
    """The one ``[target]``, or every ``[targets.NAME]`` in the order of the file."""
    single, several = profile.section("target"), profile.section("targets")
    if single is not None and several is not None:
        profile.error("target", "found [target] beside [targets.…]; expected one or the other")
        return ()
    if single is not None:
        only = _read_target(single, None, element)
        return () if only is None else (only,)
    if several is None or not several.values:
        if ("target" not in profile and "targets" not in profile) or several is not None:
            profile.error("target", "missing; expected a table [target] with kind, height and opening")
        return ()
    if len(several.values) > _MOST_TARGETS:
        first, count = next(iter(several.values)), len(several.values)
        several.error(first[:32], f"is one of {count} targets; expected at most {_MOST_TARGETS}")
        return ()
    targets = []
    for name in several.values:
        if not (name.isprintable() and 0 < len(name.strip()) == len(name) <= 32):
            several.error(name[:32], f"found {shown(name)}; expected a name of 1 to 32 characters")
        table = several.section(name)
        target = None if table is None else _read_target(table, name, element)
        if target is not None:
            targets.append(target)
    return tuple(targets)


def _read_target(section: Section, name: str | None, element: Element) -> Target | None:
    """One target; None where its kind can't be told, so that no value in the table can be judged."""
    word = section.choice("kind", tuple(TARGETS))
    if section.faulty("kind"):
        section.knows("height", "opening", "clearance", "position", "rim", "board")
        section.close()
        return None
    kind = TARGETS[word]
    target = kind(
        height=section.quantity(
            "height", LENGTH, kind.usual_height, least="0 m", most="20 m", usual=(None, "5 m"),
            why="height above the floor",
        ),
        opening=_read_opening(section, kind),
        clearance=section.quantity("clearance", LENGTH, 0.0, least="0 m", most="5 m"),
        name=name,
        position=_read_position(section),
    )  # fmt: skip
    if not target.opening:
        section.knows("rim", "board")
        section.close()
        return None
    target = target.with_parts(section)
    section.close()
    _check_opening(section, target, element)
    return target


def _read_position(section: Section) -> tuple[float, float] | None:
    raw = section.take("position")
    if raw is None:
        return None
    if not isinstance(raw, list) or len(raw) != 2:
        section.error("position", f'found {shown(raw)}; expected x and y on the field, such as ["3.2 m", "0 m"]')
        return None
    x, y = (section.checked("position", size, LENGTH, least="-100 m", most="100 m") for size in raw)
    return None if x is None or y is None else (x, y)


def read_turret(profile: Section) -> tuple[float, float] | None:
    """How far the launcher turns by itself, radians, positive right; None where it does not."""
    section = profile.section("turret")
    if section is None:
        return None
    low = section.quantity("low", ANGLE, least="-360 deg", most="360 deg")
    high = section.quantity("high", ANGLE, least="-360 deg", most="360 deg")
    section.close()
    if low >= high:
        section.error("high", f"found {math.degrees(high):g} deg; expected more than low, {math.degrees(low):g} deg")
        return None
    return None if math.isnan(low) or math.isnan(high) else (low, high)


def read_hood(profile: Section, launcher: Launcher) -> Hood | None:
    """How the exit angle can be set; None where it is fixed. The exit angle of ``launcher`` has to be one of its."""
    section = profile.section("hood")
    if section is None:
        return None
    low = math.degrees(section.quantity("low", ANGLE, least="-30 deg", most="85 deg"))
    high = math.degrees(section.quantity("high", ANGLE, least="-30 deg", most="85 deg"))
    step = math.degrees(section.quantity("step", ANGLE, math.radians(1), over="0 deg", most="90 deg"))
    section.close()
    angle = math.degrees(launcher.exit_angle)
    rests = f"launcher.exit_angle, {angle:g} deg, where it rests"
    if low >= high:
        section.error("high", f"found {high:g} deg; expected more than low, {low:g} deg")
    elif angle < low - 1e-6:
        section.error("low", f"found {low:g} deg; expected at most {rests}")
    elif angle > high + 1e-6:
        section.error("high", f"found {high:g} deg; expected at least {rests}")
    elif step > (high - low) * (1 + 1e-9):
        section.error("step", f"found {step:g} deg; expected at most the {high - low:g} deg from low to high")
    elif not (math.isnan(low) or math.isnan(high) or math.isnan(step)):
        return Hood(round(low, 9), round(high, 9), round(step, 9))
    return None


def read_feeder(profile: Section, element: Element) -> float | None:
    """Seconds from one fed element to the next; None where the profile does not say.

    Given as an ``interval``, or as the ``spacing`` of elements, centre to centre, on a feeder moving at a ``speed``.
    """
    section = profile.section("feeder")
    if section is None:
        return None
    interval = section.maybe("interval", TIME, least="10 ms", most="60 s")
    spacing = section.maybe("spacing", LENGTH, over="0 mm", most="10 m")
    speed = section.maybe("speed", SPEED, over="0 m/s", most="20 m/s")
    if spacing is not None and spacing < element.least_spacing - 1e-4:
        found, least = shown(section.values["spacing"]), 1e3 * element.least_spacing
        section.error("spacing", f"found {found}; expected at least {least:.0f} mm, or elements overlap")
    if speed is not None and spacing is None:
        section.error("spacing", 'missing; a speed needs the spacing of elements on the feeder, such as "9 cm"')
    elif speed is not None and interval is not None:
        section.error("speed", "is one too many beside interval and spacing: leave one of them out")
    elif interval is None and "interval" not in section and speed is None and "speed" not in section:
        section.error("interval", 'missing; expected a time, such as "0.35 s", or spacing and speed')
    section.close()
    if interval is None and spacing is not None and speed is not None:
        return spacing / speed
    return interval


def _read_opening(section: Section, kind: type[Target]) -> tuple[float, ...]:
    raw = section.take("opening")
    sizes = raw if isinstance(raw, list) else [raw]
    if raw is None or len(sizes) not in kind.sizes:
        found = "missing" if raw is None else "found " + shown(raw)
        section.error("opening", f"{found}; expected {kind.expected_opening}")
        return ()
    read = [section.checked("opening", size, LENGTH, "0 mm", most="20 m", usual=("1 cm", "5 m")) for size in sizes]
    return tuple(size for size in read if size is not None) if None not in read else ()


def _check_opening(section: Section, target: Target, element: Element) -> None:
    """The element has to fit between the edges, less the wanted clearance."""
    if target.fits(element):
        return
    less = f", less {size(target.clearance * 1e3, 0)} clearance a side," if target.clearance else ""
    found, needs = shown(section.values["opening"]), target.size_of(element) * 1e3
    section.error(
        "opening",
        f"found {found}{less} for an element of {size(needs, 0)}; expected more than that",
    )


def read_floor(profile: Section, needed: bool) -> Floor:
    """The floor; ``needed`` says that something slides or rolls on it, so that a guess is worth a warning."""
    section = profile.section("floor") or Section({}, "floor", profile.findings)
    if needed and "friction" not in section:
        section.warn("friction", "not given; taken as 0.25 until shots tell")
    floor = Floor(
        friction=section.quantity("friction", RATIO, 0.25, over="0", most="2", usual=("0.02", "1.0")),
        slope=section.quantity("slope", ANGLE, 0.0, least="-45 deg", most="45 deg", usual=("-10 deg", "10 deg")),
        rolling=section.quantity("rolling", RATIO, 0.02, over="0", most="1", usual=(None, "0.3")),
        restitution=section.maybe("restitution", RATIO, least="0", most="0.95"),
    )
    section.close()
    return floor


def read_air(profile: Section) -> Air:
    """The air; standard sea-level air where nothing is said."""
    section = profile.section("air") or Section({}, "air", profile.findings)
    standard = Air()
    air = Air(
        temperature=section.quantity(
            "temperature", TEMPERATURE, standard.temperature, least="-60 degC", most="70 degC",
            usual=("-20 degC", "50 degC"),
        ),
        pressure=section.quantity(
            "pressure", PRESSURE, standard.pressure, least="300 hPa", most="1200 hPa", usual=("600 hPa", "1085 hPa"),
            why="the pressure where the robot stands, not reduced to sea level",
        ),
        humidity=section.quantity("humidity", RATIO, standard.humidity, least="0 %", most="100 %"),
    )  # fmt: skip
    section.close()
    return air


def read_field(profile: Section) -> tuple[float, float] | None:
    """Nearest and farthest distance (m) that the robot plays from, for a profile without spots; None where not said."""
    section = profile.section("field")
    if section is None:
        return None
    near = section.quantity("near", LENGTH, over="0 m", most="100 m", usual=("5 cm", "30 m"))
    far = section.quantity("far", LENGTH, over="0 m", most="100 m", usual=("5 cm", "30 m"))
    section.close()
    if near >= far:
        section.error(
            "far",
            f"found {amount(far, 'm', figures=4)}; expected more than near, {amount(near, 'm', figures=4)}",
        )
        return None
    return None if math.isnan(near) or math.isnan(far) else (near, far)


_MOST_SPOTS, _MOST_TARGETS = 60, 20
"""More than any field has names for."""


def read_spots(profile: Section, findings: Findings) -> tuple[Spot, ...]:
    """Named places on the field."""
    raw = profile.take("spots")
    if raw is None:
        return ()
    if not isinstance(raw, list) or not all(isinstance(item, dict) for item in raw):
        profile.error("spots", f"found {shown(raw)}; expected tables, each written [[spots]]")
        return ()
    if len(raw) > _MOST_SPOTS:
        profile.error("spots", f"found {len(raw)}; expected at most {_MOST_SPOTS}")
        return ()
    spots: list[Spot] = []
    for number, item in enumerate(raw, 1):
        section = Section(item, f"spots[{number}]", findings)
        name = section.text("name", longest=40)
        distance = section.quantity("distance", LENGTH, over="0 m", most="100 m", usual=("5 cm", "30 m"))
        section.close()
        if any(spot.name.casefold() == name.casefold() for spot in spots):
            section.error("name", f"found {shown(name)} twice; expected names that differ")
        if name and not math.isnan(distance):
            spots.append(Spot(name, distance))
    return tuple(spots)
