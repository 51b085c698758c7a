"""How much more a wheel's course around an instant is like a shot's than like none: a small neural network.

What a wheel does behind a shot depends on its program, of which a line tells nothing: under a drive switched on and
off, or an integral that winds up, no single course is a shot's. So the network was shown many wheels under many
programs, drawn at random, with their shots and everything else that they did (``tests/training``). Its numbers come
from there alone. It sees mean speeds in even cells of time, against the profile's expected depth, the battery's
volts in the same cells, and how unevenly this wheel ran lately and how its battery went with it: a shot slows a wheel
while its drive takes more. It has two hidden layers of rectified units, and gives a logarithm of odds.
"""

from __future__ import annotations

import math
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

BEFORE, BEHIND = 24, 16
"""Cells of time before an instant and behind it."""
PAST_S = 20.0
_CELL_S = 0.045
_SHALLOWEST, _UNKNOWN = 0.01, 0.08  # share of its speed that a shot takes, at least, and where no profile tells
_TIMES = (0.35, 0.5, 0.7, 1.0, 1.4)  # of the profile's
_FARTHEST = 6.0  # expected depths off the middle speed
_STEPS = (5.0, 25.0, 75.0, 95.0)  # percentiles
_JUMP = 0.1  # of the speed: no step of a wheel that runs evenly
_FEWEST = 10
_LAGS = 8
_SOONER = 2  # cells
_USUAL_SPREAD = 2.0  # decades below the voltage
_LEAST_SPREAD = 0.0005
_AT_ONCE = 9  # rows: more are shared out among threads, which wait for one another while a machine is busy


def cell_length(reading_s: float) -> float:
    """Length of a cell, seconds: as many readings, ``reading_s`` apart, as come nearest to 45 ms."""
    return max(round(_CELL_S / reading_s), 1) * reading_s


def past_course(speeds: FloatArray, volts: FloatArray | None) -> FloatArray:
    """How a wheel and its battery went lately (22,), of ``speeds`` and ``volts`` (n,) of even cells; None: unknown."""
    return np.concatenate([_past_steps(speeds), _past_volts(speeds, volts)])


def _past_volts(speeds: FloatArray, volts: FloatArray | None) -> FloatArray:
    """Range of a battery, size of its steps, and how its level goes with the wheel's steps some cells around."""
    middle, spread = volts_range(volts)
    if volts is None or not spread:
        return np.zeros(2 + 2 * _SOONER + 1)
    faster = np.diff(speeds) / np.maximum(np.abs(speeds[1:]), 1e-6)
    faster = np.clip(np.where(np.abs(faster) < _JUMP, faster, 0.0), *np.percentile(faster, (2, 98)))
    level = np.clip((volts - middle) / spread, -_FARTHEST, _FARTHEST)
    level = (level[1:] + level[:-1]) / 2
    level, faster, n = level - level.mean(), faster - faster.mean(), len(level)
    power = math.sqrt((faster @ faster) * (level @ level)) + 1e-9
    lags = range(-_SOONER, _SOONER + 1)
    alike = [faster[max(-k, 0) : n - max(k, 0)] @ level[max(k, 0) : n - max(-k, 0)] / power for k in lags]
    step = min(np.percentile(np.abs(np.diff(volts)), 75) / spread, 1.0)
    return np.array([np.log10(spread / middle) + _USUAL_SPREAD, step, *alike])


def volts_range(volts: FloatArray | None) -> tuple[float, float]:
    """The middle of a battery's volts (n,) in even cells, and how far it goes up and down; 0 where that is unknown."""
    if volts is None or len(volts) < _FEWEST:
        return 0.0, 0.0
    low, high = np.percentile(volts, (10, 90))
    return (low + high) / 2, max(float(high - low), _LEAST_SPREAD * low) if low > 0 else 0.0


