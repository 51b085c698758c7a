"""Draws after few shots: importance sampling on low-discrepancy points, the same answer on every machine.

Half of the points come from the prior, which reaches the long tails that "so far all short" leaves, and half from the
Laplace approximation, widened where shots have spoken; weights are against the mixture of both (deterministic mixture
weights: Veach and Guibas, SIGGRAPH 1995; Owen and Zhou, J. Am. Stat. Assoc. 95 (2000) 135). Draws of equal weight are
then taken at even steps along the believed exit speed, so that its distribution is kept to one part in their number.

What matters of a dozen unknowns is mostly one sum of them at each distance, believed less required log exit speed. The
most even coordinates of the lattice are turned along those sums (Imai and Tan, J. Comput. Finance 10 (2006) 129).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.learn.lattice import FEW, MANY, lattice_normals

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.learn.log_posterior import LogPosterior
    from fieldtune.learn.map_estimate import Mode
    from fieldtune.learn.parameters import Layout

# Standard deviations of Laplace's are taken this much wider, though never wider than the prior's.
_WIDER = 1.4
# More rows of evidence than this are weighed at the fewer points: Laplace is then nearly right.
_ROWS = 16
# Below this many points in effect the draws would repeat themselves too often.
_ENOUGH = 200.0


def importance_draws(
    density: LogPosterior, layout: Layout, mode: Mode, sums: FloatArray, count: int
) -> FloatArray | None:
    """Draws (count, P) of a posterior with a standard normal prior; None where too few points explain the shots.

    ``sums`` (n, P): derivatives of believed less required log exit speed at a few distances. Without shots the draws
    are a lattice of their own.
    """
    if not density.rows:
        return prior_draws(layout, sums, count)
    number = MANY if sum(map(len, density.rows)) <= _ROWS else FEW
    lattice = lattice_normals(number, layout.size)
    size, axes = np.linalg.eigh(mode.covariance)
    sd = np.minimum(_WIDER * np.sqrt(size), 1.0)
    near = lattice @ _turned(sums @ axes * sd, layout).T
    points = np.concatenate([lattice @ _turned(sums, layout).T, mode.u + (near * sd) @ axes.T])
    inside = (points - mode.u) @ axes / sd
    log_prior, log_near = -0.5 * np.sum(points**2, axis=1), -0.5 * np.sum(inside**2, axis=1) - np.log(sd).sum()
    features = layout.features(points)
    log_mass = (
        log_prior + density.log_likelihood(features, layout.variances(points)) - np.logaddexp(log_prior, log_near)
    )
    mass = np.exp(log_mass - log_mass.max())
    if mass.sum() ** 2 / np.sum(mass**2) < _ENOUGH:
        return None
    return _even_steps(points, mass, points @ _turned(sums, layout)[:, :2], count)


def prior_draws(layout: Layout, sums: FloatArray, count: int) -> FloatArray:
    """Draws (count, P) before any shot."""
    number = FEW if count <= FEW else MANY
    chosen = ((np.arange(count) + 0.5) * number / count).astype(np.intp)
    return np.asarray(lattice_normals(number, layout.size)[chosen] @ _turned(sums, layout).T)


def _turned(sums: FloatArray, layout: Layout) -> FloatArray:
    """Orthonormal directions (P, P), columns: along the sums (n, P) first, then the scatters, then the rest."""
    units = np.eye(layout.size)
    return np.asarray(np.linalg.qr(np.vstack([sums, units[list(layout.scatter_at)], units]).T)[0])


def _even_steps(points: FloatArray, mass: FloatArray, along: FloatArray, count: int) -> FloatArray:
    """``count`` of the points in proportion to their mass, by systematic sampling.

    In strips of equal mass of the first column of ``along`` (n, 2), up and down its second.
    """
    order = np.argsort(along[:, 0], kind="stable")
    before = np.cumsum(mass[order])
    strip = np.empty(len(mass), dtype=np.intp)
    strip[order] = before / before[-1] * math.sqrt(count) * 0.999999
    order = np.lexsort((np.where(strip % 2, -along[:, 1], along[:, 1]), strip))
    ends = np.cumsum(mass[order])
    wanted = (np.arange(count) + 0.5) / count * ends[-1]
    return np.asarray(points[order[np.searchsorted(ends, wanted)]])
