"""Own rpm in whole counts, as it is and low-passed: told by the steps that are in it.

What a low-pass holds a slow change back by is its time constant, less half a reading in steps: the mean delay of
x += (y - x) / m is m - 1 readings (geometric series; Oppenheim & Willsky, Signals and Systems, 1997, 6.6.1).
"""

import numpy as np
import pytest

from fieldtune.link.wheel.reading_grid import ReadingGrid


def readings(counts_per_turn, apart_s, seconds, seed, swing_rpm=15.0):
    """Times (n,), and rpm (n,) by whole counts over the time between two readings, of a wheel that swings a little."""
    rng = np.random.default_rng(seed)
    times = np.arange(0.0, seconds, apart_s)
    rpm = 2083.0 + swing_rpm * np.sin(2 * np.pi * 0.7 * times) + np.cumsum(rng.normal(0, 1.0, len(times)))
    counts = np.floor(np.cumsum(rpm / 60 * apart_s) * counts_per_turn + rng.uniform())
    return times[1:], 60 * np.diff(counts) / counts_per_turn / apart_s


def low_passed(rpm, weight):
    given = [rpm[0]]
    for one in rpm[1:]:
        given.append(given[-1] + (one - given[-1]) / weight)
    return np.array(given)


def told(times, rpm, decimals):
    grid = ReadingGrid()
    for time_s, one in zip(times, rpm, strict=True):
        grid.see(time_s, round(one, decimals))
    return grid.lead_s


@pytest.mark.parametrize(("counts", "decimals"), [(12, 0), (56, 0), (56, 2), (360, 2), (2048, 2)])
def test_counts_as_they_are_are_no_low_pass(counts, decimals):
    assert told(*readings(counts, 0.02, 12.0, seed=3), decimals) == 0.0


@pytest.mark.parametrize(
    ("counts", "weight", "decimals"), [(24, 10, 1), (56, 5, 0), (56, 10, 1), (56, 25, 2), (360, 10, 2), (2048, 10, 2)]
)
@pytest.mark.parametrize("seed", [4, 5, 6])
def test_the_delay_of_a_low_pass_is_told_without_a_shot(counts, weight, decimals, seed):
    times, rpm = readings(counts, 0.02, 12.0, seed)
    lead_s = told(times, low_passed(rpm, weight), decimals)
    assert lead_s == pytest.approx((weight - 1) * 0.02, rel=0.15)


@pytest.mark.parametrize("seed", range(7, 13))
@pytest.mark.parametrize("decimals", [0, 2])
def test_what_was_never_in_counts_tells_nothing(seed, decimals):
    rng = np.random.default_rng(seed)
    times = np.arange(0.0, 12.0, 0.02)
    rpm = low_passed(2000.0 + rng.normal(0, 20.0, len(times)), 10.0)  # as of a voltage that is measured
    assert told(times, rpm, decimals) is None


def test_a_wheel_that_spins_up_evenly_is_on_no_grid():
    times = np.arange(0.0, 6.0, 0.02)
    rng = np.random.default_rng(13)
    assert told(times, 400.0 + 300.0 * times + rng.normal(0, 0.3, len(times)), 2) is None


def test_counts_told_anew_take_a_low_pass_back():
    times, rpm = readings(56, 0.02, 30.0, seed=14)
    half = len(rpm) // 2
    grid = ReadingGrid()
    for time_s, one in zip(times[:half], low_passed(rpm, 10)[:half], strict=True):
        grid.see(time_s, round(one, 2))
    assert grid.lead_s == pytest.approx(0.18, rel=0.15)
    for time_s, one in zip(times[half:], rpm[half:], strict=True):
        grid.see(time_s, round(one, 2))
    assert grid.lead_s == 0.0
