"""Hit probability of setpoints under everything uncertain: unknowns (draws), shot-to-shot scatter and side miss."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.draws import log_speed
from fieldtune.aim.situation import Situation, situation
from fieldtune.robot.exit_speed import drive_quantity

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief
    from fieldtune.aim.required_speed.interface import RequiredSpeed
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot

_TOGETHER = 65536
"""Probabilities worked out at once: few enough to stay in the cache, enough to outweigh the calls."""


@dataclass
class HitChanceCurve:
    """Hit probability of setpoints at one distance reading, remembering what was evaluated."""

    robot: Robot
    belief: Belief
    scene: Situation
    battery_v: float | None
    seen: FloatArray = field(default_factory=lambda: np.empty(0))
    chance: FloatArray = field(default_factory=lambda: np.empty(0))

    @classmethod
    def at(
        cls, robot: Robot, need: RequiredSpeed, belief: Belief, distance: float, battery_v: float | None
    ) -> HitChanceCurve:
        return cls(robot, belief, situation(need, distance, belief.draws), battery_v)

    def speeds(self, setpoints: FloatArray) -> FloatArray:
        """Log exit speeds (K, n) of every draw."""
        quantity = drive_quantity(self.robot, setpoints, self.battery_v)
        return log_speed(self.robot, self.belief.basis, self.belief.draws, quantity)

    def by_draw(self, setpoints: FloatArray) -> FloatArray:
        """Hit probability (K, n) of each draw."""
        return self.scene.hit(self.speeds(setpoints))

    def mean(self, setpoints: FloatArray) -> FloatArray:
        """Hit probability (n,) averaged over all draws."""
        return np.minimum(self.belief.weights @ self.by_draw(setpoints), 1.0)

    def remember(self, setpoints: FloatArray, chance: FloatArray) -> None:
        """Hit probabilities (n,) of setpoints (n,), beside those known already."""
        seen, chance = np.concatenate([self.seen, setpoints]), np.concatenate([self.chance, chance])
        order = np.argsort(seen, kind="stable")
        self.seen, self.chance = seen[order], chance[order]

    def forget(self, low: float, high: float) -> None:
        """What was evaluated from ``low`` to ``high`` counts no more."""
        keep = (self.seen < low) | (self.seen > high)
        self.seen, self.chance = self.seen[keep], self.chance[keep]


def chances_by_draw(
    curves: Sequence[HitChanceCurve], setpoints: Sequence[FloatArray], every: int = 1
) -> Iterator[FloatArray]:
    """Hit probability (K / every, n) of one draw in ``every`` at each curve's own setpoints (n,)."""
    if not curves:
        return
    counts = [len(own) for own in setpoints]
    speeds = curves[0].speeds(np.concatenate(setpoints))[::every].T
    parts = np.split(speeds, np.cumsum(counts)[:-1])
    draws, most = speeds.shape[1], max(counts)
    together = max(1, _TOGETHER // (draws * most * len(curves[0].scene.shares)))
    for first in range(0, len(curves), together):
        some = slice(first, first + together)
        scene = Situation.joined([curve.scene.of(slice(None, None, every)) for curve in curves[some]])
        z = np.zeros((most, len(curves[some]), draws))  # what a shorter row goes on with nobody asks for
        for place, part in enumerate(parts[some]):
            z[: len(part), place] = part
        chance = scene.hit(z.reshape(most, -1).T).T.reshape(z.shape)
        yield from (chance[:count, place].T for place, count in enumerate(counts[some]))


def weighted_interval(values: FloatArray, weights: FloatArray, mass: float) -> tuple[float, float]:
    """Central interval that holds ``mass`` of the weighted values."""
    order = np.argsort(values)
    cumulative = np.cumsum(weights[order]) - weights[order] / 2
    low, high = np.interp([(1 - mass) / 2, (1 + mass) / 2], cumulative, values[order])
    return float(low), float(high)
