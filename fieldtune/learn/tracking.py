"""How the drive follows its command: measured speed at release against the setpoint, in log exit speed.

A shot with a measured speed teaches about the launcher at that speed; a recommendation is a setpoint, so what the drive
makes of it counts too. Both are normal and conjugate, with a prior worth a few shots on the spread.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from fieldtune.learn.shot_table import ShotTable
from fieldtune.learn.unknowns import Prior
from fieldtune.robot.model import Robot

# Prior spread of the constant part: a closed loop or a draw stop, and an open loop by the motor's unloaded line.
_CLOSED, _OPEN = 0.02, 0.12
_JITTER, _JITTER_WORTH = 0.004, 4.0


def tracked_prior(robot: Robot, prior: Prior, table: ShotTable) -> Prior:
    """The prior with what pairs of commanded and measured speed say. Without pairs the level covers it all."""
    pairs = table.pairs
    if not len(pairs):
        return prior
    middle = float(np.median(pairs))
    # A reading error must not pass for jitter of the drive: far ones count as three typical deviations.
    reach = 3 * max(1.4826 * float(np.median(np.abs(pairs - middle))), _JITTER)
    near = np.clip(pairs, middle - reach, middle + reach)
    jitter2 = (_JITTER_WORTH * _JITTER**2 + float(np.sum((near - near.mean()) ** 2))) / (_JITTER_WORTH + len(near))
    broad = _OPEN if robot.setpoint.unit == "%" else _CLOSED
    precision = 1 / broad**2 + len(near) / jitter2
    return replace(
        prior,
        tracking_mean=float(near.sum()) / jitter2 / precision,
        tracking_sd=float(precision**-0.5),
        jitter=float(jitter2**0.5),
    )
