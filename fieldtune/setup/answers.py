"""What a person types into a field: numbers with or without a unit, in either system, shown back in both."""

from __future__ import annotations

import math
import re
from collections.abc import Callable

from fieldtune.errors import FieldtuneError, InputError
from fieldtune.person_units import feet_inches, metric
from fieldtune.units import (
    ANGLE,
    ANGULAR_SPEED,
    CURRENT,
    FORCE,
    INERTIA,
    LENGTH,
    MASS,
    PRESSURE,
    RATIO,
    RESISTANCE,
    STIFFNESS,
    TORQUE,
    VOLTAGE,
    Dimension,
    parse,
    shown,
    with_point,
)

LONGEST = 200
"""Characters of the longest answer that is read; a page that was pasted is refused."""
_BARE = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)")
_SAME = {
    LENGTH: ("mm", "cm", "m", "in", "ft"),
    MASS: ("g", "kg", "oz", "lb"),
    FORCE: ("N", "lbf", "gf"),
    STIFFNESS: ("N/mm", "N/m", "lbf/in"),
    TORQUE: ("N m", "mN m", "N cm", "lbf in", "ozf in"),
    INERTIA: ("kg mm^2", "g cm^2", "kg m^2", "lb in^2"),
    ANGLE: ("deg", "rad"),
    ANGULAR_SPEED: ("rpm", "rad/s"),
    VOLTAGE: ("V", "mV"),
    CURRENT: ("A", "mA"),
    RESISTANCE: ("mohm", "ohm"),
    PRESSURE: ("hPa", "inHg"),
}
"""Units that people mix up, by what they measure."""
_TWO = {
    MASS: (("g", 1000.0, "kg"), ("oz", 16.0, "lb")),
    FORCE: (("N", None, ""), ("lbf", None, "")),
    STIFFNESS: (("N/mm", None, ""), ("lbf/in", None, "")),
    TORQUE: (("N m", None, ""), ("lbf in", None, "")),
    INERTIA: (("kg mm^2", None, ""), ("lb in^2", None, "")),
    PRESSURE: (("hPa", None, ""), ("inHg", None, "")),
}


def with_unit(text: str, dimension: Dimension, unit: str) -> str:
    """The text as a quantity of this dimension; a bare number is in ``unit``. Raises ``UnitError``."""
    said = " ".join(one_line(text).split())
    expected = f'expected {dimension.name}, such as "{dimension.example}"'
    if unit and _BARE.fullmatch(with_point(said, expected)):
        said = f"{with_point(said, expected)} {unit}"
    parse(said, dimension)
    return said


def one_line(text: str) -> str:
    """The text, if it can be an answer at all. Raises ``InputError`` for what is empty, too long or unprintable."""
    said = text.strip()
    if len(said) > LONGEST:
        raise InputError(f"{len(said)} characters are too many; expected a short answer, at most {LONGEST}")
    if not said:
        raise InputError("nothing was typed")
    if not said.isprintable():
        raise InputError(f"found {shown(said)}; expected one line of plain text")
    return said


def in_both(text: str, dimension: Dimension, us_first: bool = False) -> str:
    """The quantity in metric and US units: ``88 mm = 3.46 in``; one unit where both systems share it."""
    value = parse(text, dimension)
    if dimension == LENGTH:
        pair = metric(value), feet_inches(value) if abs(value) >= 0.6 else f"{value / 0.0254:.3g} in"
    elif dimension in _TWO:
        pair = _unit(value, dimension, *_TWO[dimension][0]), _unit(value, dimension, *_TWO[dimension][1])
    else:
        return " ".join(text.split())
    return " = ".join(reversed(pair) if us_first else pair)


def _unit(value: float, dimension: Dimension, unit: str, larger: float | None, name: str) -> str:
    size = value / parse(f"1 {unit}", dimension)
    return f"{size / larger:.4g} {name}" if larger is not None and abs(size) >= larger else f"{size:.4g} {unit}"


