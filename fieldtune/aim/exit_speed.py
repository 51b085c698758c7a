"""Exit speeds as believed: the profile's physics, corrected by a smooth function of the drive quantity."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.aim.draws import GainBasis, Unknowns
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot


def gain_basis(robot: Robot) -> GainBasis:
    """Basis of the log-speed correction over what the robot program accepts, at nominal voltage."""
    low, high = drive_quantity(robot, [robot.setpoint.low, robot.setpoint.high])
    return GainBasis(q_low=float(max(low, 0.05 * high)), q_high=float(high))


def log_speed(robot: Robot, basis: GainBasis, unknowns: Unknowns, quantity: ArrayLike) -> FloatArray:
    """ln exit speed (K, n) of every draw at drive quantities (n,)."""
    q = np.atleast_1d(np.asarray(quantity, dtype=float))
    return model_log_speed(robot, q)[None, :] + unknowns.gain @ basis.at(q).T
