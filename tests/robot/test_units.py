"""Quantities as text: both systems of units, every way of writing a product, and what is said of wrong ones.

Factors come from NIST Special Publication 811 (2008), appendix B.8, unless a row says otherwise.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from fieldtune import units
from fieldtune.errors import UnitError
from fieldtune.person_units import feet_inches, metric
from fieldtune.units import Dimension, parse

RIGHT = [
    ("58 mm", units.LENGTH, 0.058),
    ("58mm", units.LENGTH, 0.058),
    ("5.8e1 MM", units.LENGTH, 0.058),
    (" +7 cm ", units.LENGTH, 0.07),
    ("-12 cm", units.LENGTH, -0.12),
    ("−12 cm", units.LENGTH, -0.12),
    ("2.3 in", units.LENGTH, 2.3 * 0.0254),
    ("2 1/4 in", units.LENGTH, 2.25 * 0.0254),
    ('2.25"', units.LENGTH, 2.25 * 0.0254),
    ("10 ft 6 in", units.LENGTH, 3.2004),
    ("10' 6\"", units.LENGTH, 3.2004),
    ("1 yd", units.LENGTH, 0.9144),
    ("40 g", units.MASS, 0.04),
    ("1.4 oz", units.MASS, 1.4 * 2.834952e-2),
    ("1 lb 4 oz", units.MASS, 1.25 * 0.45359237),
    ("52 deg", units.ANGLE, math.radians(52)),
    ("52°", units.ANGLE, math.radians(52)),
    ("0.9 rad", units.ANGLE, 0.9),
    ("2450 rpm", units.ANGULAR_SPEED, 2450 * 1.047198e-1),
    ("2450 RPM", units.ANGULAR_SPEED, 2450 * 1.047198e-1),
    ("2450 rev/min", units.ANGULAR_SPEED, 2450 * 1.047198e-1),
    ("360 deg/s", units.ANGULAR_SPEED, 2 * math.pi),
    ("20 rad/s", units.ANGULAR_SPEED, 20.0),
    ("20 ft/s", units.SPEED, 20 * 0.3048),
    ("10 km/h", units.SPEED, 10 / 3.6),
    ("6 N", units.FORCE, 6.0),
    ("300 mN", units.FORCE, 0.3),
    ("0.3 MN", units.FORCE, 0.3e6),
    ("1 lbf", units.FORCE, 4.448222),
    ("1 ozf", units.FORCE, 2.780139e-1),
    ("1 kgf", units.FORCE, 9.80665),
    ("0.9 N/mm", units.STIFFNESS, 900.0),
    ("900 N/m", units.STIFFNESS, 900.0),
    ("5.1 lbf/in", units.STIFFNESS, 5.1 * 1.751268e2),
    ("0.36 N m", units.TORQUE, 0.36),
    ("0.36 N·m", units.TORQUE, 0.36),
    ("0.36 N*m", units.TORQUE, 0.36),
    ("0.36 Nm", units.TORQUE, 0.36),
    ("360 mN m", units.TORQUE, 0.36),
    ("36 N cm", units.TORQUE, 0.36),
    ("1 kgf cm", units.TORQUE, 9.80665e-2),
    ("1 ozf in", units.TORQUE, 7.061552e-3),
    ("1 ozf-in", units.TORQUE, 7.061552e-3),
    ("1 lbf in", units.TORQUE, 1.129848e-1),
    ("1 lbf ft", units.TORQUE, 1.355818),
    ("0.8 N m/rad", units.TORSION, 0.8),
    ("180 kg mm^2", units.INERTIA, 1.8e-4),
    ("180 kg·mm²", units.INERTIA, 1.8e-4),
    ("180 kg mm2", units.INERTIA, 1.8e-4),
    ("180 kg*mm**2", units.INERTIA, 1.8e-4),
    ("1800 g cm^2", units.INERTIA, 1.8e-4),
    ("1 lb in^2", units.INERTIA, 2.926397e-4),
    ("1 lb ft^2", units.INERTIA, 4.214011e-2),
    ("12 V", units.VOLTAGE, 12.0),
    ("12000 mV", units.VOLTAGE, 12.0),
    ("11 A", units.CURRENT, 11.0),
    ("60 mohm", units.RESISTANCE, 0.06),
    ("60 mΩ", units.RESISTANCE, 0.06),
    ("0.06 Ohm", units.RESISTANCE, 0.06),
    ("3.0 A h", units.CAPACITY, 10800.0),
    ("3000 mA h", units.CAPACITY, 10800.0),
    ("3000 mAh", units.CAPACITY, 10800.0),
    ("24 degC", units.TEMPERATURE, 297.15),
    ("24 °C", units.TEMPERATURE, 297.15),
    ("77 degF", units.TEMPERATURE, 298.15),
    ("297.15 K", units.TEMPERATURE, 297.15),
    ("1005 hPa", units.PRESSURE, 100500.0),
    ("100.5 kPa", units.PRESSURE, 100500.0),
    ("1.005 bar", units.PRESSURE, 100500.0),
    ("1 inHg", units.PRESSURE, 3.386389e3),
    ("1 psi", units.PRESSURE, 6.894757e3),
    ("40 %", units.RATIO, 0.4),
    ("40%", units.RATIO, 0.4),
    ("0.4", units.RATIO, 0.4),
    (0.4, units.RATIO, 0.4),
    (1, units.RATIO, 1.0),
    ("1.2 J", units.ENERGY, 1.2),
    ("1200 kg/m^3", units.DENSITY, 1200.0),
    ("0.0433 lb/in^3", units.DENSITY, 0.0433 * 2.767990e4),
]

LENGTH = 'expected a length, such as "58 mm"'
WRONG = [
    ("70", units.LENGTH, f'found "70" without a unit; {LENGTH}'),
    (70, units.LENGTH, f"found 70 without a unit; {LENGTH}"),
    (70.5, units.LENGTH, f"found 70.5 without a unit; {LENGTH}"),
    ("70 g", units.LENGTH, f'found "70 g", a mass; {LENGTH}'),
    ("70 mm^2", units.LENGTH, f'found "70 mm^2", an area; {LENGTH}'),
    ("70 mmm", units.LENGTH, f'found "70 mmm": unknown unit "mmm" (did you mean "mm"?); {LENGTH}'),
    ("70 foo bar", units.LENGTH, f'found "70 foo bar": unknown unit "foo" (did you mean "foot"?); {LENGTH}'),
    ("mm", units.LENGTH, f'found "mm", which is no number with a unit; {LENGTH}'),
    ("", units.LENGTH, f'found ""; {LENGTH}'),
    ("nan mm", units.LENGTH, f'found "nan mm", which is no number with a unit; {LENGTH}'),
    ("1e999 mm", units.LENGTH, f'found "1e999 mm", which is no finite number; {LENGTH}'),
    (
        "1,500 mm",
        units.LENGTH,
        f'found "1,500 mm"; write decimals with a point, thousands without; {LENGTH}',
    ),
    (
        "1,5,0 mm",
        units.LENGTH,
        f'found "1,5,0 mm"; write decimals with a point, thousands without; {LENGTH}',
    ),
    ("9" * 5000 + " mm", units.LENGTH, f'found "{"9" * 39}…", longer than any quantity; {LENGTH}'),
    ("1e-200 m", units.LENGTH, f'found "1e-200 m", which nothing on a field measures; {LENGTH}'),
    ("1e200 m", units.LENGTH, f'found "1e200 m", which nothing on a field measures; {LENGTH}'),
    ("1/0 in", units.LENGTH, f'found "1/0 in", a division by zero; {LENGTH}'),
    ("3 m 5", units.LENGTH, f'found "3 m 5" without a unit; {LENGTH}'),
    (True, units.LENGTH, f"found true; {LENGTH}"),
    (["70 mm"], units.LENGTH, f'found ["70 mm"]; {LENGTH}'),
    ({}, units.LENGTH, f"found a table; {LENGTH}"),
    ("70\x1b[2J mm", units.LENGTH, f'found "70\\x1b[2J mm": unknown unit "\\x1b[2J mm"; {LENGTH}'),
    (
        "3 mn",
        units.FORCE,
        'found "3 mn": unknown unit "mn" (did you mean "mN" or "MN"?); expected a force, such as "6 N"',
    ),
    ("12 lb", units.FORCE, 'found "12 lb", a mass (for a force write lbf); expected a force, such as "6 N"'),
    ("10 m 3 m", units.SPEED, 'found "10 m 3 m", more than one number; expected a speed, such as "6.2 m/s"'),
    (
        "2 kg cm",
        units.TORQUE,
        'found "2 kg cm", another kind of quantity (for a force write kgf); expected a torque, such as "0.36 N m"',
    ),
    (float("inf"), units.RATIO, 'found inf, which is no finite number; expected a share, such as "40 %"'),
]


@pytest.mark.parametrize(("text", "dimension", "value"), RIGHT, ids=lambda v: v if isinstance(v, str) else "")
def test_quantities_come_out_in_si(text: object, dimension: Dimension, value: float) -> None:
    assert parse(text, dimension) == pytest.approx(value, rel=5e-7)  # NIST prints seven digits


@pytest.mark.parametrize(("text", "dimension", "words"), WRONG, ids=str)
def test_wrong_quantities_say_what_was_found_and_expected(text: object, dimension: Dimension, words: str) -> None:
    with pytest.raises(UnitError) as caught:
        parse(text, dimension)
    assert str(caught.value) == words


@given(st.text(max_size=30), st.sampled_from(units.DIMENSIONS))
@example("1/", units.LENGTH)
@example("5 m/", units.SPEED)
@example("5 /", units.SPEED)
@example("5 1/min", units.ANGULAR_SPEED)
@example("²", units.LENGTH)
@example("٣ mm", units.LENGTH)
def test_any_text_is_a_finite_number_or_a_line_of_words(text: str, dimension: Dimension) -> None:
    value, words = outcome(text, dimension)
    assert value is None or math.isfinite(value)
    assert words.isprintable()
    assert (dimension.example in words) == (value is None)


def outcome(text: str, dimension: Dimension) -> tuple[float | None, str]:
    try:
        return parse(text, dimension), ""
    except UnitError as fault:
        return None, str(fault)


UNITS_OF_LENGTH = {"mm": 1e-3, "cm": 1e-2, "m": 1.0, "in": 0.0254, "ft": 0.3048}


def sizes(most: float) -> st.SearchStrategy[float]:
    """Numbers that something measures: zero, or not so near it that only a slip explains them."""
    return st.floats(-most, most, allow_nan=False).filter(lambda number: number == 0 or abs(number) > 1e-25)


@given(
    sizes(1e6),
    st.sampled_from(sorted(UNITS_OF_LENGTH)),
    st.sampled_from(["{} {}", "{}{}", " {}  {} "]),
)
def test_what_is_written_is_read_back(number: float, unit: str, layout: str) -> None:
    assert parse(layout.format(repr(number), unit), units.LENGTH) == pytest.approx(number * UNITS_OF_LENGTH[unit])


@given(st.floats(-200, 200, allow_nan=False))
def test_feet_and_inches_are_read_back_to_half_an_inch(metres: float) -> None:
    assert parse(feet_inches(abs(metres)), units.LENGTH) == pytest.approx(abs(metres), abs=0.0254 / 4 + 1e-9)


@given(sizes(200))
def test_metric_words_are_read_back(metres: float) -> None:
    assert parse(metric(metres), units.LENGTH) == pytest.approx(metres, abs=0.0051)


@pytest.mark.parametrize("dimension", units.DIMENSIONS, ids=lambda d: d.name)
def test_every_example_that_a_message_shows_is_accepted(dimension: Dimension) -> None:
    assert parse(dimension.example, dimension) > 0
