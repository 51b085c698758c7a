"""Draws after few shots: importance sampling on low-discrepancy points, the same answer on every machine.

Half of the points come from the prior, which reaches the long tails that "so far all short" leaves, and half from the
Laplace approximation, widened where shots have spoken; weights are against the mixture of both (deterministic mixture
weights: Veach and Guibas, SIGGRAPH 1995; Owen and Zhou, J. Am. Stat. Assoc. 95 (2000) 135). Draws of equal weight are
then taken at even steps along the believed exit speed, so that its distribution is kept to one part in their number.

What matters of a dozen unknowns is mostly one sum of them at each distance, believed less required log exit speed. The
most even coordinates of the lattice are turned along those sums (Imai and Tan, J. Comput. Finance 10 (2006) 129).

The points are a rank-1 lattice. Its generating vector was built component by component for product weights that fall
with the coordinate, for 1,024 and 8,192 points at once (Sloan and Reztsov, Math. Comp. 71 (2002) 263; Cools, Kuo and
Nuyens, SIAM J. Sci. Comput. 28 (2006) 2162). Averages of smooth functions converge nearly as 1/n; at random it takes
the square of that number.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.normal import ndtri

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray, IntArray
    from fieldtune.learn.log_posterior import LogPosterior
    from fieldtune.learn.map_estimate import Mode
    from fieldtune.learn.parameters import Layout

_GENERATOR = (
    1, 3439, 567, 1657, 2019, 1257, 3711, 3175, 2773, 2035, 1993, 2637, 2925, 1925, 1193, 1501, 1727, 433, 1239, 1015,
    1211, 3997, 1637, 1969, 3795, 1545, 3125, 3461, 3107, 745, 1569, 681, 3329, 2907, 3353, 3217, 2393, 1149, 2149,
    2371, 613, 3885, 3375, 3263, 3571, 325, 277, 1055,
)  # fmt: skip
FEW, MANY = 1024, 8192
"""Numbers of points that the generating vector was built for."""


@lru_cache(maxsize=4)
def lattice_normals(count: int, size: int) -> FloatArray:
    """Standard normal points (count, size), read-only; the first coordinates are the most even. ``count``: FEW or MANY.

    Coordinates beyond the generating vector's are stratified at random, from a fixed seed.
    """
    place = np.arange(count)
    # Shifted, or the lattice's origin would be a corner: extreme in every coordinate at once.
    shift = np.arange(1, len(_GENERATOR[:size]) + 1) ** 2 * 2**0.5
    even = (np.outer(place, _GENERATOR[:size]) + shift * count) % count
    rest = np.empty((count, 0))
    if size > len(_GENERATOR):
        rng = np.random.default_rng(count)
        rest = rng.permuted(np.broadcast_to(place, (size - len(_GENERATOR), count)), axis=1).T + 0.5
    points = np.asarray(ndtri(np.clip(np.hstack([even, rest]), 0.25, count - 0.25) / count))
    points.flags.writeable = False
    return points


# Standard deviations of Laplace's are taken this much wider, though never wider than the prior's.
_WIDER = 1.4
# More rows of evidence than this are weighed at the fewer points first: Laplace is then nearly right.
_ROWS = 16
_AT_ONCE = 1024
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
    few = sum(map(len, density.rows)) > _ROWS
    drawn = _weighed_draws(density, layout, mode, sums, count, FEW) if few else None
    return _weighed_draws(density, layout, mode, sums, count, MANY) if drawn is None else drawn


def _weighed_draws(
    density: LogPosterior, layout: Layout, mode: Mode, sums: FloatArray, count: int, number: int
) -> FloatArray | None:
    """As ``importance_draws``, by twice this number of points."""
    lattice = lattice_normals(number, layout.size)
    size, axes = np.linalg.eigh(mode.covariance)
    sd = np.minimum(_WIDER * np.sqrt(size), 1.0)
    turned, inwards = _turned(sums, layout), axes / sd
    halves = [(0 * mode.u, turned.T), (mode.u, (_turned(sums, layout, axes * sd).T * sd) @ axes.T)]
    log_mass, along = [], []
    for middle, outwards in halves:
        for start in range(0, number, _AT_ONCE):  # a few at once: their work arrays stay in the cache
            points = middle + lattice[start : start + _AT_ONCE] @ outwards
            inside = (points - mode.u) @ inwards
            log_prior, log_near = (-0.5 * np.einsum("kp,kp->k", at, at) for at in (points, inside))
            against = np.logaddexp(log_prior, log_near - np.log(sd).sum())
            likely = density.log_likelihood(layout.features(points), layout.variances(points))
            log_mass.append(log_prior + likely - against)
            along.append(points @ turned[:, :2])
    mass = np.exp(np.concatenate(log_mass) - max(part.max() for part in log_mass))
    if mass.sum() ** 2 / np.sum(mass**2) < _ENOUGH:
        return None
    half, place = np.divmod(_even_steps(mass, np.concatenate(along), count), number)
    drawn = [middle + lattice[place] @ outwards for middle, outwards in halves]
    return np.asarray(np.where(half[:, None] == 0, *drawn))


def prior_draws(layout: Layout, sums: FloatArray, count: int) -> FloatArray:
    """Draws (count, P) before any shot."""
    return np.asarray(even_normals(count, layout.size) @ _turned(sums, layout).T)


def even_normals(count: int, size: int) -> FloatArray:
    """Standard normal points (count, size) of the lattice, evenly chosen."""
    number = FEW if count <= FEW else MANY
    return np.asarray(lattice_normals(number, size)[((np.arange(count) + 0.5) * number / count).astype(np.intp)])


def _turned(sums: FloatArray, layout: Layout, frame: FloatArray | None = None) -> FloatArray:
    """Orthonormal directions (P, P), columns: along the sums (n, P) first, then the scatters, then the rest.

    In the coordinates of ``frame`` (P, P), whose columns may be turned, or change sign, without changing what is drawn:
    of what shots say nothing about, an eigenvalue's axes are left to rounding, and all signs are.
    """
    first, *_, last = layout.scatter_at
    order = [*layout.scatter_at, *range(first), *range(layout.size - 1, last, -1)]
    rows = _independent(np.vstack([sums, np.eye(layout.size)[order]]))
    if frame is None:
        return np.asarray(np.linalg.qr(rows.T)[0])
    q, r = np.linalg.qr((rows @ frame).T)
    return np.asarray(q * np.where(np.diagonal(r) < 0, -1.0, 1.0))


_SAME = 1e-9


def _independent(rows: FloatArray) -> FloatArray:
    """The first P of rows (n, P) that don't follow from those before: of one that does, rounding would make another."""
    size = rows.shape[1]
    while len(rows) > size:
        alone = np.abs(np.diagonal(np.linalg.qr(rows.T, mode="r")))
        follows = np.flatnonzero(alone <= _SAME * np.linalg.norm(rows[:size], axis=1))
        if not follows.size:
            return rows[:size]
        rows = np.delete(rows, follows[0], axis=0)
    return rows


def _even_steps(mass: FloatArray, along: FloatArray, count: int) -> IntArray:
    """Numbers of ``count`` points in proportion to their mass (n,), by systematic sampling.

    In strips of equal mass of the first column of ``along`` (n, 2), up and down its second.
    """
    order = np.argsort(along[:, 0], kind="stable")
    before = np.cumsum(mass[order])
    strip = np.empty(len(mass), dtype=np.intp)
    strip[order] = before / before[-1] * math.sqrt(count) * 0.999999
    order = np.lexsort((np.where(strip % 2, -along[:, 1], along[:, 1]), strip))
    ends = np.cumsum(mass[order])
    wanted = (np.arange(count) + 0.5) / count * ends[-1]
    return np.asarray(order[np.searchsorted(ends, wanted)])
