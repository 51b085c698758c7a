"""Numbers and units under names that are the robot's own: what is said to be pasted shows the true speed, or none.

The wheel turns at 2,448 to 2,452 rpm, and the lines come every 20 ms. Ways of printing are common practice; 1 rev/s is
60 rpm (ISO 80000-3).
"""

from __future__ import annotations

import math
import re
from dataclasses import replace

import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.text.raw_pairs import pairs
from fieldtune.link.text.shown_lines import shown
from fieldtune.link.troubleshooting.mapping import guess
from fieldtune.link.troubleshooting.raw_names import read_names
from fieldtune.link.troubleshooting.remedies import remedies

HERON = load_robot("heron")
RADIANS = math.pi / 30


def fed(form, robot=HERON, lines=60):
    line = Line(robot)
    for i in range(lines):
        line.feed(form(2448 + 2 * (i % 3), 1000 + 20 * i).encode() + b"\n", 0.02 * i)
    return line, line.live("live", "", None, 0.02 * lines)


def told(form, robot=HERON):
    line, _ = fed(form, robot)
    return remedies(line.health(), line.raw(), None, robot)


def pasted(said, tmp_path):
    """The robot with what is said to be pasted in its profile."""
    path = tmp_path / "heron.toml"
    keys = [one for one in said if re.match(r"\[link\.\w+\]\Z|[a-z0-9_]+ = \S", one)]
    path.write_text(HERON.path.read_text() + "\n" + "\n".join(keys) + "\n")
    return load_robot(str(path))


@pytest.mark.parametrize("name", ["RPM", "wheel_rpm"])
@pytest.mark.parametrize(
    "value",
    [
        lambda rpm: f"{rpm / 1000:.3f} krpm",
        lambda rpm: f"{rpm * RADIANS:.2f} rad/s",
        lambda rpm: f"{rpm / 60:.2f} rev/s",
        lambda rpm: f"{rpm:,.1f}",
    ],
)
@pytest.mark.parametrize("mark", ";|&")
def test_a_unit_is_no_part_of_the_next_name(name, value, mark):
    """``RPM=40.8 rev/s;VBAT=9.77`` is 2,448 rpm, and not 41 rpm beside something called rev/s;VBAT."""
    robot = replace(HERON, link=replace(HERON.link, fields={"wheel_rpm": name, "battery_v": "VBAT"}))
    _, live = fed(lambda rpm, t: f"{name}={value(rpm)}{mark}VBAT=9.77", robot)
    assert (live.wheel_rpm, live.battery_v) == (pytest.approx(2450, abs=3), 9.77)


def test_names_with_a_stroke_are_names():
    robot = replace(HERON, link=replace(HERON.link, fields={"wheel_rpm": "left/rpm"}))
    line, live = fed(lambda rpm, t: f"t_ms={t},left/rpm={rpm},right/current=2.1,arm:angle=12", robot)
    assert live.wheel_rpm == pytest.approx(2450, abs=3)
    assert line.health().good >= 59


@pytest.mark.parametrize("value", ["58.3%", "58.3 %", "37.0 ft/s", "24.5 hundred"])
def test_no_factor_is_offered_for_a_unit_that_nobody_knows(value, tmp_path):
    said = told(lambda rpm, t: f"Velocity: {value}, Batt: 9.77V")
    assert not any(one.startswith("wheel_rpm = ") for one in said)
    assert "Velocity has the unknown unit" in " ".join(said)
    assert 'battery_v = "Batt"' in said


@pytest.mark.parametrize(
    "value",
    [
        lambda rpm: f"{rpm:,.1f}",
        lambda rpm: f"{rpm:,}".replace(",", "'"),
        lambda rpm: f"{rpm:,}".replace(",", "\u2009"),
        lambda rpm: f"{rpm:,}".replace(",", "\u00a0"),
        lambda rpm: f"0x{rpm:04X}",
        lambda rpm: f"\t{rpm}\t",
        lambda rpm: f"({rpm})",
        lambda rpm: f"[{rpm}]",
        lambda rpm: f"~{rpm}",
        lambda rpm: f"\u2248 {rpm}",
        lambda rpm: f"{rpm} min\u207b\u00b9",
        lambda rpm: f"\u2212{rpm}",
    ],
)
def test_what_is_told_for_marks_in_numbers_makes_them_read(value, tmp_path):
    def form(rpm, t):
        return f"Velocity: {value(rpm)}, Batt: 9.77V"

    assert fed(form)[1].wheel_rpm is None
    robot = pasted(told(form), tmp_path)
    live = fed(form, robot)[1]
    assert abs(live.wheel_rpm) == pytest.approx(2450, abs=3)
    assert live.battery_v == 9.77


