"""Draws from a posterior, the same ones every time: normal ones by Laplace, or corrected by elliptical slice sampling.

With few yes/no shots a posterior is far from normal. Slice sampling on ellipses around the Laplace approximation
(Nishihara, Murray and Adams, J. Mach. Learn. Res. 15 (2014) 2087) needs no tuning and no derivatives, and runs all
chains as one batch.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from fieldtune.learn.newton import Hill, Mode

FloatArray = NDArray[np.float64]

# The ellipses are drawn this much wider than Laplace says, so that tails can be reached.
_INFLATION = 1.25
_SHRINKS = 6


def normals(count: int, size: int, rng: np.random.Generator) -> FloatArray:
    """Standard normal draws (count, size), stratified in every coordinate (McKay, Beckman and Conover 1979)."""
    ranks = rng.permuted(np.broadcast_to(np.arange(count), (size, count)), axis=1).T
    return np.asarray(ndtri((ranks + rng.random((count, size))) / count))


def laplace(mode: Mode, count: int, rng: np.random.Generator) -> FloatArray:
    """Draws (count, P) from the normal approximation."""
    return np.asarray(mode.u + normals(count, len(mode.u), rng) @ mode.root.T)


def elliptical(hill: Hill, mode: Mode, count: int, sweeps: int, rng: np.random.Generator) -> FloatArray:
    """Draws (count, P) from the posterior itself: ``count`` chains started from Laplace, ``sweeps`` moves each."""
    root = mode.root * _INFLATION

    def excess(v: FloatArray) -> FloatArray:
        return np.asarray(hill.value(mode.u + v @ root.T) + 0.5 * np.sum(v * v, axis=1))

    at = normals(count, len(mode.u), rng) / _INFLATION
    level = excess(at)
    for _ in range(sweeps):
        at, level = _sweep(excess, at, level, rng)
    return np.asarray(mode.u + at @ root.T)


def _sweep(
    excess: Callable[[FloatArray], FloatArray], at: FloatArray, level: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Move every chain once along its own ellipse, shrinking the bracket of those not yet placed."""
    count = len(at)
    other = normals(at.shape[0], at.shape[1], rng)
    threshold = level + np.log(rng.random(count))
    angle = rng.uniform(0, 2 * np.pi, count)
    low, high = angle - 2 * np.pi, angle.copy()
    placed, placed_level = at.copy(), level.copy()
    open_ = np.arange(count)
    for _ in range(_SHRINKS):
        trial = at[open_] * np.cos(angle[open_])[:, None] + other[open_] * np.sin(angle[open_])[:, None]
        reached = excess(trial)
        good = reached > threshold[open_]
        placed[open_[good]], placed_level[open_[good]] = trial[good], reached[good]
        open_ = open_[~good]
        if not len(open_):
            break
        below = angle[open_] < 0
        low[open_] = np.where(below, angle[open_], low[open_])
        high[open_] = np.where(below, high[open_], angle[open_])
        angle[open_] = rng.uniform(low[open_], high[open_])
    return placed, placed_level