def near_miss(text: str, dimension: Dimension, fits: Callable[[str], bool]) -> str | None:
    """The same number in the unit that was probably meant; None where none ``fits``, or two numbers stand there."""
    found = re.match(r"\s*([+-]?(?:\d+\.?\d*|\.\d+))\s*(.*)$", text)
    if found is None or re.search(r"\d", re.sub(r"\^\d", "", found[2])):
        return None
    wrong = found[2].strip()
    units = sorted(
        _SAME.get(dimension, ()), key=lambda unit: (_is_us(unit) != _is_us(wrong), _apart(unit, wrong, dimension))
    )
    for unit in units:
        said = f"{found[1]} {unit}"
        if unit != wrong and fits(said):
            return said
    return None


def _is_us(unit: str) -> bool:
    return bool(re.search(r"\b(in|ft|lbf?|ozf?|inHg)\b|[′″'\"]", unit))


def _apart(unit: str, wrong: str, dimension: Dimension) -> float:
    """How far apart two units are, in powers; none where one isn't known."""
    try:
        return abs(math.log(parse(f"1 {unit}", dimension) / parse(f"1 {wrong}", dimension)))
    except FieldtuneError:
        return 0.0


def share(text: str) -> float | str:
    """A share, as ``0.22`` or ``22 %``; what a profile takes. Raises ``UnitError``."""
    said = one_line(text)
    value = parse(said, RATIO)
    return said if "%" in said else value


def whole(text: str) -> int:
    """A whole number. Raises ``InputError``."""
    said = one_line(text)
    if not said.isdecimal() or len(said) > 9:
        raise InputError(f"found {shown(said)}; expected a whole number")
    return int(said)


def number(text: str) -> float:
    """A plain number. Raises ``InputError``."""
    said = one_line(text)
    pointed = with_point(said, "expected a number")
    if not _BARE.fullmatch(pointed) or len(said) > 30:
        raise InputError(f"found {shown(said)}; expected a number without a unit")
    value = float(pointed)
    return int(value) if value.is_integer() else value


def gears(text: str) -> list[list[int]]:
    """Stages of teeth, driving and driven, motor first: ``22:33 20:28``; ``none`` for no gears."""
    said = one_line(text)
    if said.casefold() in ("none", "no", "0", "direct"):
        return []
    pairs = re.findall(r"(\d{1,4})\s*[:/]\s*(\d{1,4})", said)
    rest = re.sub(r"\d{1,4}\s*[:/]\s*\d{1,4}", "", said).strip(" ,;")
    if not pairs or rest or any("0" in (one.lstrip("0") or "0") and int(one) == 0 for pair in pairs for one in pair):
        raise InputError(
            f"found {shown(said)}; expected teeth, driving:driven, motor first, such as 22:33 20:28, or none"
        )
    return [[int(driving), int(driven)] for driving, driven in pairs]


def sizes(text: str, unit: str) -> str | list[str]:
    """One length, or several parted by a comma or x: ``36 cm``, ``60 x 50 cm``; the last unit serves those without."""
    said = one_line(text)
    parts = [part.strip() for part in re.split(r"\s*[,;×]\s*|\s+x\s+|(?<=\d)x(?=\d)", said) if part.strip()]
    if not 1 <= len(parts) <= 3:
        raise InputError(f"found {shown(said)}; expected a length, or two parted by a comma, such as 60 cm, 50 cm")
    last = re.search(r"\d\s*([^\d\s.,].*)$", parts[-1])
    read = [with_unit(part, LENGTH, last[1].strip() if last else unit) for part in parts]
    return read[0] if len(read) == 1 else read


def spot(text: str, unit: str, taken: int) -> tuple[str, str]:
    """Name and distance of a spot: ``near line 1.8 m``; without a name it is numbered. Raises ``InputError``."""
    said = one_line(text)
    found = re.search(r"(?:(?<=\s)|^)[+-]?(?:\d|\.\d)[^,;]*$", said.replace("=", " ").replace(":", " "))
    while found is not None:
        name = said[: found.start()].strip(" ,=:;")
        try:
            distance = with_unit(said[found.start() :], LENGTH, unit)
        except FieldtuneError:
            later = re.search(r"(?<=\s)[+-]?(?:\d|\.\d)[^,;]*$", said[found.start() + 1 :])
            if later is None:
                raise
            found = re.compile(re.escape(later.group()) + "$").search(said)
            continue
        return name or f"spot {taken + 1}", distance
    raise InputError(f"found {shown(said)}; expected a name and a distance, such as near line 1.8 m")
