"""Which fixed exit angle scores most: the hit chance over the angle, with the setpoint chosen anew at each.

What was learned is kept: exit speed over the setpoint, drag, scatter, and the error of the angle, which is added to
each angle tried. What isn't known yet counts as it is now: shots at one angle tell less of the speed that another asks
for, so that the angle shot at looks better than it will once the other is tuned too. An arm that is stopped elsewhere
lifts itself a little more or less; that share is left as it is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.distance_table import table
from fieldtune.errors import InputError
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief
    from fieldtune.aim.places import Place
    from fieldtune.robot.model import Robot, Target

_FLATTEST, _STEEPEST = -30.0, 85.0
_MOST = 200
_AS_GOOD = 0.01


@frozen
class AngleSpot:
    """One spot at one angle; ``setpoint`` None where nothing scores, and the hit chance is 0 then."""

    distance_m: float
    spot: str | None
    setpoint: float | None
    hit_probability: float


@frozen
class AngleRow:
    """Hit chance at one exit angle: mean over the spots, and that of the worst."""

    exit_angle_deg: float
    mean: float
    worst: float
    spots: tuple[AngleSpot, ...]


@frozen
class AngleSweep:
    """Hit chance over the exit angle.

    ``best``: angle (degrees) with the highest mean over the spots; ``best_worst``: with the highest hit chance at the
    worst spot. ``flat``: the angles around ``best`` whose mean is within a point of it. ``degree_costs``: mean hit
    chance lost one degree beside ``best``, where that was tried. ``each_best``: mean hit chance with the best of these
    angles at each spot, which a hood would give. ``now``: the robot as it is.
    """

    robot: str
    angles: tuple[AngleRow, ...]
    best: float
    best_worst: float
    flat: tuple[float, float]
    degree_costs: float | None
    each_best: float
    now: AngleRow


def angle_sweep(
    robot: Robot,
    target: Target,
    belief: Belief,
    places: Sequence[Place],
    low_deg: float,
    high_deg: float,
    step_deg: float = 1.0,
    battery_v: float | None = None,
) -> AngleSweep:
    """Hit chance at exit angles from low to high. Raises ``InputError`` where an angle makes no sense."""
    degrees = _degrees(low_deg, high_deg, step_deg)
    if not target.by_way(lambda: True, lambda: robot.lands_first):
        raise InputError(f"{robot.name} slides its element along the floor: the exit angle has no say in that")

    def row(at_deg: float) -> AngleRow:
        tilted = replace(robot, launcher=replace(robot.launcher, exit_angle=math.radians(at_deg)))
        found = table(tilted, target, belief, [place.distance_m for place in places], battery_v)
        spots = tuple(
            AngleSpot(place.distance_m, place.name, one.setpoint, one.hit_probability or 0.0)
            for place, one in zip(places, found, strict=True)
        )
        chances = [spot.hit_probability for spot in spots]
        return AngleRow(at_deg, float(np.mean(chances)), min(chances), spots)

    rows = tuple(row(at) for at in degrees)
    means = np.array([one.mean for one in rows])
    top = int(np.argmax(means))
    return AngleSweep(
        robot=robot.name,
        angles=rows,
        best=rows[top].exit_angle_deg,
        best_worst=max(rows, key=lambda one: one.worst).exit_angle_deg,
        flat=_flat(rows, top),
        degree_costs=_degree_costs(degrees, means, top),
        each_best=float(np.mean(np.max([[spot.hit_probability for spot in one.spots] for one in rows], axis=0))),
        now=row(math.degrees(robot.launcher.exit_angle)),
    )


def _degrees(low: float, high: float, step: float) -> list[float]:
    """The angles to try, degrees."""
    for degrees in (low, high):
        if not _FLATTEST <= degrees <= _STEEPEST:
            raise InputError(f"exit angle {degrees:g} deg: expected one from {_FLATTEST:g} to {_STEEPEST:g} deg")
    if not low < high:
        raise InputError(f"exit angles from {low:g} to {high:g} deg: the second has to be the larger one")
    if not 0 < step <= high - low:
        raise InputError(f"a step of {step:g} deg: expected one above 0 and up to {high - low:g} deg")
    count = math.floor((high - low) / step + 1e-9) + 1
    if count > _MOST:
        raise InputError(f"{count} exit angles are too many: take a step of {(high - low) / 100:.2g} deg or more")
    return [round(low + k * step, 9) for k in range(count)]


def _flat(rows: Sequence[AngleRow], top: int) -> tuple[float, float]:
    first = last = top
    while first > 0 and rows[first - 1].mean >= rows[top].mean - _AS_GOOD:
        first -= 1
    while last < len(rows) - 1 and rows[last + 1].mean >= rows[top].mean - _AS_GOOD:
        last += 1
    return rows[first].exit_angle_deg, rows[last].exit_angle_deg


def _degree_costs(degrees: Sequence[float], means: np.ndarray, top: int) -> float | None:
    """Mean over both sides of what one degree loses, interpolated; one side at the end of the range."""
    beside = [degrees[top] + side for side in (-1.0, 1.0) if degrees[0] <= degrees[top] + side <= degrees[-1]]
    return float(means[top] - np.interp(beside, degrees, means).mean()) if beside else None
