"""What a reading does by itself is learned, and drops are told from it: on-off control, coarse counts, bad wires.

Wheels and robot programs are the tests' own, apart from the product.
"""

from __future__ import annotations

import numpy as np
import pytest
from decode_lines import caught
from student_firmware import Firmware
from thorough import thorough
from wheel_controllers import shooting

from fieldtune.link.wheel.wheel_noise import WheelNoise

CELL_S = 0.01


def _speeds(rng, n):
    """Mean speeds in cells, turns/s, of a wheel at 30 turns/s: whole counts, and a control that swings at 8 Hz."""
    t = np.arange(n + 1) * CELL_S
    swing = 0.004 * np.sin(2 * np.pi * 8 * t + np.cumsum(0.2 * rng.standard_normal(n + 1)))
    turns = 30.0 * t + swing + rng.uniform(0, 1)
    return np.diff(np.floor(turns * 56) / 56) / CELL_S


def test_errors_are_independent_and_of_size_one_once_learned():
    """Learned from one run and tried on another; a twentieth of the stretches have an event that must not count."""
    rng = np.random.default_rng(4)
    noise = WheelNoise()
    noise.assume(coarseness=(1 / 56) ** 2 / 12, rounding=(1 / 56) ** 2 / 12, cell_s=CELL_S, speed=30.0, adds_up=False)
    for i in range(80):
        stretch = _speeds(rng, 60)
        if i % 20 == 3:
            stretch[20:45] -= np.linspace(4.0, 0.0, 25)
        noise.see(stretch, np.ones(60), CELL_S)
    edges = np.arange(81)
    matrix = noise.whitening(edges[:-1], edges[1:]).matrix
    white = np.array([matrix @ (speeds - 30.0) for speeds in (_speeds(rng, 80) for _ in range(60))])
    assert 0.7 < white[:, 10:].std() < 1.3
    near = [np.mean(white[:, 10:-k] * white[:, 10 + k :]) / white[:, 10:].var() for k in (1, 2, 6)]
    assert np.abs(near).max() < 0.25
    plain = np.array([_speeds(rng, 80) for _ in range(60)]) - 30.0
    assert np.mean(plain[:, :-1] * plain[:, 1:]) / plain.var() < -0.1  # which the readings themselves are not


def _shows(noise, course):
    """By how many standard errors a course of the speed (n,) stands out."""
    edges = np.arange(len(course) + 1)
    return float(np.linalg.norm(noise.whitening(edges[:-1], edges[1:]).matrix @ course))


def _learned(added):
    """From 60 stretches, to five of six of which ``added`` (60,) is added."""
    rng, noise = np.random.default_rng(5), WheelNoise()
    noise.assume(coarseness=(1 / 56) ** 2 / 12, rounding=(1 / 56) ** 2 / 12, cell_s=CELL_S, speed=30.0, adds_up=False)
    for i in range(60):
        noise.see(_speeds(rng, 60) + added * (i % 6 > 0), np.ones(60), CELL_S, until_s=float(i))
    return noise


def test_an_even_drift_is_no_noise():
    """A fit allows for it."""
    dip = np.r_[np.zeros(30), -np.linspace(0.8, 0.0, 30)]
    quiet, drifting = _learned(np.zeros(60)), _learned(np.linspace(-0.4, 0.4, 60))
    assert _shows(drifting, dip) > 0.9 * _shows(quiet, dip)


@pytest.mark.parametrize("depth", [0.5, 0.8, 1.2])
def test_shots_that_were_missed_are_hardly_noise(depth):
    """Three of every five stretches have one; what it says of the quiet ones alone is to remain."""
    dip = np.r_[np.zeros(30), -np.linspace(depth, 0.0, 30)]
    rng, quiet, mixed = np.random.default_rng(9), _learned(np.zeros(60)), WheelNoise()
    mixed.assume(coarseness=(1 / 56) ** 2 / 12, rounding=(1 / 56) ** 2 / 12, cell_s=CELL_S, speed=30.0, adds_up=False)
    for i in range(60):
        mixed.see(_speeds(rng, 60) + dip * (i % 5 > 1), np.ones(60), CELL_S, until_s=float(i))
    assert 0.85 < _shows(mixed, dip) / _shows(quiet, dip) < 1.2


