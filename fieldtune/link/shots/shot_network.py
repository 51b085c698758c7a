"""How much more a wheel's course around an instant is like a shot's than like none: a small neural network.

What a wheel does behind a shot depends on its program, of which a line tells nothing: under a drive switched on and
off, or an integral that winds up, no single course is a shot's. So the network was shown many wheels under many
programs, drawn at random, with their shots and everything else that they did (``tests/training``). Its numbers come
from there alone. It sees mean speeds in even cells of time, against the profile's expected depth, the battery's
volts in the same cells, and how unevenly this wheel ran lately and how its battery went with it: a shot slows a wheel
while its drive takes more. It has two hidden layers of rectified units, and gives a logarithm of odds.

Tried without gain: badly timed, lost and damaged lines among those that it learns from, and the setpoint as an input.
With as many false alarms it then found 2 to 5 % fewer shots on good lines, and hardly more on others. Four times as
many robots that smooth their own rpm among them: 1 % fewer on good lines, and no more of such robots.
"""

from __future__ import annotations

import math
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, NamedTuple

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
_USUAL_SPREAD, _LEAST_SPREAD = 2.0, 0.0005  # decades below the voltage; of it
_AT_ONCE = 9  # rows: more are shared out among threads, which wait for one another while a machine is busy


def cell_length(reading_s: float) -> float:
    """Length of a cell, seconds: as many readings, ``reading_s`` apart, as come nearest to 45 ms."""
    return max(round(_CELL_S / reading_s), 1) * reading_s


class Past(NamedTuple):
    """How a wheel and its battery went lately."""

    figures: FloatArray
    """Of the steps of both (21,), zeros where the battery is unknown."""
    usual_v: float
    spread_v: float
    """By how much the battery goes up and down around its usual volts; 0 where that is unknown."""


def past_of(speeds: FloatArray, volts: FloatArray | None) -> Past:
    """The past by ``speeds`` and ``volts`` (n,) of even cells; None: unknown."""
    usual_v, spread_v = (0.0, 0.0) if volts is None or len(volts) < _FEWEST else _volts_range(volts)
    if volts is None or not spread_v:
        of_battery = np.zeros(2 + 2 * _SOONER + 1)
    else:
        step = min(np.percentile(np.abs(np.diff(volts)), 75) / spread_v, 1.0)
        range_ = np.log10(spread_v / usual_v) + _USUAL_SPREAD
        of_battery = np.array([range_, step, *_goes_with(speeds, _levels(volts, usual_v, spread_v))])
    return Past(np.concatenate([_past_steps(speeds), of_battery]), usual_v, spread_v)


def _volts_range(volts: FloatArray) -> tuple[float, float]:
    low, high = np.percentile(volts, (10, 90))
    return (low + high) / 2, max(float(high - low), _LEAST_SPREAD * low) if low > 0 else 0.0


def _levels(volts: FloatArray, usual_v: float, spread_v: float) -> FloatArray:
    return np.clip((volts - usual_v) / spread_v, -_FARTHEST, _FARTHEST)


def _goes_with(speeds: FloatArray, level: FloatArray) -> list[float]:
    """Correlations of a battery's ``level`` (n,) with the wheel's steps some cells sooner and later."""
    faster = _steps(speeds)
    faster = np.clip(np.where(np.abs(faster) < _JUMP, faster, 0.0), *np.percentile(faster, (2, 98)))
    level = (level[1:] + level[:-1]) / 2
    level, faster, n = level - level.mean(), faster - faster.mean(), len(level)
    power = math.sqrt((faster @ faster) * (level @ level)) + 1e-9
    lags = range(-_SOONER, _SOONER + 1)
    return [faster[max(-k, 0) : n - max(k, 0)] @ level[max(k, 0) : n - max(-k, 0)] / power for k in lags]


def _steps(speeds: FloatArray) -> FloatArray:
    """From cell to cell, of the speed."""
    return np.asarray(np.diff(speeds) / np.maximum(np.abs(speeds[1:]), 1e-6))


def _past_steps(speeds: FloatArray) -> FloatArray:
    """Sizes, skewness and correlations of the steps between cells' ``speeds`` (n,)."""
    steps = _steps(speeds)
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


def summed(t: FloatArray, values: FloatArray) -> FloatArray:
    """``values`` (n,), each of the time since the one before, at ``t`` (n,), summed over time."""
    return np.concatenate([[0.0], np.cumsum(values[1:] * np.diff(t))])


def means_around(t: FloatArray, total: FloatArray, at: FloatArray, cell_s: float) -> FloatArray:
    """Means (m, ``BEFORE + BEHIND``) in cells around instants ``at`` (m,), of turns or what else is a ``total`` (n,)
    over time ``t``."""
    edges = at[:, None] + cell_s * np.arange(-BEFORE, BEHIND + 1)
    return np.asarray(np.diff(np.interp(edges, t, total), axis=1) / cell_s)


def means_between(t: FloatArray, total: FloatArray, since_s: float, until_s: float, cell_s: float) -> FloatArray:
    """Likewise (k,) in the even cells from one instant to another."""
    return np.asarray(np.diff(np.interp(np.arange(since_s, until_s, cell_s), t, total)) / cell_s)


def inputs(speeds: FloatArray, volts: FloatArray | None, cell_s: float, expected: float, past: Past) -> FloatArray:
    """What the network sees (m, 103) of ``speeds`` and ``volts`` (m, ``BEFORE + BEHIND``) in cells around m instants.

    ``expected``: share of its speed that a shot should take.
    """
    middle = np.maximum(np.median(speeds, axis=1), 1e-6)[:, None]
    course = np.clip((speeds / middle - 1) / expected, -_FARTHEST, _FARTHEST)
    level = np.zeros_like(course)
    if volts is not None and past.spread_v:
        level = _levels(volts, past.usual_v, past.spread_v)
    others = np.concatenate([[np.log(expected), np.log(cell_s)], past.figures])
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
    speeds: FloatArray, volts: FloatArray | None, cell_s: float, expected: float, past: Past
) -> FloatArray:
    """As ``log_odds`` (m,) of ``inputs``, where the profile's ``expected`` share may be far off, or unknown (0)."""
    shares = np.maximum((expected or _UNKNOWN) * np.array(_TIMES), _SHALLOWEST)
    seen = [inputs(speeds, volts, cell_s, float(share), past) for share in shares]
    odds = log_odds(np.vstack(seen)).reshape(len(shares), -1)
    return np.asarray(np.logaddexp.reduce(odds, axis=0) - np.log(len(shares)))
