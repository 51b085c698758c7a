"""Draws from the posterior, the same ones every time: by Laplace, or corrected by elliptical slice sampling.

With few yes/no shots a posterior is far from normal. Slice sampling on ellipses around the Laplace approximation
(Nishihara, Murray and Adams, J. Mach. Learn. Res. 15 (2014) 2087) needs no tuning and no derivatives, and runs all
chains as one batch.

With many shots Laplace draws serve, but what shots pin down is the sum of level, offset and the rest against the
required speed, far better than any part of it. Draws of the parts put through curved functions (a spread times an
offset, a required speed over the angle) would not keep that sum; so the parts are taken to first order, and what the
required speed bends by is given back to level and slope (``linearised_gain``).

One or two shots in a new epoch leave a level that is far from normal: its spread is itself unknown and its tails are
heavy. Given everything else it is a single number, so it is summed over a fine grid, and draws are kept in proportion
to how well they explain the new shots (``FirstShots``; sampling-importance-resampling: Smith and Gelfand, Am. Stat. 46
(1992) 84).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldtune.arrays import distinct, median
from fieldtune.frozen import frozen
from fieldtune.learn.parameters import PAIRS, Layout, heavy_tailed
from fieldtune.learn.target_expansion import RequiredSpeedOf, SideEstimate, expand_target
from fieldtune.normal import ndtri

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.learn.log_posterior import LogPosterior
    from fieldtune.learn.map_estimate import LogDensity, Mode
    from fieldtune.learn.shot_table import ShotTable
    from fieldtune.robot.model import Robot

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


@frozen
class _Frame:
    """Coordinates v in which ellipses are drawn: u = center + root v."""

    center: FloatArray
    root: FloatArray

    def inside(self, u: FloatArray) -> FloatArray:
        return np.asarray(np.linalg.solve(self.root, (u - self.center).T).T)

    def outside(self, v: FloatArray) -> FloatArray:
        return np.asarray(self.center + v @ self.root.T)


def elliptical(density: LogDensity, mode: Mode, count: int, sweeps: int, rng: np.random.Generator) -> FloatArray:
    """Draws (count, P) from a posterior with a standard normal prior: ``count`` chains, ``sweeps`` moves each.

    Moves alternate between ellipses around Laplace, which mix what shots have pinned down, and around the prior, which
    reach the long tails that "so far all short" leaves.
    """
    size = len(mode.u)
    frames = (_Frame(np.zeros(size), np.eye(size)), _Frame(mode.u, mode.root * _INFLATION))
    u, height = _started(density, mode, count, rng)
    for sweep in range(sweeps):
        u, height = _swept(density, frames[sweep % 2], u, height, rng)
    return u


def _started(density: LogDensity, mode: Mode, count: int, rng: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Laplace draws and their log densities; those far below the rest are replaced by others.

    From far below only "all wild" would explain the shots, a trap that chains seldom leave.
    """
    v = normals(count, len(mode.u), rng)
    u = mode.u + v @ mode.root.T
    height = density.value(u)
    importance = height + 0.5 * np.sum(v * v, axis=1)
    good = np.flatnonzero(importance > median(importance) - _HOPELESS)
    chosen = np.where(np.isin(np.arange(count), good), np.arange(count), rng.choice(good, count))
    return u[chosen], height[chosen]


