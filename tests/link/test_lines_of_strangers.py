"""Lines as students' programs print them that were in no example, each through the real monitor or the whole line."""

from __future__ import annotations

import math
import random
import time

import pytest
from link_ptys import Cable, wait_for

from fieldtune import load_robot
from fieldtune.link import Monitor, decode
from fieldtune.link.limits import Limits
from fieldtune.link.line import Line
from fieldtune.link.text.line_patterns import is_text
from fieldtune.link.text.shown_lines import shown
from fieldtune.link.troubleshooting.remedies import remedies


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


def with_lines(robot, folder, lines):
    """The robot with these lines pasted into its profile, as a person would."""
    path = folder / "heron.toml"
    path.write_text(robot.path.read_text() + "\n" + "\n".join(lines) + "\n")
    return load_robot(str(path))


def fed(robot, texts, step_s=0.02):
    """The line after these texts came evenly, and when the last one did."""
    line, now_s = Line(robot), 0.0
    for text in texts:
        now_s += step_s
        line.feed(text if isinstance(text, bytes) else text.encode(), now_s)
    return line, now_s


DECORATED = {
    "other letters": "🚀 wheel_rpm=1540 · battery_v=10.4 · ∠=52° ñ\n",
    "a terminal's colours": "\x1b[2J\x1b[H\x1b[1;32mwheel_rpm\x1b[0m=1540\x1b[K \x1b[33mbattery_v\x1b[0m=10.4\r\n",
    "UTF-16": "wheel_rpm=1540,battery_v=10.4\r\n".encode("utf-16-le"),
}


@pytest.mark.parametrize("kind", DECORATED)
def test_text_with_decoration_is_text_at_the_first_speed(heron, tmp_path, kind):
    text = DECORATED[kind]
    data = text if isinstance(text, bytes) else text.encode()
    cable = Cable(tmp_path / "port")
    try:
        with Monitor(heron, cable.name) as monitor:

            def say():
                cable.write(data)
                time.sleep(0.02)

            seen, _ = wait_for(monitor, lambda s: s.wheel_rpm is not None and s.health.good > 30, meanwhile=say)
            assert "115200" in seen.words
            assert seen.wheel_rpm == pytest.approx(1540)
            assert seen.battery_v == pytest.approx(10.4)
            assert seen.health.dropped == {}
    finally:
        cable.close()


def test_bytes_at_another_speed_are_no_text():
    """Of all bytes alike, as a wrong speed makes them, three in eight are printable ASCII."""
    draw = random.Random(3)
    assert not any(is_text(draw.randbytes(60) + b"\n") for _ in range(2000))
    assert is_text("Größe der Öffnung: 30 cm, Höhe über dem Boden: 95 cm\n".encode())


def test_names_in_a_terminals_colours_are_mapped(heron, tmp_path):
    texts = [
        f"\x1b[2J\x1b[H\x1b[32mFlywheel\x1b[0m: {1500 + i % 2} rpm\x1b[K  \x1b[33mBatt\x1b[0m: 10.4 V\n"
        for i in range(60)
    ]
    line, now_s = fed(heron, texts)
    told = remedies(line.health(), line.raw(), None, heron)
    assert told[-3:] == ["[link.fields]", 'wheel_rpm = "Flywheel"', 'battery_v = "Batt"']
    line, now_s = fed(with_lines(heron, tmp_path, told[-3:]), texts)
    live = line.live("live", "", None, now_s)
    assert (live.wheel_rpm, live.battery_v) == (pytest.approx(1500.5, abs=1), 10.4)


def test_a_letter_of_another_language_is_one_mark_in_the_raw_view():
    """So that a line with some isn't taken for bytes at another speed."""
    assert shown("Höhe ∠ 5°\x9b".encode() + b"\xff") == "H·he · 5···"


CODES = {"distance_mm": (-1, 0, 65535, 8190, 8191, 4095), "battery_mv": (0, -1, 65535)}


@pytest.mark.parametrize(("name", "code"), [(name, code) for name, codes in CODES.items() for code in codes])
def test_a_number_that_a_sensor_sends_for_no_reading_is_none(heron, name, code):
    """In three lines of five; the first few of an impossible one may cost their lines, as damage would."""
    said = {"distance_mm": 2400, "battery_mv": 9800}[name]
    texts = [f"wheel_rpm={1500 + i % 3},{name}={code if i % 5 < 3 else said}\n" for i in range(2, 302)]
    line, shown_values, now_s = Line(heron), set(), 0.0
    for text in texts:
        now_s += 0.02
        line.feed(text.encode(), now_s)
        live = line.live("live", "", None, now_s)
        shown_values.add(live.distance_m if name == "distance_mm" else live.battery_v)
    assert shown_values - {None} == {said / 1000}
    assert (live.distance_m if name == "distance_mm" else live.battery_v) == said / 1000
    assert live.health.good >= len(texts) - 3
    assert live.wheel_rpm == pytest.approx(1501, abs=1)