def _past_steps(speeds: FloatArray) -> FloatArray:
    """Sizes, skewness and correlations of the steps between cells' ``speeds`` (n,)."""
    steps = np.diff(speeds) / np.maximum(np.abs(speeds[1:]), 1e-6)
    steps = steps[np.abs(steps) < _JUMP]
    if len(steps) < _FEWEST:
        steps = np.zeros(_FEWEST)
    lowest, low, high, highest = np.percentile(steps, _STEPS)
    sizes = np.log10(np.abs([lowest, low, high, highest]) + 1e-4)
    skewness = (lowest + highest) / (highest - lowest + 1e-4)
    steps = np.clip(steps - np.median(steps), lowest, highest)
    power = steps @ steps + 1e-12
    alike = [steps[lag:] @ steps[:-lag] / power for lag in range(1, _LAGS + 1)]
    return np.array([*sizes, skewness, *alike, np.log10(len(speeds) + 1)])


def means_around(t: FloatArray, summed: FloatArray, at: FloatArray, cell_s: float) -> FloatArray:
    """Means (m, ``BEFORE + BEHIND``) in cells around instants ``at`` (m,) of what was ``summed`` (n,) over time ``t``:
    turns, or volts times seconds."""
    edges = at[:, None] + cell_s * np.arange(-BEFORE, BEHIND + 1)
    return np.asarray(np.diff(np.interp(edges, t, summed), axis=1) / cell_s)


def means_between(t: FloatArray, summed: FloatArray, since_s: float, until_s: float, cell_s: float) -> FloatArray:
    """Likewise (k,) in the even cells from one instant to another."""
    return np.asarray(np.diff(np.interp(np.arange(since_s, until_s, cell_s), t, summed)) / cell_s)


def inputs(
    speeds: FloatArray,
    volts: FloatArray | None,
    cell_s: float,
    expected: float,
    past: FloatArray,
    usual_volts: tuple[float, float],
) -> FloatArray:
    """What the network sees (m, 103) of ``speeds`` and ``volts`` (m, ``BEFORE + BEHIND``) in cells around m instants.

    ``expected``: share of its speed that a shot should take; ``past``: as of ``past_course``; ``usual_volts``: as of
    ``volts_range``.
    """
    middle = np.maximum(np.median(speeds, axis=1), 1e-6)[:, None]
    course = np.clip((speeds / middle - 1) / expected, -_FARTHEST, _FARTHEST)
    level, (usual_v, spread) = np.zeros_like(course), usual_volts
    if volts is not None and spread:
        level = np.clip((volts - usual_v) / spread, -_FARTHEST, _FARTHEST)
    others = np.concatenate([[np.log(expected), np.log(cell_s)], past])
    return np.hstack([course, level, np.broadcast_to(others, (len(course), len(others)))])


@cache
def _layers() -> tuple[tuple[FloatArray, FloatArray], ...]:
    """Weights and offsets of each layer."""
    with files(__package__).joinpath("shot_network.npz").open("rb") as file, np.load(file) as kept:
        return tuple((kept[f"weights{i}"].astype(np.float64), kept[f"offsets{i}"].astype(np.float64)) for i in range(3))


def log_odds(seen: FloatArray) -> FloatArray:
    """Logarithms of odds (m,) that instants are a shot's, for ``inputs`` (m, n)."""
    return np.concatenate([_through(seen[i : i + _AT_ONCE]) for i in range(0, len(seen), _AT_ONCE)])


def _through(seen: FloatArray) -> FloatArray:
    *hidden, (weights, offsets) = _layers()
    for by, plus in hidden:
        seen = np.maximum(seen @ by + plus, 0.0)
    return np.asarray((seen @ weights + offsets)[:, 0])


def log_odds_around(
    speeds: FloatArray,
    volts: FloatArray | None,
    cell_s: float,
    expected: float,
    past: FloatArray,
    usual_volts: tuple[float, float],
) -> FloatArray:
    """As ``log_odds`` (m,) of ``inputs``, where the profile's ``expected`` share may be far off, or unknown (0)."""
    shares = np.maximum((expected or _UNKNOWN) * np.array(_TIMES), _SHALLOWEST)
    seen = [inputs(speeds, volts, cell_s, float(share), past, usual_volts) for share in shares]
    odds = log_odds(np.vstack(seen)).reshape(len(shares), -1)
    return np.asarray(np.logaddexp.reduce(odds, axis=0) - np.log(len(shares)))
