"""Shots are seen where the wheel drops, and nowhere else. All wheel data here is made up by these tests."""

from __future__ import annotations

import numpy as np
import pytest
from link_wheel import count_lines, shots_seen, wheel_speed, wheel_turns
from thorough import thorough

from fieldtune import load_robot
from fieldtune.link import Line
from fieldtune.link.text.checksums import framed

NOISES = {
    "fine": {"clock": "us", "count_noise": 0.0, "time_noise_s": 0.0},
    "usual": {"clock": "ms", "count_noise": 0.3, "time_noise_s": 0.0002},
    "rough": {"clock": "ms", "count_noise": 0.7, "time_noise_s": 0.0004},
}


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


def _matched(seen, shots):
    caught = sum(any(abs(at - shot) < 0.08 for at, _ in seen) for shot in shots)
    false = sum(not any(abs(at - shot) < 0.08 for shot in shots) for at, _ in seen)
    return caught, false


@pytest.mark.parametrize(("noise", "least"), [("usual", 0.98), *thorough(("rough", 0.80), ("fine", 0.99))])
def test_shots_are_caught_and_none_is_made_up(heron, noise, least, capsys):
    rng = np.random.default_rng(5)
    caught = false = total = 0
    for _ in range(4):
        setpoint, share = rng.uniform(1200, 2500), rng.uniform(0.07, 0.16)
        shots = np.cumsum(rng.uniform(0.6, 1.6, 14)) + 0.8
        recovery = rng.uniform(0.1, 0.4)
        t, turns = wheel_turns(lambda x: wheel_speed(x, setpoint, shots, share, recovery), shots[-1] + 1.5)  # noqa: B023
        hit, extra = _matched(shots_seen(heron, count_lines(t, turns, rng, **NOISES[noise])), shots)
        caught, false, total = caught + hit, false + extra, total + len(shots)
    with capsys.disabled():
        print(f"\nshots at {noise} noise: {caught} of {total} caught, {false} false")
    assert caught >= least * total
    assert false == 0


def test_two_shots_150_ms_apart_stay_two(heron):
    rng = np.random.default_rng(6)
    for trial in range(4):
        pair = (1.0 + 0.17 * trial, 1.15 + 0.17 * trial)
        t, turns = wheel_turns(lambda x: wheel_speed(x, 2200.0, pair, 0.12, 0.35), 3.5)  # noqa: B023
        seen = shots_seen(heron, count_lines(t, turns, rng, **NOISES["usual"]))
        assert _matched(seen, pair) == (2, 0)
        assert len(seen) == 2


@pytest.mark.parametrize(
    "motion",
    [
        lambda t: np.interp(t, [0, 1, 2.5, 4, 9], [0, 0, 2300, 2300, 2300]),  # spin-up
        lambda t: np.where(t < 2, 2300.0, 2300 * np.exp(-(t - 2) / 3.0)),  # switched off, coasting
        lambda t: np.interp(t, [0, 2, 2.4, 9], [2300, 2300, 1200, 1200]),  # braked hard
        lambda t: 1800 + 60 * np.sin(2 * np.pi * 1.5 * t),  # a hunting speed loop
        lambda t: np.where(t < 1, 0.0, 2200 * (1 - np.exp(-(t - 1) / 0.25) * np.cos(5 * (t - 1)))),  # overshoot
        lambda t: np.interp(t, [0, 2, 4, 9], [2300, 2300, 900, 900]),  # a knob turned down
    ],
    ids=["spin-up", "coasting", "braked", "hunting", "overshoot", "turned down"],
)
@pytest.mark.parametrize("noises", [("usual",), *thorough((tuple(NOISES),))], ids=["usual", "all"])
def test_what_is_no_shot_is_not_seen_as_one(heron, motion, noises):
    rng = np.random.default_rng(7)
    for noise in (NOISES[name] for name in noises):
        t, turns = wheel_turns(motion, 5.5)
        assert shots_seen(heron, count_lines(t, turns, rng, **noise)) == []