def test_a_true_distance_that_is_all_ones_is_believed_where_the_robot_drives_through_it(heron):
    """4.095 m in whole mm, at a walking pace: no jump, and not beyond where the robot plays."""
    line, now_s = Line(heron), 0.0
    for i in range(400):
        now_s += 0.02
        line.feed(f"wheel_rpm=1500,distance_mm={min(3500 + 5 * i, 4095)}\n".encode(), now_s)
    assert line.live("live", "", None, now_s).distance_m == 4.095


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("distance_mm=8190", "distance_mm is 8190: so a sensor says that it sees nothing"),
        ("battery_v=0.00", "battery_v is 0.00: so a sensor says that it sees nothing"),
        ("distance_m=240.0", "distance_m = 0.01, if it is a hundred times too large"),
    ],
)
def test_what_never_is_a_reading_is_said_to_be_the_sensor_and_a_wrong_unit_a_unit(heron, text, said):
    line, now_s = fed(heron, [f"wheel_rpm=1500,{text}\n"] * 100)
    live = line.live("live", "", None, now_s)
    assert (live.distance_m, live.battery_v, live.wheel_rpm) == (None, None, 1500)
    assert said in " ".join(remedies(live.health, line.raw(), None, heron))


APART = {
    "JSON over several lines": ("{", ' "wheel_rpm": {rpm},', ' "battery_v": 10.4,', ' "distance_m": 2.4', "}"),
    "a clock on each": ("t_ms={ms},wheel_rpm={rpm}", "t_ms={ms},battery_v=10.4", "t_ms={ms},distance_m=2.4"),
    "a list for a person": ("- state -", " wheel rpm : {rpm}", " battery v : 10.4 V", " distance m : 2.4 m", ""),
}


@pytest.mark.parametrize("line_by_line", [True, False])
@pytest.mark.parametrize("kind", APART)
def test_readings_on_lines_of_their_own_are_all_shown(heron, kind, line_by_line):
    """However fast they come, and whatever other lines come between one speed and the next that bears it out.

    The wheel spins up within 0.3 s and is at 2,000 rpm from then on.
    """
    line, now_s, blank = Line(heron), 0.0, 0
    for i in range(200):
        now_s = 0.02 * i
        rpm = min(max(0.0, now_s - 1.0) / 0.3, 1.0) * 2000
        said = [
            text.replace("{ms}", f"{1000 * now_s + k:.0f}").replace("{rpm}", f"{rpm:.1f}")
            for k, text in enumerate(APART[kind])
        ]
        for piece in said if line_by_line else ["\n".join(said)]:
            line.feed(f"{piece}\n".encode(), now_s)
        live = line.live("live", "", None, now_s)
        if now_s > 1.5:
            blank += live.wheel_rpm is None
            assert live.wheel_rpm is None or live.wheel_rpm == pytest.approx(2000, abs=1)
            assert (live.battery_v, live.distance_m) == (10.4, 2.4)
    assert blank == 0
    assert not any(cause.startswith("impossible") for cause in live.health.dropped)


STAMPS = {
    "hours and minutes": lambda at: f"10:22:{at:06.3f} wheel_counts={{}}",
    "as ISO 8601 has it": lambda at: f"2026-03-14T10:22:{at:06.3f}Z wheel_counts={{}}",
    "a logging framework": lambda at: f"2026-03-14 10:22:{at:06.3f} INFO shooter - wheel_counts={{}}".replace(".", ","),
    "behind its level": lambda at: f"[INFO][10:22:{at:06.3f}] wheel_counts: {{}}",
    "seconds since the start": lambda at: f"[{at:12.6f}] wheel_counts={{}}",
    "as a clock": lambda at: f"t_ms=00:01:{at:06.3f} wheel_counts={{}}",
    "seconds for milliseconds": lambda at: f"t_ms={100 + at:.3f},wheel_counts={{}}",
}


@pytest.mark.parametrize("kind", STAMPS)
def test_the_time_that_a_line_begins_with_is_the_robots_clock(heron, kind):
    """Lines of a counter at 1,500 rpm, heard late by up to 40 ms: by arrival alone the speed would waver."""
    draw, line = random.Random(4), Line(heron)
    per_s = 1500 / 60 * Limits.of(heron).counts_per_turn
    heard_s, worst = 0.0, 0.0
    for i in range(600):
        at = 0.02 * i
        heard_s = max(at + 0.04 * draw.random(), heard_s + 1e-4)
        line.feed((STAMPS[kind](at).format(int(per_s * at)) + "\n").encode(), heard_s)
        live = line.live("live", "", None, heard_s)
        if i > 100:
            assert live.wheel_rpm is not None
            worst = max(worst, abs(live.wheel_rpm - 1500))
    assert live.health.clock == "robot"
    assert worst < 20
    assert not live.shots


