"""The kinds of quantity and the units that fieldtune knows, with their factors to SI.

Factors are exact by definition (BIPM, The International System of Units, 9th ed.; NIST SP 811, appendix B: inch, pound,
pound-force, horsepower), but for the conventional inch of mercury.
"""

from __future__ import annotations

import math

from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.frozen import frozen

Powers = tuple[int, int, int, int, int, int]
"""Powers of length, mass, time, current, temperature, angle."""


@frozen
class Dimension:
    """A kind of quantity: its name with an article, an example with unit, and its powers of the base units."""

    name: str
    example: str
    powers: Powers


LENGTH = Dimension("a length", "58 mm", (1, 0, 0, 0, 0, 0))
AREA = Dimension("an area", "12 cm^2", (2, 0, 0, 0, 0, 0))
MASS = Dimension("a mass", "40 g", (0, 1, 0, 0, 0, 0))
TIME = Dimension("a time", "1.5 s", (0, 0, 1, 0, 0, 0))
ANGLE = Dimension("an angle", "52 deg", (0, 0, 0, 0, 0, 1))
ANGULAR_SPEED = Dimension("a speed of rotation", "2450 rpm", (0, 0, -1, 0, 0, 1))
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

_POUND = 0.45359237
INCH = 0.0254
_POUND_FORCE = _POUND * STANDARD_GRAVITY
_PREFIX = {"n": 1e-9, "u": 1e-6, "m": 1e-3, "c": 1e-2, "d": 1e-1, "h": 1e2, "k": 1e3, "M": 1e6}

# factor, powers, prefixes that occur in practice, symbol and its other spellings
_TABLE: tuple[tuple[float, Dimension, str, str], ...] = (
    (1.0, LENGTH, "umcdk", "m"),
    (1.0, LENGTH, "", "metre meter metres meters"),
    (1e-3, LENGTH, "", "millimetre millimeter millimetres millimeters"),
    (1e-2, LENGTH, "", "centimetre centimeter centimetres centimeters"),
    (INCH, LENGTH, "", "in inch inches ″"),
    (12 * INCH, LENGTH, "", "ft foot feet ′"),
    (36 * INCH, LENGTH, "", "yd yard yards"),
    (1e-3 * INCH, LENGTH, "", "thou mil"),
    (1e-3, MASS, "umk", "g"),
    (1e-3, MASS, "", "gram grams gramme grammes"),
    (1.0, MASS, "", "kilogram kilograms kilo kilos"),
    (1e3, MASS, "", "t"),
    (_POUND, MASS, "", "lb lbs pound pounds lbm"),
    (_POUND / 16, MASS, "", "oz ounce ounces ozm"),
    (_POUND_FORCE / (12 * INCH), MASS, "", "slug slugs"),
    (1.0, TIME, "um", "s"),
    (1.0, TIME, "", "sec second seconds"),
    (60.0, TIME, "", "min minute minutes"),
    (3600.0, TIME, "", "h hr hour hours"),
    (1.0, ANGLE, "m", "rad"),
    (1.0, ANGLE, "", "radian radians"),
    (math.pi / 180, ANGLE, "", "deg ° degree degrees"),
    (2 * math.pi, ANGLE, "", "rev turn turns revolution revolutions"),
    (2 * math.pi / 60, ANGULAR_SPEED, "k", "rpm"),
    (2 * math.pi, ANGULAR_SPEED, "", "rps"),
    (1 / 3.6, SPEED, "", "kmh kph"),
    (1609.344 / 3600, SPEED, "", "mph"),
    (12 * INCH, SPEED, "", "fps"),
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
    (550 * 12 * INCH * _POUND_FORCE, POWER, "", "hp"),
    (1.0, PRESSURE, "hkM", "Pa"),
    (1e5, PRESSURE, "m", "bar"),
    (101325.0, PRESSURE, "", "atm"),
    (_POUND_FORCE / INCH**2, PRESSURE, "", "psi"),
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
SCALES = {
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


UNITS = _symbols()
BY_FOLD: dict[str, list[str]] = {}
for _name in (*UNITS, *SCALES):
    BY_FOLD.setdefault(_name.casefold(), []).append(_name)
