"""MAP estimate by Gauss-Newton: the maximum of the log posterior and the Laplace approximation there.

Inside is Newton's method with exact derivatives on evidence whose required speeds are expanded around one place;
outside it the expansion is made anew where the maximum has moved. The start comes from a coarse grid, so
that shots far from the prior are not all taken for wild ones.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Protocol

import numpy as np

from fieldtune.frozen import frozen
from fieldtune.learn.evidence import evidence, tracked_prior
from fieldtune.learn.log_posterior import LogPosterior, Rows
from fieldtune.learn.parameters import SHAPES, Layout, prior_of

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.learn.shot_table import ShotTable
    from fieldtune.learn.target_expansion import RequiredSpeedOf, SideEstimate
    from fieldtune.robot.model import Robot

_ROUNDS, _HALVINGS = 60, 12
_LONGEST_STEP = 3.0
_SMALLEST_CURVATURE = 1e-3


class LogDensity(Protocol):
    """A log density with derivatives."""

    def value(self, points: FloatArray) -> FloatArray:
        """Log density (K,) at points (K, P)."""
        ...

    def derivatives(self, u: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        """Log density, gradient (P,), Hessian (P, P) at u (P,)."""
        ...


@frozen
class Mode:
    """The maximum ``u`` (P,), the log density there, and ``root`` (P, P) with root @ root.T = covariance by Laplace."""

    u: FloatArray
    value: float
    root: FloatArray

    @property
    def covariance(self) -> FloatArray:
        """Laplace covariance (P, P): inverse of the negative Hessian at the maximum."""
        return np.asarray(self.root @ self.root.T)

    @property
    def log_evidence(self) -> float:
        """Laplace's integral of the density: value + P/2 ln 2 pi + ln det root."""
        sign_free = float(np.linalg.slogdet(self.root)[1])
        return self.value + 0.5 * len(self.u) * float(np.log(2 * np.pi)) + sign_free


def maximise(
    density: LogDensity, start: FloatArray, tolerance: float = 1e-9, longest_step: float = _LONGEST_STEP
) -> Mode:
    """Newton's method from ``start`` (P,) until the expected rise falls below ``tolerance``.

    Where the density is not concave the curvature's absolute value is used (saddle-free Newton: Dauphin et al.,
    NIPS 2014), so that every step rises; steps are shortened until they do.
    """
    u = np.array(start, dtype=float)
    value, gradient, hessian = density.derivatives(u)
    for _ in range(_ROUNDS):
        step = _step(gradient, hessian)
        length = float(np.linalg.norm(step))
        step *= min(1.0, longest_step / max(length, 1e-12))
        if float(gradient @ step) < tolerance:
            break
        better = _shortened(density, u, value, gradient, step)
        if better is None:
            break
        u = better
        value, gradient, hessian = density.derivatives(u)
    return Mode(u, value, _root(hessian))


def _step(gradient: FloatArray, hessian: FloatArray) -> FloatArray:
    try:
        factor = np.linalg.cholesky(-hessian)
        return np.asarray(np.linalg.solve(factor.T, np.linalg.solve(factor, gradient)))
    except np.linalg.LinAlgError:
        size, axes = np.linalg.eigh(-hessian)
        return np.asarray(axes @ ((axes.T @ gradient) / np.maximum(np.abs(size), _SMALLEST_CURVATURE)))


def _shortened(
    density: LogDensity, u: FloatArray, value: float, gradient: FloatArray, step: FloatArray
) -> FloatArray | None:
    """The longest of halved steps that rises enough (Armijo), None if none does."""
    rise = float(gradient @ step)
    for _ in range(_HALVINGS):
        trial = u + step
        if float(density.value(trial[None])[0]) >= value + 1e-4 * rise:
            return trial
        step, rise = step / 2, rise / 2
    return None


def _root(hessian: FloatArray) -> FloatArray:
    """Square root of the inverse of the negative Hessian; directions without curvature get a wide but finite spread."""
    size, axes = np.linalg.eigh(-(hessian + hessian.T) / 2)
    return np.asarray(axes / np.sqrt(np.maximum(np.abs(size), 1e-12)))


