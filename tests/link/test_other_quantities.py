"""Speeds that come as something else, and lines that are written as no list of names: read once what is said is pasted.

The wheel turns at 1,800 rpm. Heron's encoder counts 48 a turn of the motor, which turns 33/22 x 28/20 times as fast.
Turns, radians and degrees as of ISO 80000-3; the ways of printing are common practice.
"""

from __future__ import annotations

import math
import re

import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.troubleshooting.remedies import remedies

RPM, GEARED, COUNTS = 1800.0, 33 * 28 / (22 * 20), 48
STEP_S = 0.02


def wheel_turns(t):
    """Since the robot was switched on."""
    return 3 + RPM / 60 * t


def heron(folder, pasted=()):
    """The demonstration robot with lines pasted into its profile."""
    path = folder / "heron.toml"
    path.write_text(load_robot("heron").path.read_text() + "\n" + "\n".join(pasted) + "\n")
    return load_robot(str(path))


def fed(robot, text_at, lines=150, step_s=STEP_S):
    line = Line(robot)
    for i in range(lines):
        line.feed(text_at(i, i * step_s).encode(), i * step_s)
    return line, line.live("live", "", None, (lines - 1) * step_s)


def to_paste(said):
    """What is to be pasted of what is said."""
    return [one for one in said if re.match(r"\[link\.\w+\]\Z|[a-z0-9_]+ = \S", one)]


def read_as_told(folder, text_at):
    """What is shown before and after pasting, and what was said."""
    line, before = fed(heron(folder), text_at)
    said = remedies(line.health(), line.raw(), None, heron(folder))
    _, after = fed(heron(folder, to_paste(said)), text_at)
    return before, said, after


def near(i):
    """Own rpm that is not quite even."""
    return RPM + (-2, 0, 2)[i % 3]


SPEEDS = {
    "turns of the motor": lambda i, t: f"t_ms={1000 * t:.0f},rotations={GEARED * wheel_turns(t):.4f}\n",
    "a unit behind": lambda i, t: f"t: {1000 * t:.0f} ms, Motor position: {GEARED * wheel_turns(t):.2f} rot\n",
    "radians": lambda i, t: f"t_ms={1000 * t:.0f} wheel_rad={math.tau * wheel_turns(t):.3f}\n",
    "degrees": lambda i, t: f"t_ms={1000 * t:.0f} flywheel_pos_deg={360 * wheel_turns(t):.1f}\n",
    "counts in 100 ms": lambda i, t: f"vel={near(i) / 600 * GEARED * COUNTS:.0f} (counts/100ms) batt=9.80\n",
    "counts in 20 ms": lambda i, t: f"speed: {near(i) / 3000 * GEARED * COUNTS:.1f} ticks per 20 ms, vbat: 9.8V\n",
    "edges a second": lambda i, t: f"edges_per_s={near(i) / 60 * GEARED * COUNTS:.0f} vbat=9.8\n",
    "Hz of the wheel": lambda i, t: f"wheel {near(i) / 60:.2f} Hz battery 9.8 V\n",
    "Hz of the encoder": lambda i, t: f"enc_hz={near(i) / 60 * GEARED * COUNTS:.0f};vbat=9.8\n",
    "time of a turn": lambda i, t: f"period_us={60e6 / near(i):.0f} battery_v=9.8\n",
    "time of a count": lambda i, t: f"period_us={60e6 / near(i) / GEARED / COUNTS:.1f} battery_v=9.8\n",
    "the motor's rpm": lambda i, t: f"motor_rpm={near(i) * GEARED:.0f} battery_v=9.8\n",
}


@pytest.mark.parametrize("kind", SPEEDS)
def test_a_speed_in_another_quantity_is_asked_about_and_then_read(tmp_path, kind):
    before, said, after = read_as_told(tmp_path, SPEEDS[kind])
    assert before.wheel_rpm is None
    assert after.wheel_rpm == pytest.approx(RPM, rel=0.003), said
    assert after.health.good >= 148


