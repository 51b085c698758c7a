"""The setpoint that scores most, at one distance or at several side by side.

What counts is the hit probability averaged over all that is believed.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.hit_chance import HitChanceCurve, chances_by_draw, weighted_interval
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.aim.situation import Situation
    from fieldtune.arrays import FloatArray

_GRID, _COARSE, _FINE, _LAST = 41, 17, 13, 7
_FIRST_DRAWS, _WORTH_A_LOOK, _WIDENED = 128, 0.8, 4
"""So many draws say where to look; how good a stretch is there all of them say, and wider where it goes on."""
NEARLY_AS_WELL = 0.95
_PLATEAU, _MIDDLE = 0.90, 201
_GATE_PLATEAU = 0.995


@frozen
class Best:
    """Best setpoint, the range that scores at least ``NEARLY_AS_WELL`` of its probability, and a second peak.

    ``by_draw`` (K,): the probability as each draw of that weight (K,) sees it.
    """

    setpoint: float
    low: float
    high: float
    probability: float
    by_draw: FloatArray
    weights: FloatArray
    other: float | None

    @property
    def interval_90(self) -> tuple[float, float]:
        """What the probability may be, with 90 %."""
        return weighted_interval(self.by_draw, self.weights, 0.90)


def best_setpoint(curve: HitChanceCurve, lowest_wins: bool = False, rounded: bool = True) -> Best | None:
    """Setpoint within the robot's limits that scores most; ``None`` where nothing scores at all.

    ``rounded``: to the step that the robot accepts. ``lowest_wins``: of setpoints that score alike the slowest is taken
    (a gate asks for no more speed than needed).
    """
    return best_setpoints([curve], lowest_wins, rounded)[0]


def best_setpoints(
    curves: Sequence[HitChanceCurve], lowest_wins: bool = False, rounded: bool = True
) -> list[Best | None]:
    """As ``best_setpoint``, for one robot and belief at several distances, all searched side by side."""
    limits = curves[0].robot.setpoint
    every = 1 if lowest_wins else max(1, len(curves[0].belief.weights) // _FIRST_DRAWS)
    centers = _crossings(curves, np.geomspace(max(limits.low, limits.high * 1e-3), limits.high, _GRID))
    ends, looked = [limits.low, limits.high], []
    for own, reaches in zip(centers, _reaches(curves, centers), strict=True):
        halves = np.minimum(reaches, limits.high - limits.low).tolist()
        near = [np.linspace(center - half, center + half, _COARSE) for center, half in zip(own, halves, strict=True)]
        looked.append(np.clip(np.concatenate([ends, *near]), limits.low, limits.high))
    _search(curves, looked, every)
    if lowest_wins:
        _search(curves, [_around_peak(curve) for curve in curves])
    else:
        _look_closer(curves)
    scoring = [curve for curve in curves if curve.chance.max() > 0.0]
    chosen = [np.array([_chosen(curve, lowest_wins, rounded)]) for curve in scoring]
    found = iter(zip(chosen, chances_by_draw(scoring, chosen), strict=True))
    return [
        _best(curve, own, *next(found)) if curve.chance.max() > 0.0 else None
        for curve, own in zip(curves, centers, strict=True)
    ]


def _best(curve: HitChanceCurve, centers: list[float], chosen: FloatArray, draws: FloatArray) -> Best:
    """All about a setpoint (1,) that was chosen, with its probability (K, 1) by draw."""
    top, setpoint, weights = float(curve.chance.max()), float(chosen[0]), curve.belief.weights
    low, high = _around(curve, setpoint, NEARLY_AS_WELL * top)
    return Best(
        setpoint,
        min(low, setpoint),
        max(high, setpoint),
        min(float(weights @ draws[:, 0]), 1.0),
        draws[:, 0],
        weights,
        _second(curve, centers, low, high, top),
    )


def _crossings(curves: Sequence[HitChanceCurve], grid: FloatArray) -> list[list[float]]:
    """Setpoints at which the mean log speed passes each curve's mean need, interpolated on an ascending grid (n,)."""
    found: list[list[float]] = []
    speeds = curves[0].speeds(grid)
    for curve in curves:
        usable = np.isfinite(curve.scene.center)
        seen = slice(None) if usable.all() else usable
        weights = curve.belief.weights[seen]
        if not weights.size:
            found.append([])
            continue
        gap = (weights @ speeds[seen] - weights @ curve.scene.center[seen]) / weights.sum()
        leaves = np.isfinite(gap)  # a draw too small to lift the element throws at no speed at all
        at = np.flatnonzero((np.diff(np.sign(gap)) != 0) & leaves[1:] & leaves[:-1])
        found.append((grid[at] - gap[at] * np.diff(grid)[at] / (gap[at + 1] - gap[at])).tolist())
    return found


_STEP = 0.02


def _reaches(curves: Sequence[HitChanceCurve], centers: Sequence[list[float]]) -> list[list[float]]:
    """Half the setpoint range worth searching around each curve's centres: three times everything uncertain."""
    every = np.array([center for own in centers for center in own])
    if not every.size:
        return [[] for _ in curves]
    below, above = np.split(curves[0].speeds(np.concatenate([(1 - _STEP) * every, (1 + _STEP) * every])), 2, axis=1)
    around = zip(every.tolist(), below.T, above.T, strict=True)
    return [[_reach(curve.scene, *next(around)) for _ in own] for curve, own in zip(curves, centers, strict=True)]


