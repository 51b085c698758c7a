"""Names, units and mechanisms of robots that the project has not seen: nothing wrong is offered to be pasted.

All invented: heron's wheel at 1,800 rpm, a battery of 10.3 V, a target at 2.62 m. Sound travels at 343.2 m/s in air of
20 degC (ISO 9613-1), there and back; an inch is 0.0254 m (international yard and pound agreement of 1959).
"""

from __future__ import annotations

import re

import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.troubleshooting.mapping import guess
from fieldtune.link.troubleshooting.raw_names import read_names
from fieldtune.link.troubleshooting.remedies import remedies

STEP_S = 0.02
AWAY_M = 2.62


def heron(folder, pasted=()):
    """The demonstration robot with lines pasted into its profile."""
    path = folder / "heron.toml"
    path.write_text(load_robot("heron").path.read_text() + "\n" + "\n".join(pasted) + "\n")
    return load_robot(str(path))


def fed(robot, lines):
    line = Line(robot)
    for i, text in enumerate(lines):
        line.feed((text if isinstance(text, bytes) else text.encode()) + b"\n", i * STEP_S)
    return line, line.live("live", "", None, (len(lines) - 1) * STEP_S)


def said_and_read(folder, lines):
    """What is said, and what is shown once that was pasted."""
    robot = heron(folder)
    line, _ = fed(robot, lines)
    said = remedies(line.health(), line.raw(), None, robot)
    pasted = [one for one in said if re.match(r"\[link\.\w+\]\Z|[a-z0-9_]+ = \S", one)]
    return said, pasted, fed(heron(folder, pasted), lines)[1]


def ours(more, count=100):
    """Lines with our names and one of the robot's own."""
    return [f"t_ms={20 * i},wheel_rpm={1800 + i % 3}," + more(i) for i in range(count)]


@pytest.mark.parametrize(
    ("name", "metres"),
    [
        ("DistanceInches", 0.0254),
        ("rangeFeet", 0.3048),
        ("distCm", 0.01),
        ("DistanceMeters", 1.0),
        ("inches_away", 0.0254),
    ],
)
def test_a_unit_is_known_that_a_name_says_in_a_word_of_its_own(tmp_path, name, metres):
    name = name if "dist" in name.lower() or "range" in name.lower() else f"distance_{name}"
    header = f"Time,ActualRPM,{name}"
    rows = [f"{20 * i},{1800 + i % 3}.5,{AWAY_M / metres + i % 2 * 0.1:.2f}" for i in range(100)]
    _, _, live = said_and_read(tmp_path, [header, *rows])
    assert live.wheel_rpm == pytest.approx(1801.5, abs=2)
    assert live.distance_m == pytest.approx(AWAY_M, rel=0.05)


def test_a_unit_in_a_name_of_mixed_letters_stays_what_it_is():
    seen = read_names(ours(lambda i: f"vbat_mV={10300 + i}"))
    assert guess(seen, load_robot("heron"))["vbat_mV"].ours == "battery_mv"


def test_no_other_mechanism_is_taken_for_the_launchers_wheel(tmp_path):
    lines = [
        f"intake_rpm={420 + i % 7} feeder_speed={300 + i % 5} drive_rpm={900 + i % 9} shooter_rpm={1800 + i % 3}"
        for i in range(100)
    ]
    said, _, live = said_and_read(tmp_path, lines)
    assert 'wheel_rpm = "shooter_rpm"' in said
    assert live.wheel_rpm == pytest.approx(1801, abs=2)
    said, pasted, _ = said_and_read(tmp_path, [line.rpartition(" drive_rpm")[0] for line in lines])
    assert not pasted, said


def test_two_wheels_behind_another_mechanism_are_both_found(tmp_path):
    lines = [f"intake_rpm={420 + i % 7} top_rpm={1800 + i % 3} bottom_rpm={1810 + i % 3}" for i in range(100)]
    _, _, live = said_and_read(tmp_path, lines)
    assert live.wheel_rpm == pytest.approx(1801, abs=2)
    assert live.wheel2_rpm == pytest.approx(1811, abs=2)


@pytest.mark.parametrize("shown", [77, 528, 96])
def test_percent_or_a_raw_number_is_never_offered_as_volts(tmp_path, shown):
    said, pasted, live = said_and_read(tmp_path, ours(lambda i: f"battery={shown + i % 2}"))
    assert live.battery_v is None
    assert not any("battery" in one for one in pasted)
    assert re.search(r"battery is \d+: percent, or raw\?.*divided by", " ".join(said))


def test_tenths_of_a_volt_beyond_a_hundred_are_no_percent(tmp_path):
    _, _, live = said_and_read(tmp_path, ours(lambda i: f"vbat={103 + i % 2}"))
    assert live.battery_v == pytest.approx(10.35, abs=0.1)


def test_the_time_of_an_echo_is_a_distance(tmp_path):
    echo_us = 2 * AWAY_M / 343.2e-6
    _, _, live = said_and_read(tmp_path, ours(lambda i: f"sonar={echo_us + i % 5:.0f}"))
    assert live.distance_m == pytest.approx(AWAY_M, rel=0.01)


