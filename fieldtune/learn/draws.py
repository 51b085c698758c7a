"""Draws from a posterior, the same ones every time: normal ones by Laplace, or corrected by elliptical slice sampling.

With few yes/no shots a posterior is far from normal. Slice sampling on ellipses around the Laplace approximation
(Nishihara, Murray and Adams, J. Mach. Learn. Res. 15 (2014) 2087) needs no tuning and no derivatives, and runs all
chains as one batch.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from fieldtune.learn.newton import Hill, Mode

FloatArray = NDArray[np.float64]

# Ellipses around the Laplace approximation are drawn this much wider than it says.
_INFLATION = 1.5
# A chain without a place on its ellipse after so many tries stays; each try keeps detailed balance by itself.
_SHRINKS = 6
# Natural logarithm of importance below the median at which a starting point is given up.
_HOPELESS = 5.0


def normals(count: int, size: int, rng: np.random.Generator) -> FloatArray:
    """Standard normal draws (count, size), stratified in every coordinate (McKay, Beckman and Conover 1979)."""
    ranks = rng.permuted(np.broadcast_to(np.arange(count), (size, count)), axis=1).T
    return np.asarray(ndtri((ranks + rng.random((count, size))) / count))


def laplace(mode: Mode, count: int, rng: np.random.Generator) -> FloatArray:
    """Draws (count, P) from the normal approximation."""
    return np.asarray(mode.u + normals(count, len(mode.u), rng) @ mode.root.T)


@dataclass(frozen=True, slots=True)
class _Frame:
    """Coordinates v in which ellipses are drawn: u = center + root v, the density divided by a standard normal in v."""

    hill: Hill
    center: FloatArray
    root: FloatArray

    def inside(self, u: FloatArray) -> FloatArray:
        return np.asarray(np.linalg.solve(self.root, (u - self.center).T).T)

    def outside(self, v: FloatArray) -> FloatArray:
        return np.asarray(self.center + v @ self.root.T)

    def excess(self, v: FloatArray) -> FloatArray:
        return np.asarray(self.hill.value(self.outside(v)) + 0.5 * np.sum(v * v, axis=1))


def elliptical(hill: Hill, mode: Mode, count: int, sweeps: int, rng: np.random.Generator) -> FloatArray:
    """Draws (count, P) from a posterior with a standard normal prior: ``count`` chains, ``sweeps`` moves each.

    Moves alternate between ellipses around Laplace, which mix what shots have pinned down, and around the prior, which
    reach the long tails that "so far all short" leaves.
    """
    size = len(mode.u)
    frames = (_Frame(hill, np.zeros(size), np.eye(size)), _Frame(hill, mode.u, mode.root * _INFLATION))
    u = frames[1].outside(_hopeful(frames[1], normals(count, size, rng) / _INFLATION, rng))
    for sweep in range(sweeps):
        frame = frames[sweep % 2]
        u = frame.outside(_swept(frame.excess, frame.inside(u), rng))
    return u


def _hopeful(frame: _Frame, v: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Starts far below the rest replaced by others: from there only "all wild" would explain the shots, a trap."""
    excess = frame.excess(v) - 0.5 * np.sum(v * v, axis=1) * (1 - _INFLATION**2)
    good = np.flatnonzero(excess > np.median(excess) - _HOPELESS)
    return np.where(np.isin(np.arange(len(v)), good)[:, None], v, v[rng.choice(good, len(v))])


def _swept(excess: Callable[[FloatArray], FloatArray], at: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Move every chain (count, P) once along an ellipse of its own, shrinking the bracket of those not yet placed."""
    count = len(at)
    other = normals(count, at.shape[1], rng)
    threshold = excess(at) + np.log(rng.random(count))
    angle = rng.uniform(0, 2 * np.pi, count)
    low, high = angle - 2 * np.pi, angle.copy()
    placed = at.copy()
    left = np.arange(count)
    for _ in range(_SHRINKS):
        turn = angle[left, None]
        trial = at[left] * np.cos(turn) + other[left] * np.sin(turn)
        good = excess(trial) > threshold[left]
        placed[left[good]] = trial[good]
        left = left[~good]
        if not len(left):
            break
        below = angle[left] < 0
        low[left] = np.where(below, angle[left], low[left])
        high[left] = np.where(below, high[left], angle[left])
        angle[left] = rng.uniform(low[left], high[left])
    return placed