def _reach(scene: Situation, setpoint: float, below: FloatArray, above: FloatArray) -> float:
    """In setpoint units, from log speeds (K,) a little below and above a setpoint."""
    leaves = np.isfinite(below) & np.isfinite(above)  # a draw too weak to lift the element says nothing here
    if not leaves.any():
        return setpoint
    slope = float((above - below)[leaves].mean()) / (2 * _STEP * setpoint)
    gaps = ((below + above) / 2 - scene.center)[leaves]
    gaps = gaps[np.isfinite(gaps)]
    spread = np.hypot(gaps.std() if gaps.size else 0.0, scene.spread.mean())
    widths = (scene.high - scene.low)[:, 0]
    bounded = widths[np.isfinite(widths)]
    opening = float(bounded.mean()) if bounded.size else float(spread)
    return float((3 * spread + opening) / max(abs(slope), 1e-9))


def _search(curves: Sequence[HitChanceCurve], setpoints: Sequence[FloatArray], every: int = 1) -> None:
    """Evaluate setpoints (n,) of each curve, with one draw in ``every``, and remember them."""
    weights = curves[0].belief.weights[::every]
    for curve, own, draws in zip(curves, setpoints, chances_by_draw(curves, setpoints, every), strict=True):
        curve.remember(own, np.minimum(weights @ draws / weights.sum(), 1.0))


def _around_peak(curve: HitChanceCurve) -> FloatArray:
    """Setpoints around the best that was seen."""
    limits, peak = curve.robot.setpoint, int(np.argmax(curve.chance))
    step = curve.seen[min(peak + 1, len(curve.seen) - 1)] - curve.seen[max(peak - 1, 0)]
    return np.asarray(np.clip(curve.seen[peak] + np.linspace(-step, step, _LAST), limits.low, limits.high))


def _look_closer(curves: Sequence[HitChanceCurve]) -> None:
    """Evaluate with all draws around the best that was seen, so far that the chance has fallen on both sides."""
    ends = [_worth_a_look(curve) for curve in curves]
    steps = [(high - low) / (_FINE - 1) for low, high in ends]
    for curve, (low, high) in zip(curves, ends, strict=True):
        curve.forget(low, high)
    _search(curves, [np.linspace(low, high, _FINE) for low, high in ends])
    for _ in range(_WIDENED):
        beyond = [_beyond(curve, *end, step) for curve, end, step in zip(curves, ends, steps, strict=True)]
        wider = [place for place, more in enumerate(beyond) if more.size]
        if not wider:
            break
        _search([curves[place] for place in wider], [beyond[place] for place in wider])
        for place in wider:
            low, high = ends[place]
            ends[place] = min(low, float(beyond[place].min())), max(high, float(beyond[place].max()))


def _worth_a_look(curve: HitChanceCurve) -> tuple[float, float]:
    """The stretch of setpoints around the best in which it scores nearly as often, with one more on each side."""
    best = int(np.argmax(curve.chance))
    worth = curve.chance >= _WORTH_A_LOOK * curve.chance[best]
    first = last = best
    while first > 0 and worth[first]:
        first -= 1
    while last < len(worth) - 1 and worth[last]:
        last += 1
    return float(curve.seen[first]), float(curve.seen[last])


def _beyond(curve: HitChanceCurve, low: float, high: float, step: float) -> FloatArray:
    """More setpoints on that side of ``low``..``high`` on which the chance hasn't fallen; what was seen there goes."""
    limits, seen, chance = curve.robot.setpoint, curve.seen, curve.chance
    level = _PLATEAU * chance[(seen >= low) & (seen <= high)].max()
    open_low = low > limits.low and chance[np.searchsorted(seen, low)] > level
    open_high = high < limits.high and chance[np.searchsorted(seen, high)] > level
    found = [np.empty(0)]
    for side, edge, goes_on in ((-1, low, open_low), (1, high, open_high)):
        if goes_on:
            more = np.clip(edge + side * step * np.arange(1, _LAST), limits.low, limits.high)
            curve.forget(*sorted((edge + side * step * 1e-6, float(more[-1]))))
            found.append(more)
    return np.concatenate(found)


def _chosen(curve: HitChanceCurve, lowest_wins: bool, rounded: bool) -> float:
    """The setpoint to take of all that were seen."""
    limits, setpoint = curve.robot.setpoint, _middle(curve, float(curve.chance.max()), lowest_wins)
    if rounded:
        setpoint = round(round(setpoint / limits.step) * limits.step, 9)
    return float(np.clip(setpoint, limits.low, limits.high))


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


def _second(curve: HitChanceCurve, centers: list[float], low: float, high: float, top: float) -> float | None:
    """Another setpoint that scores at least half as well, with a clear dip in between."""
    for center in centers:
        near = high if center > high else low
        between = (curve.seen >= min(near, center)) & (curve.seen <= max(near, center))
        chance = float(np.interp(center, curve.seen, curve.chance))
        apart = not low <= center <= high and between.any() and curve.chance[between].min() < 0.8 * chance
        if apart and chance >= 0.5 * top:
            return center
    return None
