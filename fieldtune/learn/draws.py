"""Draws from a posterior, the same ones every time: normal ones by Laplace, or corrected by elliptical slice sampling.

With few yes/no shots a posterior is far from normal. Slice sampling on ellipses around the Laplace approximation
(Nishihara, Murray and Adams, J. Mach. Learn. Res. 15 (2014) 2087) needs no tuning and no derivatives, and runs all
chains as one batch.
"""

from __future__ import annotations

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
    """Coordinates v in which ellipses are drawn: u = center + root v."""

    center: FloatArray
    root: FloatArray

    def inside(self, u: FloatArray) -> FloatArray:
        return np.asarray(np.linalg.solve(self.root, (u - self.center).T).T)

    def outside(self, v: FloatArray) -> FloatArray:
        return np.asarray(self.center + v @ self.root.T)


def elliptical(hill: Hill, mode: Mode, count: int, sweeps: int, rng: np.random.Generator) -> FloatArray:
    """Draws (count, P) from a posterior with a standard normal prior: ``count`` chains, ``sweeps`` moves each.

    Moves alternate between ellipses around Laplace, which mix what shots have pinned down, and around the prior, which
    reach the long tails that "so far all short" leaves.
    """
    size = len(mode.u)
    frames = (_Frame(np.zeros(size), np.eye(size)), _Frame(mode.u, mode.root * _INFLATION))
    u, height = _started(hill, mode, count, rng)
    for sweep in range(sweeps):
        u, height = _swept(hill, frames[sweep % 2], u, height, rng)
    return u


def _started(hill: Hill, mode: Mode, count: int, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Laplace draws and their log densities; those far below the rest are replaced by others.

    From far below only "all wild" would explain the shots, a trap that chains seldom leave.
    """
    v = normals(count, len(mode.u), rng)
    u = mode.u + v @ mode.root.T
    height = hill.value(u)
    importance = height + 0.5 * np.sum(v * v, axis=1)
    good = np.flatnonzero(importance > np.median(importance) - _HOPELESS)
    chosen = np.where(np.isin(np.arange(count), good), np.arange(count), rng.choice(good, count))
    return u[chosen], height[chosen]


def _swept(
    hill: Hill, frame: _Frame, u: FloatArray, height: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Move every chain (count, P) once along an ellipse of its own, shrinking the bracket of those not yet placed."""
    at, count = frame.inside(u), len(u)
    other = normals(count, at.shape[1], rng)
    threshold = height + 0.5 * np.sum(at * at, axis=1) + np.log(rng.random(count))
    angle = rng.uniform(0, 2 * np.pi, count)
    low, high = angle - 2 * np.pi, angle.copy()
    placed, placed_height = u.copy(), height.copy()
    left = np.arange(count)
    for _ in range(_SHRINKS):
        turn = angle[left, None]
        trial = at[left] * np.cos(turn) + other[left] * np.sin(turn)
        outside = frame.outside(trial)
        reached = hill.value(outside)
        good = reached + 0.5 * np.sum(trial * trial, axis=1) > threshold[left]
        placed[left[good]], placed_height[left[good]] = outside[good], reached[good]
        left = left[~good]
        if not len(left):
            break
        below = angle[left] < 0
        low[left] = np.where(below, angle[left], low[left])
        high[left] = np.where(below, high[left], angle[left])
        angle[left] = rng.uniform(low[left], high[left])
    return placed, placed_height
