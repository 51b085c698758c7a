"""The recommended setpoint as a curve over the distance, small enough to be typed into a robot program.

Monotone cubic interpolation (Fritsch & Carlson, SIAM J. Numer. Anal. 17 (1980) 238) through nodes that are added where
the error is worst, until it is below half a setpoint step at every distance checked.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike
from scipy.interpolate import PchipInterpolator

from fieldtune.errors import InputError, OutOfReachError

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.session import Session

_CHECKS = 121
_FIRST_NODES = 4
_MOST_NODES = 60
_MARGIN = 0.9
"""Share of half a step that the error may take at the checked distances; the rest is for those in between."""


@dataclass(frozen=True, slots=True)
class Curve:
    """Nodes (n,) of the curve: distance (m), setpoint, its slope (setpoint a metre) and hit probability.

    ``worst_error`` (setpoint units) is the largest difference to the recommendation over ``checked`` distances.
    ``high`` is the highest setpoint that the robot accepts. ``volts`` is the battery voltage the setpoints are for
    (open-loop robots, whose setpoint goes with its inverse).
    """

    robot: str
    title: str
    target: str | None
    unit: str
    step: float
    high: float
    distance_m: FloatArray
    setpoint: FloatArray
    slope: FloatArray
    hit_probability: FloatArray
    worst_error: float
    checked: int
    epoch: int
    shots_used: int
    volts: float | None

    def at(self, distance_m: ArrayLike) -> FloatArray:
        """Setpoints (n,) at distances (n,), held at the ends."""
        d = np.clip(np.asarray(distance_m, dtype=float), self.distance_m[0], self.distance_m[-1])
        k = np.clip(np.searchsorted(self.distance_m, d, side="right") - 1, 0, len(self.distance_m) - 2)
        width = self.distance_m[k + 1] - self.distance_m[k]
        u = (d - self.distance_m[k]) / width
        left, right = self.setpoint[k], self.setpoint[k + 1]
        bend = (self.slope[k] * (1 - u) - self.slope[k + 1] * u) * width
        return np.asarray(left + u * u * (3 - 2 * u) * (right - left) + u * (1 - u) * bend)


def curve(
    session: Session, near_m: float, far_m: float, battery_v: float | None = None, target: str | None = None
) -> Curve:
    """The curve over ``near_m``..``far_m``, cut to the stretch in which every distance can be scored from.

    Raises ``InputError`` for a range that is none, ``OutOfReachError`` where hardly any of it can be scored from.
    """
    if not (0 < near_m < far_m <= 100):
        raise InputError(f"from {near_m:g} m to {far_m:g} m: expected 0 < from < to <= 100 m")
    robot = session.robot
    volts = None
    if robot.setpoint.scale.follows_voltage:
        volts = battery_v if battery_v is not None else robot.drive.nominal_voltage if robot.drive else None
    wanted = [float(d) for d in np.linspace(near_m, far_m, _CHECKS)]
    rows = session.table(wanted, volts if volts is not None else battery_v, target, rounded=False)
    kept = _longest_stretch([row.setpoint is not None for row in rows])
    if len(kept) < _FIRST_NODES:
        between = f"between {near_m:g} and {far_m:g} m"
        raise OutOfReachError(f"{robot.name} scores nowhere {between}; 'fieldtune aim' says why")
    d = np.array([rows[i].distance_m for i in kept])
    s = np.array([rows[i].setpoint for i in kept], dtype=float)
    p = np.array([rows[i].hit_probability for i in kept], dtype=float)
    nodes, error = _thinned(d, s, _MARGIN * robot.setpoint.step / 2)
    digits = max(0, 3 - math.floor(math.log10(robot.setpoint.step)))
    at, values = d[nodes].round(4), s[nodes].round(digits)
    return Curve(
        robot.name,
        robot.title,
        robot.target(target).name,
        robot.setpoint.unit,
        robot.setpoint.step,
        robot.setpoint.high,
        at,
        values,
        np.asarray(PchipInterpolator(at, values).derivative()(at)),
        p[nodes],
        error,
        len(kept),
        session.log.epoch,
        session.belief.shots_used,
        volts,
    )


def _thinned(d: FloatArray, s: FloatArray, tolerance: float) -> tuple[list[int], float]:
    """Places of the fewest nodes found greedily, and the worst error left."""
    nodes = sorted({round(i) for i in np.linspace(0, len(d) - 1, _FIRST_NODES)})
    while True:
        errors = np.abs(PchipInterpolator(d[nodes], s[nodes])(d) - s)
        worst = int(np.argmax(errors))
        if errors[worst] <= tolerance or len(nodes) >= min(_MOST_NODES, len(d)):
            return nodes, float(errors[worst])
        nodes = sorted({*nodes, worst})


def _longest_stretch(good: list[bool]) -> list[int]:
    """Places of the longest unbroken run of True."""
    best: list[int] = []
    run: list[int] = []
    for place, fine in enumerate(good):
        run = [*run, place] if fine else []
        if len(run) > len(best):
            best = run
    return best
