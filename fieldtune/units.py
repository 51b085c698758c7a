"""Quantities as people write them: ``"58 mm"``, ``"2.3 in"``, ``"180 kg mm^2"``, ``"10 ft 6 in"`` to SI, and back.

A unit is a product of symbols with powers; products are written with a blank, ``·``, ``*`` or ``-``, at most one unit
follows each ``/``. The units themselves stand in ``unit_table``.
"""

from __future__ import annotations

import math
import re
from functools import lru_cache

from fieldtune.errors import UnitError
from fieldtune.unit_table import (
    ANGLE,
    ANGULAR_SPEED,
    AREA,
    BY_FOLD,
    CAPACITY,
    CURRENT,
    DENSITY,
    DIMENSIONS,
    ENERGY,
    FORCE,
    INERTIA,
    LENGTH,
    MASS,
    POWER,
    PRESSURE,
    RATIO,
    RESISTANCE,
    SCALES,
    SPEED,
    STIFFNESS,
    TEMPERATURE,
    TIME,
    TORQUE,
    TORSION,
    UNITS,
    VOLTAGE,
    Dimension,
    Powers,
)

__all__ = [
    "ANGLE",
    "ANGULAR_SPEED",
    "AREA",
    "CAPACITY",
    "CURRENT",
    "DENSITY",
    "DIMENSIONS",
    "ENERGY",
    "FORCE",
    "INERTIA",
    "LENGTH",
    "MASS",
    "POWER",
    "PRESSURE",
    "RATIO",
    "RESISTANCE",
    "SPEED",
    "STIFFNESS",
    "TEMPERATURE",
    "TIME",
    "TORQUE",
    "TORSION",
    "VOLTAGE",
    "Dimension",
    "closest",
    "parse",
    "shown",
    "with_point",
]

_NUMBER = re.compile(r"[+-]?(?:\d+\s+\d+/\d+|\d+/\d+(?![\d.])|(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)")
_LONGEST = 100
"""Characters of the longest quantity that is looked at; no number has more digits than a float can tell apart."""
_TINIEST = 1e-30
"""Smaller numbers (and larger than their inverse) are slips, whose cubes would be zero or infinite."""
_FACTOR = re.compile(r"(?P<name>[^\W\d]+|[%°′″]\w*)(?:\^?(?P<power>-?\d))?")
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁻", "01234-")
_SPELLINGS = str.maketrans({"−": "-", "µ": "u", "μ": "u", "Ω": "Ω", "º": "°", "'": "′ ", '"': "″", "’": "′ ", "”": "″"})


def parse(value: object, dimension: Dimension) -> float:
    """The quantity in SI: metres, kilograms, radians, rad/s, kelvin, coulombs for a capacity, 0.4 for ``40 %``.

    A plain number is accepted only for ``RATIO``. Raises ``UnitError`` saying what was found and what was expected.
    """
    expected = f'expected {dimension.name}, such as "{dimension.example}"'
    if isinstance(value, bool) or not isinstance(value, str | int | float):
        raise UnitError(f"found {shown(value)}; {expected}")
    if not isinstance(value, str):
        if dimension is not RATIO:
            raise UnitError(f"found {shown(value)} without a unit; {expected}")
        return _finite(float(value) if abs(value) < 1e300 else math.inf, value, expected)
    terms = _terms(value, expected)
    if len(terms) > 1 and dimension not in (LENGTH, MASS):
        raise UnitError(f"found {shown(value)}, more than one number; {expected}")
    return _finite(sum(_one(number, unit, dimension, value, expected) for number, unit in terms), value, expected)


