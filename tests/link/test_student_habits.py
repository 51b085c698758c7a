"""Habits of robot programs that the other tests' programs do not have. All wheels and figures are made up here."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from decode_lines import decode_lines, matched, robot_for, wrong_and_blank
from thorough import thorough
from wheel_controllers import session

from fieldtune.link import Line
from fieldtune.link.troubleshooting.remedies import remedies


@pytest.fixture(scope="module")
def wheel():
    return session("PI soft")


def loop(period_s, until_s=23.0, seed=1, uneven_s=0.0002):
    """Times of a loop that waits for ``period_s`` and works for a little longer each time."""
    rng = np.random.default_rng(seed)
    times = 0.2 + np.cumsum(period_s + np.abs(rng.normal(0, uneven_s, int(until_s / period_s))))
    return times[times < until_s]


def arriving(times, texts, seed=2):
    """(arrival, bytes): each line by itself, up to 3 ms late."""
    late = np.random.default_rng(seed).uniform(0.003, 0.006, len(times))
    return [(float(at), text.encode()) for at, text in zip(times + late, texts, strict=True)]


@pytest.mark.parametrize(("period_s", "per_turn"), [(0.02, 56.0), (0.01, 2048.0)])
def test_counts_since_the_last_line_are_no_speed(wheel, period_s, per_turn):
    """Such a counter hardly moves while the wheel runs: that is no wheel at rest, near which a hand may go."""
    times = loop(period_s)
    counts = np.diff(np.floor(wheel.turns_at(times) * per_turn), prepend=0)
    texts = [f"t_ms={1000 * at:.0f},wheel_counts={count:.0f}\n" for at, count in zip(times, counts, strict=True)]
    chunks = arriving(times, texts)
    looks = decode_lines(chunks, robot_for(per_turn), 23.0).looks
    assert {look.wheel_rpm for look in looks if look.time_s > 4.0} == {None}
    line, robot = Line(robot_for(per_turn)), robot_for(per_turn)
    for at, data in chunks:
        line.feed(data, at)
    live = line.live("live", "reading", None, chunks[-1][0])
    assert live.shots == ()
    assert "up and down" in live.words
    assert any("never set it back" in said for said in remedies(live.health, line.raw(), None, robot))


def test_a_wheel_at_rest_is_at_rest_and_one_that_goes_backwards_has_its_speed(wheel):
    rest = decode_lines(
        arriving(loop(0.01, 6.0), [f"t_ms={1000 * at:.0f},wheel_counts=4711\n" for at in loop(0.01, 6.0)]), robot_for()
    )
    assert "counter stands still" not in rest.notices
    times = loop(0.01)
    counts = -np.floor(wheel.turns_at(times) * 56)
    texts = [f"t_ms={1000 * at:.0f},wheel_counts={count:.0f}\n" for at, count in zip(times, counts, strict=True)]
    decoding = decode_lines(arriving(times, texts), robot_for(), 23.0)
    assert not any("up and down" in notice for notice in decoding.notices)
    assert wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.006)[0] == 0.0


@pytest.mark.parametrize(("hz", "per_turn"), [(200, 20), (50, 10), *thorough((100, 12))])
def test_own_rpm_in_steps_of_a_count_is_right_without_an_encoder_in_the_profile(wheel, hz, per_turn):
    """One count more or less a line is some hundred rpm: a quarter of the lines may jump so, the mean is right."""
    times = np.arange(0.2, 23.0, 1 / hz)
    counts = np.floor(wheel.turns_at(times) * per_turn)
    rpm = np.diff(counts) * hz / per_turn * 60
    texts = [f"t_ms={1000 * at:.0f},wheel_rpm={value:.0f}\n" for at, value in zip(times[1:], rpm, strict=True)]
    robot = replace(robot_for(), encoder=None)
    decoding = decode_lines(arriving(times[1:], texts), robot, 23.0)
    wrong_s, blank_s = wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.006, from_s=3.0)
    assert wrong_s < 0.3
    assert blank_s < 0.1


def test_rpm_jumps_of_a_bad_wire_are_refused_all_the_same(wheel):
    """Where characters change on the way, a jump is not held to be how the program works."""
    rng = np.random.default_rng(3)
    times, texts = loop(0.01), []
    for at in times:
        rpm = wheel.rpm[wheel.index(at)]
        if rng.random() < 0.08:
            rpm = rpm % 1000 + 1000 * rng.integers(1, 4)  # a false first digit
        text = f"t_ms={1000 * at:.0f},wheel_rpm={rpm:.0f}\n"
        where = rng.integers(len(text) - 1)
        texts.append(text[:where] + "\x7f" + text[where + 1 :] if rng.random() < 0.1 else text)
    decoding = decode_lines(arriving(times, texts), robot_for(), 23.0)
    assert decoding.dropped["impossible wheel"] > 80
    assert wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.006)[0] < 0.1


@pytest.mark.parametrize(
    ("clock", "speed"), [("t_ms={:.0f},", "wheel_counts"), ("", "wheel_rpm"), *thorough(("t_ms={:.0f},", "wheel_rpm"))]
)
def test_a_clump_of_datagrams_is_one_burst(wheel, clock, speed):
    """Wi-Fi holds lines back for up to a second; each comes in a datagram of its own, parts of a millisecond apart."""
    rng = np.random.default_rng(4)
    chunks, due, waiting = [], 0.3, []
    for at in loop(0.02):
        said = np.floor(wheel.turns_at(at) * 56) if speed == "wheel_counts" else wheel.rpm[wheel.index(at)]
        if at > due:
            chunks += [(due + 0.005 + 0.0003 * i, data) for i, data in enumerate(waiting)]
            waiting, due = [], float(at + rng.uniform(0.2, 1.0))
        waiting.append(f"{clock.format(1000 * at)}{speed}={said:.0f}\n".encode())
    decoding = decode_lines(chunks, robot_for(), 23.0)
    wrong_s, blank_s = wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 1.0, from_s=3.0)
    pairs, made_up = matched(decoding.shots, [shot.time_s for shot in wheel.shots], 1.2)
    assert wrong_s == 0.0
    assert blank_s < 2.0
    assert (len(pairs), made_up) == (7, 0)


@pytest.mark.parametrize(("clock", "size"), [("t_ms={:.0f},", 512), ("", 512), ("", 4096), *thorough(("", 1024))])
def test_a_buffer_sent_when_it_is_full_does_not_make_the_wheel_faster(wheel, clock, size):
    """They come as fast as the wire lets them, with a silence between, though they are printed evenly."""
    chunks, buffer = [], b""
    for at in loop(0.02):
        text = f"{clock.format(1000 * at)}wheel_counts={np.floor(wheel.turns_at(at) * 56):.0f},battery_mv=12345\n"
        buffer += text.encode()
        if len(buffer) >= size:
            full, buffer = buffer[:size], buffer[size:]
            chunks += [(at + 0.0054 * (i // 62 + 1), full[i : i + 62]) for i in range(0, size, 62)]
    decoding = decode_lines(chunks, robot_for(), 23.0)
    wrong_s, blank_s = wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 2.5 * size / 2000, from_s=3.0)
    assert wrong_s == 0.0
    assert blank_s < 2.0 or size == 4096  # two seconds old is too old to be shown


@pytest.mark.parametrize("style", ["t_ms={},wheel_counts={:x}", *thorough("t_ms: {} wheel_counts: {:08X}")])
def test_a_counter_in_hexadecimal_is_no_decimal_with_odd_letters(wheel, style):
    """Six of ten such numbers have no letter by chance."""
    times = loop(0.01)
    counts = np.floor(wheel.turns_at(times) * 56) + 0x4000
    texts = [style.format(round(1000 * at), int(count)) + "\n" for at, count in zip(times, counts, strict=True)]
    decoding = decode_lines(arriving(times, texts), robot_for(), 23.0)
    wrong_s, blank_s = wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.006, from_s=0.5)
    assert wrong_s < 0.1
    assert blank_s < 1.0
    assert "wheel_counts is read as hexadecimal" in decoding.notices
    decimal = [
        style.format(round(1000 * at), 0).rstrip("0") + f"{count:.0f}\n"
        for at, count in zip(times, counts, strict=True)
    ]
    assert "wheel_counts is read as hexadecimal" not in decode_lines(arriving(times, decimal), robot_for()).notices


def test_a_line_that_ends_is_not_shown_for_long_after_one_pause(wheel):
    """One pause among even lines makes them no bursts."""
    times = loop(0.01, 8.0)
    kept = [at for at in times if not 6.0 < at < 6.5]
    texts = [f"t_ms={1000 * at:.0f},wheel_rpm={wheel.rpm[wheel.index(at)]:.0f}\n" for at in kept]
    looks = decode_lines(arriving(np.array(kept), texts), robot_for(), 9.0).looks
    assert all(look.wheel_rpm is None for look in looks if look.time_s > 8.15)


@pytest.mark.parametrize(
    ("per_rpm", "words"),
    [(1 / 29, "percent"), (0.104720, "radians"), *thorough((1 / 2900, "a share"), (1 / 60, "turns a second"))],
)
def test_a_setpoint_in_another_unit_is_set_aside_and_named(wheel, per_rpm, words):
    """A shot that is logged at 69 rpm, and was at 2,000, would teach nonsense."""
    times = loop(0.02)
    texts = [
        f"t_ms={1000 * at:.0f},wheel_rpm={wheel.rpm[i]:.0f},setpoint={per_rpm * wheel.setpoint[i]:.5g}\n"
        for at, i in ((at, wheel.index(at)) for at in times)
    ]
    robot = robot_for()
    line = Line(robot)
    for at, data in arriving(times, texts):
        line.feed(data, at)
    live = line.live("live", "reading", None, times[-1])
    assert live.setpoint is None
    assert live.wheel_rpm is not None
    assert all(shot.setpoint is None for shot in live.shots)
    assert len(live.shots) == 7
    assert any(words in said for said in remedies(live.health, line.raw(), None, robot))
    if words in ("turns a second", "radians"):
        pasted = next(said for said in remedies(live.health, line.raw(), None, robot) if said.startswith("setpoint = "))
        assert float(pasted.split()[-1]) == pytest.approx(1 / per_rpm, rel=1e-4)


def test_a_low_setpoint_behind_a_wheel_that_runs_out_is_one():
    """From 2,000 rpm the wheel takes long to come down to the 100 rpm that it is told to hold."""
    times = loop(0.02)
    rpm = 2000 * np.exp(-np.maximum(times - 3.0, 0) / 40)
    texts = [
        f"t_ms={1000 * at:.0f},wheel_rpm={speed:.0f},setpoint={2000 if at < 3.0 else 100}\n"
        for at, speed in zip(times, rpm, strict=True)
    ]
    line = Line(robot_for())
    for at, data in arriving(times, texts):
        line.feed(data, at)
    assert line.live("live", "", None, times[-1]).setpoint == 100.0


def test_metres_as_mm_are_no_distance(wheel):
    """2.45 mm from the target stands no robot; which factor would fit is said."""
    times = loop(0.02, 6.0)
    line, robot = Line(robot_for()), robot_for()
    for at, data in arriving(times, [f"t_ms={1000 * at:.0f},wheel_rpm=1500,distance_mm=2.45\n" for at in times]):
        line.feed(data, at)
    live = line.live("live", "reading", None, times[-1])
    assert (live.distance_m, live.wheel_rpm) == (None, 1500)
    assert "distance out of range" in live.words
    told = " ".join(remedies(live.health, line.raw(), None, robot))
    assert "distance_mm = 1000" in told
    assert "distance_mm = 0.0" not in told


@pytest.mark.parametrize("name", ["WHEEL_RPM", "wheelRpm", "Wheel RPM"])
def test_a_name_that_is_read_in_another_spelling_is_not_called_unread(name):
    times = loop(0.02, 6.0)
    line, robot = Line(robot_for()), robot_for()
    for at, data in arriving(times, [f"T_MS={1000 * at:.0f}, {name}=1500, Battery_V=9.8\n" for at in times]):
        line.feed(data, at)
    live = line.live("live", "reading", None, times[-1])
    assert live.wheel_rpm == 1500
    assert remedies(live.health, line.raw(), None, robot) == []


@pytest.mark.parametrize(
    ("late", "unevenly", "clock"),
    [(0.1, False, "t_us"), (0.2, True, "t_ms"), *thorough((0.1, False, "t_ms"), (0.2, True, "t_us"))],
)
def test_own_rpm_divided_by_a_time_that_is_not_kept_is_put_right(wheel, clock, late, unevenly):
    """A loop of 20 ms that takes longer each time: counts over 20 ms say a tenth too much; or it is off both ways."""
    rng = np.random.default_rng(5)
    steps = rng.uniform(-1, 1, 1200) if unevenly else np.abs(rng.normal(0, 1, 1200))
    times = 0.3 + np.cumsum(0.02 * (1 + late * steps))
    times = times[times < 23.0]
    rpm = np.diff(np.floor(wheel.turns_at(times) * 512)) / 512 / 0.02 * 60
    per_s = 1000 if clock == "t_ms" else 1_000_000
    texts = [f"{clock}={per_s * at:.0f},wheel_rpm={value:.0f}\n" for at, value in zip(times[1:], rpm, strict=True)]
    decoding = decode_lines(arriving(times[1:], texts), robot_for(512.0), 23.0)
    # It takes a hundred lines of an even wheel to see it.
    wrong_s, blank_s = wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.006, from_s=4.5)
    assert (wrong_s < 0.3, blank_s) == (True, 0.0)
    assert decoding.notices["own rpm by a nominal time"] > 0


@pytest.mark.parametrize("uneven_s", [0.003, *thorough(0.0, 0.0005)])
def test_own_rpm_divided_by_the_time_that_passed_is_left_as_it_is(wheel, uneven_s):
    times = loop(0.01, uneven_s=uneven_s)
    rpm = np.diff(np.floor(wheel.turns_at(times) * 512)) / 512 / np.diff(times) * 60
    texts = [f"t_ms={1000 * at:.0f},wheel_rpm={value:.0f}\n" for at, value in zip(times[1:], rpm, strict=True)]
    decoding = decode_lines(arriving(times[1:], texts), robot_for(512.0), 23.0)
    assert "own rpm by a nominal time" not in decoding.notices
    assert wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.006)[0] == 0.0


@pytest.mark.parametrize("signed", [True, *thorough(False)])
def test_a_counter_of_16_bits_under_a_profile_of_32_is_followed(wheel, signed):
    times = loop(0.01)
    counts = (np.floor(wheel.turns_at(times) * 2048).astype(int) + (1 << 15 if signed else 0)) % (1 << 16)
    counts = counts - (1 << 15 if signed else 0)
    texts = [f"t_ms={1000 * at:.0f},wheel_counts={count}\n" for at, count in zip(times, counts, strict=True)]
    decoding = decode_lines(arriving(times, texts), robot_for(2048.0), 23.0)
    wrong_s, blank_s = wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.006, from_s=3.5)
    pairs, made_up = matched(decoding.shots, [shot.time_s for shot in wheel.shots], 0.2)
    assert (wrong_s, blank_s) == (0.0, 0.0)
    assert (len(pairs), made_up) == (7, 0)
    assert decoding.notices["counter of 16 bits"] == 1
    assert decoding.notices["counter jump"] == 2


@pytest.mark.parametrize("lines_a_chunk", [1, *thorough(40)])
def test_fired_may_count_the_shots(wheel, lines_a_chunk):
    """0, 1, 2 … as shots leave; the first step above 1 shows that it counts. Before, 1 is a level with a dip in it."""
    times = loop(0.01)
    fired = np.searchsorted([shot.time_s for shot in wheel.shots], times, side="right")
    texts = [
        f"t_ms={1000 * at:.0f},wheel_rpm={wheel.rpm[wheel.index(at)]:.0f},fired={count}\n"
        for at, count in zip(times, fired, strict=True)
    ]
    chunks = [
        (float(times[min(i + lines_a_chunk, len(times)) - 1]) + 0.005, "".join(texts[i : i + lines_a_chunk]).encode())
        for i in range(0, len(texts), lines_a_chunk)
    ]
    pairs, made_up = matched(decode_lines(chunks, robot_for()).shots, [shot.time_s for shot in wheel.shots], 0.7)
    assert (len(pairs), made_up) == (7, 0)


@pytest.mark.parametrize("counts", [True, *thorough(False)])
def test_one_bit_of_a_quiet_line_fires_nothing(wheel, counts):
    """A 0 that became an 8 (bit 3), on a line without fault else; of a number of shots a digit too many."""
    times = loop(0.01)
    fired = np.searchsorted([shot.time_s for shot in wheel.shots], times, side="right") * counts
    fired[[300, 700, 1100, 1650]] ^= 8
    rpm = np.array([wheel.rpm[wheel.index(at)] for at in times]) if counts else 2000 + 3 * np.sin(40 * times)
    texts = [
        f"t_ms={1000 * at:.0f},wheel_rpm={value:.1f},fired={n}\n"
        for at, value, n in zip(times, rpm, fired, strict=True)
    ]
    pairs, made_up = matched(
        decode_lines(arriving(times, texts), robot_for()).shots, [shot.time_s for shot in wheel.shots], 0.7
    )
    assert (len(pairs), made_up) == (7 if counts else 0, 0)


def test_lines_in_our_names_are_not_told_to_use_our_names(wheel):
    """Where lines can be read but can't all be true, other names are no remedy."""
    rng = np.random.default_rng(6)
    times = loop(0.02, 8.0)
    counts = rng.permutation(np.floor(wheel.turns_at(times) * 56))
    line, robot = Line(robot_for()), robot_for()
    for at, data in arriving(times, [f"t_ms={rng.integers(10**6)},wheel_counts={n:.0f}\n" for n in counts]):
        line.feed(data, at)
    health = line.live("live", "", None, times[-1]).health
    assert 10 * health.good < health.lines
    told = " ".join(remedies(health, line.raw(), None, robot))
    assert told
    assert "name=value" not in told


