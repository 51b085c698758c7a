"""The bench's own wheels and robot programs do what their names say; and the decoder outlives each of them."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from decode_lines import Found, Look, decode_lines, matched, robot_for, wrong_and_blank
from student_firmware import Firmware, readings, sent, spread_rpm, two_robots
from student_styles import written
from student_variants import VARIANTS
from thorough import thorough
from wheel_controllers import CONTROLS, FRICTION_RPM_PER_S, STEP_S, WheelRun, changing, run_wheel, session


@pytest.fixture(scope="module")
def wheels():
    return {kind: session(kind) for kind in CONTROLS}


@pytest.mark.parametrize("kind", CONTROLS)
def test_a_shot_takes_its_share_at_once(wheels, kind):
    wheel = wheels[kind]
    assert len(wheel.shots) == 7
    for shot in wheel.shots:
        i = round(shot.time_s / STEP_S)
        assert shot.before_rpm == pytest.approx(wheel.rpm[i - 1], rel=0.003)
        assert wheel.rpm[i] / wheel.rpm[i - 1] == pytest.approx(0.88, abs=0.01)


@pytest.mark.parametrize("kind", [kind for kind in CONTROLS if kind != "feed-forward"])
def test_a_closed_loop_holds_its_setpoint(wheels, kind):
    wheel = run_wheel(kind, [(0.0, 1700.0), (20.0, 2100.0)], [], 40.0)
    for start, end, rpm in ((18.0, 20.0, 1700), (38.0, 40.0, 2100)):
        assert wheel.rpm[wheel.index(start) : wheel.index(end)].mean() == pytest.approx(rpm, rel=0.02)


def test_feed_forward_follows_the_battery(wheels):
    """The duty is meant for 12 V, a fresh battery has 13 V: the wheel runs fast, and slower as the battery empties."""
    wheel = run_wheel("feed-forward", [(0.0, 1800.0)], [], 200.0)
    early, late = (wheel.rpm[wheel.index(at) : wheel.index(at + 1)].mean() for at in (5.0, 198.0))
    assert early > 1820
    assert late < early - 3


def _back_s(wheel, shot_s):
    """Seconds until half of a drop is made good."""
    i = wheel.index(shot_s)
    before, low = wheel.rpm[i - 2], wheel.rpm[i + 1]
    return float(np.argmax(wheel.rpm[i + 1 :] > (before + low) / 2)) * STEP_S


def test_recovery_is_quick_soft_or_left_to_the_motor(wheels):
    stiff, soft, none = (_back_s(wheels[kind], 11.0) for kind in ("PI stiff", "PI soft", "feed-forward"))
    assert stiff < 0.6 * soft
    assert soft < none


def test_lowering_is_quick_under_a_loop_that_brakes_and_slow_under_one_that_coasts(wheels):
    fallen = {kind: w.rpm[w.index(13.99)] - w.rpm[w.index(14.06)] for kind, w in wheels.items()}
    assert fallen["PI stiff"] > 300
    assert 50 < fallen["PI current-limited"] < 0.6 * fallen["PI stiff"]
    for kind in ("on-off", "PI winding up"):
        assert fallen[kind] == pytest.approx(0.06 * FRICTION_RPM_PER_S, abs=12)


def test_an_integral_without_limits_overshoots(wheels):
    most = {kind: w.rpm[: w.index(3.9)].max() for kind, w in wheels.items()}
    assert most["PI winding up"] > 1800 > most["PI stiff"]


def test_a_run_without_shots_has_its_lowerings():
    wheel = changing("PI stiff", 5, 60.0)
    steps = np.diff(wheel.setpoint[wheel.index(1.0) :])
    assert (steps < 0).sum() >= 5
    assert wheel.shots == ()


def test_the_battery_sags_under_load(wheels):
    wheel = wheels["PI soft"]
    assert wheel.volts[: wheel.index(1.0)].max() == 13.0
    assert wheel.volts[wheel.index(1.1)] < 12.1  # stall current over 90 mohm is 1.3 V


def test_a_refreshed_counter_stands_still_between_refreshes(wheels):
    at, counts = readings(Firmware(refresh_hz=20.0), wheels["PI soft"], np.random.default_rng(0))
    running = (at > 3) & (at < 18)
    moved = np.diff(counts[running]) > 0
    assert moved.mean() == pytest.approx(0.2, abs=0.01)


@pytest.mark.parametrize(("counts", "hz"), [(56.0, 50.0), (12.0, 100.0)])
def test_own_rpm_comes_in_steps_of_one_count(wheels, counts, hz):
    """A count more or less in the time between two readings is 60 x hz / counts rpm."""
    firmware = Firmware(speed="rpm", counts_per_turn=counts, rpm_hz=hz, rate_hz=hz)
    at, rpm = readings(firmware, wheels["PI soft"], np.random.default_rng(0))
    even = rpm[(at > 10) & (at < 11)]
    assert 0.8 < np.ptp(even) / (60 * hz / counts) < 2.2  # the loop's own unevenness comes on top
    assert even.mean() == pytest.approx(2100, rel=0.02)


def test_arrival_is_uneven_bridged_or_in_clumps(wheels):
    wheel = wheels["PI soft"]
    times = {
        name: np.diff([at for at, _ in sent(firmware, wheel)])
        for name, firmware in {
            "wire": Firmware(jitter_s=0.003),
            "bridge": Firmware(bridge_s=0.016),
            "clumps": Firmware(clump_s=(0.3, 1.0), clock=None),
        }.items()
    }
    assert times["wire"].min() == pytest.approx(0.007, abs=0.001)
    assert times["wire"].max() == pytest.approx(0.013, abs=0.001)
    assert set(np.round(times["bridge"] / 0.016)) == {1.0}
    assert 0.29 < times["clumps"].min() < times["clumps"].max() < 1.01


@pytest.mark.parametrize("share", [0.01, 0.05])
def test_so_many_lines_come_through_a_bad_wire_whole(wheels, share):
    clean, spoilt = (b"".join(d for _, d in sent(Firmware(faults=f), wheels["PI soft"])) for f in (0.0, share))
    lines = clean.split(b"\n")
    whole = set(lines) & set(spoilt.split(b"\n"))
    length = len(clean) / len(lines)
    # A line's own bytes, its end and the end of the line before must be spared.
    assert len(whole) / len(lines) == pytest.approx((1 - share) ** (length + 1), rel=0.1)


def test_two_robots_take_turns(wheels):
    chunks = two_robots(Firmware(), wheels["PI soft"], wheels["feed-forward"])
    assert len(b"".join(d for _, d in chunks).splitlines()) == pytest.approx(2 * 2400, abs=6)
    assert any("two robots" in notice for notice in decode_lines(chunks, robot_for()).notices)
    alone = decode_lines(sent(Firmware(faults=0.01), wheels["PI soft"]), robot_for())
    assert not any("two robots" in notice for notice in alone.notices)


SAID = {"t_ms": 1200.0, "wheel_rpm": 2456.25, "battery_v": 12.271, "distance_m": 2.45, "fired": True}
NAMES = {"wheel_rpm": "speed", "distance_m": "range", "battery_v": "pack"}
EXAMPLES = {
    "2,456.0": "wheel_rpm=2,456.2 ",
    "2'450": "wheel_rpm=2'456, ",
    "2 450": "wheel_rpm=2 456, ",
    "2,45 between semicolons": "distance_m=2,45; ",
    "2,45 between commas": "distance_m=2,45,",
    "rad/s": "speed=257 rad/s, ",
    "rev/s": "speed=40.9 rev/s, ",
    "krpm": "speed=2.46 krpm, ",
    "ticks/s": "speed=2292 ticks/s, ",
    "ft": "range=8.04 ft, ",
    "cm": "range=245.0 cm, ",
    "mV attached": "pack=12271mV, ",
    "fired=True": "fired=True\n",
    "python dict": "{'t_ms': 1200, 'wheel_rpm': 2456.2, ",
    "0x checksum": "*0x",
    "Wheel RPM:": "Wheel RPM: 2456, ",
    "JSON": '"wheel_rpm": 2456.25, ',
}


@pytest.mark.parametrize("style", EXAMPLES)
def test_numbers_are_written_as_students_write_them(style):
    names = NAMES if any(name in EXAMPLES[style] for name in NAMES.values()) else {}
    if style == "Wheel RPM:":
        names = {"wheel_rpm": "wheel_rpm", "battery_v": "battery_v"}
    assert EXAMPLES[style] in written(style, SAID, names).decode()


def test_the_spread_of_a_reading_is_never_below_one_count(wheels):
    """12 counts a turn over 50 ms: one count is 100 rpm, evenly spread that is 29 rpm (GUM, JCGM 100:2008, 4.3.7)."""
    coarse, fine = (spread_rpm(Firmware(counts_per_turn=c), wheels["PI soft"]) for c in (12.0, 4096.0))
    assert 28 < coarse < 60
    assert fine < 8


def test_the_yardsticks():
    found = [Found(1.05, None, None), Found(1.1, None, None), Found(7.0, None, None)]
    assert matched(found, [1.0, 3.0], 0.2) == ([(0, 0)], 2)
    assert matched(found, [1.04, 1.2], 0.2) == ([(0, 0), (1, 1)], 1)
    assert matched(found, [0.9, 1.06], 0.16) == ([(0, 0), (1, 1)], 1)  # the first is nearer to the second
    assert matched([], [1.0], 0.2) == ([], 0)
    assert matched(found, [], 0.2) == ([], 3)
    t = np.arange(0.0, 4.0, 0.001)
    rpm = np.where(t < 2.0, 1000.0, 2000.0)
    looks = [Look(x, shown, None, None) for x, shown in ((1.5, 1075.0), (1.9, None), (2.1, 1500.0), (2.5, 1000.0))]
    assert wrong_and_blank(looks, t, [rpm], 0.0) == (0.02, 0.02)


@pytest.mark.parametrize(
    "name",
    [  # all oddities of own rpm that counts have as well are for the thorough run
        *(name for name in VARIANTS if not name.endswith(", rpm")),
        *thorough(*(name for name in VARIANTS if name.endswith(", rpm"))),
    ],
)
def test_no_program_upsets_the_decoder(wheels, name):
    firmware = VARIANTS[name]
    chunks = [(at, data) for at, data in sent(firmware, _until(wheels["PI stiff"], 6.6)) if at < 6.5]
    robot = robot_for(firmware.counts_per_turn, 0.12, firmware.names, firmware.columns)
    decoding = decode_lines(chunks, robot, 6.5)
    assert decoding.lines >= 0.3 * sum(data.count(b"\n") for _, data in chunks)
    assert all(look.wheel_rpm is None or 0 <= look.wheel_rpm < 10_000 for look in decoding.looks)


def _until(wheel, seconds):
    """The beginning of a run."""
    n = wheel.index(seconds)
    t, rpm, turns, volts = (values[:n] for values in (wheel.t, wheel.rpm, wheel.turns, wheel.volts))
    shots = tuple(shot for shot in wheel.shots if shot.time_s < seconds)
    return WheelRun(t, rpm, turns, volts, wheel.setpoint[:n], wheel.duty[:n], shots)


def test_own_rpm_of_few_counts_a_line_is_not_taken_for_damage(wheels):
    """12 counts a turn, counted anew each 10 ms: a count more or less is 60 / (12 x 0.01) = 500 rpm."""
    wheel = wheels["PI soft"]
    chunks = sent(Firmware(speed="rpm", counts_per_turn=12.0, rpm_hz=100.0), wheel)
    decoding = decode_lines(chunks, robot_for(12.0), 23.0)
    wrong_s, blank_s = wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.003)
    assert decoding.good > 0.97 * decoding.lines
    assert wrong_s < 1.0
    assert blank_s < 0.5


@pytest.mark.parametrize(
    ("speed", "apart_ms"), [("counts", 100_000), ("rpm", 0), *thorough(("counts", 0), ("rpm", 100_000))]
)
def test_two_robots_in_turn_are_told_and_never_mixed(wheels, speed, apart_ms):
    """Clocks that began together, or 100 s apart."""
    one, other = wheels["PI stiff"], wheels["feed-forward"]
    firmware = Firmware(speed=speed)
    slower = replace(other, rpm=other.rpm * 0.6, turns=other.turns * 0.6)
    chunks = two_robots(firmware, one, slower)
    if apart_ms:
        chunks = [(at, _later(data, apart_ms) if i % 2 else data) for i, (at, data) in enumerate(chunks)]
    decoding = decode_lines(chunks, robot_for(), 23.0)
    assert any("two robots" in notice for notice in decoding.notices)
    shown = [look.wheel_rpm for look in decoding.looks if look.time_s > 3 and look.wheel_rpm is not None]
    jumps = sum(abs(after - before) > 300 for before, after in pairwise(shown))
    assert jumps < 60  # shots and new setpoints, but not one robot after the other


def _later(data, ms):
    clock, comma, rest = data.partition(b",")
    return b"t_ms=%d" % (int(clock.removeprefix(b"t_ms=")) + ms) + comma + rest


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        ("frozen", "stands still"),
        ("whole seconds", "in steps of 1000 ms"),
        ("microseconds as ms", "t_us sent as t_ms"),
        ("seconds as ms", "seconds sent as t_ms"),
        ("fast", "30 % too fast"),
    ],
)
def test_what_is_wrong_with_a_clock_is_named(wheels, fault, words):
    chunks = sent(Firmware(clock_fault=fault), wheels["PI soft"])
    notices = decode_lines([chunk for chunk in chunks if chunk[0] < 8], robot_for()).notices
    assert [notice for notice in notices if "clock" in notice and words in notice]
    assert sum("the robot's clock" in notice for notice in notices) == 1


@pytest.mark.parametrize("speed", ["counts", *thorough("rpm")])
def test_the_time_since_the_last_line_is_no_clock(wheels, speed):
    chunks = sent(Firmware(speed=speed, clock=None), wheels["PI soft"])
    chunks = [(at, b"t_ms=%d,%s" % (10 + i % 3, data)) for i, (at, data) in enumerate(chunks)]
    decoding = decode_lines(chunks, robot_for(), 23.0)
    assert [notice for notice in decoding.notices if "goes back again" in notice]
    wrong_s, blank_s = wrong_and_blank(decoding.looks, wheels["PI soft"].t, [wheels["PI soft"].rpm], 0.01, from_s=3.0)
    assert wrong_s == 0.0
    assert blank_s < 0.3


def test_lines_that_overtake_each_other_have_a_clock_all_the_same(wheels):
    chunks = sent(Firmware(), wheels["PI soft"])
    for i in range(5, len(chunks) - 1, 10):
        (one_s, one), (then_s, then) = chunks[i], chunks[i + 1]
        chunks[i : i + 2] = [(one_s, then), (then_s, one)]
    decoding = decode_lines(chunks, robot_for(), 23.0)
    assert not [notice for notice in decoding.notices if "the robot's clock" in notice]
    assert len(decoding.shots) == len(wheels["PI soft"].shots)


def test_shots_are_found_where_counts_and_own_rpm_are_sent_together(wheels):
    wheel = wheels["PI soft"]
    counts, rpm = (sent(Firmware(speed=speed), wheel) for speed in ("counts", "rpm"))
    own = [re.search(rb"wheel_rpm=[\d.]+", data) for _, data in rpm]
    chunks = [
        (at, data.replace(b"wheel_counts", found[0] + b",wheel_counts"))
        for (at, data), found in zip(counts, own, strict=False)
        if found is not None
    ]
    decoding = decode_lines(chunks, robot_for(), 23.0)
    assert len(decoding.shots) == len(wheel.shots)
