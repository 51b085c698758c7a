"""Recommended setpoints over many distances: worked out in full at a few, and smooth in between.

What is interpolated is how far the recommendation lies from the mean path's setpoint, which takes the curve's shape
out. A stretch counts as smooth when its middle, worked out in full, lies where the nodes around said it would; that
then becomes a node itself, and what is left is an eighth of the error found or less (cubics over half the spacing).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.draws import log_speed
from fieldtune.aim.hit_chance import HitChanceCurve
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.results import WORTH_SAYING, TableRow
from fieldtune.aim.setpoint_search import Best, best_setpoint, best_setpoints
from fieldtune.aim.situation import situation, situations
from fieldtune.normal import ndtr
from fieldtune.robot.exit_speed import drive_quantity

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief
    from fieldtune.arrays import FloatArray, IntArray
    from fieldtune.robot.model import Robot, Target

_FEW, _FIRST = 8, 3
_STEPS_OFF, _EDGE_STEPS_OFF, _CHANCE_OFF = 0.6, 3.0, 0.008
"""How far a middle may lie from where it was expected: its setpoint and its range's ends in steps, its chance."""
_SPEEDS, _LEAST, _OPEN = 65, 1e-4, 3.0
_SETPOINT, _LOW, _HIGH, _CHANCE, _BELOW, _ABOVE = range(6)


def table(
    robot: Robot,
    target: Target,
    belief: Belief,
    distances_m: Sequence[float],
    battery_v: float | None = None,
    rounded: bool = True,
) -> tuple[TableRow, ...]:
    """Recommended setpoints at distance readings, metres; not ``rounded``: before the robot's step.

    Within a third of a step and 0.002 of hit chance of every row worked out in full.
    """
    wanted = sorted(set(distances_m))
    if len(wanted) <= _FEW:
        return tuple(_row(robot, target, belief, distance, battery_v, rounded) for distance in distances_m)
    nodes = _Nodes(robot, target, belief, np.array(wanted), battery_v)
    nodes.fill()
    rows = dict(zip(wanted, nodes.rows(rounded), strict=True))
    return tuple(rows[distance] for distance in distances_m)


def _row(
    robot: Robot, target: Target, belief: Belief, distance_m: float, battery_v: float | None, rounded: bool
) -> TableRow:
    curve = HitChanceCurve.at(robot, required_speed_for(robot, target), belief, distance_m, battery_v)
    best = best_setpoint(curve, lowest_wins=target.slowest_wins, rounded=rounded)
    if best is None or best.probability < WORTH_SAYING:
        return TableRow(distance_m, None, None, None, None)
    return TableRow(distance_m, best.setpoint, best.low, best.high, best.probability)


