"""Side misses: a constant bias and a scatter, both angles seen from the launcher.

They say nothing about the range, so they are learned by themselves, by the same machinery.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fieldtune.frozen import frozen
from fieldtune.learn.log_posterior import WILD_SHARE, LogPosterior, Rows
from fieldtune.normal import gauss_legendre, ndtr, ndtri

if TYPE_CHECKING:
    from fieldtune.aim.required_speed.interface import RequiredSpeed
    from fieldtune.arrays import FloatArray
    from fieldtune.learn.map_estimate import Mode
    from fieldtune.learn.shot_table import ShotTable
    from fieldtune.robot.model import Robot, Target

_SCATTER_SPREAD = 0.5
# A shot that is called short or long is taken to be within so many half widths aside.
_ALONG = 2.0
_LEAST_BIAS = math.radians(1.0)
_LOG_WILD_OUTCOME = math.log(WILD_SHARE / 3)
_LOG_WILD_SIDE = math.log(WILD_SHARE / math.radians(60))
_NODES, _SHARES = gauss_legendre(4)
_NODES, _SHARES = (_NODES + 1) / 2, _SHARES / 2


@frozen
class SideLayout:
    """Two unknowns: bias (prior standard deviation ``bias_sd``, rad) and log scatter around ``log_scatter``."""

    bias_sd: float
    log_scatter: float
    size: int = 2

    @classmethod
    def of(cls, robot: Robot) -> SideLayout:
        scatter = max(robot.uncertainty.side_scatter, 1e-5)
        return cls(max(scatter, _LEAST_BIAS), math.log(scatter))

    def bias(self, points: FloatArray) -> FloatArray:
        """Side bias (K,), rad, positive right."""
        return np.asarray(self.bias_sd * points[:, 0])

    def scatter(self, points: FloatArray) -> FloatArray:
        """Side scatter (K,), rad."""
        return np.exp(self.log_scatter + _SCATTER_SPREAD * np.clip(points[:, 1], -20, 20))

    def features(self, points: FloatArray) -> FloatArray:
        """See ``log_posterior.Unknown``: bias and 1."""
        return np.column_stack([self.bias(points), np.ones(len(points))])

    def jacobian(self, u: FloatArray) -> FloatArray:
        """See ``log_posterior.Unknown``."""
        return np.array([[self.bias_sd, 0.0], [0.0, 0.0]])

    def curvature(self, u: FloatArray, pull: FloatArray) -> FloatArray:
        """See ``log_posterior.Unknown``: features are linear."""
        return np.zeros((2, 2))

    def variances(self, points: FloatArray) -> FloatArray:
        """See ``log_posterior.Unknown``."""
        return self.scatter(points)[:, None] ** 2

    def log_sd_columns(self) -> list[tuple[int, float]]:
        """See ``log_posterior.Unknown``."""
        return [(1, _SCATTER_SPREAD)]


def side_log_posterior(
    robot: Robot, table: ShotTable, required_of: Callable[[Robot, Target], RequiredSpeed]
) -> LogPosterior:
    """Log posterior of side bias and scatter."""
    layout = SideLayout.of(robot)
    half = np.ones(len(table))
    for at in table.views():
        target = table.targets[table.target[at[0]]]
        free = required_of(table.held(robot, at), target).free(table.reading[at])
        fallback = target.opening[-1] / 2
        half[at] = np.where(np.isfinite(free.side), free.side, fallback)
    measured = np.isfinite(table.side)
    # "Short" and "long" were the larger error, so the side was not far out: that counts, or only bad sides would.
    along = table.is_result("short", "long")
    half = np.where(along, _ALONG * half, half)
    judged = (table.is_result("in", "left", "right") | along) & ~measured
    rows = (
        side_intervals(
            half[judged] / table.reading[judged],
            table.is_result("left")[judged],
            table.is_result("right")[judged],
            np.ones(int(judged.sum())),
        ),
        _side_points(table.side[measured], table.reading[measured], robot.uncertainty.miss),
    )
    return LogPosterior(layout, tuple(part for part in rows if len(part)), np.ones(2))


def side_intervals(
    half_angle: FloatArray, left: NDArray[np.bool_], right: NDArray[np.bool_], count: FloatArray, wild: bool = True
) -> Rows:
    """Rows (n,) of good sides and of misses left and right: half the free angle, and ``count``, how often seen."""
    low = np.where(right, half_angle, -half_angle)
    high = np.where(left, -half_angle, half_angle)
    ones = np.ones(len(half_angle))
    return Rows(
        lower=np.column_stack([-ones, low]),
        upper=np.column_stack([-ones, high]),
        open_low=left,
        open_high=right,
        loads=ones[:, None],
        extra=np.zeros(len(ones)),
        log_wild=np.full(len(ones), _LOG_WILD_OUTCOME if wild else -np.inf),
        log_unit=None,
        error=0.0,
        count=count,
        source=np.arange(len(ones)),
    )


def _side_points(side: FloatArray, reading: FloatArray, error: float) -> Rows:
    ones = np.ones(len(side))
    return Rows(
        lower=np.column_stack([-ones, side / reading]),
        upper=None,
        open_low=np.zeros(len(side), dtype=bool),
        open_high=np.zeros(len(side), dtype=bool),
        loads=ones[:, None],
        extra=(error / reading) ** 2,
        log_wild=np.full(len(side), _LOG_WILD_SIDE),
        log_unit=None,
        error=0.0,
        count=ones,
        source=np.arange(len(ones)),
    )


_GRID, _REACH, _FARTHEST = 41, 7.0, 5.5
"""Places an unknown at which the posterior is worked out: so many Laplace deviations to either side, but no farther
than this many of the prior's."""


