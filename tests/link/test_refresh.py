"""A counter that is read at even times of its own is timed by all of its readings, not by the two lines around one."""

from __future__ import annotations

import numpy as np
import pytest
from decode_lines import decode_lines, matched, robot_for, wrong_and_blank
from student_firmware import Firmware, sent
from thorough import thorough
from wheel_controllers import session

from fieldtune.link.wheel.refresh import RefreshTimes


def placed(refresh_hz, line_hz, jitter_s=0.0, count=400, seed=3):
    """Errors (n,) of the times of readings, and what was said of their uncertainty (n,), seconds."""
    rng = np.random.default_rng(seed)
    true = 0.0037 + np.arange(count) / refresh_hz + rng.uniform(0, jitter_s, count)
    lines = np.arange(0, true[-1] + 1, 1 / line_hz) + rng.uniform(0, 0.0002, int((true[-1] + 1) * line_hz) + 1)
    times = RefreshTimes()
    behind = np.searchsorted(lines, true)
    said = [times.place(lines[i - 1], lines[i], 0.001) for i in behind]
    return np.array([at for at, _ in said]) - true, np.array([spread for _, spread in said])


@pytest.mark.parametrize(("refresh_hz", "line_hz"), [(33.0, 100.0), (30.0, 100.0), (23.0, 200.0), (47.0, 100.0)])
def test_readings_are_placed_far_better_than_between_two_lines(refresh_hz, line_hz):
    errors, spread = placed(refresh_hz, line_hz)
    assert np.abs(errors[60:]).max() < 0.0015 < 0.5 / line_hz
    assert np.all(spread[60:] < 0.5 / line_hz)


def test_readings_in_step_with_the_lines_are_late_by_the_same():
    errors, _ = placed(50.0, 100.0)
    assert np.ptp(errors[20:]) < 0.001


def test_an_uneven_program_is_timed_by_its_lines():
    errors, spread = placed(30.0, 100.0, jitter_s=0.02)
    assert np.abs(errors).max() < 0.0101
    assert spread.min() > 0.0009


@pytest.mark.parametrize("hz", [30.0, 47.0, *thorough(23.0, 50.0)])
def test_speed_and_shots_follow_from_the_readings(hz):
    wheel = session("PI soft")
    chunks = sent(Firmware(refresh_hz=hz), wheel)
    decoding = decode_lines(chunks, robot_for(), 23.0)
    wrong_s, blank_s = wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.003)
    pairs, made_up = matched(decoding.shots, [shot.time_s for shot in wheel.shots], 0.2)
    assert (len(pairs), made_up) == (7, 0)
    assert wrong_s < 0.2
    assert blank_s < 0.4


@pytest.mark.parametrize("after_s", [0.0, 0.01, 0.02, 0.03, 0.04])
def test_a_wire_pulled_between_two_readings_is_unknown_not_zero(after_s):
    """The last reading counts only up to the pull, so that the wheel seems to have slowed down."""
    wheel = session("PI soft")
    chunks = sent(Firmware(refresh_hz=20.0, dead_s=10.0 + after_s), wheel)
    looks = decode_lines([chunk for chunk in chunks if chunk[0] < 13], robot_for(), 13.0).looks
    assert all(look.wheel_rpm is None for look in looks if look.time_s > 10.4)