@pytest.mark.parametrize(
    ("speed", "share"),
    [
        ("wheel_counts", 0.4),
        ("wheel_rpm", 0.9),
        *thorough(("wheel_counts", 0.9), ("wheel_rpm", 0.4)),
    ],
)
def test_of_two_robots_without_clocks_neither_is_shown(wheel, share, speed):
    """One robot's speed, the other one's or a mean of both would be shown, and nobody could tell."""
    rng = np.random.default_rng(7)
    times, texts = [], []
    for at in loop(0.01):
        for later_s, part, volts in ((0.0, 1.0, 12.8), (0.004, share, 12.2)):
            rpm = part * wheel.rpm[wheel.index(at)] + rng.normal(0, 5)
            said = f"{rpm:.0f}" if speed == "wheel_rpm" else f"{part * wheel.turns_at(at) * 56:.0f}"
            times.append(at + later_s)
            texts.append(f"{speed}={said},battery_v={volts + rng.normal(0, 0.01):.2f}\n")
    chunks = [(float(at + 0.002), text.encode()) for at, text in zip(times, texts, strict=True)]
    decoding = decode_lines(chunks, robot_for(), 23.0)
    later = [look for look in decoding.looks if look.time_s > 3.0]
    assert {(look.wheel_rpm, look.battery_v) for look in later} == {(None, None)}
    assert all(shot.arrival_s < 3.0 for shot in decoding.shots)
    assert any("two robots" in notice for notice in decoding.notices)


