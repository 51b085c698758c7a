"""Wheel speed by local slopes, against numpy's and scipy's own fits, and against wheels of known speed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from link_wheel import COUNTS_PER_TURN, wheel_turns
from scipy.signal import savgol_filter

from fieldtune import load_robot
from fieldtune.link import Line
from fieldtune.link.wheel.wheel_speed import SpeedTrack


@settings(deadline=None)
@given(st.integers(0, 10_000))
def test_it_is_the_least_squares_slope_over_a_window(seed):
    """numpy.polyfit over the last n lines, for some n; on even spacing that is scipy's savgol_filter, order 1."""
    rng = np.random.default_rng(seed)
    t = np.arange(60) * 0.01
    turns = 25 * t + rng.uniform(-0.2, 0.2, 60) / COUNTS_PER_TURN
    track = SpeedTrack(1 / COUNTS_PER_TURN)
    said = [track.add(a, b, 1e-6) for a, b in zip(t, turns, strict=True)][-1]
    fits = {n: np.polyfit(t[-n:], turns[-n:], 1)[0] * 60 for n in range(3, 60)}
    n = min(fits, key=lambda n: abs(fits[n] - said))
    assert said == pytest.approx(fits[n], rel=1e-9)
    assert n >= 15  # an even run is fitted over a long window
    if n % 2:
        middle = savgol_filter(turns[-n:], n, 1, deriv=1, delta=0.01)[n // 2] * 60
        assert said == pytest.approx(middle, rel=1e-9)


@pytest.mark.parametrize("counts_per_turn", [1, 2, 4])
@pytest.mark.parametrize("rate", [50.0, 200.0, 1000.0])
def test_one_magnet_a_turn_is_timed_by_its_counts(counts_per_turn, rate):
    """Steady at 1,483 rpm, lines and counts in slow beat: mostly shown, within 3 %, and never off by more than 5 %."""
    t, turns = wheel_turns(lambda t: np.full_like(t, 1483.0), 4.0)
    read = np.arange(0.05, 3.9, 1 / rate)
    counted = np.floor(np.interp(read, t, turns) * counts_per_turn) / counts_per_turn
    track = SpeedTrack(1 / counts_per_turn)
    said = [track.add(a, b, 1e-3) for a, b in zip(read, counted, strict=True)]
    shown = np.array([s for s, at in zip(said, read, strict=True) if s is not None and at > 1.5])
    assert len(shown) > 0.5 * np.sum(read > 1.5)
    assert np.quantile(np.abs(shown / 1483 - 1), 0.95) < 0.03
    assert np.max(np.abs(shown / 1483 - 1)) < 0.05


def test_a_stopped_wheel_is_zero_and_a_coarse_one_unknown_before():
    for counts_per_turn, within in ((56, 0.2), (1, 1.05)):
        track = SpeedTrack(1 / counts_per_turn)
        turns = np.concatenate([np.arange(200) * 0.25, np.full(150, 199 * 0.25)])
        counted = np.floor(turns * counts_per_turn) / counts_per_turn
        said = [track.add(i * 0.01, x, 1e-3) for i, x in enumerate(counted)]
        stopped = said[200:]
        assert stopped[round(within * 100) :] == [0.0] * (150 - round(within * 100))
        assert all(s is None or s in (0.0, said[199]) for s in stopped)


def _track(rpm_at, seconds, *, rate=100.0, tick=1e-3):
    t, turns = wheel_turns(rpm_at, seconds)
    read = np.arange(0.05, seconds - 0.01, 1 / rate)
    counted = np.floor(np.interp(read, t, turns) * COUNTS_PER_TURN) / COUNTS_PER_TURN
    stamped = np.floor(read / tick) * tick
    track = SpeedTrack(1 / COUNTS_PER_TURN)
    said = [track.add(a, b, tick) for a, b in zip(stamped, counted, strict=True)]
    true = rpm_at(read)
    return read, np.array([np.nan if s is None else s for s in said]), true


@pytest.mark.parametrize("rpm", [300.0, 1000.0, 2500.0])
@pytest.mark.parametrize("tick", [1e-3, 1e-6])
def test_even_running_is_quieter_than_two_point_differences(rpm, tick):
    read, said, true = _track(lambda t: np.full_like(t, rpm), 4.0, tick=tick)
    settled = read > 0.5
    error = said[settled] - true[settled]
    assert np.sqrt(np.mean(error**2)) < 0.006 * rpm + 1.0
    # a two-point difference knows one count in 10 ms: 107 rpm on this encoder
    assert np.max(np.abs(error)) < 0.25 * 60 / COUNTS_PER_TURN * 100


def test_spin_up_is_followed_without_lagging():
    """1,500 rpm/s: the shown speed is never more than 70 ms behind."""
    read, said, true = _track(lambda t: np.clip((t - 0.5) * 1500, 0, 2400), 3.0)
    ok = (read > 0.3) & np.isfinite(said)
    assert np.max(np.abs(said - true)[ok]) < 1500 * 0.07


def test_a_drop_shows_within_60_ms():
    read, said, _ = _track(lambda t: np.where(t < 1.0, 2000.0, 1700.0), 2.0)
    behind = (read > 1.06) & (read < 1.2)
    assert np.all(np.abs(said[behind] - 1700) < 60)


def test_few_counts_far_apart_are_not_a_speed():
    track = SpeedTrack(1 / COUNTS_PER_TURN)
    assert [track.add(0.1 * i, 2.5 * i, 1e-3, thin_s=0.15) for i in range(8)] == [None] * 8
    track = SpeedTrack(1 / COUNTS_PER_TURN)
    said = [track.add(0.1 * i, 2.5 * i, 1e-3, thin_s=0.8) for i in range(8)]
    assert said[-1] == pytest.approx(1500, rel=0.01)


def test_a_false_count_among_few_is_seen():
    """Three lines agree; where the line is noisy five have to, and one false count of them leaves no speed."""
    for false in range(1, 5):
        track = SpeedTrack(1 / COUNTS_PER_TURN)
        said = [track.add(0.1 * i, 2.5 * i + 0.5 * (i == false), 1e-3, thin_s=0.8, noisy=True) for i in range(5)]
        assert said == [None] * 5


@pytest.mark.parametrize("hz", [2, 5, 50])
def test_a_wheel_that_has_begun_to_turn_is_not_said_to_stand(hz):
    """A line alone may be false, and two tell too little of a speed: until then it is unknown."""
    line, due_s = Line(load_robot("heron")), 2.0
    for i in range(6 * hz):
        at = i / hz
        line.feed(f"t_ms={1000 * at:.0f},wheel_counts={max(at - 3.1, 0) * 5000:.0f},battery_mv=9800\n".encode(), at)
        while due_s < (i + 1) / hz:
            rpm = line.live("live", "", None, due_s).wheel_rpm
            if due_s < 3.0:
                assert rpm == 0.0
            elif due_s > 3.2 + 1 / hz:
                assert rpm != 0.0
            due_s += 0.05
