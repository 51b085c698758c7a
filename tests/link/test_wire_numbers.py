"""Numbers as student programs print them: read rightly, or set aside with a reason; never read as something else."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.text.wire_numbers import NotANumberError, value_of
from fieldtune.link.troubleshooting.remedies import remedies

# 1 in = 25.4 mm and 1 ft = 12 in exactly (NIST SP 811, appendix B); r/min is rpm (ISO 80000-3). Else common practice.
RIGHT = {
    ("wheel_rpm", 2450): (
        "2450", " 2,450.0 ", "2.450,0", "2'450", "2\u2019450", "2 450", "2\u00a0450", "2\u202f450",
        "2 450,0", "2\u202f450,0 tr/min", "2_450", "0x992",
        "2.45E+3", "\uff12\uff14\uff15\uff10", "np.float64(2450.0)", '"2450"', "2450RPM", "2450.0 rpm ready",
        "2450 r/min", "2450 1/min", "2.45 krpm", "2.45 (krpm)", "14700\u00b0/s", "2450 | ok",
        "2450 CW", "2450 (target 2500)", "2450 [of 2500] rpm",
    ),
    ("wheel_rpm", 2448): ("40.8 rev/s", "40.8 rev per second, ", "40.8 [rev/s]", "40.8|rps"),
    ("wheel_rpm", 257 * 30 / math.pi): ("257 rad/s", "257 radps", "257 rad s-1"),
    ("wheel_counts", 1234567): ("1.234.567", "1,234,567", "1234567 ticks"),
    ("turret_deg", -120.5): ("-120.5", "\u2212120,5"),
    ("battery_v", 9.77): ("9,77", "9770mV", "9770 MV", "9,77 V"),
    ("battery_mv", 9770): ("9.77V", "9770"),
    ("distance_m", 2.45): ("245.0 cm", "2450mm", "2.45M"),
    ("distance_m", 96.5 * 0.0254): ("96.5 in", '96.5"', "8' 0.5\"", "8ft 0.5in", "96 1/2 in", "8.0416667 '"),
    ("t_ms", 1500): ("1.5 s", "1500"),
    ("fired", 1): ("true", "TRUE", "True", "yes", "on", "HIGH", "1"),
    ("fired", 0): ("false", "FALSE", "no", "off", "LOW", "0"),
}  # fmt: skip
REFUSED = {
    ("wheel_rpm", "two ways"): (
        "2,450", "2450/2500", "2450 (2500)", "2450 of 2500", "2450 \u00b1 5", "2500 -> 2450", "251.6 s^-1",
    ),
    ("battery_v", "two ways"): ("9,771",),
    ("t_ms", "two ways"): ("00:01:30",),
    ("wheel_rpm", "several values"): ("[2416,1933]",),
    ("wheel_rpm", "unknown unit"): (
        "3120 ticks/s", "2.45k", "40.8 Hz", "11 m/s", "98 %", "2450 \u043e\u0431/\u043c\u0438\u043d",
    ),
    ("battery_v", "is -?(nan|inf)"): ("nan", "NaN", "-inf"),
    ("battery_v", "too large"): ("1e400",),
    ("distance_m", "no number"): ("N/A", "---", "", "ovf"),
    ("fired", "no number"): ("perhaps",),
}  # fmt: skip


@pytest.mark.parametrize(("text", "name", "value"), [(text, *key) for key, texts in RIGHT.items() for text in texts])
def test_a_number_is_read_as_it_is_meant(text, name, value):
    assert value_of(text, name) == pytest.approx(value)


@pytest.mark.parametrize(("text", "name", "why"), [(text, *key) for key, texts in REFUSED.items() for text in texts])
def test_what_can_be_meant_otherwise_is_set_aside(text, name, why):
    with pytest.raises(NotANumberError, match=why):
        value_of(text, name)


def heard(texts, robot=None):
    """The line, and what it shows, behind so many lines 20 ms apart."""
    robot = robot or load_robot("heron")
    line = Line(robot)
    for i, text in enumerate(texts):
        line.feed(text.encode() + b"\n", 0.02 * (i + 1))
    return line, line.live("live", "", None, 0.02 * len(texts))


LINE = "t_ms={t},wheel_rpm={rpm},battery_v=9.77,distance_m=2.45"


def lines(form, count=60, rpm=2450, t0=1000):
    return [form.format(t=t0 + 20 * i, rpm=rpm + i % 3) for i in range(count)]


def test_a_point_that_may_stand_between_thousands_is_asked_about_until_the_line_shows_which():
    dotted = [LINE.format(t=1000 + 20 * i, rpm=f"2.{450 + i % 3}") for i in range(60)]
    line, live = heard(dotted)
    assert (live.wheel_rpm, live.battery_v) == (None, pytest.approx(9.77))
    assert "2.450" in " ".join(remedies(line.health(), line.raw(), None, load_robot("heron")))
    printed = [LINE.format(t=1000 + 20 * i, rpm=f"{min(40 * i, 2400) + 0.456:.3f}") for i in range(90)]
    _, live = heard(printed)
    assert live.wheel_rpm == pytest.approx(2400.456)


@pytest.mark.parametrize(
    "layout", ["t_ms={},wheel_counts={}", "t_ms={} wheel_counts={}", '{{"t_ms": {}, "wheel_counts": {}}}']
)
def test_a_counter_with_a_fraction_is_none(layout):
    """1.234 is 1,234 counts with a point between thousands, or turns; in chunks of one line, and of thirty."""
    robot = load_robot("heron")
    said = [layout.format(1000 + 10 * i, f"{1 + 0.025 * i:.3f}") for i in range(1, 900) if i % 40]
    line, live = heard(said, robot)
    assert live.wheel_rpm is None
    assert "no whole number" in live.words
    assert any("print the counter" in told for told in remedies(line.health(), line.raw(), None, robot))
    whole = [layout.format(1000 + 10 * i, 25 * i) for i in range(60)]
    line = Line(robot)
    for i in range(0, 60, 30):
        line.feed("".join(f"{text}\n" for text in whole[i : i + 30]).encode(), 0.01 * (i + 30))
    line.feed("".join(f"{text}\n" for text in said[100:130]).encode(), 1.3)
    assert line.live("live", "", None, 3.0).wheel_rpm is None


def test_a_distance_of_two_millimetres_is_none():
    _, live = heard(lines("t_ms={t}, wheel_rpm={rpm}, distance_m=2.450 mm"))
    assert (live.wheel_rpm, live.distance_m) == (pytest.approx(2451, abs=2), None)


@pytest.mark.parametrize(
    "form",
    [
        "t_ms={t}, wheel_rpm (rpm): {rpm}",
        "t_ms={t}, wheel_rpm[rpm]={rpm}",
        "[I] Target wheel_rpm: 3000, wheel_rpm: {rpm}, t_ms: {t}",
        "{{'t_ms': {t}, 'wheel_rpm': np.float64({rpm}), 'mode': \"it's\"}}",
        '{{"t_ms": {t}, "wheel_rpm": "{rpm} rpm", "battery_v": "nan"}}',
        "*** t_ms={t} wheel_rpm={rpm} ***",
        "t_ms={t}/wheel_rpm={rpm}/battery_v=9.7",
    ],
)
def test_other_ways_of_saying_it(form):
    assert heard(lines(form))[1].wheel_rpm == pytest.approx(2451, abs=2)


@pytest.mark.parametrize(
    "form", ["[I] prev wheel_rpm: {rpm}, t_ms: {t}, battery_v: 9.7", "t_ms={t}, wheel_rpm(krpm)={rpm}"]
)
def test_another_quantity_is_not_shown_as_the_speed(form):
    live = heard(lines(form))[1]
    assert live.wheel_rpm is None or live.wheel_rpm == pytest.approx(2_451_000, rel=0.01)


def test_nan_in_quotes_is_set_aside_wherever_it_stands():
    for name in ("t_ms", "wheel_counts", "battery_v", "fired"):
        line, live = heard([f'{{"wheel_rpm": 2450, "{name}": "nan"}}'] * 60)
        assert live.wheel_rpm == pytest.approx(2450)
        assert line.health().notices[f"{name} is nan"] == 60


@pytest.mark.parametrize("name", ["t_ms", "t_us", "wheel_counts", "wheel_rpm", "battery_mv", "fired"])
@pytest.mark.parametrize("form", ["{}={}", '{{"{}": {}}}', "{}: {} rpm"])
def test_a_number_of_hundreds_of_digits_harms_nothing(name, form):
    line, live = heard([form.format(name, "9" * 400)] * 20 + lines(LINE))
    assert live.wheel_rpm == pytest.approx(2451, abs=2)
    assert line.good + sum(line.health().dropped.values()) == line.health().lines


def test_a_speed_out_of_range_stays_out_while_other_readings_jump():
    """Lines that say the same twice, each pair elsewhere: every second one is weighed by the one before."""
    said = [LINE.format(t=1000 * (1 + i // 2) + 20 * i, rpm=10**11) for i in range(80)]
    line, live = heard(said)
    assert live.wheel_rpm is None
    assert all(sample.wheel_rpm is None for sample in line.fresh)


HEADER = "t_ms{0}wheel_rpm{0}battery_v{0}distance_m"
ROW = "{t}{0}2450,5{0}9,77{0}2,45"


@pytest.mark.parametrize("mark", [";", "\t", "|"])
def test_columns_with_a_comma_for_the_point(mark):
    _, live = heard([HEADER.format(mark), *(ROW.format(mark, t=1000 + 20 * i) for i in range(60))])
    assert (live.wheel_rpm, live.battery_v, live.distance_m) == (2450.5, 9.77, 2.45)


@pytest.mark.parametrize(
    ("header", "row"),
    [
        ("\ufefft_ms,wheel_rpm,battery_v,distance_m", "{t},2450.5,9.77,2.45"),
        ('"t_ms","wheel_rpm","battery_v","distance_m"', '"{t}","2450.5","9.77","2.45"'),
        ("t_ms,wheel_rpm,battery_v,distance_m", '{t},"2,450.5",9.77,2.45'),
        ("t_ms,wheel_rpm (krpm),battery_v [mV],distance_m (cm)", "{t},2.4505,9770,245"),
        ("t_ms,wheel_rpm,battery_v,distance_m", "{t},2450.5 rpm,9770 mV,245 cm"),
        ("| t_ms | wheel_rpm | battery_v | distance_m |", "| {t} | 2450.5 | 9.77 | 2.45 |"),
        ("t_ms wheel_rpm battery_v distance_m", "{t} 2450,5 9,77 2,45"),
    ],
)
def test_columns_with_units_quotes_and_marks(header, row):
    _, live = heard([header, *(row.format(t=1000 + 20 * i) for i in range(60))])
    assert (live.wheel_rpm, live.battery_v, live.distance_m) == pytest.approx((2450.5, 9.77, 2.45))


def test_another_row_of_names_changes_the_columns_at_once():
    """Thirty lines in one chunk, read as a table, on either side of it."""
    first = "".join(f"{1000 + i},2450,9.77\n" for i in range(30))
    then = "".join(f"{1030 + i},9.77,2450\n" for i in range(30))
    line = Line(load_robot("heron"))
    for i, chunk in enumerate(("t_ms,wheel_rpm,battery_v\n", first, "t_ms,battery_v,wheel_rpm\n", then)):
        line.feed(chunk.encode(), 1.0 + 0.03 * i)
    live = line.live("live", "", None, 1.1)
    assert (live.wheel_rpm, live.battery_v) == pytest.approx((2450, 9.77))


def test_a_cell_that_says_nothing_costs_itself_alone():
    rows = [f"{1000 + 20 * i},2450,{'N/A' if i > 30 else 2.45}" for i in range(90)]
    _, live = heard(["t_ms,wheel_rpm,distance_m", *rows])
    assert (live.wheel_rpm, live.distance_m) == (2450, None)


@pytest.mark.parametrize(("digits", "good"), [("0X{:02x}", 1), (" {:02X}", 1), ("{:02X}h", 1), ("{:d}", 0)])
def test_checksums_as_programs_write_them(digits, good):
    payload = "t_ms=5,wheel_rpm=2450"
    total = 0
    for byte in payload.encode():
        total ^= byte
    line, _ = heard([f"${payload}*" + digits.format(total), f"${payload[:-1]}1*" + digits.format(total ^ 1)])
    assert line.good == 2 * good


def test_what_is_pasted_for_counts_a_second_is_read():
    robot = load_robot("heron")
    robot = replace(robot, link=replace(robot.link, fields={"wheel_rpm": "speed"}))
    sent = lines("t_ms={t}, speed={rpm} ticks/s", rpm=3000)
    line, live = heard(sent, robot)
    assert live.wheel_rpm is None
    *_, pasted = remedies(line.health(), line.raw(), None, robot)
    scale = {"wheel_rpm": float(pasted.partition("=")[2])}
    _, live = heard(sent, replace(robot, link=replace(robot.link, scale=scale)))
    counts_a_turn = 48 * (33 * 28) / (22 * 20)  # at the wheel, behind the profile's gears
    assert live.wheel_rpm == pytest.approx(60 * 3001 / counts_a_turn, rel=0.001)


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("t_ms={t}, wheel_rpm={rpm} ticks/s", "; wheel_rpm has the unknown unit ticks/s"),
        ("t_ms={t},wheel_rpm={rpm},distance_m=2450", "; distance out of range"),
        ("t_ms={t},wheel_rpm={rpm},distance_m=2.45", ""),
    ],
)
def test_a_value_that_is_never_used_is_told_with_the_state_of_the_line(line, words):
    _, live = heard(lines(line, rpm=2300))
    assert live.words == words


def test_a_unit_that_the_profile_scales_by_is_not_converted_twice():
    robot = load_robot("heron")
    link = replace(robot.link, fields={"wheel_rpm": "speed"}, scale={"wheel_rpm": 9.5493})
    _, live = heard(lines("t_ms={t}, speed={rpm} rad/s", rpm=256), replace(robot, link=link))
    assert live.wheel_rpm == pytest.approx(257 * 30 / math.pi, rel=0.005)


@pytest.mark.parametrize(
    ("line", "pasted"),
    [
        ("t_ms={t},wheel_rpm={rpm},distance_m=2450", "distance_m = 0.001"),
        ("t_ms={t},wheel_rpm={rpm},battery_v=9770", "battery_v = 0.001"),
        ("t_ms={t},wheel_rpm={rpm},battery_mv=9.77", "battery_mv = 1000"),
        ("t_ms={t},battery_v=9.77,Velocity={rpm}", 'wheel_rpm = "Velocity"'),
    ],
)
def test_a_value_in_another_unit_or_under_another_name_is_told_with_its_remedy(line, pasted):
    robot = load_robot("heron")
    told, _ = heard(lines(line), robot)
    said = " ".join(remedies(told.health(), told.raw(), None, robot))
    assert pasted in said
    assert "cable" not in said


@pytest.mark.parametrize("row", ["{t},2450.5,9.77", "{t},2450.5 rpm,9.77 V"])
def test_columns_by_the_robots_own_names(row):
    robot = load_robot("heron")
    link = replace(robot.link, fields={"wheel_rpm": "speed"}, columns=("t_ms", "speed", "battery_v"))
    _, live = heard([row.format(t=1000 + 20 * i) for i in range(60)], replace(robot, link=link))
    assert (live.wheel_rpm, live.battery_v) == pytest.approx((2450.5, 9.77))