LAYOUTS = {
    "speed and setpoint with a stroke": lambda i, t: f"wheel: {near(i):.0f}/1850 rpm, batt: 9.8 V\n",
    "with an equals sign": lambda i, t: f"rpm={near(i):.0f}/1850,batt=9.8\n",
    "with an arrow, the other way": lambda i, t: f"rpm: 1850 -> {near(i):.0f} | batt: 9.8\n",
    "in brackets": lambda i, t: f"rpm: {near(i):.0f} (target 1850) batt: 9.8\n",
    "a mark here and a blank there": lambda i, t: f"[{t:.0f}] wheel: {near(i):.0f}/1850 | batt 9.80 V | dist 2.41\n",
    "told by its word": lambda i, t: f"actual={near(i):.0f} target=1850 batt=9.8\n",
    "a mark, then only blanks": lambda i, t: f"rpm: {near(i):.0f} batt 9.80 temp 32\n",
    "blanks alone": lambda i, t: f"RPM {near(i):.0f} BATT 9.80\n",
    "a share before": lambda i, t: f"duty 78% rpm {near(i):.0f} volt 9.80\n",
    "XML": lambda i, t: f"<state><rpm>{near(i):.0f}</rpm><v>9.80</v><dist>2.40</dist></state>\n",
    "XML's attributes": lambda i, t: f'<state rpm="{near(i):.0f}" volts="9.80"/>\n',
    "units for names": lambda i, t: f"{near(i):.0f} rpm {9.8:.2f} V 2.40 m\n",
    "units on numbers": lambda i, t: f"{near(i):.0f}rpm 9.80V 2.40m\n",
}


@pytest.mark.parametrize("kind", LAYOUTS)
def test_names_and_numbers_apart_otherwise_are_read_as_told(tmp_path, kind):
    _, said, after = read_as_told(tmp_path, LAYOUTS[kind])
    assert after.wheel_rpm == pytest.approx(RPM, abs=3), said
    assert after.battery_v == pytest.approx(9.8)
    assert after.setpoint == (1850 if "1850" in LAYOUTS[kind](0, 0.0) else None)


AT_ONCE = {
    "pairs of a list": lambda i, t: f"[('wheel_rpm', {near(i):.1f}), ('battery_v', 9.8)]\n",
    "two objects in a line": lambda i, t: f'{{"wheel_rpm": {near(i)}, "battery_v": 9.8}}' + ("\n" if i % 2 else ""),
    "marks of C and Java": lambda i, t: f"wheel_rpm={near(i):.1f}f battery_v=9.80F\n",
}


@pytest.mark.parametrize("kind", AT_ONCE)
def test_our_names_are_read_at_once(tmp_path, kind):
    _, live = fed(heron(tmp_path), AT_ONCE[kind])
    assert (live.wheel_rpm, live.battery_v) == (pytest.approx(RPM, abs=3), 9.8)
    assert live.health.dropped.get("undecodable", 0) <= 2


def test_a_position_in_turns_under_our_name_is_no_count_and_its_factor_is_said(tmp_path):
    """With one decimal every tenth is whole: as counts they would say next to nothing."""

    def text(i, t):
        return f"t_ms={1000 * t:.0f},wheel_counts={GEARED * wheel_turns(t):.1f}\n"

    line, before = fed(heron(tmp_path), text)
    (said,) = remedies(line.health(), line.raw(), None, heron(tmp_path))
    assert before.wheel_rpm is None
    assert "48 for motor turns; 100.8 for wheel turns" in said
    _, after = fed(heron(tmp_path, ["[link.scale]", "wheel_counts = 48"]), text)
    assert after.wheel_rpm == pytest.approx(RPM, rel=0.02)


@pytest.mark.parametrize("turns_a_line", [0.02, 0.3, 0.6, 0.97])
def test_an_angle_that_starts_anew_each_turn_says_no_speed(tmp_path, turns_a_line):
    """At 0.97 turns a line it looks like a wheel that turns slowly the other way."""
    robot = heron(tmp_path, ["[link.fields]", 'wheel_counts = "angle"', "[link.scale]", "wheel_counts = 48"])
    line, shown = Line(robot), set()
    for i in range(300):
        line.feed(f"t_ms={20 * i},angle={turns_a_line * max(i - 60, 0) % 1:.3f}\n".encode(), 0.02 * i)
        shown.add(line.live("live", "", None, 0.02 * i).wheel_rpm)
    assert shown <= {None, 0.0}
    assert line.live("live", "", None, 6.0).wheel_rpm is None
    assert "an angle that starts anew" in remedies(line.health(), line.raw(), None, robot)[0]


