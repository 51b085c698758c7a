"""Hit probability under everything uncertain: unknowns (draws), shot-to-shot scatter and side miss.

In log exit speed a target is an interval [need(low), need(high)] and a launch is normal with the scatter of speed and
of angle, so the probability of a hit is a difference of two normal integrals, averaged over the side miss where the
opening is round. The best setpoint at a distance maximises it, averaged over what is believed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtr, ndtri

from fieldtune.aim.draws import log_speed
from fieldtune.aim.opening_edges import center_point, edges
from fieldtune.robot.exit_speed import drive_quantity

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief, Unknowns
    from fieldtune.aim.required_speed.interface import RequiredSpeed, RequiredSpeedPoint
    from fieldtune.aim.rim_scores import RimScores
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot

# Points on the side miss's cumulative probability, crowded at both rims, where a round opening's chord ends like a
# square root: Gauss-Legendre in v with u = (1 - cos(pi v)) / 2. Five give the probability of a circle to 0.003.
_V, _W = np.polynomial.legendre.leggauss(5)
_NEVER = 1e-12
_NODES = (1 - np.cos(np.pi * (_V + 1) / 2)) / 2
_SHARES = _W / 2 * np.pi / 2 * np.sin(np.pi * (_V + 1) / 2)


@dataclass(frozen=True, slots=True)
class Touches:
    """Needed log speeds ``bounds`` (n, m) of ascending misses, and the steps (n, m) by which the probability to score,
    in them and off the rim, falls there."""

    bounds: FloatArray
    steps: FloatArray

    def hit(self, log_speed: FloatArray, spread: FloatArray) -> FloatArray:
        """Hit probability (n, s) at log exit speeds (n, s) or (1, s) with scatter ``spread`` (n,)."""
        chance = np.zeros((len(spread), log_speed.shape[1]))
        for bound, step in zip(self.bounds.T, self.steps.T, strict=True):
            if step.any():
                chance += step[:, None] * ndtr((bound[:, None] - log_speed) / spread[:, None])
        return np.clip(np.where(chance < _NEVER, 0.0, chance), 0.0, 1.0)


def touches(
    need: RequiredSpeed, rim: RimScores, distance: FloatArray, center: RequiredSpeedPoint, unknowns: Unknowns
) -> Touches:
    """What scores over the misses that ``rim`` knows, as each draw sees it; needed speeds are a parabola over them."""
    angle, drag, h = unknowns.angle_error, unknowns.log_drag, float(rim.misses[-1]) / 2
    straight = h * center.d_miss
    short, far = (need.log_speed(distance, miss, angle, drag).value for miss in (-h, h))
    short = np.where(np.isfinite(short), short, center.value - straight)
    far = np.where(np.isfinite(far), far, center.value + straight)
    share = rim.misses[None, :] / h
    tilt, curve = (far - short)[:, None] / 2, (far + short - 2 * center.value)[:, None] / 2
    bounds = np.maximum.accumulate(center.value[:, None] + share * tilt + share**2 * curve, axis=1)
    offset, side_sd = distance * unknowns.side_bias, np.maximum(distance * unknowns.side_scatter, 1e-6)
    scores = rim.over_misses(distance, angle, offset, side_sd)
    cells = np.pad((scores[:, 1:] + scores[:, :-1]) / 2, ((0, 0), (1, 1)))
    known = np.isfinite(bounds.sum(axis=1))[:, None]
    return Touches(np.where(known, bounds, 0.0), np.where(known, cells[:, :-1] - cells[:, 1:], 0.0))


@dataclass(frozen=True, slots=True)
class Situation:
    """A target seen from n (draw, distance) pairs: log-speed bounds (n, m) over m side positions, with shares (m,).

    ``center`` (n,) is the needed log speed of the target's centre, ``spread`` (n,) the scatter in log speed there,
    ``near`` and ``far`` (n,) at the low and the high bound, where an error of the angle counts for more or less, and
    ``side`` (n,) the probability that the side miss is good. A draw that can't score has bounds of nan. ``touches``:
    where hits off rim and board count, which then decide alone; the bounds stay those of clean passes.
    """

    low: FloatArray
    high: FloatArray
    shares: FloatArray
    center: FloatArray
    spread: FloatArray
    near: FloatArray
    far: FloatArray
    side: FloatArray
    touches: Touches | None = None

    def hit(self, log_speed: ArrayLike) -> FloatArray:
        """Hit probability (n, s) at log exit speeds (n, s) or (1, s)."""
        if self.touches is not None:
            return self.touches.hit(np.asarray(log_speed, dtype=float), self.spread)
        z = np.asarray(log_speed, dtype=float)[..., None]
        above = ndtr((self.low[:, None, :] - z) / self.near[:, None, None])
        inside = np.maximum(ndtr((self.high[:, None, :] - z) / self.far[:, None, None]) - above, 0.0)
        chance = self.side[:, None] * (np.nan_to_num(inside) @ self.shares)
        # Rounding leaves a hair beyond 1, and normal tails chances that no event has.
        return np.where(chance < _NEVER, 0.0, np.minimum(chance, 1.0))


def situation(need: RequiredSpeed, reading: ArrayLike, unknowns: Unknowns) -> Situation:
    """The target as each draw sees it at distance readings (scalar, or (K,) one a draw)."""
    distance = np.asarray(reading, dtype=float) + unknowns.distance_bias
    angle, drag = unknowns.angle_error, unknowns.log_drag
    center, at = center_point(need, distance, angle, drag)
    free = need.free_at(center)
    side_sd = np.maximum(distance * unknowns.side_scatter, 1e-6)
    offset = distance * unknowns.side_bias
    left, right = ndtr((-free.side - offset) / side_sd), ndtr((free.side - offset) / side_sd)
    if free.ring is not None:
        aside = ndtri(np.clip(left[:, None] + _NODES * (right - left)[:, None], 1e-12, 1 - 1e-12))
        chord, shares = free.ring.chord(offset[:, None] + side_sd[:, None] * aside), _SHARES
    else:
        chord, shares = np.ones((len(distance), 1)), np.ones(1)
    passes = np.isfinite(free.low) & np.isfinite(center.value)

    def scatter(by_angle: FloatArray) -> FloatArray:
        by_angle = np.where(np.isfinite(by_angle), by_angle, center.d_angle)
        spread = np.hypot(unknowns.speed_scatter, by_angle * unknowns.angle_scatter)
        return np.where(passes, np.maximum(spread, 1e-6), 1.0)

    near, far = edges(need, distance, free, angle, drag, at)
    low = _along(chord, center, at, free.low, near.value)
    return Situation(
        low=np.where(passes[:, None], low, np.nan),
        high=_along(chord, center, at, free.high, far.value),
        shares=shares,
        center=center.value,
        spread=scatter(center.d_angle),
        near=scatter(near.d_angle),
        far=scatter(far.d_angle),
        side=np.where(passes, right - left, 0.0),
        touches=None if need.rim is None else touches(need, need.rim, distance, center, unknowns),
    )


def _along(
    chord: FloatArray, center: RequiredSpeedPoint, at: FloatArray, miss: FloatArray, edge: FloatArray
) -> FloatArray:
    """Needed log speed (n, m) at ``chord`` shares of the way from the centre to an edge at ``miss`` (n,): the parabola
    with value and slope of the path that crosses ``at`` misses (n,), and the edge's value; exact to a few 1e-5.
    """
    if chord.shape[1] == 1:
        return np.asarray(edge)[:, None]
    with np.errstate(invalid="ignore"):
        way = np.where(at == 0, miss, miss - at)
        share = np.where((at == 0)[:, None], chord, (chord * miss[:, None] - at[:, None]) / way[:, None])
        rise = center.d_miss * way
        return center.value[:, None] + share * rise[:, None] + share**2 * (edge - center.value - rise)[:, None]


_COARSE, _FINE, _LAST = 41, 17, 7
NEARLY_AS_WELL = 0.95
_PLATEAU, _MIDDLE = 0.90, 201
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
    grid = np.geomspace(max(limits.low, limits.high * 1e-3), limits.high, _COARSE)
    centers = curve.crossings(grid)
    curve.search(np.array([limits.low, limits.high]))
    for center in centers:
        half = min(curve.reach_of(float(center)), limits.high - limits.low)
        curve.search(np.clip(np.linspace(center - half, center + half, _FINE), limits.low, limits.high))
    peak = int(np.argmax(curve.chance))
    step = curve.seen[min(peak + 1, len(curve.seen) - 1)] - curve.seen[max(peak - 1, 0)]
    curve.search(np.clip(curve.seen[peak] + np.linspace(-step, step, _LAST), limits.low, limits.high))
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