def test_speed_depth_and_energy_of_a_shot(heron):
    """Against the wheel that was written: speed at release within 1 %, depth within a quarter."""
    rng = np.random.default_rng(8)
    shots = np.arange(1.0, 20.0, 1.5)
    t, turns = wheel_turns(lambda x: wheel_speed(x, 2000.0, shots, 0.12, 0.3), 21.0)
    seen = [shot for _, shot in shots_seen(heron, count_lines(t, turns, rng, **NOISES["usual"]))]
    assert len(seen) == len(shots)
    speeds = np.array([s.speed_rpm for s in seen])
    depths = np.array([s.depth_rpm for s in seen])
    assert np.all(np.abs(speeds / 2000.0 - 1) < 0.012)
    assert abs(np.mean(depths) / 240.0 - 1) < 0.15
    assert np.all(np.abs(depths / 240.0 - 1) < 0.4)
    # 1/2 I (w0^2 - w1^2) for a pair of 180 kg mm^2 wheels.
    inertia = 1.8e-4 * 2
    rad = 2 * np.pi / 60
    true_j = inertia / 2 * ((2000 * rad) ** 2 - (1760 * rad) ** 2)
    assert abs(np.mean([s.energy_j for s in seen]) / true_j - 1) < 0.15
    # back at 98 % of 2000 rpm once 240 exp(-t / 0.3) has fallen to 40
    assert abs(np.median([s.recovery_s for s in seen]) - 0.3 * np.log(6.0)) < 0.12


@pytest.mark.parametrize(
    ("rate_hz", "recovery_s", "least"), [(50, 0.12, 0.7), (100, 0.06, 0.8), *thorough((200, 0.06, 0.8))]
)
def test_a_wheel_that_recovers_within_a_few_lines_fell_deeper_than_they_show(heron, rate_hz, recovery_s, least):
    rng = np.random.default_rng(9)
    shots = np.arange(1.0, 30.0, 1.5) + np.linspace(0, 0.05, 20)
    t, turns = wheel_turns(lambda x: wheel_speed(x, 2000.0, shots, 0.12, recovery_s), 31.0)
    seen = [shot for _, shot in shots_seen(heron, count_lines(t, turns, rng, rate_hz=rate_hz))]
    assert len(seen) >= 19
    assert np.all(np.abs(np.array([s.speed_rpm for s in seen]) / 2000.0 - 1) < 0.004)
    assert least < np.mean([s.depth_rpm for s in seen]) / 240.0 < 1.15


def _fed(robot, lines, period=0.01):
    line = Line(robot)
    for i, text in enumerate(lines):
        line.feed(text.encode() if isinstance(text, str) else text, i * period)
    return line


def _steady(i, fired=0):
    return f"t_ms={i * 10},wheel_counts={int(i * 25.2)},fired={fired}"


def test_fired_on_a_clean_line_counts_even_if_the_wheel_hardly_drops(heron):
    line = _fed(heron, [framed(_steady(i, int(i == 100))) for i in range(200)])
    assert [(s.by, s.depth_rpm) for s in line.shots] == [("fired", None)]
    assert line.shots[0].time_s == pytest.approx(1.0)
    assert line.shots[0].speed_rpm == pytest.approx(1500, rel=0.01)


def test_fired_held_for_several_lines_is_one_shot(heron):
    line = _fed(heron, [framed(_steady(i, int(100 <= i < 108))) for i in range(200)])
    assert len(line.shots) == 1


def test_fired_on_a_noisy_line_without_a_witness_is_no_shot(heron):
    lines = [framed(_steady(i, int(i == 100))) if i % 9 else b"$t_ms=1*00\n" for i in range(200)]
    line = _fed(heron, lines)
    assert line.shots == ()
    assert line.health().notices["shot not confirmed"] == 1


