"""How much more a wheel's course around an instant is like a shot's than like none: a small neural network.

What a wheel does behind a shot depends on its program, of which a line tells nothing: under a drive switched on and
off, or an integral that winds up, no single course is a shot's. So the network was shown many wheels under many
programs, drawn at random, with their shots and everything else that they did (``tests/training``). Its numbers come
from there alone. It sees mean speeds in even cells of time, against the profile's expected depth, and how unevenly
this wheel ran lately; it has two hidden layers of rectified units, and gives a logarithm of odds.
"""

from __future__ import annotations

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


def cell_length(reading_s: float) -> float:
    """Length of a cell, seconds: as many readings, ``reading_s`` apart, as come nearest to 45 ms."""
    return max(round(_CELL_S / reading_s), 1) * reading_s


def past_steps(speeds: FloatArray) -> FloatArray:
    """How unevenly a wheel ran (14,): sizes, skewness and correlations of its steps between cells' ``speeds`` (n,)."""
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


def speeds_around(t: FloatArray, turns: FloatArray, at: FloatArray, cell_s: float) -> FloatArray:
    """Mean speeds (m, ``BEFORE + BEHIND``) in cells around instants ``at`` (m,), of ``turns`` (n,) at ``t``."""
    edges = at[:, None] + cell_s * np.arange(-BEFORE, BEHIND + 1)
    return np.asarray(np.diff(np.interp(edges, t, turns), axis=1) / cell_s)


def speeds_between(t: FloatArray, turns: FloatArray, since_s: float, until_s: float, cell_s: float) -> FloatArray:
    """Mean speeds (k,) in the even cells from one instant to another, of ``turns`` (n,) at ``t``."""
    return np.asarray(np.diff(np.interp(np.arange(since_s, until_s, cell_s), t, turns)) / cell_s)


def inputs(speeds: FloatArray, cell_s: float, expected: float, past: FloatArray) -> FloatArray:
    """What the network sees (m, 56) of ``speeds`` (m, ``BEFORE + BEHIND``) in cells around m instants.

    ``expected``: share of its speed that a shot should take; ``past``: as of ``past_steps``.
    """
    middle = np.maximum(np.median(speeds, axis=1), 1e-6)[:, None]
    course = np.clip((speeds / middle - 1) / expected, -_FARTHEST, _FARTHEST)
    others = np.concatenate([[np.log(expected), np.log(cell_s)], past])
    return np.hstack([course, np.broadcast_to(others, (len(course), len(others)))])


@cache
def _layers() -> tuple[tuple[FloatArray, FloatArray], ...]:
    """Weights and offsets of each layer."""
    with files(__package__).joinpath("shot_network.npz").open("rb") as file, np.load(file) as kept:
        return tuple((kept[f"weights{i}"].astype(np.float64), kept[f"offsets{i}"].astype(np.float64)) for i in range(3))


def log_odds(seen: FloatArray) -> FloatArray:
    """Logarithms of odds (m,) that instants are a shot's, for ``inputs`` (m, n)."""
    *hidden, (weights, offsets) = _layers()
    for by, plus in hidden:
        seen = np.maximum(seen @ by + plus, 0.0)
    return np.asarray((seen @ weights + offsets)[:, 0])


def log_odds_around(speeds: FloatArray, cell_s: float, expected: float, past: FloatArray) -> FloatArray:
    """As ``log_odds`` (m,) of ``inputs``, where the profile's ``expected`` share may be far off, or unknown (0)."""
    shares = np.maximum((expected or _UNKNOWN) * np.array(_TIMES), _SHALLOWEST)
    seen = [inputs(speeds, cell_s, float(share), past) for share in shares]
    odds = log_odds(np.vstack(seen)).reshape(len(shares), -1)
    return np.asarray(np.logaddexp.reduce(odds, axis=0) - np.log(len(shares)))