def test_a_stamp_of_whole_seconds_is_no_clock(heron):
    line, now_s = fed(heron, [f"10:22:{i // 50:02d} INFO wheel_rpm={1500 + i % 2}\n" for i in range(300)])
    live = line.live("live", "", None, now_s)
    assert live.health.clock == "arrival"
    assert not any("clock" in notice for notice in live.health.notices)
    assert live.wheel_rpm == pytest.approx(1500.5, abs=1)


def test_a_captured_file_with_seconds_for_milliseconds_is_read_at_its_own_pace(heron, tmp_path):
    per_s = 1500 / 60 * Limits.of(heron).counts_per_turn
    path = tmp_path / "captured.txt"
    path.write_text("".join(f"t_ms={0.05 * i:.3f},wheel_counts={int(per_s * 0.05 * i)}\n" for i in range(200)))
    live = decode(path, heron).live
    assert sum(live.health.dropped.values()) < 10  # until it is known
    assert live.wheel_rpm == pytest.approx(1500, rel=0.01)
    assert live.health.rate_hz == pytest.approx(20, rel=0.05)


REMEDIES = {
    "nested, at rest": (
        '{{"shooter": {{"upper": {{"rpm": {0}}}, "lower": {{"rpm": {0}}}}}, "battery": {{"v": 10.4}}, '
        '"range": {{"m": 2.4}}}}',
        ['wheel_rpm = "shooter.upper.rpm"', 'wheel2_rpm = "shooter.lower.rpm"', 'battery_v = "battery.v"',
         'distance_m = "range.m"'],
    ),
    "names of several words": (
        "Shooter Wheel RPM = {0}   Battery Voltage = 10.4   Target Distance = 2.40 m",
        ['wheel_rpm = "Shooter Wheel RPM"', 'battery_v = "Battery Voltage"', 'distance_m = "Target Distance"'],
    ),
    "a unit that ends like a word": (
        "Drehzahl: {0},0 U/min  Batterie: 10,4 V  Distanz: 2,40 m",
        ['wheel_rpm = "Drehzahl"', 'battery_v = "Batterie"', 'distance_m = "Distanz"'],
    ),
    "one name beside ours": (
        "wheel_rpm={0} battery_v=10.4 distance_in=94.5",
        ['distance_m = "distance_in"', "[link.scale]", "distance_m = 0.0254"],
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", REMEDIES)
def test_what_is_said_to_be_pasted_makes_the_line_read(heron, tmp_path, kind):
    """Also where it was said while the wheel stood still; pasted to the letter, and read while it turns."""
    text, pasted = REMEDIES[kind]
    line, _ = fed(heron, [text.format(0) + "\n"] * 100)
    told = remedies(line.health(), line.raw(60), None, heron)
    assert told[-len(pasted) - 1 :] == ["[link.fields]", *pasted]
    line, now_s = fed(with_lines(heron, tmp_path, told[-len(pasted) - 1 :]), [text.format(1500) + "\n"] * 100)
    live = line.live("live", "", None, now_s)
    assert (live.wheel_rpm, live.battery_v) == (1500, 10.4)
    assert live.distance_m == pytest.approx(2.4, abs=0.001)
    assert not live.shots


def test_a_row_of_the_robots_own_column_names_is_remembered_however_long_ago_it_came(heron, tmp_path):
    rows = [f"{0.02 * i:.3f},{1500 + i % 2}.0,{1480 + i % 2}.0,10.4,2400\n" for i in range(900)]
    line, _ = fed(heron, ["time,left_rpm,right_rpm,vbat,range_mm\n", *rows])
    told = remedies(line.health(), line.raw(60), None, heron)
    assert told[-2:] == ["[link.columns]", 'order = ["t_ms", "wheel_rpm", "wheel2_rpm", "battery_v", "distance_mm"]']
    line, now_s = fed(with_lines(heron, tmp_path, told[-2:]), rows)
    live = line.live("live", "", None, now_s)
    assert (live.battery_v, live.distance_m, live.health.clock) == (10.4, 2.4, "robot")
    assert live.wheel_rpm == pytest.approx(1500.5, abs=1)
    assert live.wheel2_rpm == pytest.approx(1480.5, abs=1)


def test_that_nothing_on_the_line_is_the_speed_is_said(heron):
    line, _ = fed(heron, ["period_us=40000 battery_v=10.4\n"] * 100)
    said = " ".join(remedies(line.health(), line.raw(60), None, heron))
    assert "No name on the line says the wheel speed" in said
    assert "wheel_counts or wheel_rpm" in said


def test_that_a_unit_can_not_be_told_at_rest_is_said(heron):
    for speed, wanted in ((0, True), (157.1, False)):
        line, _ = fed(heron, [f"vel={speed} batt=10.4\n"] * 100)
        said = " ".join(remedies(line.health(), line.raw(60), None, heron))
        assert ("vel at 0 tells no unit: look again while the wheel turns" in said) == wanted
    assert "wheel_rpm = 9.5493" in said


def test_an_old_speed_is_not_shown_while_the_next_line_has_to_bear_out_a_new_one(heron):
    """At five lines a second a wheel is elsewhere before two of them agree."""
    line, shown_late = Line(heron), []
    per_s = Limits.of(heron).counts_per_turn / 60
    counts = 0.0
    for i in range(200):
        rpm = 1200 if i < 100 else 2200
        counts += rpm * per_s * 0.2
        at = 0.2 * (i + 1)
        line.feed(f"t_ms={1000 * at:.0f},wheel_counts={int(counts)}\n".encode(), at)
        shown_late.append((i, line.live("live", "", None, at + 0.19).wheel_rpm))
    assert [rpm for i, rpm in shown_late if i >= 100 and rpm is not None and abs(rpm - 2200) > 80] == []
    assert shown_late[90][1] == pytest.approx(1200, rel=0.02)
    assert shown_late[-1][1] == pytest.approx(2200, rel=0.02)


def test_a_counter_printed_with_six_digits_says_no_speed_and_makes_no_shots(heron):
    """As printf's %g does (ISO C 7.21.6.1); at even and at changing speed, with a break between."""
    line, counts, wrong = Line(heron), 8_812_345.0, 0
    per_s = Limits.of(heron).counts_per_turn / 60
    for i in range(3000):
        at = 0.01 * i
        rpm = 1500 + 150 * math.sin(at)
        counts += rpm * per_s * 0.01
        line.feed(f"t_ms={1000 * at:.0f},wheel_counts={counts:g}\n".encode(), at)
        shown_rpm = line.live("live", "", None, at).wheel_rpm
        wrong += shown_rpm is not None and at > 2 and abs(shown_rpm - rpm) > 80
    live = line.live("live", "", None, at)
    assert (live.wheel_rpm, live.shots, wrong) == (None, (), 0)
    assert "wheel_counts goes in steps of ten" in live.words
    assert "Print it as a whole number" in " ".join(remedies(live.health, line.raw(), None, heron))


@pytest.mark.parametrize("per_line", [10, 25, 30.24])
def test_a_counter_that_is_whole_is_not_taken_for_rounded(heron, per_line):
    line, now_s = fed(heron, [f"t_ms={10 * i},wheel_counts={int(per_line * i)}\n" for i in range(1500)], 0.01)
    assert line.live("live", "", None, now_s).wheel_rpm is not None


def test_a_rough_battery_reading_costs_the_wheel_nothing(heron):
    """An unfiltered one, off by a tenth either way while the motors switch; no character is damaged."""
    draw, line, blank = random.Random(6), Line(heron), 0
    for i in range(1000):
        at = 0.02 * i
        line.feed(f"t_ms={1000 * at:.0f},wheel_rpm=1500,battery_v={draw.uniform(8.6, 11.2):.2f}\n".encode(), at)
        blank += at > 6 and line.live("live", "", None, at).wheel_rpm is None
    live = line.live("live", "", None, at)
    assert blank == 0
    assert live.health.good > 900
    assert live.battery_v == pytest.approx(9.9, abs=1.3)


def test_a_share_of_a_speed_is_not_mapped_as_a_speed(heron):
    line, _ = fed(heron, ["wheel_pct=61.0 batt=10.4\n"] * 100)
    assert not [said for said in remedies(line.health(), line.raw(60), None, heron) if 'wheel_pct"' in said]


def test_a_wheel_that_rests_on_an_edge_of_its_encoder_stands(heron):
    """Its count is one more in every other line; it has turned on before: it is no count since the last line."""
    line, counts = Line(heron), 0
    for i in range(1500):
        at = 0.01 * i
        counts += max(25 - max(i - 800, 0) // 4, 0)
        line.feed(f"t_ms={1000 * at:.0f},wheel_counts={counts + i % 2}\n".encode(), at)
    live = line.live("live", "", None, at)
    assert live.wheel_rpm is not None
    assert live.wheel_rpm < 60
    assert "up and down" not in live.words