@pytest.mark.parametrize("form", ['Range: 96.5"', 'Range=96.5", Batt: 9.77V', 'Range: "96.5 in"'])
def test_inches_by_their_mark_are_not_taken_as_centimetres(form, tmp_path):
    """1 in is 25.4 mm (NIST SP 811)."""

    def line(rpm, t):
        return f"t_ms={t},wheel_rpm={rpm},{form}"

    assert fed(line, pasted(told(line), tmp_path))[1].distance_m == pytest.approx(96.5 * 0.0254)


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ('Range: 96.5", Height: 37.5"', ['96.5"', '37.5"']),
        ('level=info msg="rpm: 2450, batt: 9.7"', ["2450", "9.7"]),
        ('{"log": "rpm: 2450"}', ["2450"]),
        ('<state rpm="2450" volts="9.80"/>', ["2450", "9.80"]),
    ],
)
def test_a_quote_that_ends_a_text_is_no_inch(text, values):
    assert [value for _, value in pairs(text)] == values


def test_a_bound_is_no_reading():
    line, live = fed(lambda rpm, t: f"t_ms={t},wheel_rpm={rpm},distance_m=<2 cm")
    assert (live.wheel_rpm, live.distance_m) == (pytest.approx(2450, abs=3), None)
    assert any("distance_m is a bound and no reading" in one for one in line.health().notices)


@pytest.mark.parametrize("value", [lambda rpm: f"{rpm:,}", lambda rpm: f"{rpm / 1000:.3f}"])
def test_a_number_with_two_meanings_is_said_to_have_them(value):
    said = " ".join(told(lambda rpm, t: f"Velocity: {value(rpm)}, Batt: 9.77V"))
    assert "Velocity can be read in two ways. Print plain numbers" in said
    assert "look again" not in said


def test_a_name_of_ours_with_something_else_than_a_number_is_not_said_to_be_missing():
    said = told(lambda rpm, t: f"t_ms={t} wheel_rpm=Decimal('{rpm}') battery_v=9.77")
    assert "wheel_rpm is no number" in " ".join(said)
    assert "No name" not in " ".join(said)


@pytest.mark.parametrize(
    ("number", "unit"),
    [(2450, "rpm"), (256.6, "rad/s"), (40.83, "turns/s"), (5145, None), (2940, None), (800, "rpm")],
)
def test_a_speed_that_may_be_the_motors_is_not_taken_as_sure(number, unit):
    """5,145 are 858 rpm in degrees a second and 2,450 rpm in the motor's own: this wheel holds both. 2,940 rpm are too
    many for it; of the motor they would be 1,400, which nothing but their size says."""
    meaning = guess(read_names([f"velocity: {number}, batt: 9.77"] * 10), HERON)["velocity"]
    assert (meaning.unit if meaning.sure else None) == unit


def test_units_that_a_speed_may_be_in_are_named_with_their_factors():
    said = told(lambda rpm, t: f"velocity: {2.1 * rpm:.0f}, batt: 9.77")
    assert 'battery_v = "batt"' in said
    (asked,) = (one for one in said if one.startswith("velocity is "))
    assert "motor rpm (2450 rpm)" in asked or "motor rpm (2452 rpm)" in asked or "motor rpm (2448 rpm)" in asked
    assert "0.166667 for deg/s, 0.47619 for motor rpm" in asked
    assert "look again" not in " ".join(said)


@pytest.mark.parametrize(
    ("line", "unit", "sure"),
    [
        ("Wheel: 81.6%, Batt: 9.7V", "rpm", False),
        ("flywheel: 2.45 krpm", "krpm", True),
        ("target: 1400 rpm", "its unit", True),
        ("dist: 96.5 inches", "inches", True),
        ("dist: 120 px", "m", False),
    ],
)
def test_a_unit_behind_a_number_is_taken_at_its_word(line, unit, sure):
    ((_, meaning), *_) = guess(read_names([line] * 10), HERON).items()
    assert (meaning.unit, meaning.scale, meaning.sure) == (unit, 1.0, sure)


@pytest.mark.parametrize("row", ["{t};2450,5;9,77;", "{t}\t2450,5\t9,77", "{t} 2450,5 9,77", "{t}, 2450.5, 9.77"])
def test_columns_are_told_apart_as_they_are_read(row, tmp_path):
    """By what was shown of them, with their decimal commas; then an order with as many columns as there are."""
    texts = [shown(row.format(t=1000 + 20 * i).encode()) for i in range(10)]
    seen = read_names(texts)
    assert seen.columns
    assert [reading.numbers[-1] for reading in seen.readings] == [1180, 2450.5, 9.77]
    order = ("t_ms", "wheel_rpm", "battery_v")
    _, live = fed(lambda _, t: row.format(t=t), replace(HERON, link=replace(HERON.link, columns=order)))
    assert (live.wheel_rpm, live.battery_v) == (2450.5, 9.77)


def test_raw_lines_show_what_a_keyboard_has():
    assert shown("v:\t2\u202f450 \u22121,5 \u2248\u0665 \u202e\x1b[31m".encode()) == "v: 2 450 -1,5 ~5 ··[31m"