def test_a_drop_that_the_robot_calls_no_shot_is_none(heron):
    """A robot that sends ``fired`` knows: a jam or an intake that brakes the wheel is no shot."""
    t, turns = wheel_turns(lambda x: wheel_speed(x, 2000.0, (2.0,), 0.12, 0.3), 4.0)
    lines = count_lines(t, turns, np.random.default_rng(1), **NOISES["usual"], extra=",fired=0")
    assert shots_seen(heron, lines) == []


def test_a_robot_that_never_says_fired_is_asked_about_and_then_its_wheel_is_believed(heron):
    """A program may print ``fired=0`` for ever, as nobody filled it in."""
    t, turns = wheel_turns(lambda x: wheel_speed(x, 2000.0, (2.0, 3.2, 4.4, 5.6, 6.8), 0.12, 0.3), 8.5)
    line = Line(heron)
    for at, text in count_lines(t, turns, np.random.default_rng(1), **NOISES["usual"], extra=",fired=0"):
        line.feed(text, at)
    assert [s.arrival_s for s in line.shots] == pytest.approx([4.4, 5.6, 6.8], abs=0.05)
    unsure = line.live("live", "live", None, 8.5).unsure
    assert unsure.arrival_s == pytest.approx(3.2, abs=0.05)


def _draws(*stretches):
    """Draw in mm at 100 lines a second: (until seconds, start, end) stretches, one after another."""
    said, before = [], 0.0
    for until, start, end in stretches:
        n = round((until - before) * 100)
        said += list(np.linspace(start, end, n, endpoint=False))
        before = until
    return [f"t_ms={i * 10},draw_mm={draw:.2f}\n" for i, draw in enumerate(said)]


def test_a_draw_let_go_is_a_shot_and_let_down_is_not():
    otter = load_robot("otter")
    shot = _draws((1, 0, 33), (2, 33, 33), (2.02, 33, 0), (3, 0, 0), (4, 0, 33), (5, 33, 33), (5.02, 33, 0), (6, 0, 0))
    line = _fed(otter, shot)
    assert [(s.by, s.draw_mm) for s in line.shots] == [("wheel", 33.0)] * 2
    assert [s.time_s for s in line.shots] == pytest.approx([2.0, 5.0], abs=0.03)
    let_down = _draws((1, 0, 33), (2, 33, 33), (2.8, 33, 0), (4, 0, 0))
    assert _fed(otter, let_down).shots == ()
    spikes = [t.replace("33.00", "0.00") if i % 40 == 7 else t for i, t in enumerate(_draws((1, 0, 33), (6, 33, 33)))]
    assert _fed(otter, spikes).shots == ()


def test_without_wheel_or_draw_only_fired_tells(heron):
    line = _fed(heron, [f"t_ms={i * 10},battery_mv=9800,fired={int(i in (50, 90))}\n" for i in range(200)])
    assert [s.by for s in line.shots] == ["fired", "fired"]
    assert line.shots[0].speed_rpm is None


def test_the_robots_own_rpm_serves_as_well(heron):
    """A drop is seen in ``wheel_rpm`` too, with half a per cent of noise on it."""
    rng = np.random.default_rng(3)
    t = np.arange(0, 12, 0.01)
    rpm = wheel_speed(t, 2000.0, np.arange(2.0, 11.0, 1.5), 0.12, 0.3) * (1 + 0.005 * rng.standard_normal(len(t)))
    line = _fed(heron, [f"t_ms={i * 10},wheel_rpm={value:.1f}\n" for i, value in enumerate(rpm)])
    assert len(line.shots) == 6


def test_recovery_across_missing_lines_is_unknown(heron):
    """The wheel may have been back long before the lines went on."""
    t, turns = wheel_turns(lambda x: wheel_speed(x, 2200.0, (1.0,), 0.12, 0.35), 4.0)
    lines = count_lines(t, turns, np.random.default_rng(8), **NOISES["usual"])
    ((_, whole),) = shots_seen(heron, lines)
    assert whole.recovery_s is not None
    begin = lines[0][0]
    ((_, gap),) = shots_seen(heron, [(at, data) for at, data in lines if not 1.45 < at - begin < 2.6])
    assert gap.recovery_s is None
