"""The next shot worth taking: one step of looking ahead over the outcomes it may have.

A shot not yet taken may turn out short, in or long, or, where the log shows that misses are measured, in a few classes
of miss. For every candidate distance and setpoint the draws are weighed anew by each possible outcome, and the best
mean hit chance that would then be reached over the working range is averaged over the outcomes. All of it is matrix
products over draws.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from fieldtune.aim.exit_speed import log_speed, setpoint_for
from fieldtune.aim.hit_chance import Situation, situation
from fieldtune.aim.reach import reach
from fieldtune.aim.required_speed.interface import RequiredSpeed
from fieldtune.aim.results import NextShot
from fieldtune.arrays import FloatArray
from fieldtune.errors import OutOfReachError
from fieldtune.learn.fit import Fit
from fieldtune.robot.model import Target

# Misses count as measured if they were in at least half of the last few shots; then so many equally likely classes.
_LATELY, _CLASSES = 6, 9


def measuring(fit: Fit) -> bool:
    """Whether misses were measured lately."""
    lately = fit.table.miss[-_LATELY:]
    return bool(len(lately) and np.isfinite(lately).mean() >= 0.5)


def measuring_error_of(fit: Fit, required: RequiredSpeed, reading: float, scene: Situation) -> FloatArray:
    """Spread (K,) in log speed of what a miss measured from that reading would say, as each draw sees it."""
    draws = fit.belief.draws
    seen = required.log_speed(reading + draws.distance_bias, 0.0, draws.angle_error, draws.log_drag)
    return np.asarray(np.hypot(scene.spread, np.nan_to_num(seen.d_miss) * fit.robot.uncertainty.miss))


def word_chances(scene: Situation, speeds: FloatArray) -> FloatArray:
    """Probabilities (3, K) of short, in, long of each draw at log speeds (K,)."""
    low = np.where(np.isfinite(scene.low), scene.low, scene.center[:, None]) @ scene.shares
    ends = np.isfinite(scene.high)
    high = np.where(ends.all(axis=1), np.where(ends, scene.high, 0.0) @ scene.shares, np.inf)
    short = ndtr((low - speeds) / scene.near)
    long = ndtr((speeds - high) / scene.spread)
    # Where the target can't be hit at all a shot tells nothing.
    short, long = np.nan_to_num(short, nan=0.5), np.nan_to_num(long, nan=0.5)
    return np.stack([short, np.maximum(1 - short - long, 0.0), long])


def miss_chances(gap: FloatArray, blur: FloatArray) -> FloatArray:
    """Probabilities (classes, K) of a measured miss, from each draw's log speed beyond the required one (K,)."""
    known = np.isfinite(gap)
    if not known.any():
        return np.full((_CLASSES, len(gap)), 1 / _CLASSES)
    spread = float(np.sqrt(np.var(gap[known]) + np.mean(blur[known] ** 2)))
    edges = float(np.mean(gap[known])) + spread * ndtri(np.arange(_CLASSES + 1) / _CLASSES)
    chances = np.diff(ndtr((edges[:, None] - gap) / blur), axis=0)
    # Where the target can't be hit at all a shot tells nothing.
    return np.where(known, chances, 1 / _CLASSES)


_DISTANCES, _SETPOINTS, _AROUND = 7, 25, 3.0
# Setpoints tried at each distance: the best, and one standard deviation of the believed speed to each side.
_ASIDE = (0.0, -1.0, 1.0)
# Less than the greatest gain by up to this share of it is as much.
_AS_MUCH = 0.03
# A gain below this many points of probability is no reason to prefer one distance to another.
_WORTH = 0.002


@dataclass(frozen=True, slots=True)
class Place:
    """One distance of the working range: trial quantities (S,), the draws' speeds and hit chances there (K, S).

    ``blur`` (K,): spread in log speed of what a measured miss would say; None where only words are told.
    """

    reading: float
    quantity: FloatArray
    speeds: FloatArray
    scene: Situation
    hits: FloatArray
    blur: FloatArray | None

    def outcomes(self, column: int) -> FloatArray:
        """Probabilities (outcomes, K) of each draw for the shot with the trial quantity of that column."""
        speeds = self.speeds[:, column]
        if self.blur is None:
            return word_chances(self.scene, speeds)
        return miss_chances(speeds - self.scene.center, self.blur)


