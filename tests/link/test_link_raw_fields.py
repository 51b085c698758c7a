"""What raw lines hold and what would map it: names, units and guesses, and that the lines to paste really work."""

from __future__ import annotations

import math
import tomllib
from dataclasses import replace

import pytest

from fieldtune import load_robot
from fieldtune.link import Line
from fieldtune.link.troubleshooting.mapping import as_profile, guess
from fieldtune.link.troubleshooting.raw_fields import profile_lines, raw_fields
from fieldtune.link.troubleshooting.raw_names import read_names
from fieldtune.link.troubleshooting.remedies import remedies


@pytest.mark.parametrize(
    ("line", "mapped"),
    [
        ("Velocity: {} rpm, Batt=12.3V", {"wheel_rpm": "Velocity", "battery_v": "Batt"}),
        ('{"vel": {}, "vbat": 12.3, "range": 2.41}',
         {"wheel_rpm": "vel", "battery_v": "vbat", "distance_m": "range"}),
        ("time=100 shooterSpeed={} volts=12310 dist=2410 goal=2400",
         {"t_ms": "time", "wheel_rpm": "shooterSpeed", "battery_mv": "volts", "distance_mm": "dist",
          "setpoint": "goal"}),
        ("[I] flywheel velocity: {} rpm | battery voltage: 12.3 V",
         {"wheel_rpm": "flywheel velocity", "battery_v": "battery voltage"}),
    ],
)  # fmt: skip
def test_lines_under_names_of_their_own_are_read_once_what_is_said_is_pasted(line, mapped):
    robot = load_robot("heron")
    lines = [line.replace("{}", str(2400 + i % 5)) for i in range(40)]
    plain = Line(robot)
    for i, text in enumerate(lines):
        plain.feed(text.replace("time=100", f"time={100 + 20 * i}").encode() + b"\n", 0.02 * i)
    assert plain.good == 0
    said = remedies(plain.health(), plain.raw(40))
    pasted = said[said.index("[link.fields]") :]
    fields = tomllib.loads("\n".join(pasted))["link"]["fields"]
    assert fields == mapped
    told = Line(replace(robot, link=replace(robot.link, fields=fields)))
    for i, text in enumerate(lines):
        told.feed(text.replace("time=100", f"time={100 + 20 * i}").encode() + b"\n", 0.02 * i)
    live = told.live("live", "", None, 0.8)
    assert told.good > 30
    assert live.wheel_rpm == pytest.approx(2402, abs=3)
    assert live.battery_v == pytest.approx(12.3, abs=0.02)
    assert remedies(told.health(), told.raw(40)) == []


PER_TURN = 48 * 33 * 28 / (22 * 20)  # heron's encoder sits on the motor
RIM_M = 0.088 * math.pi


@pytest.mark.parametrize(
    "line",
    [
        "Wheel Speed: {rpm} RPM\tTarget Speed: 2400 RPM\tBattery: 9.8 V",
        "setRPM=2400 actRPM={rpm} errRPM=2",
        "rpm_target=2400 currentRpm={rpm} max_rpm=3900",
        "TIME:{ms}|RPM:{rpm}|VOLT:9.8|SET:2400",
        '{{"t":{s},"flywheel_velocity_rps":{rps},"battery_voltage":9.8,"flywheel_target_rps":40.0}}',
        '{{"ts":{ms},"launcher":{{"left":{{"rpm":{rpm}}},"right":{{"rpm":1200}}}},"power":{{"vbat":9.8}}}}',
        '{{"ts":{ms},"wheel":{{"rpm":{rpm},"target":2400}}}}',
        '{{"millis":{ms},"rpms":[{rpm},1200]}}',
        "t={ms} cp100ms={counts} vbat=9.8",
        "t_ms={ms},surface_speed_mps={rim}",
        "wheel_rpm={rim} m/s,t_ms={ms}",
        "rpm={rpm}\nvbat=9.8",
        "time,rpm,target,vbat\n{ms},{rpm},2400,9.8",
    ],
)
def test_whoever_pastes_what_is_said_has_the_speed(line):
    """Not that of the setpoint, of the other wheel, or in another unit."""
    robot, pasted = load_robot("heron"), {}
    for _ in range(2):
        link = replace(robot.link, fields=pasted.get("fields", {}), scale=pasted.get("scale", {}),
                       columns=tuple(pasted.get("columns", {}).get("order", ())))  # fmt: skip
        robot = replace(robot, link=link)
        told = Line(robot)
        for i in range(60):
            rpm = 2402 + i % 3
            others = {"rps": rpm / 60, "rim": rpm / 60 * RIM_M, "counts": rpm / 600 * PER_TURN, "s": 0.1 + 0.02 * i}
            text = line.format(rpm=rpm, ms=100 + 20 * i, **others)
            told.feed(text.encode() + b"\n", 0.02 * i)
        speed = told.live("live", "", None, 1.2).wheel_rpm
        if speed is None:
            said = remedies(told.health(), told.raw(100), None, robot)
            pasted = tomllib.loads("\n".join(said[[one[:6] for one in said].index("[link.") :]))["link"]
    assert speed == pytest.approx(2403, abs=3)


