"""Reads ``[element]``: what is launched."""

from __future__ import annotations

from typing import cast

from fieldtune.robot.model import Element, Shape, Surface
from fieldtune.robot.section import Section
from fieldtune.units import LENGTH, MASS, RATIO, shown

_SIZES = {"sphere": ("diameter",), "disc": ("diameter", "height"), "block": ("length", "width", "height")}
_SURFACES = ("smooth", "felt", "seamed", "dimpled", "perforated")


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
    )
    section.close()
    _doubt_density(section, element)
    return element


def _doubt_density(section: Section, element: Element) -> None:
    """Osmium, the densest stuff there is, has 22.6 g/cm^3 (CRC Handbook); steel 7.9; a foam ball 0.02 or more."""
    density = element.density
    words = f"found {shown(section.values.get('mass'))}, {density / 1000:.3g} g/cm^3 with this size"
    if density > 22_600:
        section.error("mass", f"{words}, denser than any metal; expected less, or a larger size")
    elif density > 9_000 or density < 5:
        section.warn("mass", f"{words}; check both")