def shown(value: object) -> str:
    """A value as it stands in a message: text in quotes, cut short, control characters made visible."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(shown(item) for item in value[:4]) + (", …]" if len(value) > 4 else "]")
    if isinstance(value, int):
        return str(value) if abs(value) < 10**39 else "a number of more than 39 digits"  # Python won't write all
    if not isinstance(value, str):
        return str(value)[:40]
    text = value if len(value) <= 40 else value[:39] + "…"
    return '"' + "".join(c if c.isprintable() else repr(c)[1:-1] for c in text) + '"'


def closest(word: str, known: object) -> str:
    """`` (did you mean "x"?)`` for the nearest of the ``known`` words, or nothing."""
    import difflib

    words = [str(k) for k in known] if isinstance(known, list | tuple | set | frozenset | dict) else []
    near = difflib.get_close_matches(word, words, 1, 0.6)
    if not near:
        folded = {w.casefold(): w for w in words}
        near = [folded[f] for f in difflib.get_close_matches(word.casefold(), list(folded), 1, 0.6)]
    return f' (did you mean "{near[0]}"?)' if near else ""


def _finite(number: float, value: object, expected: str) -> float:
    if not math.isfinite(number):
        raise UnitError(f"found {shown(value)}, which is no finite number; {expected}")
    if number and not _TINIEST <= abs(number) <= 1 / _TINIEST:
        raise UnitError(f"found {shown(value)}, which nothing on a field measures; {expected}")
    return number


def _terms(text: str, expected: str) -> list[tuple[float, str]]:
    """Splits ``10 ft 6 in`` into its numbers and units."""
    if len(text) > _LONGEST:
        raise UnitError(f"found {shown(text)}, longer than any quantity; {expected}")
    rest = with_point(text.translate(_SPELLINGS).strip(), expected)
    terms: list[tuple[float, str]] = []
    while rest:
        match = _NUMBER.match(rest)
        if match is None or (terms and match.group()[0] in "+-"):
            raise UnitError(f"found {shown(text)}, which is no number with a unit; {expected}")
        rest = rest[match.end() :]
        unit = re.match(r"[^\d\s,.][^\s,.]*(?:\s*[^\W\d%][^\s,.]*|\s*[·⋅*×/]\s*[^\s,.]+)*|", rest.lstrip())
        found = unit.group() if unit else ""
        rest = rest.lstrip()[len(found) :].lstrip()
        terms.append((_number(match.group(), text, expected), found.strip()))
    if not terms:
        raise UnitError(f"found {shown(text)}; {expected}")
    return terms


def with_point(text: str, expected: str) -> str:
    """Numbers with a decimal comma, as much of the world writes them, with a point: ``2,5 m`` as ``2.5 m``.

    Raises ``UnitError`` for a comma that may stand between thousands: ``1,400 rpm``.
    """

    def pointed(match: re.Match[str]) -> str:
        whole, *parts = match.group().split(",")
        if len(parts) > 1 or (len(parts[0]) == 3 and whole.strip("0")):
            raise UnitError(f"found {shown(text)}; write decimals with a point, thousands without; {expected}")
        return f"{whole}.{parts[0]}"

    return re.sub(r"\d*(?:,\d+)+", pointed, text) if "," in text else text


def _number(digits: str, text: str, expected: str) -> float:
    if "/" not in digits:
        return float(digits)
    sign = -1.0 if digits.startswith("-") else 1.0
    *whole, fraction = digits.lstrip("+-").split()
    top, bottom = fraction.split("/")
    if int(bottom) == 0:
        raise UnitError(f"found {shown(text)}, a division by zero; {expected}")
    return sign * (sum(map(int, whole)) + int(top) / int(bottom))


def _one(number: float, unit: str, dimension: Dimension, text: str, expected: str) -> float:
    if not unit:
        if dimension is RATIO:
            return number
        raise UnitError(f"found {shown(text)} without a unit; {expected}")
    if dimension is TEMPERATURE:
        scale = SCALES.get(unit.replace("° ", "°").replace("deg ", "deg")) or SCALES.get(_spelling(unit) or "")
        if scale:
            return (number + scale[0]) * scale[1]
    found = _unit(unit)
    if isinstance(found, str):
        raise UnitError(f"found {shown(text)}: unknown unit {shown(found)}{_nearest(found, dimension)}; {expected}")
    factor, powers = found
    if powers != dimension.powers:
        raise UnitError(f"found {shown(text)}, {_kind(powers)}{_force_hint(unit, powers, dimension)}; {expected}")
    return number * factor


def _kind(powers: Powers) -> str:
    return next((d.name for d in DIMENSIONS if d.powers == powers), "another kind of quantity")


def _force_hint(unit: str, powers: Powers, dimension: Dimension) -> str:
    """Pounds, ounces and kilograms name masses here; says so where a force was meant."""
    as_force = (powers[0] + 1, powers[1], powers[2] - 2, *powers[3:])
    mass = re.search(r"\b(lbs?|oz|kg|g)\b", unit)
    if mass is None or as_force != dimension.powers:
        return ""
    return f" (for a force write {mass.group().removesuffix('s')}f)"


def _nearest(word: str, dimension: Dimension) -> str:
    """A suggestion for an unknown unit: one of the wanted dimension rather than any other."""
    fitting = [name for name, (_, powers) in UNITS.items() if powers == dimension.powers]
    same = [f'"{name}"' for name in fitting if name.casefold() == word.casefold()]
    if same:
        return f" (did you mean {' or '.join(same)}?)"
    return closest(word, fitting) or closest(word, [*UNITS])


@lru_cache(maxsize=512)
def _unit(unit: str) -> tuple[float, Powers] | str:
    """Factor and powers of a unit expression, or the part of it that is no unit."""
    factor, powers, divide = 1.0, [0] * 6, False
    rest = unit.translate(_SUPERSCRIPTS).replace("**", "^").replace("per ", "/").replace("1/", "/")
    while rest := rest.lstrip(" \t·⋅*×-"):
        if rest.startswith("/"):
            if divide:
                return unit
            divide, rest = True, rest[1:].lstrip()
        match = _FACTOR.match(rest)
        name = _spelling(match["name"]) if match else None
        if match is None or name is None or name not in UNITS:
            return match["name"] if match else rest
        power = int(match["power"] or 1) * (-1 if divide else 1)
        scale, own = UNITS[name]
        factor *= scale**power
        powers = [p + power * q for p, q in zip(powers, own, strict=True)]
        divide, rest = False, rest[match.end() :]
        if power < 0 and rest.strip() and not rest.lstrip().startswith("/") and "/" in unit:
            return unit  # "N/m rad" could be read two ways
    return factor, (powers[0], powers[1], powers[2], powers[3], powers[4], powers[5])


def _spelling(name: str) -> str | None:
    """The known symbol meant by ``name``; upper and lower case may differ where only one symbol fits."""
    if name in UNITS or name in SCALES:
        return name
    near = BY_FOLD.get(name.casefold(), [])
    return near[0] if len(near) == 1 else None