@pytest.mark.parametrize("speed", ["wheel_counts", "wheel_rpm"])
def test_a_battery_loaded_every_other_line_makes_no_second_robot(wheel, speed):
    """A stiff loop that sees its wheel late swings between full power and none, one line each."""
    chunks = []
    for i, at in enumerate(loop(0.02)):
        rpm = wheel.rpm[wheel.index(at)]
        said = int(rpm if speed == "wheel_rpm" else wheel.turns_at(at) * 56)
        volts = 12.2 - 0.8 * (i % 2) * (rpm > 200)
        text = f"t_ms={1000 * at:.0f},{speed}={said},battery_v={volts:.2f}\n"
        chunks.append((float(at + 0.002), text.encode()))
    decoding = decode_lines(chunks, robot_for(), 23.0)
    assert not any("two robots" in notice for notice in decoding.notices)
    assert all(look.wheel_rpm is not None for look in decoding.looks if look.time_s > 3.0)


def test_a_number_of_shots_of_many_digits_does_no_harm():
    line = Line(robot_for())
    for i in range(40):
        fired = 10**400 if i == 20 else 0
        line.feed(f'{{"t_ms":{20 * i},"wheel_rpm":1500,"fired":{fired}}}\n'.encode(), 0.02 * i)
    assert line.live("live", "", None, 0.8).wheel_rpm == 1500


def test_a_speed_under_another_name_is_named_beside_the_state():
    """Lines that bring a battery are good, so that nothing else says why no speed is shown."""
    line = Line(robot_for())
    for i in range(60):
        line.feed(f"t_ms={20 * i} left_rpm={1500 + i % 3} battery_v=9.8\n".encode(), 0.02 * i)
    live = line.live("live", "reading", None, 1.2)
    assert live.battery_v == 9.8
    assert "left_rpm is not read: is it the wheel speed?" in live.words
    for i in range(60, 120):
        line.feed(f"t_ms={20 * i} wheel_rpm={1500 + i % 3} battery_v=9.8\n".encode(), 0.02 * i)
    assert line.live("live", "reading", None, 2.4).words == "reading"