@pytest.mark.parametrize(
    "text",
    [
        "t_ms {} wheel_rpm 2403 battery_v 9.8",  # as a list of words and values is printed
        "wheel_rpm[2403] battery_v[9.8] t_ms[{}]",
        "wheel_rpm -> 2403, battery_v -> 9.8",
        "t_ms={} wheel_rpm=2403 CW battery_v=9.8",
        "2026-11-29 12:00:01.250 INFO  [main] Launcher - wheel_rpm=2403 battery_v=9.8 t_ms={}",
        "t_ms={}\nwheel_rpm=2403\nbattery_v=9.8\n---",  # one value a line
        '{{\n  "t_ms": {},\n  "wheel_rpm": 2403,\n  "battery_v": 9.8\n}}',
    ],
)
def test_our_own_names_are_read_whatever_stands_between(text):
    robot = load_robot("heron")
    line = Line(robot)
    for i in range(60):
        line.feed(text.format(100 + 20 * i).encode() + b"\n", 0.02 * i)
    live = line.live("live", "", None, 1.2)
    assert (live.wheel_rpm, live.battery_v) == (2403, 9.8)
    assert not any("not read." in said for said in remedies(line.health(), line.raw(), None, robot))


def test_what_else_is_sent_can_be_read_and_the_speed_still_is():
    """A name in another spelling is read only while no name on the line is known to the letter."""
    robot = load_robot("heron")
    text = '{{"timestampMs":{},"wheelRpm":2403,"vbat_mV":9800,"setpointRpm":2400,"date":"2026-11-29T12:00:01.250Z"}}\n'
    for step in range(2):
        line = Line(robot)
        for i in range(60):
            line.feed(text.format(100 + 20 * i).encode(), 0.02 * i)
        live = line.live("live", "", None, 1.2)
        assert live.wheel_rpm == pytest.approx(2403)
        said = remedies(line.health(), line.raw(), None, robot)
        assert bool(said) == (step == 0)
        if said:
            fields = tomllib.loads("\n".join(said[said.index("[link.fields]") :]))["link"]["fields"]
            robot = replace(robot, link=replace(robot.link, fields=fields))
    assert (live.battery_v, live.setpoint, line.health().clock) == (9.8, 2400, "robot")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("wheel_rpm=2403,battery_v=730", "battery_v = the volts that a meter shows, divided by 730"),
        ("wheel_rpm=2403;battery_v=9.8;" * 40, "Lines never end"),
        ('{"time":"2026-11-29T12:00:01.250Z","rpm":"2403 CW"}', "The line says: rpm (2403 CW)."),
    ],
)
def test_a_remedy_names_the_true_cause(text, said):
    robot = load_robot("heron")
    line = Line(robot)
    for i in range(60):
        line.feed(text.encode() + (b"" if len(text) > 600 else b"\n"), 0.02 * i)
    assert said in remedies(line.health(), line.raw(), None, robot)[0]


