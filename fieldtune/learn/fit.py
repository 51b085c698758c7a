"""From shots to what is believed: maximum, spread and draws, from all shots and with the same answer every time."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from fieldtune.aim.belief import Belief, Unknowns
from fieldtune.learn.draws import elliptical, laplace
from fieldtune.learn.evidence import evidence
from fieldtune.learn.fresh import first_shots
from fieldtune.learn.newton import Mode, maximise
from fieldtune.learn.objective import Objective
from fieldtune.learn.ridge import ridge_gain, with_offset
from fieldtune.learn.shot_table import ShotTable, epochs_of, shot_table
from fieldtune.learn.side import SideLayout, side_objective
from fieldtune.learn.sight import NeedOf, SideView
from fieldtune.learn.start import starting_point
from fieldtune.learn.tracking import tracked_prior
from fieldtune.learn.unknowns import SHAPES, Layout, prior_of
from fieldtune.records import Shot
from fieldtune.robot.model import Robot

FloatArray = NDArray[np.float64]

_SEED = 20140
# Expansions go on while more than this may be gained in log density, in steps of so many prior standard deviations.
_NOTHING, _EXPANSIONS, _HALVINGS, _FARTHEST, _FINE = 1e-2, 10, 3, 1.5, 1e-5
# Up to this many shots the needs' curvature is carried along and the draws are corrected for not being normal.
_CURVED, _CORRECTED, _SWEEPS = 150, 40, 12

# Draws (K, P), their gains (K, size) without offset and tracking, and the present epoch's offset (K,).
Drawn = tuple[FloatArray, FloatArray, FloatArray]


@dataclass(frozen=True, slots=True)
class Fit:
    """What is believed after ``table``'s shots, and how it was found."""

    robot: Robot
    belief: Belief
    table: ShotTable
    epochs: tuple[int, ...]
    objective: Objective
    layout: Layout
    mode: Mode
    side: SideView
    need_of: NeedOf


def fit(robot: Robot, shots: Sequence[Shot], epoch: int, need_of: NeedOf, draws: int) -> Fit:
    """Posterior of a robot's unknowns from the shots that count, as ``draws`` draws for the present epoch."""
    table = shot_table(robot, shots, epoch)
    epochs = epochs_of(table.shots, epoch)
    rng = np.random.default_rng(_SEED)
    side_hill = side_objective(robot, table, need_of)
    side_mode = maximise(side_hill, np.zeros(2))
    side_layout = SideLayout.of(robot)
    view = SideView(float(side_layout.bias(side_mode.u[None])[0]), float(side_layout.scatter(side_mode.u[None])[0]))
    hill, layout, mode = _climb(robot, table, len(epochs), need_of, view)
    place, at = epochs.index(epoch), mode.u[None]
    few = len(table) <= _CORRECTED

    def drawn(slope: Objective, top: Mode) -> Drawn:
        points = _drawn(slope, top, draws, few and bool(slope.rows), rng)
        if few or not slope.rows:
            return points, layout.gain(points), layout.offsets(points)[:, place]
        return points, *ridge_gain(robot, table, layout, top, points, place, need_of, view)

    points, gain = _settled(hill, layout, mode, table, place, drawn)
    side_points = _drawn(side_hill, side_mode, draws, few and bool(side_hill.rows), rng)
    best = with_offset(layout, at, layout.gain(at), layout.offsets(at)[:, place])
    belief = Belief(
        basis=layout.prior.basis,
        draws=unknowns_from(layout, gain, points, side_layout, side_points),
        weights=np.full(draws, 1 / draws),
        best=unknowns_from(layout, best, mode.u[None], side_layout, side_mode.u[None]),
        shots_used=len(table),
        epoch=epoch,
    )
    return Fit(robot, belief, table, tuple(epochs), hill, layout, mode, view, need_of)


def _settled(
    hill: Objective,
    layout: Layout,
    mode: Mode,
    table: ShotTable,
    place: int,
    drawn: Callable[[Objective, Mode], Drawn],
) -> tuple[FloatArray, FloatArray]:
    """Draws (K, P) and their whole gains (K, size) in the present epoch."""
    first = first_shots(hill, layout, table, place)
    if first is not None:
        points, gain, _ = drawn(first.earlier, maximise(first.earlier, mode.u, _FINE))
        settled = first.settled(points, gain)
        if settled is not None:
            return settled
    points, gain, offset = drawn(hill, mode)
    return points, with_offset(layout, points, gain, offset)


def _climb(
    robot: Robot, table: ShotTable, epochs: int, need_of: NeedOf, view: SideView
) -> tuple[Objective, Layout, Mode]:
    """Climb on the needs expanded around where one stands, and expand again there, until nothing is left to gain.

    Each expansion is exact where it is made, so a step counts only if the hill itself has risen there (Gauss-Newton
    with a line search).
    """
    prior = tracked_prior(robot, prior_of(robot, robot.targets[0].on_floor), table)
    curved = len(table) <= _CURVED

    def expanded(u: FloatArray) -> tuple[Objective, Layout, float]:
        layout = replace(flat, origin=flat.shape(u[None])[0])
        hill = Objective(layout, evidence(robot, table, layout, need_of, view, curved), np.ones(layout.size))
        return hill, layout, float(hill.value(u[None])[0])

    flat = Layout(prior, epochs, np.zeros(SHAPES))
    hill, layout, value = expanded(np.zeros(flat.size))
    start = starting_point(hill)
    mode = maximise(hill, start, _FINE)
    # The hill is exact where the shape is the prior's, so the first step is counted from there.
    u = start.copy()
    u[flat.shape_at] = 0.0
    value = float(hill.value(u[None])[0])
    for _ in range(_EXPANSIONS):
        if not hill.rows or mode.value - value < _NOTHING:
            break
        move = mode.u - u
        farthest = float(np.max(np.abs(move[layout.shape_at])))
        move *= min(1.0, _FARTHEST / max(farthest, 1e-12))
        for _ in range(_HALVINGS):
            trial, trial_layout, trial_value = expanded(u + move)
            if trial_value >= value:
                break
            move = move / 2
        else:
            break
        gained = trial_value - value
        u, hill, layout, value = u + move, trial, trial_layout, trial_value
        mode = maximise(hill, u, _FINE)
        if gained < _NOTHING:
            break
    return hill, layout, mode


def _drawn(hill: Objective, mode: Mode, count: int, few: bool, rng: np.random.Generator) -> FloatArray:
    return elliptical(hill, mode, count, _SWEEPS, rng) if few else laplace(mode, count, rng)


def unknowns_from(
    layout: Layout, gain: FloatArray, points: FloatArray, side_layout: SideLayout, side_points: FloatArray
) -> Unknowns:
    """Draws in their own units, with the gain given."""
    shape = layout.shape(points)
    variances = layout.variances(points)
    return Unknowns(
        gain=gain,
        angle_error=shape[:, 0],
        log_drag=shape[:, 1],
        distance_bias=shape[:, 2],
        side_bias=side_layout.bias(side_points),
        speed_scatter=np.sqrt(variances[:, 0] + layout.prior.jitter**2),
        angle_scatter=np.sqrt(variances[:, 1]),
        side_scatter=side_layout.scatter(side_points),
    )
