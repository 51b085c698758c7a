"""What a profile alone says of a robot, as a belief to aim with: for comparing mechanisms before any shot.

Where shots have taught better, the session's belief is passed instead.
"""

from __future__ import annotations

import numpy as np

from fieldtune.aim.belief import Belief, Unknowns
from fieldtune.aim.exit import gain_basis
from fieldtune.robot.model import Robot, Target

_DRAWS = 200


def belief_from_profile(robot: Robot, target: Target, rng: np.random.Generator, draws: int = _DRAWS) -> Belief:
    """Draws from the profile's uncertainties: level of the exit speed, angle, drag or friction, distance.

    Exit speed goes with the root of a spring's energy, so half of the efficiency's spread is the speed's.
    """
    given, basis = robot.uncertainty, gain_basis(robot)
    level = given.grip if robot.launcher.kind == "flywheel" else given.efficiency / 2
    rubbing = given.friction if target.on_floor else given.drag
    gain = np.zeros((draws, basis.size))
    gain[:, 0] = rng.normal(0.0, level, draws)
    return Belief(
        basis=basis,
        draws=Unknowns(
            gain=gain,
            angle_error=rng.normal(0.0, given.exit_angle, draws),
            log_drag=rng.normal(0.0, rubbing, draws),
            distance_bias=rng.normal(0.0, given.distance, draws),
            side_bias=np.zeros(draws),
            speed_scatter=np.full(draws, given.exit_speed_scatter),
            angle_scatter=np.full(draws, given.exit_angle_scatter),
            side_scatter=np.full(draws, given.side_scatter),
        ),
        weights=np.full(draws, 1 / draws),
        best=Unknowns(
            gain=np.zeros((1, basis.size)),
            angle_error=np.zeros(1),
            log_drag=np.zeros(1),
            distance_bias=np.zeros(1),
            side_bias=np.zeros(1),
            speed_scatter=np.full(1, given.exit_speed_scatter),
            angle_scatter=np.full(1, given.exit_angle_scatter),
            side_scatter=np.full(1, given.side_scatter),
        ),
        shots_used=0,
        epoch=1,
    )
