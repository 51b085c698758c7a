"""How well a dip of own rpm fits a wheel that fell at once, as a shot's does, seen through a first-order low-pass.

A shot takes speed within a millisecond, and the wheel is at its slowest then. Where the reading goes on falling for
long and comes back smoothly, either something slowed the wheel slowly, or the robot's program smooths what it prints:
x' = (y - x) / tau makes an exponential of each step (Oppenheim & Willsky, Signals and Systems, 1997, 6.5.1). Which it
was shows in the shape: what slows a wheel slowly ends at some instant, and the wheel turns round there.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.link.wheel.wheel_lags import made_up_lag, recovery_lag

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray, IntArray

LOW_PASS_S = np.array([0.03, 0.045, 0.065, 0.09, 0.13, 0.19, 0.28, 0.4, 0.6])
"""Time constants of a low-pass that are told apart."""
MEAN_S = np.array([0.09, 0.14, 0.2, 0.3, 0.4, 0.55])
"""Likewise lengths of a moving mean."""
_RECOVERIES_S = np.array([*np.geomspace(0.015, 2.5, 10), 1e3])
_INTEGRALS_S = (0.1, 0.3, 1.0)
_PARTS = 2  # of a cell
_SAG_S, _SAG_LASTS_S = (0.1, 0.25, 0.6, 1.5), (0.16, 0.25, 0.4)
_SWINGS_S = (0.3, 0.45, 0.7, 1.0)
_MIXED = 12  # of the best templates


def dips(speeds: FloatArray, cell_s: float, first: int, last: int) -> tuple[FloatArray, FloatArray]:
    """What the best dips leave of the steps of ``speeds`` (n,), cells of ``cell_s``: sums of squares (1 + smoothers,).

    The first: of dips of an unsmoothed reading; then of shots seen through each of ``LOW_PASS_S`` and ``MEAN_S``. And
    how deep these fall, as ``speeds``. They begin in the cells from ``first`` to ``last``.
    """
    steps = np.diff(speeds)
    steps = steps - steps.mean()
    fits = [_best(steps, *bank) for bank in _banks(cell_s, len(speeds), first, last)]
    gain, depth = np.array(fits).T
    return np.maximum(float(steps @ steps) - gain, 0.0), depth * cell_s


def _best(steps: FloatArray, templates: FloatArray, strength: FloatArray, near: FloatArray) -> tuple[float, float]:
    """By how much the best dip lowers the sum of squares of ``steps`` (n,), and its depth.

    One that begins between two of the parts is a mixture of their ``templates`` (k, b, n); the others as of ``_bank``.
    """
    along = np.maximum(-(templates @ steps), 0.0)  # (k, begins)
    alone = along**2 / strength
    best = np.argsort(alone[:, :-1] + alone[:, 1:], axis=None)[-_MIXED:]
    row, begin = np.unravel_index(best, (alone.shape[0], alone.shape[1] - 1))
    first, then, both = strength[row, begin], strength[row, begin + 1], near[row, begin]
    left, right = along[row, begin], along[row, begin + 1]
    of_first, of_then = left * then - right * both, right * first - left * both
    apart = first * then - both * both
    mixed = np.where((of_first > 0) & (of_then > 0), (of_first * left + of_then * right) / apart, 0.0)
    one, two = int(np.argmax(alone)), int(np.argmax(mixed))
    if mixed[two] > alone.flat[one]:
        return float(mixed[two]), float((of_first[two] + of_then[two]) / apart[two])
    return float(alone.flat[one]), float(along.flat[one] / strength.flat[one])


@lru_cache(maxsize=2)
def _banks(cell_s: float, count: int, first: int, last: int) -> list[tuple[FloatArray, FloatArray, FloatArray]]:
    """A ``_bank`` for each way to smooth: none (shots, slow dips), then shots through each low-pass and moving mean."""
    fine = cell_s / _PARTS
    t: FloatArray = fine * np.arange((count + 1) * _PARTS + 1, dtype=np.float64)
    shot, slow = _shot_lags(t), _slow_lags(t)
    begins = np.arange(first * _PARTS, last * _PARTS + 1)
    banks = [_bank(np.vstack([shot, slow]), begins, count)]
    low_passes: list[FloatArray] = [np.exp(-t / tau_s) for tau_s in LOW_PASS_S]
    means = [np.clip(long_s / fine - np.arange(len(t)), 0.0, 1.0) for long_s in MEAN_S]
    ago = np.arange(len(t))[:, None] - np.arange(len(t))
    for weight in (*low_passes, *means):
        smoothed = np.where(ago >= 0, weight[np.maximum(ago, 0)] / weight.sum(), 0.0)
        banks.append(_bank(shot @ smoothed.T, begins, count))
    return banks


def _bank(lags: FloatArray, begins: IntArray, count: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Templates of dips that lose ``lags`` (k, n) turns, in parts of a cell since each of ``begins`` (b,).

    Steps from cell to cell without their mean (k, b, count - 1); the sums of their squares (k, b); and their products
    with those of the next begin (k, b - 1).
    """
    edges = _PARTS * np.arange(count + 1) - begins[:, None]
    lost = lags[:, np.maximum(edges, 0)]  # (k, begins, count + 1); nothing is lost before
    steps = np.diff(lost, n=2, axis=2)
    steps -= steps.mean(axis=2, keepdims=True)
    near = np.einsum("ijk,ijk->ij", steps[:, :-1], steps[:, 1:])
    return steps.astype(np.float32), np.maximum(np.einsum("ijk,ijk->ij", steps, steps), 1e-30), near


def _shot_lags(t: FloatArray) -> FloatArray:
    """Turns lost (k, n) at ``t`` (n,) by wheels that lose one turn/s at t = 0."""
    pairs = np.array([pair for pair in product(_RECOVERIES_S[:-1:2], _INTEGRALS_S) if pair[0] < 0.9 * pair[1]])
    at_once = np.zeros(len(_RECOVERIES_S)), _RECOVERIES_S
    return np.vstack([recovery_lag(t, *at_once), made_up_lag(t, np.zeros(len(pairs)), *pairs.T)])


def _slow_lags(t: FloatArray) -> FloatArray:
    """Turns lost (k, n) by wheels that are slowed for a while, as by a sagging battery, or that swing."""
    step = t[1] - t[0]
    speeds = []
    for tau_s, lasts_s in product(_SAG_S, _SAG_LASTS_S):
        speeds.append(np.expm1(-np.maximum(t - lasts_s, 0.0) / tau_s) - np.expm1(-t / tau_s))
    speeds += [np.where(t < wide, 1 - np.cos(2 * np.pi * t / wide), 0.0) for wide in _SWINGS_S]
    return np.asarray(np.cumsum(speeds, axis=1) * step)
