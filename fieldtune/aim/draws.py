"""What is believed of a robot's unknowns as weighted draws that answers average, and their exit speeds.

The learn room makes a Belief from priors and shots; this room only reads it. The log of the exit speed is

    ln v = ln v_model(setpoint, battery) + basis(q) @ gain

where ``q`` is the drive quantity behind the setpoint (wheel rpm, or draw in mm) and ``basis`` has a level, a slope over
ln q and a smooth remainder (a Gaussian process reduced to a few knots).
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.frozen import frozen
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray, IntArray
    from fieldtune.robot.model import Robot


@frozen
class GainBasis:
    """Basis of the log-speed correction over the drive quantity q in [q_low, q_high].

    ``knots`` lie in the normalised coordinate 0..1 of ln q; ``length`` is the remainder's length scale there. The
    remainder's columns are k(x, knots) @ chol(k(knots, knots))^-T, so that unit normal weights give a unit-variance
    squared exponential process (Rasmussen & Williams 2006, eq. 2.31 and section 8.3).
    """

    q_low: float
    q_high: float
    knots: tuple[float, ...] = (-0.05, 0.225, 0.5, 0.775, 1.05)
    length: float = 0.35

    @property
    def size(self) -> int:
        """Number of columns: level, slope, one a knot."""
        return 2 + len(self.knots)

    def coordinate(self, q: FloatArray | float) -> FloatArray:
        """Normalised ln q: 0 at q_low, 1 at q_high; q (n,), positive."""
        span = np.log(self.q_high / self.q_low)
        return np.asarray(np.log(np.maximum(np.asarray(q, dtype=float), 1e-9) / self.q_low) / span)

    def at(self, q: FloatArray | float) -> FloatArray:
        """Columns (n, size) at drive quantities q (n,): 1, coordinate - 1/2, remainder columns."""
        x = np.atleast_1d(self.coordinate(q))
        cross = np.exp(-0.5 * ((x[:, None] - np.asarray(self.knots)[None, :]) / self.length) ** 2)
        return np.column_stack([np.ones_like(x), x - 0.5, cross @ _whitening(self.knots, self.length)])


@lru_cache(maxsize=64)
def _whitening(knots: tuple[float, ...], length: float) -> FloatArray:
    """chol(k(knots, knots))^-T."""
    z = np.asarray(knots)
    gram = np.exp(-0.5 * ((z[:, None] - z[None, :]) / length) ** 2) + 1e-6 * np.eye(len(z))
    return np.asarray(np.linalg.inv(np.linalg.cholesky(gram)).T)


@frozen
class Unknowns:
    """K draws of all that is unknown about a robot; every field has shape (K,), ``gain`` (K, basis.size).

    ``log_drag`` scales the drag coefficient for a flight and the friction coefficient for a slide. ``distance_bias`` is
    what is added to a reading to get the true distance, metres. Angles in radians; scatters are standard deviations
    (speed relative); ``side_bias`` is positive right.
    """

    gain: FloatArray
    angle_error: FloatArray
    log_drag: FloatArray
    distance_bias: FloatArray
    side_bias: FloatArray
    speed_scatter: FloatArray
    angle_scatter: FloatArray
    side_scatter: FloatArray

    def of(self, which: IntArray) -> Unknowns:
        """Draws of those numbers (n,), each as often as it is named."""
        return Unknowns(*(getattr(self, name)[which] for name in self.__match_args__))


@frozen
class Belief:
    """Weighted draws (weights sum to 1) for the present epoch, the best single value, and how much it rests on."""

    basis: GainBasis
    draws: Unknowns
    weights: FloatArray
    best: Unknowns
    shots_used: int
    epoch: int


# Exit speeds as believed: the profile's physics, corrected by a smooth function of the drive quantity.


def gain_basis(robot: Robot) -> GainBasis:
    """Basis of the log-speed correction over what the robot program accepts, at nominal voltage."""
    low, high = drive_quantity(robot, [robot.setpoint.low, robot.setpoint.high])
    return GainBasis(q_low=float(max(low, 0.05 * high)), q_high=float(high))


def log_speed(robot: Robot, basis: GainBasis, unknowns: Unknowns, quantity: ArrayLike) -> FloatArray:
    """ln exit speed (K, n) of every draw at drive quantities (n,)."""
    q = np.atleast_1d(np.asarray(quantity, dtype=float))
    return np.asarray((model_log_speed(robot, q)[:, None] + basis.at(q) @ unknowns.gain.T).T)
