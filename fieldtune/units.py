"""Quantities as people write them: ``"70 mm"``, ``"2.75 in"``, ``"180 kg mm^2"``, ``"10 ft 6 in"`` to SI, and back.

A unit is a product of symbols with powers; products are written with a blank, ``·``, ``*`` or ``-``, at most one unit
follows each ``/``. Factors are exact by definition (BIPM, The International System of Units, 9th ed.; NIST SP 811,
appendix B: inch, pound, pound-force, horsepower).
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from functools import lru_cache

from fieldtune.errors import UnitError

Powers = tuple[int, int, int, int, int, int]
"""Powers of length, mass, time, current, temperature, angle."""


@dataclass(frozen=True, slots=True)
class Dimension:
    """A kind of quantity: its name with an article, an example with unit, and its powers of the base units."""

    name: str
    example: str
    powers: Powers


LENGTH = Dimension("a length", "70 mm", (1, 0, 0, 0, 0, 0))
AREA = Dimension("an area", "12 cm^2", (2, 0, 0, 0, 0, 0))
MASS = Dimension("a mass", "62 g", (0, 1, 0, 0, 0, 0))
TIME = Dimension("a time", "1.5 s", (0, 0, 1, 0, 0, 0))
ANGLE = Dimension("an angle", "52 deg", (0, 0, 0, 0, 0, 1))
ANGULAR_SPEED = Dimension("a speed of rotation", "5800 rpm", (0, 0, -1, 0, 0, 1))
SPEED = Dimension("a speed", "6.2 m/s", (1, 0, -1, 0, 0, 0))
FORCE = Dimension("a force", "6 N", (1, 1, -2, 0, 0, 0))
STIFFNESS = Dimension("a spring rate", "0.9 N/mm", (0, 1, -2, 0, 0, 0))
TORQUE = Dimension("a torque", "0.36 N m", (2, 1, -2, 0, 0, 0))
ENERGY = Dimension("an energy", "1.2 J", (2, 1, -2, 0, 0, 0))
POWER = Dimension("a power", "40 W", (2, 1, -3, 0, 0, 0))
TORSION = Dimension("a torsional spring rate", "0.8 N m/rad", (2, 1, -2, 0, 0, -1))
INERTIA = Dimension("a moment of inertia", "180 kg mm^2", (2, 1, 0, 0, 0, 0))
DENSITY = Dimension("a density", "1200 kg/m^3", (-3, 1, 0, 0, 0, 0))
PRESSURE = Dimension("a pressure", "1005 hPa", (-1, 1, -2, 0, 0, 0))
VOLTAGE = Dimension("a voltage", "12 V", (2, 1, -3, -1, 0, 0))
CURRENT = Dimension("a current", "11 A", (0, 0, 0, 1, 0, 0))
RESISTANCE = Dimension("a resistance", "90 mohm", (2, 1, -3, -2, 0, 0))
CAPACITY = Dimension("a battery capacity", "3.0 A h", (0, 0, 1, 1, 0, 0))
TEMPERATURE = Dimension("a temperature", "24 degC", (0, 0, 0, 0, 1, 0))
RATIO = Dimension("a share", "40 %", (0, 0, 0, 0, 0, 0))

DIMENSIONS = (
    *(LENGTH, AREA, MASS, TIME, ANGLE, ANGULAR_SPEED, SPEED, FORCE, STIFFNESS, TORQUE, ENERGY, POWER, TORSION),
    *(INERTIA, DENSITY, PRESSURE, VOLTAGE, CURRENT, RESISTANCE, CAPACITY, TEMPERATURE, RATIO),
)

STANDARD_GRAVITY = 9.80665
_POUND = 0.45359237
_INCH = 0.0254
_POUND_FORCE = _POUND * STANDARD_GRAVITY
_PREFIX = {"n": 1e-9, "u": 1e-6, "m": 1e-3, "c": 1e-2, "d": 1e-1, "h": 1e2, "k": 1e3, "M": 1e6}

# factor, powers, prefixes that occur in practice, symbol and its other spellings
_TABLE: tuple[tuple[float, Dimension, str, str], ...] = (
    (1.0, LENGTH, "umcdk", "m"),
    (1.0, LENGTH, "", "metre meter metres meters"),
    (1e-3, LENGTH, "", "millimetre millimeter millimetres millimeters"),
    (1e-2, LENGTH, "", "centimetre centimeter centimetres centimeters"),
    (_INCH, LENGTH, "", "in inch inches ″"),
    (12 * _INCH, LENGTH, "", "ft foot feet ′"),
    (36 * _INCH, LENGTH, "", "yd yard yards"),
    (1e-3 * _INCH, LENGTH, "", "thou mil"),
    (1e-3, MASS, "umk", "g"),
    (1e-3, MASS, "", "gram grams gramme grammes"),
    (1.0, MASS, "", "kilogram kilograms kilo kilos"),
    (1e3, MASS, "", "t"),
    (_POUND, MASS, "", "lb lbs pound pounds lbm"),
    (_POUND / 16, MASS, "", "oz ounce ounces ozm"),
    (_POUND_FORCE / (12 * _INCH), MASS, "", "slug slugs"),
    (1.0, TIME, "um", "s"),
    (1.0, TIME, "", "sec second seconds"),
    (60.0, TIME, "", "min minute minutes"),
    (3600.0, TIME, "", "h hr hour hours"),
    (1.0, ANGLE, "m", "rad"),
    (1.0, ANGLE, "", "radian radians"),
    (math.pi / 180, ANGLE, "", "deg ° degree degrees"),
    (2 * math.pi, ANGLE, "", "rev turn turns revolution revolutions"),
    (2 * math.pi / 60, ANGULAR_SPEED, "", "rpm"),
    (2 * math.pi, ANGULAR_SPEED, "", "rps"),
    (1 / 3.6, SPEED, "", "kmh kph"),
    (1609.344 / 3600, SPEED, "", "mph"),
    (12 * _INCH, SPEED, "", "fps"),
    (1.0, FORCE, "mkM", "N"),
    (1.0, FORCE, "", "newton newtons"),
    (STANDARD_GRAVITY, FORCE, "", "kgf kp"),
    (STANDARD_GRAVITY / 1e3, FORCE, "", "gf"),
    (_POUND_FORCE, FORCE, "", "lbf lbsf"),
    (_POUND_FORCE / 16, FORCE, "", "ozf"),
    (1.0, TORQUE, "mk", "Nm"),
    (1e-3, TORQUE, "", "Nmm"),
    (1e-2, TORQUE, "", "Ncm"),
    (1.0, ENERGY, "mkM", "J"),
    (1.0, POWER, "mkM", "W"),
    (550 * 12 * _INCH * _POUND_FORCE, POWER, "", "hp"),
    (1.0, PRESSURE, "hkM", "Pa"),
    (1e5, PRESSURE, "m", "bar"),
    (101325.0, PRESSURE, "", "atm"),
    (_POUND_FORCE / _INCH**2, PRESSURE, "", "psi"),
    (3386.389, PRESSURE, "", "inHg"),
    (133.3224, PRESSURE, "", "mmHg torr"),
    (1.0, VOLTAGE, "umk", "V"),
    (1.0, VOLTAGE, "", "volt volts"),
    (1.0, CURRENT, "umk", "A"),
    (1.0, CURRENT, "", "amp amps ampere amperes"),
    (1.0, RESISTANCE, "umkM", "ohm"),
    (1.0, RESISTANCE, "umkM", "Ω"),
    (1.0, RESISTANCE, "", "ohms"),
    (1e-3, RESISTANCE, "", "milliohm milliohms"),
    (3600.0, CAPACITY, "m", "Ah"),
    (3600.0, ENERGY, "mk", "Wh"),
    (1.0, TEMPERATURE, "", "K kelvin"),
    (0.01, RATIO, "", "% percent pct"),
)
# Scales with a zero of their own: kelvin = (number + offset) * factor.
_SCALES = {
    **dict.fromkeys(("degC", "°C", "C", "celsius"), (273.15, 1.0)),
    **dict.fromkeys(("degF", "°F", "F", "fahrenheit"), (459.67, 5 / 9)),
}


def _symbols() -> dict[str, tuple[float, Powers]]:
    known: dict[str, tuple[float, Powers]] = {}
    for factor, dimension, prefixes, names in _TABLE:
        for name in names.split():
            known[name] = (factor, dimension.powers)
            for prefix in prefixes:
                known[prefix + name] = (factor * _PREFIX[prefix], dimension.powers)
    return known


_UNITS = _symbols()
_BY_FOLD: dict[str, list[str]] = {}
for _name in (*_UNITS, *_SCALES):
    _BY_FOLD.setdefault(_name.casefold(), []).append(_name)

_NUMBER = re.compile(r"[+-]?(?:\d+\s+\d+/\d+|\d+/\d+(?![\d.])|(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)")
_FACTOR = re.compile(r"(?P<name>[^\W\d]+|[%°′″]\w*)(?:\^?(?P<power>-?\d))?")
_SUPERSCRIPTS = str.maketrans("⁰¹²³⁴⁻", "01234-")
_SPELLINGS = str.maketrans({"−": "-", "µ": "u", "μ": "u", "Ω": "Ω", "º": "°", "'": "′", '"': "″", "’": "′", "”": "″"})


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
        return _finite(float(value), value, expected)
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
    if not isinstance(value, str):
        return str(value)[:40]
    text = value if len(value) <= 40 else value[:39] + "…"
    return '"' + "".join(c if c.isprintable() else repr(c)[1:-1] for c in text) + '"'


def closest(word: str, known: object) -> str:
    """`` (did you mean "x"?)`` for the nearest of the ``known`` words, or nothing."""
    words = [str(k) for k in known] if isinstance(known, list | tuple | set | frozenset | dict) else []
    near = difflib.get_close_matches(word, words, 1, 0.6)
    if not near:
        folded = {w.casefold(): w for w in words}
        near = [folded[f] for f in difflib.get_close_matches(word.casefold(), list(folded), 1, 0.6)]
    return f' (did you mean "{near[0]}"?)' if near else ""


def _finite(number: float, value: object, expected: str) -> float:
    if not math.isfinite(number):
        raise UnitError(f"found {shown(value)}, which is no finite number; {expected}")
    return number


def _terms(text: str, expected: str) -> list[tuple[float, str]]:
    """Splits ``10 ft 6 in`` into its numbers and units."""
    rest = text.translate(_SPELLINGS).strip()
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
        if rest.startswith(","):
            raise UnitError(f"found {shown(text)}; write decimals with a point; {expected}")
    if not terms:
        raise UnitError(f"found {shown(text)}; {expected}")
    return terms


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
        scale = _SCALES.get(unit.replace("° ", "°").replace("deg ", "deg")) or _SCALES.get(_spelling(unit) or "")
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
    fitting = [name for name, (_, powers) in _UNITS.items() if powers == dimension.powers]
    same = [f'"{name}"' for name in fitting if name.casefold() == word.casefold()]
    if same:
        return f" (did you mean {' or '.join(same)}?)"
    return closest(word, fitting) or closest(word, [*_UNITS])


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
        if match is None or name is None or name not in _UNITS:
            return match["name"] if match else rest
        power = int(match["power"] or 1) * (-1 if divide else 1)
        scale, own = _UNITS[name]
        factor *= scale**power
        powers = [p + power * q for p, q in zip(powers, own, strict=True)]
        divide, rest = False, rest[match.end() :]
        if power < 0 and rest.strip() and not rest.lstrip().startswith("/") and "/" in unit:
            return unit  # "N/m rad" could be read two ways
    return factor, (powers[0], powers[1], powers[2], powers[3], powers[4], powers[5])


def _spelling(name: str) -> str | None:
    """The known symbol meant by ``name``; upper and lower case may differ where only one symbol fits."""
    if name in _UNITS or name in _SCALES:
        return name
    near = _BY_FOLD.get(name.casefold(), [])
    return near[0] if len(near) == 1 else None


def feet_inches(metres: float) -> str:
    """A length in feet and inches to half an inch, for people with such a tape: ``10 ft 6 in``."""
    halves = round(abs(metres) / _INCH * 2)
    feet, rest = divmod(halves, 24)
    sign = "-" if metres < 0 and halves else ""
    inches = f"{rest / 2:g} in"
    return f"{sign}{feet} ft {inches}" if feet else f"{sign}{inches}"


def metric(metres: float) -> str:
    """A length as read from a metric tape: ``3.20 m``, below a metre ``42 cm``, below 10 cm ``9.5 mm``."""
    size = abs(metres)
    if size >= 0.995:
        return f"{metres:.2f} m"
    return f"{metres * 100:.0f} cm" if size >= 0.0995 else f"{metres * 1000:.3g} mm"
