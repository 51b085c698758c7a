"""Hit probability of setpoints under everything uncertain: unknowns (draws), shot-to-shot scatter and side miss.

The best setpoint at a distance maximises it, averaged over what is believed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.draws import log_speed
from fieldtune.aim.situation import Situation, situation
from fieldtune.frozen import frozen
from fieldtune.robot.exit_speed import drive_quantity

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief
    from fieldtune.aim.required_speed.interface import RequiredSpeed
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot

_GRID, _COARSE, _FINE, _LAST = 41, 17, 13, 7
_FIRST_DRAWS, _WORTH_A_LOOK, _WIDENED = 256, 0.8, 4
"""So many draws say where to look; how good a stretch is there all of them say, and wider where it goes on."""
NEARLY_AS_WELL = 0.95
_PLATEAU, _MIDDLE = 0.90, 201
_GATE_PLATEAU = 0.995


@frozen
class Best:
    """Best setpoint, the range that scores at least ``NEARLY_AS_WELL`` of its probability, and a second peak."""

    setpoint: float
    low: float
    high: float
    probability: float
    interval_90: tuple[float, float]
    other: float | None


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

    def mean(self, setpoints: FloatArray, every: int = 1) -> FloatArray:
        """Hit probability (n,) averaged over all draws, or over ``every`` so many."""
        if every == 1:
            return np.minimum(self.belief.weights @ self.by_draw(setpoints), 1.0)
        weights = self.belief.weights[::every]
        chance = self.scene.of(slice(None, None, every)).hit(self.speeds(setpoints)[::every])
        return np.asarray(np.minimum(weights @ chance / weights.sum(), 1.0))

    def search(self, setpoints: FloatArray, every: int = 1) -> None:
        """Evaluate setpoints (n,) and remember them."""
        values = self.mean(setpoints, every)
        order = np.argsort(np.concatenate([self.seen, setpoints]), kind="stable")
        self.seen, self.chance = (
            np.concatenate([self.seen, setpoints])[order],
            np.concatenate([self.chance, values])[order],
        )

    def forget(self, low: float, high: float) -> None:
        """What was evaluated from ``low`` to ``high`` counts no more."""
        keep = (self.seen < low) | (self.seen > high)
        self.seen, self.chance = self.seen[keep], self.chance[keep]

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
        leaves = np.isfinite(speeds).all(axis=1)  # a draw too weak to lift the element says nothing here
        if not leaves.any():
            return setpoint
        speeds, scene = speeds[leaves], self.scene
        slope = float(np.mean(speeds[:, 1] - speeds[:, 0])) / float(around[1] - around[0])
        gaps = (speeds.mean(axis=1) - scene.center[leaves])[np.isfinite(scene.center[leaves])]
        spread = np.hypot(np.std(gaps) if gaps.size else 0.0, np.mean(scene.spread))
        widths = (scene.high - scene.low)[:, 0]
        bounded = widths[np.isfinite(widths)]
        opening = float(bounded.mean()) if bounded.size else float(spread)
        return float((3 * spread + opening) / max(abs(slope), 1e-9))


def best_setpoint(curve: HitChanceCurve, lowest_wins: bool = False, rounded: bool = True) -> Best | None:
    """Setpoint within the robot's limits that scores most; ``None`` where nothing scores at all.

    ``rounded``: to the step that the robot accepts. ``lowest_wins``: of setpoints that score alike the slowest is taken
    (a gate asks for no more speed than needed).
    """
    limits = curve.robot.setpoint
    centers = curve.crossings(np.geomspace(max(limits.low, limits.high * 1e-3), limits.high, _GRID))
    every = 1 if lowest_wins else max(1, len(curve.belief.weights) // _FIRST_DRAWS)
    curve.search(np.array([limits.low, limits.high]), every)
    for center in centers:
        half = min(curve.reach_of(float(center)), limits.high - limits.low)
        coarse = np.clip(np.linspace(center - half, center + half, _COARSE), limits.low, limits.high)
        curve.search(coarse, every)
    if lowest_wins:
        peak = int(np.argmax(curve.chance))
        step = curve.seen[min(peak + 1, len(curve.seen) - 1)] - curve.seen[max(peak - 1, 0)]
        curve.search(np.clip(curve.seen[peak] + np.linspace(-step, step, _LAST), limits.low, limits.high))
    else:
        _look_closer(curve)
    top = float(curve.chance.max())
    if not top > 0.0:
        return None
    setpoint = _middle(curve, top, lowest_wins)
    if rounded:
        setpoint = round(round(setpoint / limits.step) * limits.step, 9)
    setpoint = float(np.clip(setpoint, limits.low, limits.high))
    draws = curve.by_draw(np.array([setpoint]))[:, 0]
    low, high = _around(curve, setpoint, NEARLY_AS_WELL * top)
    return Best(
        setpoint,
        min(low, setpoint),
        max(high, setpoint),
        min(float(curve.belief.weights @ draws), 1.0),
        weighted_interval(draws, curve.belief.weights, 0.90),
        _second(curve, centers, low, high, top),
    )


def _look_closer(curve: HitChanceCurve) -> None:
    """Evaluate with all draws around the best that was seen, so far that the chance has fallen on both sides."""
    limits, best = curve.robot.setpoint, int(np.argmax(curve.chance))
    worth = curve.chance >= _WORTH_A_LOOK * curve.chance[best]
    first = last = best
    while first > 0 and worth[first]:
        first -= 1
    while last < len(worth) - 1 and worth[last]:
        last += 1
    low, high = float(curve.seen[first]), float(curve.seen[last])
    curve.forget(low, high)
    curve.search(np.linspace(low, high, _FINE))
    step = (high - low) / (_FINE - 1)
    for _ in range(_WIDENED):
        level = _PLATEAU * curve.chance[(curve.seen >= low) & (curve.seen <= high)].max()
        open_low = low > limits.low and curve.chance[np.searchsorted(curve.seen, low)] > level
        open_high = high < limits.high and curve.chance[np.searchsorted(curve.seen, high)] > level
        if not (open_low or open_high):
            break
        for side, goes_on in ((-1, open_low), (1, open_high)):
            if goes_on:
                edge = low if side < 0 else high
                more = np.clip(edge + side * step * np.arange(1, _LAST), limits.low, limits.high)
                curve.forget(*sorted((edge + side * step * 1e-6, float(more[-1]))))
                curve.search(more)
                low, high = min(low, float(more[-1])), max(high, float(more[-1]))


def _middle(curve: HitChanceCurve, top: float, lowest_wins: bool) -> float:
    """Where to aim: the middle of what scores nearly as well as the best, weighed by how nearly.

    The very peak of an average over draws wanders by chance; the middle of its top hardly does.
    """
    level = (_GATE_PLATEAU if lowest_wins else _PLATEAU) * top
    low, high = _around(curve, float(curve.seen[int(np.argmax(curve.chance))]), level)
    if lowest_wins:
        return low
    at = np.linspace(low, high, _MIDDLE)
    better = np.maximum(np.interp(at, curve.seen, curve.chance) - level, 0.0)
    return float(better @ at / better.sum()) if better.any() else (low + high) / 2


def _around(curve: HitChanceCurve, setpoint: float, level: float) -> tuple[float, float]:
    """The unbroken stretch around ``setpoint`` in which the probability stays at ``level``, interpolated."""
    x, p = curve.seen, curve.chance
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


def _second(curve: HitChanceCurve, centers: FloatArray, low: float, high: float, top: float) -> float | None:
    """Another setpoint that scores at least half as well, with a clear dip in between."""
    for center in centers:
        near = high if center > high else low
        between = (curve.seen >= min(near, center)) & (curve.seen <= max(near, center))
        chance = float(np.interp(center, curve.seen, curve.chance))
        apart = not low <= center <= high and between.any() and curve.chance[between].min() < 0.8 * chance
        if apart and chance >= 0.5 * top:
            return float(center)
    return None


def weighted_interval(values: FloatArray, weights: FloatArray, mass: float) -> tuple[float, float]:
    """Central interval that holds ``mass`` of the weighted values."""
    order = np.argsort(values)
    cumulative = np.cumsum(weights[order]) - weights[order] / 2
    low, high = np.interp([(1 - mass) / 2, (1 + mass) / 2], cumulative, values[order])
    return float(low), float(high)