def _swept(
    density: LogDensity, frame: _Frame, u: FloatArray, height: FloatArray, rng: np.random.Generator
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
        reached = density.value(outside)
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


_PLACES = 12


def gain_with_offset(layout: Layout, points: FloatArray, gain: FloatArray, offset: FloatArray) -> FloatArray:
    """Gain (K, size) with an epoch's offset (K,) and the drive's tracking in the level."""
    whole = gain.copy()
    whole[:, 0] += offset + layout.tracking(points)
    return whole


def linearised_gain(
    robot: Robot,
    table: ShotTable,
    layout: Layout,
    mode: Mode,
    points: FloatArray,
    place: int,
    required_of: RequiredSpeedOf,
    side: SideEstimate,
) -> tuple[FloatArray, FloatArray]:
    """Gain (K, size) of Laplace draws, to first order around the maximum and corrected for how required speeds bend.

    With it the offset (K,) of the epoch at ``place``, not in the gain; nor is the drive's tracking.
    """
    speed = slice(0, layout.offset_features.stop)
    features, slopes = layout.features(mode.u[None])[0, speed], layout.jacobian(mode.u)[speed]
    straight = features + (points - mode.u) @ slopes.T
    offsets = straight[:, layout.offset_features]
    if not np.any(table.epoch == place):
        # Nothing ties a fresh epoch's offset to the rest: it has its whole spread.
        offsets[:, place] = layout.offsets(points)[:, place]
    offset = offsets @ layout.acting(place)
    return straight[:, : layout.gains] + _curvature_correction(robot, table, layout, points, required_of, side), offset


def _curvature_correction(
    robot: Robot,
    table: ShotTable,
    layout: Layout,
    points: FloatArray,
    required_of: RequiredSpeedOf,
    side: SideEstimate,
) -> FloatArray:
    """Level and slope (K, size) that follow the curvature of required speeds at a few of the shots."""
    bends, columns = [], []
    for index in table.views():
        index = index[np.argsort(table.reading[index], kind="stable")]
        index = index[distinct(np.linspace(0, len(index) - 1, _PLACES).astype(np.intp))]
        center = expand_target(robot, table, index, layout, required_of, side, curved=True).center
        good = np.isfinite(center.value) & np.isfinite(center.bend).all(axis=(1, 2))
        bends.append(center.bend[good])
        columns.append(table.columns(layout.prior.basis)[index][good, :2])
    bend, design = np.concatenate(bends), np.concatenate(columns)
    away = layout.shape(points) - layout.origin
    out = np.zeros((len(points), layout.gains))
    if len(bend):
        wanted = np.zeros((len(points), len(bend)))
        for i, k in PAIRS:
            wanted += np.outer(away[:, i] * away[:, k], bend[:, i, k] * (0.5 if i == k else 1.0))
        out[:, :2] = wanted @ np.linalg.pinv(design, rcond=1e-3).T
    return out


# A new epoch with more rows of evidence than this is one like any other.
_FIRST = 10
# Standard normal values of the new offset; between two of them lies less than any scatter, save in the far tails.
_STEP = 0.1
_GRID = np.arange(-4.2, 4.25, _STEP)
_GOLDEN = (5**0.5 - 1) / 2
# With fewer draws than this share left in effect the earlier epochs say too little by themselves.
_LEFT = 0.15


@frozen
class FirstShots:
    """Evidence of the present epoch's first shots, and that of the earlier epochs."""

    present: LogPosterior
    earlier: LogPosterior
    layout: Layout
    place: int

    def given_first_shots(self, points: FloatArray, gain: FloatArray) -> tuple[FloatArray, FloatArray] | None:
        """Draws (K, P) and gains (K, size) after these shots, from draws before them; None if hardly any fits.

        ``gain``: of the draws, without the epoch's offset and the drive's tracking. In the gains returned they count.
        """
        own = self.layout.spread(points)[:, None] * self.layout.shares[self.place]
        offset = own * heavy_tailed(_GRID)
        mass = self._mass(points, gain, offset)
        each = mass.sum(axis=1)
        if 1 / np.sum(each**2) < _LEFT * len(points):
            return None
        number = np.arange(len(points))
        draw = np.searchsorted(np.cumsum(each), np.minimum((number + 0.5) / len(points), each.sum() * (1 - 1e-12)))
        # Each draw kept has an offset of its own share: the fractional parts of the golden ratio are the most even.
        ends = np.cumsum(mass[draw], axis=1)
        wanted = (number + 0.5) * _GOLDEN % 1.0 * ends[:, -1]
        cell = np.minimum(np.sum(ends < wanted[:, None], axis=1), len(_GRID) - 1)
        inside = (ends[number, cell] - wanted) / np.maximum(mass[draw, cell], 1e-300)
        kept = points[draw].copy()
        kept[:, self.layout.offsets_at.start + self.place] = _GRID[cell] + _STEP * (0.5 - inside)
        return kept, gain_with_offset(self.layout, kept, gain[draw], self.layout.present_offset(kept, self.place))

    def _mass(self, points: FloatArray, gain: FloatArray, offset: FloatArray) -> FloatArray:
        """Probability (K, grid) of each draw with each offset, all summing to one."""
        features = self.layout.features(points)
        features[:, : self.layout.gains] = gain
        every = np.repeat(features, len(_GRID), axis=0)
        every[:, self.layout.gains + 1 + self.place] = offset.ravel()
        variances = np.repeat(self.layout.variances(points), len(_GRID), axis=0)
        log_mass = np.tile(-0.5 * _GRID**2, len(points))
        log_mass += self.present.log_likelihood(every, variances)
        mass = np.exp(log_mass - log_mass.max())
        return np.asarray((mass / mass.sum()).reshape(offset.shape))


def first_shots(density: LogPosterior, layout: Layout, table: ShotTable, place: int) -> FirstShots | None:
    """The present epoch's shots apart from the earlier ones; None if there are none of either, or many, or something
    was measured beside them, which is neither.
    """
    if table.beside:
        return None
    now = table.epoch == place
    present, earlier = density.of_shots(now), density.of_shots(~now)
    if not present.rows or not earlier.rows or sum(map(len, present.rows)) > _FIRST:
        return None
    return FirstShots(present, earlier, layout, place)