def test_a_loop_time_is_no_turn_and_a_wheel_that_stands_has_no_period(tmp_path):
    line, _ = fed(heron(tmp_path), lambda i, t: "period_us=20000 battery_v=9.8\n")
    assert not to_paste(remedies(line.health(), line.raw(), None, heron(tmp_path)))
    _, live = fed(heron(tmp_path), lambda i, t: f"t_ms={1000 * t:.0f} wheel_period_us=0\n")
    assert live.wheel_rpm is None


@pytest.mark.parametrize("text", ["wheel_pct={:.1f} battery_v=9.8\n", "wheel_rpm={:.1f}% battery_v=9.8\n"])
def test_percent_needs_the_speed_at_100(tmp_path, text):
    """Nothing is to be pasted as it is: what 100 % are, only the program knows."""
    line, live = fed(heron(tmp_path), lambda i, t: text.format(near(i) / 29))
    said = remedies(line.health(), line.raw(), None, heron(tmp_path))
    assert live.wheel_rpm is None
    assert "wheel_rpm = … with a hundredth of the wheel's rpm at 100 %" in said[0]
    assert not to_paste(said)
    name = text.partition("=")[0]
    names = [] if name == "wheel_rpm" else ["[link.fields]", f'wheel_rpm = "{name}"']
    robot = heron(tmp_path, [*names, "[link.scale]", "wheel_rpm = 29"])
    _, live = fed(robot, lambda i, t: text.format(near(i) / 29))
    assert live.wheel_rpm == pytest.approx(RPM, rel=0.003)


AT_REST = {
    "a name without a unit": ('{{"flywheel":{{"velocity":{:.2f},"target":{:.2f}}},"battery":9.8}}\n', 1 / 60),
    "radians a second": ("velocity: {:.3f} goal: {:.3f} vbat: 9.80\n", math.tau / 60),
    "a period": ("turn_us={:.0f} target={:.0f} vbat=9.8\n", 0.0),
}


@pytest.mark.parametrize("kind", AT_REST)
def test_nothing_is_to_be_pasted_in_a_unit_that_a_wheel_at_rest_does_not_tell(tmp_path, kind):
    text, share = AT_REST[kind]
    line, _ = fed(heron(tmp_path), lambda i, t: text.format(0, 0))
    said = remedies(line.health(), line.raw(), None, heron(tmp_path))
    assert "look again while the wheel turns" in " ".join(said)
    assert {one.split(" = ")[0] for one in to_paste(said)} == {"[link.fields]", "battery_v"}
    if share:
        _, said, after = read_as_told(tmp_path, lambda i, t: text.format(near(i) * share, 1850 * share))
        assert (after.wheel_rpm, after.setpoint) == (pytest.approx(RPM, abs=4), pytest.approx(1850, abs=1)), said


def test_a_unit_is_told_by_speeds_that_this_wheel_holds(tmp_path):
    """36 may be turns a second, 2,160 rpm, or radians a second, 344 rpm, at which no shot is taken."""
    _, _, after = read_as_told(tmp_path, lambda i, t: f"velocity={36 + near(i) / RPM / 100:.3f} batt=9.8\n")
    assert after.wheel_rpm == pytest.approx(60 * 36, rel=0.002)
    line, _ = fed(heron(tmp_path), lambda i, t: f"velocity={8 + near(i) / RPM / 100:.3f} batt=9.8\n")
    said = remedies(line.health(), line.raw(), None, heron(tmp_path))
    assert any(one.startswith("velocity does not tell its unit") for one in said)
    assert to_paste(said) == ["[link.fields]", 'battery_v = "batt"']


def test_two_wheels_behind_one_name_are_no_setpoint(tmp_path):
    _, said, after = read_as_told(tmp_path, lambda i, t: f"rpm: {near(i)}/{near(i + 1) - 18} batt: 9.8\n")
    assert (after.wheel_rpm, after.setpoint) == (pytest.approx(RPM, abs=3), None), said