def side_draws(density: LogPosterior, mode: Mode, normals: FloatArray) -> FloatArray:
    """Draws (K, 2) of bias and scatter from standard normal points (K, 2).

    Two unknowns are few enough for a grid: the points go through the inverse of the scatter's distribution there, and
    of the bias's given the scatter (Rosenblatt, Ann. Math. Statist. 23 (1952) 470).
    """
    if not density.rows:
        return np.asarray(mode.u + normals @ mode.root.T)
    reach = _REACH * np.sqrt(np.diagonal(mode.covariance))
    low, high = np.maximum(mode.u - reach, -_FARTHEST), np.minimum(mode.u + reach, _FARTHEST)
    steps = (high - low) / (_GRID - 1)
    bias, scatter = np.meshgrid(*(np.linspace(*ends, _GRID) for ends in zip(low, high, strict=True)), indexing="ij")
    height = density.value(np.column_stack([bias.ravel(), scatter.ravel()])).reshape(bias.shape)
    mass, share = np.exp(height - height.max()), ndtr(normals)
    of_scatter = _quantile(np.broadcast_to(mass.sum(axis=0), (len(share), _GRID)), share[:, 1])
    before = np.minimum(of_scatter.astype(np.intp), _GRID - 2)
    part = (of_scatter - before)[:, None]
    of_bias = _quantile((1 - part) * mass.T[before] + part * mass.T[before + 1], share[:, 0])
    return low + steps * np.column_stack([of_bias, of_scatter])


def _quantile(density: FloatArray, share: FloatArray) -> FloatArray:
    """Where (K,), in steps, the integrals of densities (K, n) given at every step reach a share (K,) of the whole.

    Densities are straight between two steps, so that the integral there is a parabola.
    """
    ends = np.cumsum((density[:, 1:] + density[:, :-1]) / 2, axis=1)
    wanted, row = share * ends[:, -1], np.arange(len(share))
    cell = np.minimum(np.sum(ends < wanted[:, None], axis=1), ends.shape[1] - 1)
    left = wanted - np.where(cell > 0, ends[row, cell - 1], 0.0)
    first, rise = density[row, cell], density[row, cell + 1] - density[row, cell]
    root = np.sqrt(np.maximum(first * first + 2 * rise * left, 0.0))
    return np.asarray(cell + np.clip(2 * left / np.maximum(first + root, 1e-300), 0.0, 1.0))


def chord(distance: FloatArray, half_width: FloatArray, bias: float, scatter: float) -> FloatArray:
    """Mean share of a round opening's depth (n,) that a shot with a good side meets: the chord where it crosses."""
    sd = np.maximum(distance * scatter, 1e-9)
    left, right = ndtr((-half_width - distance * bias) / sd), ndtr((half_width - distance * bias) / sd)
    at = ndtri(np.clip(left[:, None] + _NODES * (right - left)[:, None], 1e-12, 1 - 1e-12))
    aside = (distance[:, None] * bias + sd[:, None] * at) / half_width[:, None]
    return np.asarray(np.sqrt(np.clip(1 - aside**2, 0.01, 1.0)) @ _SHARES)