def test_a_distance_in_no_unit_is_not_offered(tmp_path):
    said, pasted, _ = said_and_read(tmp_path, ours(lambda i: f"dist={412345 + i}"))
    assert not pasted
    assert any("in no unit a distance" in one for one in said)


def test_a_distance_that_may_be_in_two_units_says_so(tmp_path):
    said, pasted, live = said_and_read(tmp_path, ours(lambda i: f"dist={100 * AWAY_M + i % 2:.0f}"))
    assert live.distance_m == pytest.approx(AWAY_M, rel=0.01)
    assert "distance_m = 0.01" in pasted
    assert any("taken as cm" in one and "0.0254 for in" in one for one in said)


def test_an_unsure_column_keeps_its_place(tmp_path):
    rows = [f"{20 * i},{10300 + i % 3},{77 + i % 2},{1800 + i % 3}.5" for i in range(100)]
    said, _, live = said_and_read(tmp_path, ["Time,Echo,Battery,ActualRPM", *rows])
    assert 'order = ["t_ms", "distance_m", "-", "wheel_rpm"]' in said
    assert live.wheel_rpm == pytest.approx(1801.5, abs=2)
    assert live.battery_v is None
    assert any("percent, or raw?" in one for one in said)


def test_fast_lines_of_bare_numbers_are_not_hidden_by_a_summary_once_a_second(tmp_path):
    lines = []
    for i in range(150):
        lines.append(f"S,{20 * i},{1800 + i % 3}.5")
        lines += ["=== battery 10.30 V, target 1800 rpm, up 3 s ==="] if i % 50 == 49 else []
    said, _, _ = said_and_read(tmp_path, lines)
    order = next(one for one in said if one.startswith("order = "))
    filled = order.replace('"-"]', '"wheel_rpm"]')
    assert filled == 'order = ["-", "t_ms", "wheel_rpm"]'
    _, live = fed(heron(tmp_path, ["[link.columns]", filled]), lines)
    assert live.wheel_rpm == pytest.approx(1801.5, abs=2)


@pytest.mark.parametrize("volts", [True, False])
def test_a_setpoint_that_never_stands_still_is_told_to_be_in_another_unit(tmp_path, volts):
    """The drive's volts follow the battery's; a controller's percent never stand."""
    robot = heron(tmp_path)
    lines = [
        f"t_ms={20 * i},wheel_rpm={1800 + i % 3},setpoint={7.2 + i % 5 * 0.02 if volts else 64 + i % 7:.2f}"
        for i in range(150)
    ]
    line, live = fed(robot, lines)
    assert live.setpoint is None
    assert any("setpoint is" in one for one in remedies(line.health(), line.raw(), None, robot))


def test_a_setpoint_that_is_raised_slowly_under_a_wheel_that_runs_out_is_in_rpm(tmp_path):
    lines = [f"t_ms={20 * i},wheel_rpm={2400 * 0.99**i:.0f},setpoint={2 * i}" for i in range(140)]
    _, live = fed(heron(tmp_path), lines)
    assert live.setpoint == pytest.approx(278, abs=6)


def test_nines_for_no_echo_are_no_distance(tmp_path):
    robot = heron(tmp_path, ["[link.fields]", 'distance_m = "dist_cm"', "[link.scale]", "distance_m = 0.01"])
    line, seen = Line(robot), set()
    for i in range(150):
        line.feed(f"t_ms={20 * i},wheel_rpm=1800,dist_cm={999 if i // 6 % 3 == 1 else 262}\n".encode(), i * STEP_S)
        seen.add(line.live("live", "", None, i * STEP_S).distance_m)
    assert [metres for metres in seen if metres is not None] == [pytest.approx(AWAY_M)]


def test_counts_over_a_quarter_of_a_second_of_one_magnet_show_no_speed(tmp_path):
    """240 rpm a step: most readings are the same, so that two different ones seldom follow each other."""
    text = load_robot("heron").path.read_text()
    text = text.replace("counts_per_turn = 48 ", "counts_per_turn = 1 ").replace('on = "motor"', 'on = "wheel"')
    path = tmp_path / "heron.toml"
    path.write_text(text)
    line, counted, shown, wrong = Line(load_robot(str(path))), 0, 0, 0
    for i in range(450):
        if i % 12 == 0:  # every 0.24 s at 1,950 rpm: 7.8 turns
            counted, before = int(7.8 * (i // 12 + 1)), counted
            rpm = 250 * (counted - before)
        line.feed(f"wheel_rpm={rpm}\n".encode(), i * STEP_S)
        if i > 200 and i % 4 == 0:
            live = line.live("live", "", None, i * STEP_S)
            shown += live.wheel_rpm is not None
            wrong += live.wheel_rpm is not None and abs(live.wheel_rpm - 1950) > 80
    assert not wrong, (shown, wrong)
    assert "goes in steps of" in live.words