def test_letters_of_another_alphabet_are_no_wrong_speed_of_the_port(tmp_path):
    line, _ = fed(heron(tmp_path), lambda i, t: f"转速：{near(i):.0f} rpm，电压：9.80 V\n")
    assert remedies(line.health(), line.raw(), None, heron(tmp_path))[0].startswith("Let the robot print name=value")


ROWS = {
    "names with units": "Time [ms];Wheel speed [rpm];Battery [V]\n|{:.0f};{:.1f};{:.2f}\n",
    "a remark": "# t_ms, rpm, volts\n|{:.0f}, {:.1f}, {:.2f}\n",
    "a table": "| t | rpm | vbat |\n|{:.0f} | {:.1f} | {:.2f} |\n",
}


@pytest.mark.parametrize("kind", ROWS)
def test_a_row_of_column_names_tells_the_columns(tmp_path, kind):
    names, _, row = ROWS[kind].rpartition("\n|")
    _, said, after = read_as_told(
        tmp_path, lambda i, t: ("" if i else f"{names}\n") + row.format(20 * i + 20, near(i), 9.8)
    )
    assert (after.wheel_rpm, after.battery_v) == (pytest.approx(RPM, abs=3), 9.8), said


def test_what_damage_leaves_of_a_line_does_not_end_the_reading_of_others(tmp_path):
    """A line whose beginning is lost names the battery alone, to the letter: no sign that the others are damaged."""
    pasted = ["[link.fields]", 'wheel_rpm = "vel"', 'battery_v = "batt"', "[link.scale]", "wheel_rpm = 5.95238"]

    def text(i, t):
        whole = f"vel={near(i) / 5.95238:.0f} (counts/100ms) batt=9.80\n"
        return whole[whole.index("batt") :] if i in (1, 60) else whole

    line, live = fed(heron(tmp_path, pasted), text)
    assert live.wheel_rpm == pytest.approx(RPM, rel=0.003)
    assert line.health().dropped["undecodable"] < 30


def test_the_time_since_1970_at_the_end_of_a_line_is_no_second_number(tmp_path):
    _, live = fed(
        heron(tmp_path), lambda i, t: f"wheel,robot=1 wheel_rpm={near(i)},setpoint=1850 {1773484951000 + 20 * i}\n"
    )
    assert (live.wheel_rpm, live.setpoint) == (pytest.approx(RPM, abs=3), 1850)


BESIDE = {
    "another place's battery, which is refused": "PDP: battery_v=9.2 A=12\n",
    "readings of their own": "battery_v=9.80 distance_mm=2400\n",
}


@pytest.mark.parametrize("kind", BESIDE)
def test_lines_beside_the_wheels_do_not_shift_the_times_of_those_without_a_clock(tmp_path, kind):
    """Lines without a clock are timed by their number: one in ten more was a wheel that lags again and again."""
    shots = 4.0, 6.0, 8.0

    def text(i, t):
        lost = sum(0.07 * min((t - s) / 0.015, 1) * math.exp(-(t - s) / 0.25) for s in shots if t > s)
        return f"wheel_rpm={near(i) * (1 - lost):.0f}\n" + (BESIDE[kind] if i % 10 == 7 else "")

    line, _ = fed(heron(tmp_path), text, 550)
    assert [shot.time_s for shot in line.shots] == pytest.approx(shots, abs=0.08)


def test_a_period_of_another_sensor_is_asked_about(tmp_path):
    """Six pulses a turn, where the profile's encoder counts 100.8: taken as a turn, 10,800 rpm."""
    text = "pulse_period_us={:.0f} battery_v=9.8\n"
    line, _ = fed(heron(tmp_path), lambda i, t: text.format(60e6 / near(i) / 6))
    (said,) = remedies(line.health(), line.raw(), None, heron(tmp_path))
    assert "How many of them does a turn take?" in said
    pasted = ["[link.fields]", 'wheel_period_us = "pulse_period_us"', "[link.scale]", "wheel_period_us = 6"]
    _, live = fed(heron(tmp_path, pasted), lambda i, t: text.format(60e6 / near(i) / 6))
    assert live.wheel_rpm == pytest.approx(RPM, rel=0.003)
