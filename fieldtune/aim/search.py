"""The best setpoint at one distance: hit probability averaged over what is believed, searched where it can be."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fieldtune.aim.belief import Belief
from fieldtune.aim.chance import Situation, situation
from fieldtune.aim.exit import drive_quantity, log_speed
from fieldtune.aim.need import Need
from fieldtune.robot.model import Robot

FloatArray = NDArray[np.float64]

_COARSE, _FINE, _LAST = 41, 17, 7
NEARLY_AS_WELL = 0.95
_PLATEAU, _MIDDLE = 0.97, 201
_GATE_PLATEAU = 0.995


@dataclass(frozen=True, slots=True)
class Best:
    """Best setpoint, the range that scores at least ``NEARLY_AS_WELL`` of its probability, and a second peak."""

    setpoint: float
    low: float
    high: float
    probability: float
    interval_90: tuple[float, float]
    other: float | None


@dataclass
class Odds:
    """Hit probability of setpoints at one distance reading, remembering what was evaluated."""

    robot: Robot
    belief: Belief
    scene: Situation
    battery_v: float | None
    seen: FloatArray = field(default_factory=lambda: np.empty(0))
    chance: FloatArray = field(default_factory=lambda: np.empty(0))

    @classmethod
    def at(cls, robot: Robot, need: Need, belief: Belief, distance: float, battery_v: float | None) -> Odds:
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
        return np.asarray(self.belief.weights @ self.by_draw(setpoints))

    def search(self, setpoints: FloatArray) -> None:
        """Evaluate setpoints (n,) and remember them."""
        values = self.mean(setpoints)
        order = np.argsort(np.concatenate([self.seen, setpoints]), kind="stable")
        self.seen, self.chance = (
            np.concatenate([self.seen, setpoints])[order],
            np.concatenate([self.chance, values])[order],
        )

    def crossings(self, setpoints: FloatArray) -> FloatArray:
        """Setpoints at which the mean log speed passes the mean need, interpolated on an ascending grid."""
        usable = np.isfinite(self.scene.center)
        if not usable.any():
            return np.empty(0)
        weights = self.belief.weights[usable] / self.belief.weights[usable].sum()
        gap = weights @ (self.speeds(setpoints)[usable] - self.scene.center[usable, None])
        leaves = np.isfinite(gap)  # a draw too small to lift the element throws at no speed at all
        at = np.flatnonzero((np.diff(np.sign(gap)) != 0) & leaves[1:] & leaves[:-1])
        return np.asarray(setpoints[at] - gap[at] * np.diff(setpoints)[at] / (gap[at + 1] - gap[at]))

    def reach_of(self, setpoint: float) -> float:
        """Half the setpoint range worth searching: three times everything uncertain, in setpoint units."""
        around = np.array([setpoint * 0.98, setpoint * 1.02])
        speeds = self.speeds(around)
        slope = float(np.mean(speeds[:, 1] - speeds[:, 0])) / float(around[1] - around[0])
        gaps = speeds.mean(axis=1) - self.scene.center
        spread = np.hypot(np.nanstd(gaps), np.mean(self.scene.spread))
        widths = (self.scene.high - self.scene.low)[:, 0]
        bounded = widths[np.isfinite(widths)]
        opening = float(bounded.mean()) if bounded.size else float(spread)
        return float((3 * spread + opening) / max(abs(slope), 1e-9))


def best_setpoint(odds: Odds, lowest_wins: bool = False, rounded: bool = True) -> Best | None:
    """Setpoint within the robot's limits that scores most; ``None`` where nothing scores at all.

    ``rounded``: to the step that the robot accepts. ``lowest_wins``: of setpoints that score alike the slowest is taken
    (a gate asks for no more speed than needed).
    """
    limits = odds.robot.setpoint
    grid = np.geomspace(max(limits.low, limits.high * 1e-3), limits.high, _COARSE)
    centers = odds.crossings(grid)
    odds.search(np.array([limits.low, limits.high]))
    for center in centers:
        half = min(odds.reach_of(float(center)), limits.high - limits.low)
        odds.search(np.clip(np.linspace(center - half, center + half, _FINE), limits.low, limits.high))
    peak = int(np.argmax(odds.chance))
    step = odds.seen[min(peak + 1, len(odds.seen) - 1)] - odds.seen[max(peak - 1, 0)]
    odds.search(np.clip(odds.seen[peak] + np.linspace(-step, step, _LAST), limits.low, limits.high))
    top = float(odds.chance.max())
    if not top > 0.0:
        return None
    setpoint = _middle(odds, top, lowest_wins)
    if rounded:
        setpoint = round(round(setpoint / limits.step) * limits.step, 9)
    setpoint = float(np.clip(setpoint, limits.low, limits.high))
    draws = odds.by_draw(np.array([setpoint]))[:, 0]
    low, high = _around(odds, setpoint, NEARLY_AS_WELL * top)
    return Best(
        setpoint,
        min(low, setpoint),
        max(high, setpoint),
        float(odds.belief.weights @ draws),
        weighted_interval(draws, odds.belief.weights, 0.90),
        _second(odds, centers, low, high, top),
    )


def _middle(odds: Odds, top: float, lowest_wins: bool) -> float:
    """Where to aim: the middle of what scores nearly as well as the best, weighed by how nearly.

    The very peak of an average over draws wanders by chance; the middle of its top hardly does.
    """
    level = (_GATE_PLATEAU if lowest_wins else _PLATEAU) * top
    low, high = _around(odds, float(odds.seen[int(np.argmax(odds.chance))]), level)
    if lowest_wins:
        return low
    at = np.linspace(low, high, _MIDDLE)
    better = np.maximum(np.interp(at, odds.seen, odds.chance) - level, 0.0)
    return float(better @ at / better.sum()) if better.any() else (low + high) / 2


def _around(odds: Odds, setpoint: float, level: float) -> tuple[float, float]:
    """The unbroken stretch around ``setpoint`` in which the probability stays at ``level``, interpolated."""
    x, p = odds.seen, odds.chance
    at = int(np.argmin(np.abs(x - setpoint)))
    left = right = at
    while left > 0 and p[left - 1] >= level:
        left -= 1
    while right < len(x) - 1 and p[right + 1] >= level:
        right += 1
    return _edge(x, p, left, left - 1, level), _edge(x, p, right, right + 1, level)


def _edge(x: FloatArray, p: FloatArray, inner: int, outer: int, level: float) -> float:
    if not 0 <= outer < len(x) or p[inner] <= p[outer] or p[inner] < level:
        return float(x[inner])
    return float(x[inner] + (x[outer] - x[inner]) * (p[inner] - level) / (p[inner] - p[outer]))


def _second(odds: Odds, centers: FloatArray, low: float, high: float, top: float) -> float | None:
    """Another setpoint that scores at least half as well, with a clear dip in between."""
    for center in centers:
        near = high if center > high else low
        between = (odds.seen >= min(near, center)) & (odds.seen <= max(near, center))
        chance = float(np.interp(center, odds.seen, odds.chance))
        apart = not low <= center <= high and between.any() and odds.chance[between].min() < 0.8 * chance
        if apart and chance >= 0.5 * top:
            return float(center)
    return None


def weighted_interval(values: FloatArray, weights: FloatArray, mass: float) -> tuple[float, float]:
    """Central interval that holds ``mass`` of the weighted values."""
    order = np.argsort(values)
    cumulative = np.cumsum(weights[order]) - weights[order] / 2
    low, high = np.interp([(1 - mass) / 2, (1 + mass) / 2], cumulative, values[order])
    return float(low), float(high)
