"""Lines as students' programs print them that were in no example, each through the real monitor or the whole line."""

from __future__ import annotations

import time

import pytest
from link_ptys import Cable, wait_for

from fieldtune import load_robot
from fieldtune.link import Monitor
from fieldtune.link.framing import shown
from fieldtune.link.line import Line
from fieldtune.link.port_search import is_text
from fieldtune.link.remedies import remedies


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
    import random

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
