"""Wheel speed by local slopes, against numpy's and scipy's own fits, and against wheels of known speed."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from link_wheel import COUNTS_PER_TURN, wheel_turns
from scipy.signal import savgol_filter

from fieldtune.link.speed import SpeedTrack, local_slope


def test_equal_weights_are_savitzky_and_golay():
    """On even spacing a wide triangular window has equal weights: scipy's savgol_filter, derivative 1."""
    rng = np.random.default_rng(1)
    t = np.arange(101) * 0.01
    x = np.sin(3 * t) + 0.01 * rng.standard_normal(101)
    for order in (1, 2):
        expected = savgol_filter(x, 11, order, deriv=1, delta=0.01)[50]
        near = slice(45, 56)
        assert local_slope(t[near], x[near], t[50], 1e6, order) == pytest.approx(expected, rel=1e-6)


@settings(deadline=None)
@given(st.integers(0, 10_000))
def test_weights_are_numpys_polyfit(seed):
    """numpy.polyfit takes the square roots of weights; triangular weights over uneven spacing."""
    rng = np.random.default_rng(seed)
    t = np.sort(rng.uniform(0, 1, 30))
    x = 5 * t + rng.standard_normal(30)
    weights = np.sqrt(np.maximum(1 - np.abs(t - 0.5) / 0.4, 0))
    inside = weights > 0
    expected = np.polyfit(t[inside] - 0.5, x[inside], 1, w=weights[inside])[0]
    assert local_slope(t, x, 0.5, 0.4) == pytest.approx(expected, rel=1e-8, abs=1e-8)


def test_too_few_points_have_no_slope():
    assert np.isnan(local_slope([0.0], [1.0], 0.0, 1.0))


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
    assert [track.add(0.1 * i, 2.5 * i, 1e-3, thin_s=0.25) for i in range(8)] == [None] * 8
    track = SpeedTrack(1 / COUNTS_PER_TURN)
    assert track.add(0, 0, 1e-3) is None
    said = [track.add(0.1 * i, 2.5 * i, 1e-3, thin_s=0.8) for i in range(1, 8)]
    assert said[-1] == pytest.approx(1500, rel=0.01)
