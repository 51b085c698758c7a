"""Hit chance over distance and setpoint: the map of a robot, on a coarse grid from which any point can be read."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.hit_chance import HitChanceCurve
from fieldtune.aim.hood import best_exit_angle
from fieldtune.aim.reach import reach_of_all
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.results import WORTH_SAYING
from fieldtune.aim.setpoint_search import best_setpoint
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot, Target

DISTANCES, SETPOINTS = 25, 49
"""Size of the grid: between its points hit chances are interpolated."""
_TAIL = 0.02
"""Chances below this aren't worth a place on the map."""


@frozen
class ChanceField:
    """Hit chances (m, n) at ``distance_m`` (m,) and setpoints ``off`` (n,) off ``middle`` (m,), evenly spaced.

    ``best``, ``low``, ``high``, ``best_chance`` (m,): the recommendation, before the robot's step; nan where nothing
    scores. ``bottom`` and ``top``: setpoints worth showing.
    """

    distance_m: FloatArray
    off: FloatArray
    middle: FloatArray
    chance: FloatArray
    bottom: float
    top: float
    best: FloatArray
    low: FloatArray
    high: FloatArray
    best_chance: FloatArray


def map_range(
    robot: Robot, target: Target, belief: Belief, also: tuple[float, ...] = (), battery_v: float | None = None
) -> tuple[float, float] | None:
    """Distances (m) that a map shows: spots and ``also`` with a margin, else all that is reached; None for nowhere."""
    seen = reach_of_all(robot, target, belief, battery_v)
    near, far = seen.nearest, seen.farthest
    places = [*(spot.distance for spot in robot.spots), *also]
    if near is None or far is None:
        return (max(0.05, 0.8 * min(places)), 1.2 * max(places)) if places else None
    if len(set(places)) < 2:
        return max(0.05, near), far
    wide = max(places) - min(places)
    return max(0.05, min(places) - 0.25 * wide), max(places) + 0.25 * wide


def chance_field(
    robot: Robot,
    target: Target,
    belief: Belief,
    near_m: float,
    far_m: float,
    battery_v: float | None = None,
    between: Callable[[], None] = lambda: None,
    count: int = DISTANCES,
) -> ChanceField:
    """The map from ``near_m`` to ``far_m`` over the setpoints that score there, at ``count`` distances.

    ``between`` is called at each distance. A few hundred milliseconds: the setpoint's axis holds every good range and,
    within the robot's limits, as much again on either side. A hood stands at each distance as a table has it.
    """
    limits = robot.setpoint
    distances = np.linspace(near_m, far_m, count)
    curves, rows, stands = [], [], None
    for distance in distances:
        between()
        stands = best_exit_angle(robot, target, belief, float(distance), battery_v, stands)
        held = robot.with_exit_angle(stands)
        curve = HitChanceCurve.at(held, required_speed_for(held, target), belief, float(distance), battery_v)
        found = best_setpoint(curve, lowest_wins=target.slowest_wins, rounded=False)
        scores = found is not None and found.probability >= WORTH_SAYING
        rows.append((found.setpoint, found.low, found.high, found.probability) if found and scores else (np.nan,) * 4)
        curves.append(curve)
    best, low, high, chance = np.array(rows).T
    known = np.isfinite(best)
    middle = np.interp(distances, distances[known], best[known]) if known.any() else np.full_like(best, limits.low)
    scoring = [
        (float(seen.min()), float(seen.max()), at)
        for curve, at in zip(curves, middle, strict=True)
        if len(seen := np.append(curve.seen[curve.chance > _TAIL], at)) > 1
    ] or [(limits.low, limits.high, (limits.low + limits.high) / 2)]
    wide = max(max(top - at, at - bottom) for bottom, top, at in scoring)
    off = np.linspace(-wide, wide, SETPOINTS)
    values = []
    for curve, at in zip(curves, middle, strict=True):
        between()
        inside = (at + off >= limits.low) & (at + off <= limits.high)
        values.append(np.where(inside, np.nan_to_num(curve.mean(np.clip(at + off, limits.low, limits.high))), 0.0))
    bottom, top = min(bottom for bottom, _, _ in scoring), max(top for _, top, _ in scoring)
    margin = 0.05 * (top - bottom)
    return ChanceField(
        distances,
        off,
        middle,
        np.array(values),
        max(limits.low, bottom - margin),
        min(limits.high, top + margin),
        best,
        low,
        high,
        chance,
    )