class _Nodes:
    """The places (indices into ``at``) worked out in full, and what was found there (n, 6); nan where nothing scores.

    All as logarithms, over that of the distance: the setpoint and its range less the mean path's; the chance at the
    setpoint and half a step beside it, less what the best single belief would have.
    """

    def __init__(self, robot: Robot, target: Target, belief: Belief, at: FloatArray, battery_v: float | None) -> None:
        self._robot, self._target, self._belief, self._battery_v = robot, target, belief, battery_v
        self._need = required_speed_for(robot, target)
        self._at, self._x = at, np.log(at)
        self._found = np.full((len(at), 6), np.nan)
        self._tried, self._known = np.zeros(len(at), dtype=bool), np.zeros(len(at), dtype=bool)
        self._base = self._mean_setpoints()
        self._chance_base: FloatArray | None = None

    def _mean_setpoints(self) -> FloatArray:
        """ln of the setpoint whose mean path meets the target's centre, held at the limits; zeros where unknown."""
        limits, best = self._robot.setpoint, self._belief.best
        grid = np.geomspace(max(limits.low, limits.high * 1e-3), limits.high, _SPEEDS)
        speeds = log_speed(self._robot, self._belief.basis, best, drive_quantity(self._robot, grid, self._battery_v))[0]
        needed = self._need.log_speed(
            self._at + float(best.distance_bias[0]), 0.0, float(best.angle_error[0]), float(best.log_drag[0])
        ).value
        if not (np.isfinite(speeds).all() and (np.diff(speeds) > 0).all()):
            return np.zeros_like(self._at)
        return np.asarray(np.interp(np.nan_to_num(needed, nan=speeds[0]), speeds, np.log(grid)))

    def _mean_chances(self, curve: HitChanceCurve, setpoint: float) -> FloatArray:
        """ln of the chance that the best single belief would have in the middle of each opening.

        With as much spread of the launches as all beliefs together have in ``curve``.
        """
        gaps = curve.speeds(np.array([setpoint]))[:, 0] - curve.scene.center
        known = np.isfinite(gaps)
        believed = float(np.std(gaps[known]))
        best = situation(self._need, self._at, self._belief.best, np.zeros(len(self._at), dtype=np.intp))
        bounds = [
            np.clip(bound, -_OPEN + best.center[:, None], _OPEN + best.center[:, None])
            for bound in (best.low, best.high)
        ]
        middle = (bounds[0].mean(axis=1) + bounds[1].mean(axis=1)) / 2
        spread = np.hypot(best.spread, believed)[:, None]
        below, above = (ndtr((bound - middle[:, None]) / spread) for bound in bounds)
        chance = best.side * ((above - below) @ best.shares)
        return np.log(np.maximum(np.nan_to_num(chance, nan=1.0), _LEAST))

    def fill(self) -> None:
        """Works out as many places as it takes."""
        count = len(self._at)
        evenly = np.linspace(self._x[0], self._x[-1], _FIRST)
        firsts = sorted({0, *np.searchsorted(self._x, evenly[1:-1]).tolist(), count - 1})
        open_ = [(a, b) for a, b in pairwise(firsts) if b - a > 1]
        self._work_out([*firsts, *(self._middle(a, b) for a, b in open_)])
        self._known[firsts] = True
        while open_:
            middles = [self._middle(a, b) for a, b in open_]
            expected = self._expected(np.array(middles))
            self._work_out([m for m in middles if not self._tried[m]])
            self._known[middles] = True
            smooth = [self._as_expected(m, e) for m, e in zip(middles, expected, strict=True)]
            halves = [
                half
                for (a, b), m, good in zip(open_, middles, smooth, strict=True)
                if not good
                for half in ((a, m), (m, b))
            ]
            open_ = [(a, b) for a, b in halves if b - a > 1]

    def _middle(self, a: int, b: int) -> int:
        """The place between two that lies in the middle."""
        return min(max(int(np.searchsorted(self._x, (self._x[a] + self._x[b]) / 2)), a + 1), b - 1)

    def _work_out(self, places: list[int]) -> None:
        if not places:
            return
        scenes = situations(self._need, self._at[places], self._belief.draws)
        curves = [HitChanceCurve(self._robot, self._belief, scene, self._battery_v) for scene in scenes]
        found = best_setpoints(curves, self._target.slowest_wins, rounded=False)
        self._tried[places] = True
        for place, curve, best in zip(places, curves, found, strict=True):
            if best is not None and best.probability >= WORTH_SAYING:
                self._keep(place, curve, best)

    def _keep(self, place: int, curve: HitChanceCurve, best: Best) -> None:
        half = self._robot.setpoint.step / 2
        beside = np.interp([best.setpoint - half, best.setpoint + half], curve.seen, curve.chance)
        if self._chance_base is None:
            self._chance_base = self._mean_chances(curve, best.setpoint)
        logs = np.log([best.setpoint, best.low, best.high]) - self._base[place]
        chances = np.log(np.maximum([best.probability, *beside], _LEAST)) - self._chance_base[place]
        self._found[place] = [*logs, *chances]

    def _expected(self, places: IntArray) -> FloatArray:
        """What the nodes around say of places (n,): (n, 6), by the cubic through the nearest two on either side.

        Where a node beside a place scores nothing, nan.
        """
        nodes = np.flatnonzero(self._known)
        after = np.minimum(np.searchsorted(nodes, places), len(nodes) - 1)
        first = np.clip(after - 2, 0, max(len(nodes) - 4, 0))
        near = nodes[np.minimum(first[:, None] + np.arange(min(4, len(nodes))), len(nodes) - 1)]
        use = ~np.isnan(self._found[near, _CHANCE])
        x = self._x[near]
        apart = x[:, :, None] - x[:, None, :]
        away = self._x[places][:, None, None] - x[:, None, :]
        factors = np.where(use[:, None, :] & (apart != 0), away / np.where(apart != 0, apart, 1.0), 1.0)
        weights = np.where(use, factors.prod(axis=2), 0.0)
        expected = np.einsum("nk,nkc->nc", weights, np.nan_to_num(self._found[near]))
        beside = np.isnan(self._found[nodes[after], _CHANCE]) | np.isnan(self._found[nodes[after - 1], _CHANCE])
        expected[beside] = np.nan
        return np.where(self._known[places][:, None], self._found[places], expected)

    def _as_expected(self, place: int, expected: FloatArray) -> bool:
        found = self._found[place]
        if np.isnan(expected[_CHANCE]) or np.isnan(found[_CHANCE]):
            nothing = bool(np.isnan(found[_CHANCE]) and np.isnan(expected[_CHANCE]))
            return nothing and self._nothing_around(place)
        step = self._robot.setpoint.step / np.exp(found[:_CHANCE] + self._base[place])
        off = np.abs(expected - found)
        return bool(
            off[_SETPOINT] <= _STEPS_OFF * step[_SETPOINT]
            and (off[_LOW : _HIGH + 1] <= _EDGE_STEPS_OFF * step[_LOW : _HIGH + 1]).all()
            and (off[_CHANCE:] * np.exp(self._chances(found[None], place)[0]) <= _CHANCE_OFF).all()
        )

    def _chances(self, found: FloatArray, places: IntArray | int | slice) -> FloatArray:
        """ln of the chances (n, 3)."""
        base = 0.0 if self._chance_base is None else np.atleast_1d(self._chance_base[places])[:, None]
        return np.asarray(found[:, _CHANCE:] + base)

    def _nothing_around(self, place: int) -> bool:
        """Whether the nodes on either side score nothing either."""
        nodes = np.flatnonzero(self._known)
        k = int(np.searchsorted(nodes, place))
        return bool(np.isnan(self._found[nodes[max(k - 1, 0) : k + 2], _CHANCE]).all())

    def rows(self, rounded: bool) -> list[TableRow]:
        """A row a place."""
        limits, step = self._robot.setpoint, self._robot.setpoint.step
        found = self._expected(np.arange(len(self._at)))
        exact, low, high = np.clip(np.exp(found[:, :_CHANCE] + self._base[:, None]), limits.low, limits.high).T
        setpoint = np.clip(np.round(np.round(exact / step) * step, 9), limits.low, limits.high) if rounded else exact
        off = (setpoint - exact) / (step / 2)
        chances = self._chances(found, slice(None))
        at, below, above = np.exp(chances).T
        chance = np.clip(at + off * (above - below) / 2 + off**2 * ((above + below) / 2 - at), 0.0, 1.0)
        columns = (setpoint, np.minimum(low, setpoint), np.maximum(high, setpoint), chance)
        scores = (chances[:, 0] >= math.log(WORTH_SAYING)).tolist()
        rows = zip(self._at.tolist(), scores, *(column.tolist() for column in columns), strict=True)
        return [TableRow(d, *(figures if good else (None,) * 4)) for d, good, *figures in rows]
