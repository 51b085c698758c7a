"""The hood: at which exit angle to shoot from a distance, and when it pays to move it there.

The exit angle is a setpoint beside the first one. Every setting of the hood is tried with its own best setpoint. The
hood stays where it is as long as that costs less than a point of hit chance, and goes to the best setting otherwise: a
flat optimum then doesn't send it to and fro. Where nobody knows how it stands, it stands at the profile's exit angle.
A table goes through its distances from near to far, and the hood stays as it stood at the distance before.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.distance_table import table
from fieldtune.aim.hit_chance import HitChanceCurve
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.results import TableRow
from fieldtune.aim.setpoint_search import best_setpoint
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot, Target

WORTH_MOVING = 0.01
"""Hit chance that a move of the hood has to gain: less is within what a few shots leave open."""
_DRAWS = 256
"""Draws that tell the settings apart: all of them see the same ones, so that their differences are sharp."""


@frozen
class HoodRow(TableRow):
    """A row of a table for a robot with a hood: the exit angle (degrees) that goes with the setpoint."""

    exit_angle_setpoint_deg: float | None = None


def exit_angle_of(row: TableRow) -> float | None:
    """The exit angle (degrees) that goes with a row's setpoint; None without a hood."""
    return row.exit_angle_setpoint_deg if isinstance(row, HoodRow) else None


def best_exit_angle(
    robot: Robot,
    target: Target,
    belief: Belief,
    distance_m: float,
    battery_v: float | None = None,
    stands_deg: float | None = None,
) -> float | None:
    """Exit angle (degrees) to set the hood to, from a distance reading (m); None without a hood.

    ``stands_deg``: how it stands now, where that is known.
    """
    if robot.hood is None:
        return None
    settings, stays = _settings(robot, stands_deg)
    few = _thinned(belief)

    def chance(angle: float) -> float:
        held = robot.with_exit_angle(angle)
        curve = HitChanceCurve.at(held, required_speed_for(held, target), few, distance_m, battery_v)
        best = best_setpoint(curve, lowest_wins=target.slowest_wins, rounded=False)
        return 0.0 if best is None else best.probability

    return settings[_chosen(np.array([chance(angle) for angle in settings]), settings.index(stays))]


def at_best_angle(
    robot: Robot,
    target: Target,
    belief: Belief,
    distance_m: float,
    battery_v: float | None = None,
    stands_deg: float | None = None,
) -> Robot:
    """The robot with its hood held where ``best_exit_angle`` says; itself where it has none."""
    return robot.with_exit_angle(best_exit_angle(robot, target, belief, distance_m, battery_v, stands_deg))


def hood_table(
    robot: Robot,
    target: Target,
    belief: Belief,
    distances_m: Sequence[float],
    battery_v: float | None = None,
    rounded: bool = True,
    stands_deg: float | None = None,
) -> tuple[TableRow, ...]:
    """As ``distance_table.table``, with the exit angle of each distance; without a hood that table itself."""
    if robot.hood is None:
        return table(robot, target, belief, distances_m, battery_v, rounded)
    settings, stays = _settings(robot, stands_deg)
    few, wanted = _thinned(belief), sorted(set(distances_m))
    chances = np.array(
        [
            [row.hit_probability or 0.0 for row in table(held, target, few, wanted, battery_v, False)]
            for held in map(robot.with_exit_angle, settings)
        ]
    )
    place, angles = settings.index(stays), {}
    for distance, column in zip(wanted, chances.T, strict=True):
        place = _chosen(column, place)
        angles[distance] = settings[place]
    rows: dict[float, HoodRow] = {}
    for angle in dict.fromkeys(angles.values()):
        there = [distance for distance in wanted if angles[distance] == angle]
        for row in table(robot.with_exit_angle(angle), target, belief, there, battery_v, rounded):
            scores = None if row.setpoint is None else angle
            rows[row.distance_m] = HoodRow(
                row.distance_m, row.setpoint, row.low, row.high, row.hit_probability, scores
            )  # fmt: skip
    return tuple(rows[distance] for distance in distances_m)


def _settings(robot: Robot, stands_deg: float | None) -> tuple[list[float], float]:
    """The angles (degrees) to try, and the one at which the hood stands; where nobody knows, the profile's."""
    assert robot.hood is not None
    known = stands_deg is not None and robot.hood.holds(stands_deg)
    stays = robot.hood.nearest(stands_deg) if known and stands_deg is not None else robot.exit_angle_deg
    return sorted({*robot.hood.settings, stays}), stays


def _chosen(chances: FloatArray, stands: int) -> int:
    """Place of the setting to take, of hit chances (n,) and the place at which the hood stands."""
    best = int(np.argmax(chances))
    return stands if chances[best] - chances[stands] <= WORTH_MOVING else best


def _thinned(belief: Belief) -> Belief:
    """As some evenly spread draws see it."""
    draws = belief.draws
    count = len(belief.weights)
    if count <= _DRAWS:
        return belief
    pick = np.linspace(0, count - 1, _DRAWS).round().astype(int)
    weights = belief.weights[pick] / belief.weights[pick].sum()
    return replace(belief, draws=draws.of(pick), weights=weights)