def best_next_shot(fit: Fit, target: Target) -> NextShot:
    """See ``posterior.next_shot``. Raises ``OutOfReachError`` where the target can't be reached."""
    required, weights = fit.required_of(fit.robot, target), fit.belief.weights
    places = [place for reading in working_range(fit, required, target) if (place := _place(fit, required, reading))]
    if not places:
        name = fit.robot.name
        raise OutOfReachError(f"{name} scores from no distance; check its profile: fieldtune check {name}")
    now = np.mean([float((weights @ place.hits).max()) for place in places])
    tried = [
        (_expected(place, column, places, weights) - float(now), float(weights @ place.hits[:, column]), place, column)
        for place in places
        for column in _trials(fit, place)
    ]
    # Of shots that teach about as much, the one that scores most.
    most = max(gain for gain, *_ in tried)
    enough = most - _AS_MUCH * abs(most)
    gain, _, place, column = max((one for one in tried if one[0] >= enough), key=lambda one: one[1])
    return _told(fit, place, column, max(gain, 0.0), float(now), places)


def working_range(fit: Fit, required: RequiredSpeed, target: Target) -> FloatArray:
    """Distances that matter: spots and distances shot from, else the target's reach; at most a few."""
    known = [spot.distance for spot in fit.robot.spots]
    known += [
        float(r) for r, t in zip(fit.table.reading, fit.table.target, strict=True) if fit.table.targets[t] == target
    ]
    seen = reach(fit.robot, required, fit.belief)
    if not seen.works.any():
        return np.array(known)
    nearest, farthest = seen.nearest or 0.0, seen.farthest or 0.0
    inside = [d for d in known if nearest <= d <= farthest]
    if len(set(inside)) < 2:
        return np.linspace(nearest + 0.1 * (farthest - nearest), farthest - 0.1 * (farthest - nearest), _DISTANCES)
    return np.linspace(min(inside), max(inside), _DISTANCES)


def _place(fit: Fit, required: RequiredSpeed, reading: float) -> Place | None:
    """Hit chances of trial setpoints spread over what is believed; None where nothing scores."""
    belief, robot = fit.belief, fit.robot
    scene = situation(required, reading, belief.draws)
    limits = _quantity_limits(fit)
    wide = np.geomspace(max(limits[0], 1e-3 * limits[1]), limits[1], 65)
    gaps = log_speed(robot, belief.basis, belief.draws, wide) - scene.center[:, None]
    middle = np.nanmean(np.where(np.isfinite(gaps), gaps, np.nan), axis=0) if np.isfinite(gaps).any() else None
    if middle is None or not np.isfinite(middle).any():
        return None
    spread = float(np.nanmean(scene.spread)) + float(np.nanstd(gaps[:, int(np.nanargmin(np.abs(middle)))]))
    inside = np.flatnonzero(np.abs(middle) <= max(_AROUND * spread, 0.05))
    if not len(inside):
        return None
    quantity = np.geomspace(wide[inside[0]], wide[inside[-1]] * 1.0001, _SETPOINTS)
    speeds = log_speed(robot, belief.basis, belief.draws, quantity)
    hits = np.nan_to_num(scene.hit(speeds))
    return Place(
        reading,
        quantity,
        speeds,
        scene,
        hits,
        measuring_error_of(fit, required, reading, scene) if measuring(fit) else None,
    )


def _quantity_limits(fit: Fit) -> tuple[float, float]:
    basis = fit.belief.basis
    return basis.q_low, basis.q_high


def _trials(fit: Fit, place: Place) -> list[int]:
    """Columns worth trying: the best setpoint and one standard deviation of the belief to either side."""
    weights = fit.belief.weights
    best = int(np.argmax(weights @ place.hits))
    gap = place.speeds[:, best] - place.scene.center
    sd = float(np.nanstd(gap))
    mean_speed = np.nanmean(place.speeds, axis=0)
    wanted = [mean_speed[best] + aside * sd for aside in _ASIDE]
    return sorted({int(np.argmin(np.abs(mean_speed - speed))) for speed in wanted})


def _expected(place: Place, column: int, places: list[Place], weights: FloatArray) -> float:
    """Best mean hit probability over all places, expected after this shot."""
    chances = place.outcomes(column) * weights
    reached = np.mean([(chances @ other.hits).max(axis=1) for other in places], axis=0)
    return float(reached.sum() / weights.sum())


def _told(fit: Fit, place: Place, column: int, gain: float, now: float, places: list[Place]) -> NextShot:
    step = fit.robot.setpoint.step
    exact = float(setpoint_for(fit.robot, place.quantity[column]))
    limits = fit.robot.setpoint
    setpoint = float(np.clip(round(exact / step) * step, limits.low, limits.high))
    span = f"{places[0].reading:.1f} to {places[-1].reading:.1f} m"
    if gain < _WORTH:
        why = f"one more shot will hardly change what is known: {100 * now:.0f} % expected from {span}"
    else:
        why = (
            f"its outcome tells most: from {span} the mean hit probability is expected to rise"
            f" from {100 * now:.0f} to {100 * (now + gain):.0f} %"
        )
    return NextShot(round(place.reading, 3), setpoint, gain, why)