def test_shots_that_were_found_are_no_noise():
    dip = np.r_[np.zeros(30), -np.linspace(0.8, 0.0, 30)]
    quiet, shooting_on = _learned(np.zeros(60)), _learned(dip)
    assert _shows(shooting_on, dip) < 0.7 * _shows(quiet, dip)
    for i in range(60):
        if i % 6 > 0:
            shooting_on.forget(i - 0.5, i + 0.5)
    rng = np.random.default_rng(6)
    for i in range(60, 100):
        shooting_on.see(_speeds(rng, 60), np.ones(60), CELL_S, until_s=float(i))
    assert _shows(shooting_on, dip) > 0.9 * _shows(quiet, dip)


def test_own_rpm_by_a_loop_that_is_not_even_is_as_noisy_as_it_is():
    """Its errors add up: whole stretches are too fast or slow, which taking out their drift must not hide.

    Weighed by a drop that stays, at a time at which nothing happened: as much as the noise is said to be.
    """
    rng, noise = np.random.default_rng(7), WheelNoise()
    noise.assume(coarseness=0.0, rounding=0.0, cell_s=CELL_S, speed=30.0, adds_up=True)
    for _ in range(100):
        noise.see(30.0 + 0.9 * rng.standard_normal(60), np.ones(60), CELL_S)
    edges = np.arange(116)
    matrix = noise.whitening(edges[:-1], edges[1:]).matrix
    level, dip = matrix @ np.ones(115), matrix @ np.r_[np.zeros(35), -np.ones(80)]
    dip -= level * (level @ dip) / (level @ level)
    told = [dip @ (matrix @ (0.9 * rng.standard_normal(115))) for _ in range(400)]
    assert 0.75 < np.std(told) / np.linalg.norm(dip) < 1.25


def test_noise_that_comes_out_below_nothing_is_weighed_all_the_same(monkeypatch):
    """Autocovariances that no noise has: what is added for slow noise may leave such ones."""
    noise = WheelNoise()
    monkeypatch.setattr(noise, "_lags", np.array([1.0, 0.9, 0.0]))
    edges = np.arange(41)
    matrix = noise.whitening(edges[:-1], edges[1:]).matrix
    assert np.isfinite(matrix).all()
    away = np.abs(np.subtract.outer(edges[:-1], edges[:-1]))
    sizes = np.linalg.eigvalsh(matrix @ np.choose(np.minimum(away, 2), [1.0, 0.9, 0.0]) @ matrix.T)
    assert np.isclose(sizes, 1.0, atol=0.05).sum() >= 25  # as many directions as have a size at all
    assert sizes.max() < 1.05


@pytest.mark.parametrize(
    ("kind", "share", "firmware", "least"),
    [
        # The control's own swing is as deep as the drop, and the wheel is back within some hundredths of a second.
        ("on-off", 0.03, Firmware(rate_hz=100.0, counts_per_turn=48.0), 0.8),
        # The wheel comes back within a second, and counts are few: steps of one count are as high as the drop.
        ("feed-forward", 0.05, Firmware(rate_hz=50.0, counts_per_turn=48.0), 0.9),
        *thorough(("PI stiff", 0.08, Firmware(rate_hz=50.0, counts_per_turn=12.0, speed="rpm"), 0.8)),
        ("PI stiff", 0.15, Firmware(rate_hz=20.0, counts_per_turn=48.0, speed="rpm"), 0.9),
        ("PI stiff", 0.12, Firmware(rate_hz=100.0, faults=0.01), 0.9),
        *thorough(("PI stiff", 0.12, Firmware(rate_hz=100.0, speed="rpm", faults=0.01), 0.9)),
    ],
    ids=["swings itself", "comes back slowly", "coarse", "seldom", "bad wire, counts", "bad wire, rpm"],
)
def test_drops_are_told_from_what_the_reading_does_by_itself(kind, share, firmware, least):
    wheel = shooting(kind, share, 30, seed=6)
    found, made_up = caught(wheel, firmware, share, 6)
    assert found >= least
    assert made_up == 0
