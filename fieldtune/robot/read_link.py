"""Reads how far off the numbers may be, and how the robot's line is read."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Literal, cast

from fieldtune.line_fields import SCALABLE, WIRE_NAMES
from fieldtune.physics.drag_spread import BLUFF_SPREAD, drag_spread
from fieldtune.port_names import port_name, port_problem
from fieldtune.robot.model import Element, LinkSettings, Uncertainty
from fieldtune.robot.table_reader import Section
from fieldtune.units import ANGLE, LENGTH, RATIO, closest, shown

_RELATIVE = ("grip", "efficiency", "drag", "friction", "exit_speed_scatter")
_ANGLES = ("exit_angle", "exit_angle_scatter", "side_scatter")


def read_uncertainty(profile: Section, element: Element) -> Uncertainty:
    """One standard deviation of each number; the drag's default follows from how well its surface is known."""
    section = profile.section("uncertainty") or Section({}, "uncertainty", profile.findings)
    _lift_zeros(section)
    bluff = element.shape != "sphere" and element.drag is None
    usual = replace(Uncertainty(), drag=BLUFF_SPREAD if bluff else drag_spread(element.surface, element.drag))
    why = "nothing is known exactly"
    values = {
        key: section.quantity(key, RATIO, getattr(usual, key), over="0", most="1", usual=(None, "0.5"), why=why)
        for key in _RELATIVE
    }
    values["battery"] = section.quantity("battery", RATIO, usual.battery, over="0", most="0.5", why=why)
    remainder = None
    if "remainder" in section.values:
        remainder = section.quantity("remainder", RATIO, over="0", most="0.5", why=why)
    for key in _ANGLES:
        values[key] = section.quantity(key, ANGLE, getattr(usual, key), over="0 deg", most="45 deg", why=why)
    for key in ("distance", "miss"):
        values[key] = section.quantity(key, LENGTH, getattr(usual, key), over="0 mm", most="5 m", why=why)
    section.close()
    return Uncertainty(**values, remainder=remainder)


def _lift_zeros(section: Section) -> None:
    """Nothing is known exactly, and learning divides by these: a zero becomes something small."""
    relative = (*_RELATIVE, "remainder", "battery")
    least = {**dict.fromkeys(relative, "0.1 %"), **dict.fromkeys(_ANGLES, "0.01 deg")}
    for key, raw in section.values.items():
        if isinstance(raw, str):
            zero = re.match(r"\s*(0+\.?0*|\.0+)\s*[^\d\s.]", raw) is not None
        else:
            zero = key in relative and raw == 0 and raw is not False
        if zero:
            section.values[key] = least.get(key, "0.1 mm")
            section.warn(key, f"found {shown(raw)}; nothing is known exactly, taken as {section.values[key]}")


def read_link(profile: Section) -> LinkSettings:
    """How the line is found and read."""
    section = profile.section("link") or Section({}, "link", profile.findings)
    fields = _read_fields(section.section("fields"))
    settings = LinkSettings(
        port=_read_port(section),
        baud=_read_baud(section),
        checksum=cast(
            Literal["auto", "required", "none"], section.choice("checksum", ("auto", "required", "none"), "auto")
        ),
        fields=fields,
        columns=_read_columns(section.section("columns"), fields),
        scale=_read_scale(section.section("scale")),
        opening=cast(Literal["usual", "gentle"], section.choice("opening", ("usual", "gentle"), "usual")),
    )
    section.close()
    return settings


def _read_port(section: Section) -> str:
    raw = section.values.get("port")
    problem = port_problem(port_name(raw)) if isinstance(raw, str) else None
    if problem is not None:
        section.error("port", f"found {shown(raw)}; {problem}")
    return port_name(section.text("port", "auto", longest=1000))


def _read_baud(section: Section) -> int | None:
    raw = section.take("baud")
    word = raw.strip() if isinstance(raw, str) else ""
    if raw is None or word.casefold() == "auto":
        return None
    if word.isdecimal() and len(word) < 9:
        raw = int(word)
    if isinstance(raw, bool) or not isinstance(raw, int) or not 300 <= raw <= 20_000_000:
        section.error("baud", f'found {shown(raw)}; expected "auto" or a whole number such as 115200')
        return None
    return raw


def _read_fields(section: Section | None) -> dict[str, str]:
    if section is None:
        return {}
    fields = {key: section.text(key, longest=64) for key in section.values if key in WIRE_NAMES}
    section.knows(*WIRE_NAMES)
    section.close()
    theirs = list(fields.values())
    for key, name in fields.items():
        if theirs.count(name) > 1:
            section.error(key, f"found {shown(name)} for more than one field; expected one each")
    return fields


def _read_scale(section: Section | None) -> dict[str, float]:
    """Factors from the robot's numbers to our units, such as wheel_rpm = 9.5493 for a robot that sends rad/s."""
    if section is None:
        return {}
    scale = {}
    for key in section.values:
        if key in SCALABLE:
            factor = section.number(key, over=-1e9, most=1e9)
            if abs(factor) < 1e-9:
                section.error(key, "found zero; expected the factor from the robot's number to ours, such as 0.001")
            scale[key] = factor
    section.knows(*SCALABLE)
    section.close()
    return scale


_MOST_COLUMNS = 100
"""A line of 512 bytes holds fewer numbers that matter."""


def _read_columns(section: Section | None, fields: dict[str, str]) -> tuple[str, ...]:
    if section is None:
        return ()
    raw = section.take("order")
    section.close()
    if raw is None:
        return ()
    expected = 'expected names of fields, "-" for a column to skip, such as ["t_ms", "wheel_counts", "-"]'
    if not isinstance(raw, list) or not raw or not all(isinstance(name, str) for name in raw):
        section.error("order", f"found {shown(raw)}; {expected}")
        return ()
    if len(raw) > _MOST_COLUMNS:
        section.error("order", f"found {len(raw)} names; expected at most {_MOST_COLUMNS}")
        return ()
    ours = {theirs: name for name, theirs in fields.items()}
    names: list[str] = [ours.get(str(name), str(name)) for name in raw]
    for name in names:
        if name not in WIRE_NAMES and name != "-":
            section.error("order", f"found {shown(name)}; {expected}{closest(name, WIRE_NAMES)}")
        elif name != "-" and names.count(name) > 1:
            section.error("order", f"found {shown(name)} twice; {expected}")
            break
    return tuple(names)
