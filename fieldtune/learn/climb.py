"""The climb to the most likely unknowns, on evidence that is expanded around where one stands."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fieldtune.learn.evidence import evidence
from fieldtune.learn.newton import Mode, maximise
from fieldtune.learn.objective import Objective
from fieldtune.learn.shot_table import ShotTable
from fieldtune.learn.sight import NeedOf, SideView
from fieldtune.learn.start import starting_point
from fieldtune.learn.tracking import tracked_prior
from fieldtune.learn.unknowns import SHAPES, Layout, prior_of
from fieldtune.robot.model import Robot

FloatArray = NDArray[np.float64]

# A maximum is found where the expected rise in log density falls below this.
FINE = 1e-5
# Expansions go on while more than this may be gained in log density, in steps of so many prior standard deviations.
_NOTHING, _EXPANSIONS, _HALVINGS, _FARTHEST = 1e-2, 10, 3, 1.5
# Up to this many shots the needs' curvature is carried along.
_CURVED = 150


def climbed(
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
    mode = maximise(hill, start, FINE)
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
        mode = maximise(hill, u, FINE)
        if gained < _NOTHING:
            break
    return hill, layout, mode