@pytest.mark.parametrize(
    "line",
    [
        "Velocity: 257 rad/s, Batt=12.3V",  # the unit behind a number is read with it
        "vel=257,vbat=12300",  # a bare one is scaled
        "speed=40.9 rev/s batt=12.3",
        "w=40.9,u=12300",
    ],
)
def test_a_guessed_unit_is_counted_once(line):
    robot, lines = load_robot("heron"), [line] * 60
    seen = read_names(lines)
    keys = as_profile(guess(seen), seen)
    fields, scale = (
        {key.removeprefix(under): value for key, value in keys.items() if key.startswith(under)}
        for under in ("link.fields.", "link.scale.")
    )
    told = Line(replace(robot, link=replace(robot.link, fields=fields, scale=scale)))
    for i, text in enumerate(lines):
        told.feed(text.encode() + b"\n", 0.02 * i)
    live = told.live("live", "", None, 1.2)
    assert live.wheel_rpm == pytest.approx(2454, rel=0.001)
    assert live.battery_v == pytest.approx(12.3, abs=0.02)
    pasted = tomllib.loads("\n".join(profile_lines(raw_fields(lines))))["link"]
    assert (pasted["fields"], pasted.get("scale", {})) == (fields, pytest.approx(scale))


def test_counts_a_second_are_scaled_by_the_profiles_encoder():
    robot = load_robot("heron")
    sent = [f"speed: {3000 + i % 3} ticks/s, batt: 9.7 V" for i in range(60)]
    seen = read_names(sent)
    keys = as_profile(guess(seen, robot), seen)
    link = replace(
        robot.link,
        fields={"wheel_rpm": "speed", "battery_v": "batt"},
        scale={"wheel_rpm": keys["link.scale.wheel_rpm"]},
    )
    line = Line(replace(robot, link=link))
    for i, text in enumerate(sent):
        line.feed(text.encode() + b"\n", 0.02 * i)
    live = line.live("live", "", None, 1.2)
    assert live.wheel_rpm == pytest.approx(60 * 3001 / (48 * 33 * 28 / (22 * 20)), rel=0.001)


def test_a_value_in_an_unknown_unit_is_asked_about():
    speed, volts = raw_fields(["speed: 3120 ticks/s, batt: 12.3 V"] * 3)
    assert (speed.ours, speed.value) == ("wheel_rpm", None)
    assert "unknown unit ticks/s" in speed.problem
    assert (volts.ours, volts.value, volts.unit) == ("battery_v", 12.3, "V")
    assert profile_lines([speed, volts]) == ["[link.fields]", 'battery_v = "batt"']


def test_bare_numbers_are_asked_about_by_column():
    said = _said(b"1200,2450,12.31\n")
    assert said[-2:] == ["[link.columns]", 'order = ["-", "-", "-"]']


def test_a_wrong_speed_is_called_one():
    said = _said(b"\x80\xf8\x00\xe6\x1e\x86a\x80\x9e\x06\xfe\n", baud=9600)
    assert "9600 baud is not the robot's speed" in said[0]


def test_nan_names_its_value():
    said = _said(b"wheel_rpm=nan,battery_v=inf\n")
    assert "battery_v is inf; wheel_rpm is nan" in said[0]


def _said(text, baud=None):
    line = Line(load_robot("heron"))
    for i in range(30):
        line.feed(text, 0.02 * i)
    return remedies(line.health(), line.raw(30), baud)


def test_no_escape_in_json_becomes_one_on_a_screen():
    text = r'{"a":{"\u001b]0;x\u0007":-3,"rpm":2403,"vel\u202e":1},"b":"\u001b[2J"}'
    assert [field.name for field in raw_fields([text] * 30)] == ["rpm"]
    assert "".join(_said(text.encode() + b"\n")).isprintable()


def test_lines_that_overtake_each_other_need_a_time_of_their_own():
    """On a network; on a wire they don't, and the plug may be loose."""
    robot = load_robot("heron")
    line = Line(robot)
    order = [i + (4 if i % 10 == 4 else -4 if i % 10 == 8 else 0) for i in range(400)]
    for i, sent in enumerate(order):
        line.feed(f"wheel_counts={50 * sent},battery_mv=9800\n".encode(), 0.02 * i)
    assert "send t_ms too" in remedies(line.health(), line.raw(), None, robot, has_speed=False)[0]
    assert "t_ms" not in remedies(line.health(), line.raw(), None, robot)[0]
