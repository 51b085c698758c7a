"""Hit probability under everything uncertain: unknowns (draws), shot-to-shot scatter and side miss.

In log exit speed a target is an interval [need(low), need(high)] and a launch is normal with the scatter of speed and
of angle, so the probability of a hit is a difference of two normal integrals, averaged over the side miss where the
opening is round. The best setpoint at a distance maximises it, averaged over what is believed.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldtune.aim.draws import log_speed
from fieldtune.aim.opening_edges import center_point, edges
from fieldtune.normal import gauss_legendre, ndtr, ndtri, quick_ndtr
from fieldtune.robot.exit_speed import drive_quantity

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief, Unknowns
    from fieldtune.aim.required_speed.interface import RequiredSpeed
    from fieldtune.arrays import FloatArray, IntArray
    from fieldtune.robot.model import Robot

# Points on the side miss's cumulative probability, crowded at both rims, where a round opening's chord ends like a
# square root: Gauss-Legendre in v with u = (1 - cos(pi v)) / 2. Five give the probability of a circle to 0.003.
_V, _W = gauss_legendre(5)
_NEVER = 1e-7
_NODES = (1 - np.cos(np.pi * (_V + 1) / 2)) / 2
_SHARES = _W / 2 * np.pi / 2 * np.sin(np.pi * (_V + 1) / 2)


@dataclass(frozen=True, slots=True)
class Situation:
    """A target seen from n (draw, distance) pairs: log-speed bounds (n, m) over m side positions, with shares (m,).

    ``center`` (n,) is the needed log speed of the target's centre, ``spread`` (n,) the scatter in log speed there and
    ``near`` (n,) at the low bound, where an error of the angle may count for less, and ``side`` (n,) the probability
    that the side miss is good. A draw that can't score has bounds of nan.
    """

    low: FloatArray
    high: FloatArray
    shares: FloatArray
    center: FloatArray
    spread: FloatArray
    near: FloatArray
    side: FloatArray

    def hit(self, log_speed: ArrayLike) -> FloatArray:
        """Hit probability (n, s) at log exit speeds (n, s) or (1, s)."""
        speeds = np.asarray(log_speed, dtype=float)
        leaves = np.isfinite(speeds)  # a draw too small to lift the element throws at no speed at all
        z = np.where(leaves, speeds, 0.0).astype(np.float32)[..., None]
        inside = _below(self.high, z, self.spread)
        inside -= _below(self.low, z, self.near)
        np.maximum(inside, 0.0, out=inside)
        chance = self.side[:, None] * (inside @ self.shares.astype(np.float32)).astype(float)
        # Rounding leaves a hair beyond 1, and differences of tails chances that no event has.
        return np.where((chance < _NEVER) | ~leaves, 0.0, np.minimum(chance, 1.0))

    def every(self, step: int) -> Situation:
        """As every so many of the draws see it."""
        return Situation(
            self.low[::step],
            self.high[::step],
            self.shares,
            self.center[::step],
            self.spread[::step],
            self.near[::step],
            self.side[::step],
        )


def _below(bound: FloatArray, z: NDArray[np.float32], spread: FloatArray) -> NDArray[np.float32]:
    """Probability (n, s, m) that launches around z (n, s, 1) are slower than bounds (n, m); bounds of nan are none."""
    gap = np.where(np.isnan(bound), np.inf, bound).astype(np.float32)[:, None, :] - z
    gap *= (1 / spread).astype(np.float32)[:, None, None]
    return quick_ndtr(gap)


def situation(need: RequiredSpeed, reading: ArrayLike, unknowns: Unknowns, which: IntArray | None = None) -> Situation:
    """The target as each draw sees it at distance readings (scalar, or (K,) one a draw).

    ``which`` (n,): the draws that look, from readings (n,); all of them, each once, where None.
    """
    given = need.for_draws(unknowns.angle_error, unknowns.log_drag)
    if which is None:
        which, seen = np.arange(len(unknowns.angle_error)), unknowns
    else:
        seen = unknowns.of(which)
    distance = np.asarray(reading, dtype=float) + seen.distance_bias
    center = center_point(given, distance, which)
    free = given.free_at(center)
    side_sd = np.maximum(distance * seen.side_scatter, 1e-6)
    offset = distance * seen.side_bias
    left, right = ndtr((-free.side - offset) / side_sd), ndtr((free.side - offset) / side_sd)
    if free.ring is not None:
        at = ndtri(np.clip(left[:, None] + _NODES * (right - left)[:, None], 1e-12, 1 - 1e-12))
        chord, shares = free.ring.chord(offset[:, None] + side_sd[:, None] * at), _SHARES
    else:
        chord, shares = np.ones((len(distance), 1)), np.ones(1)
    passes = np.isfinite(free.low) & np.isfinite(center.value)

    def scatter(by_angle: FloatArray) -> FloatArray:
        by_angle = np.where(np.isfinite(by_angle), by_angle, center.d_angle)
        spread = np.hypot(seen.speed_scatter, by_angle * seen.angle_scatter)
        return np.where(passes, np.maximum(spread, 1e-6), 1.0)

    near, far = edges(given, distance, free, which)
    low = _along(chord, center.value, center.d_miss * free.low, near.value)
    return Situation(
        low=np.where(passes[:, None], low, np.nan),
        high=_along(chord, center.value, center.d_miss * free.high, far.value),
        shares=shares,
        center=center.value,
        spread=scatter(center.d_angle),
        near=scatter(near.d_angle),
        side=np.where(passes, right - left, 0.0),
    )


def _along(chord: FloatArray, center: FloatArray, slope: FloatArray, edge: FloatArray) -> FloatArray:
    """Needed log speed (n, m) at ``chord`` shares of the way from the centre to an edge: the parabola with the centre's
    value and ``slope`` (change up to the edge, were it straight) and the edge's value; exact to a few 1e-5.
    """
    if chord.shape[1] == 1:
        return np.asarray(edge)[:, None]
    with np.errstate(invalid="ignore"):
        return center[:, None] + chord * slope[:, None] + chord**2 * (edge - center - slope)[:, None]


_GRID, _COARSE, _FINE, _LAST = 41, 17, 13, 7
_FIRST_DRAWS, _WORTH_A_LOOK, _WIDENED = 256, 0.8, 4
"""So many draws say where to look; how good a stretch is there all of them say, and wider where it goes on."""
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

    def mean(self, setpoints: FloatArray, every: int = 1) -> FloatArray:
        """Hit probability (n,) averaged over all draws, or over ``every`` so many."""
        if every == 1:
            return np.minimum(self.belief.weights @ self.by_draw(setpoints), 1.0)
        weights = self.belief.weights[::every]
        chance = self.scene.every(every).hit(self.speeds(setpoints)[::every])
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
        slope = float(np.mean(speeds[:, 1] - speeds[:, 0])) / float(around[1] - around[0])
        gaps = speeds.mean(axis=1) - self.scene.center
        spread = np.hypot(np.nanstd(gaps), np.mean(self.scene.spread))
        widths = (self.scene.high - self.scene.low)[:, 0]
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