# A maximum is found where the expected rise in log density falls below this.
FINE = 1e-5
# Expansions go on while more than this may be gained in log density, in steps of so many prior standard deviations.
_NOTHING, _EXPANSIONS, _STEP_HALVINGS, _FARTHEST = 1e-2, 10, 3, 1.5
# Up to this many shots the curvature of required speeds is carried along.
_CURVED = 150


def map_by_gauss_newton(
    robot: Robot,
    table: ShotTable,
    epochs: int,
    required_of: RequiredSpeedOf,
    view: SideEstimate,
    batteries: tuple[int, ...] = (),
) -> tuple[LogPosterior, Layout, Mode]:
    """Maximum of the log posterior on required speeds expanded around it, repeated until nothing is gained.

    Each expansion is exact where it is made, so a step counts only if the log posterior itself has risen there
    (Gauss-Newton with a line search).
    """
    prior = tracked_prior(robot, prior_of(robot, robot.targets[0]), table)
    curved = len(table) <= _CURVED

    def expanded(u: FloatArray) -> tuple[LogPosterior, Layout, float]:
        layout = replace(flat, origin=flat.shape(u[None])[0])
        density = LogPosterior(layout, evidence(robot, table, layout, required_of, view, curved), np.ones(layout.size))
        return density, layout, float(density.value(u[None])[0])

    present = int(table.batch[-1]) if len(table) else -1
    flat = Layout(prior, epochs, np.zeros(SHAPES), batteries, len(table.batches), present)
    density, layout, value = expanded(np.zeros(flat.size))
    start = starting_point(density)
    mode = maximise(density, start, FINE)
    # The density is exact where the shape is the prior's, so the first step is counted from there.
    u = start.copy()
    u[flat.shape_at] = 0.0
    value = float(density.value(u[None])[0])
    for _ in range(_EXPANSIONS):
        if not density.rows or mode.value - value < _NOTHING:
            break
        move = mode.u - u
        farthest = float(np.max(np.abs(move[layout.shape_at])))
        move *= min(1.0, _FARTHEST / max(farthest, 1e-12))
        for _ in range(_STEP_HALVINGS):
            trial, trial_layout, trial_value = expanded(u + move)
            if trial_value >= value:
                break
            move = move / 2
        else:
            break
        gained = trial_value - value
        u, density, layout, value = u + move, trial, trial_layout, trial_value
        mode = maximise(density, u, FINE)
        if gained < _NOTHING:
            break
    return density, layout, mode


_MOST_ROWS, _WIDE_ROWS = 64, 128
_LEVELS = np.linspace(-5.0, 5.0, 41)
_SLOPES = np.array([-2.0, 0.0, 2.0])
_WIDER = 4.0


def starting_point(density: LogPosterior) -> FloatArray:
    """Start (P,): the best of a grid over level and slope, then Newton with the scatter seen wide."""
    start = np.zeros(len(density.precision))
    if not density.rows:
        return start
    thin = replace(density, rows=tuple(_thinned(rows, _MOST_ROWS).widened(_WIDER / 2) for rows in density.rows))
    level, slope = np.meshgrid(_LEVELS, _SLOPES, indexing="ij")
    grid = np.zeros((level.size, len(start)))
    grid[:, 0], grid[:, 1] = level.ravel(), slope.ravel()
    start = grid[int(np.argmax(thin.value(grid)))]
    wide = replace(density, rows=tuple(_thinned(rows, _WIDE_ROWS).widened(_WIDER) for rows in density.rows))
    return maximise(wide, start, tolerance=1e-2).u


def _thinned(rows: Rows, most: int) -> Rows:
    """Rows evenly spaced through the log, at most ``most``."""
    if len(rows) <= most:
        return rows
    return rows.take(np.linspace(0, len(rows) - 1, most).astype(np.intp))
