"""The speed told of a shot is the wheel's at the moment the element starts to take it, and when it was back again.

Wheels and robot programs are the tests' own, apart from the product.
"""

from __future__ import annotations

import numpy as np
import pytest
from decode_lines import decode_lines, matched, robot_for
from link_wheel import count_lines, shots_seen, wheel_speed, wheel_turns
from student_firmware import Firmware, sent
from thorough import thorough
from wheel_controllers import shooting

from fieldtune import load_robot
from fieldtune.link import Line
from fieldtune.link.wheel.release_speed import speed_at_release


def _errors(control, share, firmware, seed=58):
    """Of the speed told of each shot, percent."""
    wheel = shooting(control, share, 72, seed)
    found = decode_lines(sent(firmware, wheel, seed), robot_for(firmware.counts_per_turn, share)).shots
    pairs, _ = matched(found, [shot.time_s for shot in wheel.shots], 0.2)
    assert len(pairs) > 66
    return np.array([100 * (found[i].speed_rpm / wheel.shots[j].before_rpm - 1) for i, j in pairs])


@pytest.mark.parametrize(
    ("control", "share", "rate_hz", "counts", "speed", "most"),
    [
        ("feed-forward", 0.08, 50.0, 2048.0, "counts", 0.4),  # still on its way back from the last shot
        *thorough(
            ("on-off", 0.12, 100.0, 2048.0, "counts", 0.95),  # jerked up by 2 % every 0.2 s
            ("on-off", 0.15, 100.0, 2048.0, "counts", 0.95),
            ("PI winding up", 0.05, 50.0, 4096.0, "rpm", 0.5),  # beyond its setpoint, and on its way down
            ("PI stiff", 0.12, 100.0, 56.0, "counts", 0.4),
        ),
    ],
)
def test_the_speed_is_that_of_the_moment_not_of_the_run_before(control, share, rate_hz, counts, speed, most):
    """Nine of ten shots within ``most`` percent; none of the kinds is told too fast or too slow on the whole."""
    errors = _errors(control, share, Firmware(rate_hz=rate_hz, counts_per_turn=counts, speed=speed))
    assert np.percentile(np.abs(errors), 90) < most
    assert abs(errors.mean()) < 0.2


def _read(rng, rpm, shot_s, every_s, spread):
    """Times and turns as a line tells them, ``spread`` turns off, of a wheel of speeds ``rpm`` at each millisecond."""
    fine = np.arange(len(rpm)) / 1000
    turns = np.concatenate([[0.0], np.cumsum(rpm[:-1]) / 60_000])
    t = np.arange(0.0, shot_s + 0.08, every_s)
    return t - shot_s, np.interp(t, fine, turns) + spread * rng.standard_normal(len(t))


def test_a_jump_just_before_the_drop_is_followed_as_far_as_the_reading_tells():
    """A wheel jerked up by 2 % 60 ms before the drop: a fine encoder shows it, a coarse one not so well."""
    rng, off = np.random.default_rng(12), {}
    for spread in (0.0005, 0.05):
        told = []
        for _ in range(40):
            shot_s = 0.5 + rng.uniform(0, 0.01)
            ms = np.arange(700) / 1000
            rpm = np.where(ms < shot_s - 0.06, 1960.0, 2000.0) - 240.0 * (ms >= shot_s)
            t, turns = _read(rng, rpm, shot_s, 0.01, spread)
            told.append(60 * speed_at_release(t, turns, spread**2 * np.eye(len(t)), 0.01))
        off[spread] = np.abs(np.array(told) / 2000.0 - 1)
    assert off[0.0005].max() < 0.005
    assert off[0.05].mean() > 0.005


def test_a_coarse_reading_gets_a_longer_mean_than_a_fine_one_needs():
    """Of an even wheel: less than half as far off as a straight line through the last tenth of a second."""
    rng, told, line = np.random.default_rng(13), [], []
    for _ in range(200):
        shot_s = 0.5 + rng.uniform(0, 0.01)
        rpm = 2000.0 - 240.0 * (np.arange(700) / 1000 >= shot_s)
        t, turns = _read(rng, rpm, shot_s, 0.01, 0.02)
        told.append(speed_at_release(t, turns, 0.02**2 * np.eye(len(t)), 0.01))
        lately = (t < 0) & (t > -0.1)
        line.append(np.polyfit(t[lately], turns[lately], 1)[0])
    error, short = (np.sqrt(np.mean((np.array(some) * 60 / 2000 - 1) ** 2)) for some in (told, line))
    assert error < 0.5 * short


def test_false_counts_give_a_number_all_the_same():
    """Turns that go up and down at will, as a bad wire has them, or stand still."""
    rng = np.random.default_rng(15)
    for _ in range(300):
        t = np.cumsum(rng.uniform(0.004, 0.03, rng.integers(5, 80)))
        turns = np.cumsum(rng.uniform(-1.0, 2.0, len(t))) * rng.choice([0.0, 1.0, 1000.0])
        assert np.isfinite(speed_at_release(t - t[-3], turns, 1e-9 * np.eye(len(t)), 0.01))


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


def _recovery(robot, recovery_s, missing):
    """What is said of one shot at 1.5 s whose wheel comes back with ``recovery_s``, with lines missing between."""
    t, turns = wheel_turns(lambda x: wheel_speed(x, 2200.0, (1.5,), 0.12, recovery_s), 4.5)
    lines = count_lines(t, turns, np.random.default_rng(14), clock="us")
    ((_, shot),) = shots_seen(robot, [(at, data) for at, data in lines if not missing[0] < at < missing[1]])
    return shot.recovery_s


@pytest.mark.parametrize("long_s", [0.08, 0.2, 0.35])
def test_a_wheel_that_came_back_while_lines_were_missing_has_no_recovery_time(heron, long_s):
    back_s = 0.35 * np.log(6.0)  # 240 rpm less, exp(-t / 0.35) of it, down to 2 % of 2200
    assert _recovery(heron, 0.35, (9.0, 9.0)) == pytest.approx(back_s, abs=0.04)
    assert _recovery(heron, 0.35, (1.5 + back_s - long_s / 2, 1.5 + back_s + long_s / 2)) is None
    assert _recovery(heron, 0.35, (1.7, 1.75)) == pytest.approx(back_s, abs=0.04)


def test_a_coarse_encoder_does_not_call_a_slow_wheel_back_too_soon():
    """By chance one of many short looks at 12 counts a turn shows 2 % more than there is."""
    wheel = shooting("feed-forward", 0.12, 48, 59)
    chunks = sent(Firmware(rate_hz=100.0, counts_per_turn=12.0), wheel, 59)
    line, seen = Line(robot_for(12.0, 0.12)), {}
    for at, data in chunks:
        line.feed(data, at)
        seen |= {shot.number: shot for shot in line.shots[-4:]}
    said = [shot.recovery_s for shot in seen.values() if shot.recovery_s is not None]
    back = []
    for shot in wheel.shots:
        first = wheel.index(shot.time_s) + 1
        back.append(int(np.argmax(wheel.rpm[first:] >= 0.98 * shot.before_rpm)) / 1000)
    assert len(said) > 40
    assert np.percentile(said, 10) > np.percentile(back, 10) - 0.12
    assert np.median(said) == pytest.approx(np.median(back), abs=0.06)
