"""Quantities as they are said to people: in metric or US customary units, as the person prefers.

Inside, all is SI; so are JSON, tables of numbers and profiles. Setpoints stay in the unit that the robot program takes
(rpm, %, mm of draw). The choice holds for the running program, as a locale does; nothing else keeps it.
"""

from __future__ import annotations

import math
from typing import Literal

System = Literal["metric", "us"]
SYSTEMS: tuple[System, ...] = ("metric", "us")

POUND = 0.45359237
"""Kilograms, exactly (international yard and pound agreement of 1959)."""

# By metric unit: the US unit, how many of it make one, and how many more decimals show as much.
# Exact by the international yard and pound agreement of 1959, standard gravity 9.80665 m/s^2 for forces.
_US = {
    "m": ("ft", 1 / 0.3048, 0),
    "cm": ("in", 1 / 2.54, 1),
    "m/s": ("ft/s", 1 / 0.3048, 0),
    "g": ("oz", 16 / (1000 * POUND), 2),
    "N": ("lbf", 1 / (POUND * 9.80665), 1),
    "N/mm": ("lbf/in", 25.4 / (POUND * 9.80665), 0),
    "N m": ("lbf in", 1 / (POUND * 9.80665 * 0.0254), 0),
    "J": ("ft lbf", 1 / (POUND * 9.80665 * 0.3048), 0),
    "J/cm2": ("ft lbf/in2", 2.54**2 / (POUND * 9.80665 * 0.3048), 0),
    "MPa": ("psi", 1e6 * 0.0254**2 / (POUND * 9.80665), -2),
    "°C": ("°F", 1.8, 0),  # of a difference
}

_now: System = "metric"


def use(system: System) -> None:
    """From now on everything is said in this system."""
    global _now
    _now = system


def us() -> bool:
    """Whether US customary units are said."""
    return _now == "us"


def unit(metric_unit: str) -> str:
    """The unit that is said in place of this one: ``ft`` for ``m``; units that both systems share stay."""
    return _US[metric_unit][0] if us() and metric_unit in _US else metric_unit


def converted(value: float, metric_unit: str) -> float:
    """A value in that metric unit, in the unit that is said."""
    return value * _US[metric_unit][1] if us() and metric_unit in _US else value


def back(value: float, metric_unit: str) -> float:
    """What someone said in the unit for this metric unit, in the metric unit."""
    return value / _US[metric_unit][1] if us() and metric_unit in _US else value


def digits_of(value: float, metric_unit: str, digits: int, signed: bool = False) -> str:
    """The number alone; ``digits``: decimals of the metric one."""
    more = _US[metric_unit][2] if us() and metric_unit in _US else 0
    said = round(converted(value, metric_unit), digits + more)
    thousands = "," if abs(said) >= 1e5 else ""
    return f"{said:{'+' if signed else ''}{thousands}.{max(0, digits + more)}f}"


def amount(value: float, metric_unit: str, digits: int | None = None, *, figures: int = 3, signed: bool = False) -> str:
    """A value in that metric unit with its unit; ``digits`` as above, else rounded to so many ``figures``."""
    if digits is not None:
        return f"{digits_of(value, metric_unit, digits, signed)} {unit(metric_unit)}"
    said = converted(value, metric_unit)
    return f"{said:{'+' if signed else ''}.{figures}g} {unit(metric_unit)}"


def how_far(metres: float) -> str:
    """How far something is, as read from a tape: ``3.20 m``, or ``10 ft 6 in`` to half an inch."""
    return feet_inches(metres) if us() else f"{metres:.2f} m"


def from_to(low: float, high: float, metric_unit: str, digits: int = 0) -> str:
    """From one value to another: ``2.0 to 4.5 m``."""
    return f"{digits_of(low, metric_unit, digits)} to {amount(high, metric_unit, digits)}"


def size(millimetres: float, digits: int | None = None) -> str:
    """A small length, such as a wheel's: ``88 mm``, ``3.46 in``. (A unit of mm elsewhere is a draw, and stays.)"""
    value, name, more = (millimetres / 25.4, "in", 2) if us() else (millimetres, "mm", 0)
    return f"{value:.3g} {name}" if digits is None else f"{value:.{digits + more}f} {name}"


def miss(metres: float, signed: bool = True) -> str:
    """A miss along or across: ``+12 cm``, ``-4.7 in``."""
    return amount(100 * metres, "cm", 0, signed=signed)


def feet_inches(metres: float) -> str:
    """A length in feet and inches to half an inch, for people with such a tape: ``10 ft 6 in``."""
    halves = round(abs(metres) / 0.0254 * 2)
    feet, rest = divmod(halves, 24)
    sign = "-" if metres < 0 and halves else ""
    inches = f"{rest / 2:g} in"
    return f"{sign}{feet} ft {inches}" if feet else f"{sign}{inches}"


def metric(metres: float) -> str:
    """A length as read from a metric tape: ``3.20 m``, below a metre ``42 cm``, below 10 cm ``9.5 mm``."""
    size = abs(metres)
    if not math.isfinite(size) or size >= 0.995:
        return f"{metres:.2f} m"
    return f"{metres * 100:.0f} cm" if size >= 0.0995 else f"{metres * 1000:.3g} mm"
