"""The next shot worth taking: a distance and a setpoint, by looking one shot ahead, and never far from a rotation.

A shot not yet taken may turn out short, in or long, or, where the log shows that misses are measured, in a few classes
of miss. For every distance that may be next the draws are weighed anew by each possible outcome, and the best mean hit
chance that would then be reached over the working range is averaged over the outcomes. All of it is matrix products
over draws.

A real robot bends where no model says so, and what is learned at one distance carries less far than the draws believe.
So a distance comes up again only after every other one had its turn, but for one shot: on hidden robots
(``tests/truth``) looking ahead without that limit costs hits from the fifth shot on. The setpoint is the recommended
one: setpoints that split belief better were tried there and told more of the edges of the opening, but scored less.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.draws import log_speed
from fieldtune.aim.hit_chance import HitChanceCurve
from fieldtune.aim.hood import at_best_angle
from fieldtune.aim.places import working_range
from fieldtune.aim.reach import reach_of_all
from fieldtune.aim.results import NextShot
from fieldtune.aim.setpoint_search import best_setpoint
from fieldtune.aim.situation import Situation, situation
from fieldtune.errors import OutOfReachError
from fieldtune.frozen import frozen
from fieldtune.normal import ndtr, ndtri
from fieldtune.person_units import from_to

if TYPE_CHECKING:
    from fieldtune.aim.required_speed.interface import RequiredSpeed
    from fieldtune.arrays import BoolArray, FloatArray, IntArray
    from fieldtune.learn.posterior import Fit
    from fieldtune.robot.model import Robot, Target

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
# A distance may be ahead of the one shot from least by this many shots.
_AHEAD = 1
# A gain below this share of all hits is no reason to prefer one distance to another: plain rotation then did as well or
# better on hidden robots.
_WORTH = 0.02


@frozen
class Place:
    """One distance of the working range: trial quantities (S,), the draws' speeds and hit chances there (K, S).

    ``blur`` (K,): spread in log speed of what a measured miss would say; None where only words are told. ``held``: the
    robot with its hood where it scores most from there.
    """

    held: Robot
    reading: float
    quantity: FloatArray
    speeds: FloatArray
    scene: Situation
    hits: FloatArray
    blur: FloatArray | None

    def outcomes(self, weights: FloatArray, trial: int | None = None) -> FloatArray:
        """Probabilities (outcomes, K) of each draw for a shot with one trial quantity, the one that scores most."""
        speeds = self.speeds[:, int(np.argmax(weights @ self.hits)) if trial is None else trial]
        if self.blur is None:
            return word_chances(self.scene, speeds)
        return miss_chances(speeds - self.scene.center, self.blur)


def best_next_shot(fit: Fit, target: Target, battery_v: float | None = None) -> NextShot:
    """See ``posterior.next_shot``. Raises ``OutOfReachError`` where the target can't be reached."""
    weights = fit.belief.weights
    places, guess = _places(fit, target, battery_v)
    now = _expected_now(places, weights)
    shots = _shots_from(fit, target, places)
    turn = [place for place, count in zip(places, shots, strict=True) if count <= shots.min() + _AHEAD]
    gains = [_expected(place, places, weights) - now for place in turn]
    gain, place = max(gains), turn[int(np.argmax(gains))]
    if gain < _WORTH:
        place = places[int(np.argmin(shots))]
    required = fit.required_of(place.held, target)
    curve = HitChanceCurve.at(place.held, required, fit.belief, place.reading, battery_v)
    best = best_setpoint(curve, lowest_wins=target.slowest_wins)
    setpoint = best.setpoint if best else fit.robot.setpoint.high
    why = _why(places, gain, now) + (f"; {guess}" if guess else "")
    angle = None if fit.robot.hood is None else place.held.exit_angle_deg
    return NextShot(round(float(place.reading), 3), setpoint, max(gain, 0.0), why, angle)


def _places(fit: Fit, target: Target, battery_v: float | None) -> tuple[list[Place], str | None]:
    """The working range, and a sentence where it is a guess; raises ``OutOfReachError`` where nothing scores."""
    readings, guess = distances_that_matter(fit, target)
    helds = [at_best_angle(fit.robot, target, fit.belief, float(reading), battery_v) for reading in readings]
    found = (_place(fit, held, target, reading) for held, reading in zip(helds, readings, strict=True))
    places = [place for place in found if place is not None]
    if not places:
        name = fit.robot.name
        raise OutOfReachError(f"{name} scores from no distance; check its profile: fieldtune check {name}")
    return places, guess


def _expected_now(places: list[Place], weights: FloatArray) -> float:
    """Best mean hit probability over the places without another shot."""
    return float(np.mean([float((weights @ place.hits).max()) for place in places]))


@frozen
class GainField:
    """Expected rise (m, n) of the mean hit probability by a shot from ``distance_m`` (m,) at ``setpoint`` (m, n)."""

    distance_m: FloatArray
    setpoint: FloatArray
    gain: FloatArray


def gain_field(fit: Fit, target: Target, battery_v: float | None = None) -> GainField:
    """What a shot teaches over distance and setpoint. Raises ``OutOfReachError`` where the target can't be reached."""
    weights, robot = fit.belief.weights, fit.robot
    places, _ = _places(fit, target, battery_v)
    now, scale = _expected_now(places, weights), robot.setpoint.scale.per_quantity(robot.drive, battery_v)
    gains = [[_expected(place, places, weights, trial) - now for trial in range(_SETPOINTS)] for place in places]
    return GainField(
        np.array([place.reading for place in places]),
        scale * np.array([place.quantity for place in places]),
        np.maximum(np.array(gains), 0.0),
    )


def _shots_from(fit: Fit, target: Target, places: list[Place]) -> IntArray:
    """How many shots of the present battery period were taken nearest to each place (n,)."""
    table, readings = fit.table, np.array([place.reading for place in places])
    present = table.epoch == fit.epochs.index(fit.belief.epoch)
    nearest = np.argmin(np.abs(table.reading[present & _shot_at(fit, target)][:, None] - readings), axis=1)
    return np.bincount(nearest, minlength=len(places))


def _shot_at(fit: Fit, target: Target) -> BoolArray:
    """Which shots went to this target (shots,)."""
    return np.array([fit.table.targets[place] == target for place in fit.table.target], dtype=bool)


def shot_from(fit: Fit, target: Target) -> list[float]:
    """Distances (m) that this target was shot at from."""
    return [float(reading) for reading in fit.table.reading[_shot_at(fit, target)]]


def distances_that_matter(fit: Fit, target: Target) -> tuple[FloatArray, str | None]:
    """The spots within reach, else a few distances over the working range, and a sentence where that is a guess."""
    seen = reach_of_all(fit.robot, target, fit.belief, required_of=fit.required_of)
    nearest, farthest = seen.nearest or 0.0, seen.farthest or np.inf
    spots = sorted({spot.distance for spot in fit.robot.spots if nearest <= spot.distance <= farthest})
    if len(spots) >= 2:
        return np.array(spots)[np.unique(np.linspace(0, len(spots) - 1, _DISTANCES).astype(np.intp))], None
    shot = shot_from(fit, target)
    if not seen.works.any():
        return np.array(sorted({*spots, *shot})), None
    over = working_range(fit.robot, nearest, farthest, shot)
    return np.linspace(over.near_m, over.far_m, _DISTANCES), over.guess


def _place(fit: Fit, robot: Robot, target: Target, reading: float) -> Place | None:
    """Hit chances of trial setpoints spread over what is believed; None where nothing scores."""
    belief, required = fit.belief, fit.required_of(robot, target)
    scene = situation(required, reading, belief.draws)
    low, high = belief.basis.q_low, belief.basis.q_high
    wide = np.geomspace(max(low, 1e-3 * high), high, 65)
    gaps = log_speed(robot, belief.basis, belief.draws, wide) - scene.center[:, None]
    leaves = np.isfinite(gaps)
    if not leaves.any():
        return None
    with np.errstate(invalid="ignore"):  # settings at which no draw throws at all
        middle = np.where(leaves, gaps, 0.0).sum(axis=0) / np.where(leaves.any(axis=0), leaves.sum(axis=0), np.nan)
    nearest = int(np.nanargmin(np.abs(middle)))
    spread = float(np.mean(scene.spread)) + float(np.std(gaps[leaves[:, nearest], nearest]))
    inside = np.flatnonzero(np.abs(middle) <= max(_AROUND * spread, 0.05))
    if not len(inside):
        return None
    quantity = np.geomspace(wide[inside[0]], wide[inside[-1]] * 1.0001, _SETPOINTS)
    speeds = log_speed(robot, belief.basis, belief.draws, quantity)
    hits = np.nan_to_num(scene.hit(speeds))
    return Place(
        robot,
        reading,
        quantity,
        speeds,
        scene,
        hits,
        measuring_error_of(fit, required, reading, scene) if measuring(fit) else None,
    )


def _expected(place: Place, places: list[Place], weights: FloatArray, trial: int | None = None) -> float:
    """Best mean hit probability over all places, expected after a shot from one of them (``trial``: as there)."""
    chances = place.outcomes(weights, trial) * weights
    reached = np.mean([(chances @ other.hits).max(axis=1) for other in places], axis=0)
    return float(reached.sum() / weights.sum())


def _why(places: list[Place], gain: float, now: float) -> str:
    span = from_to(places[0].reading, places[-1].reading, "m", 1)
    if gain < _WORTH:
        return (
            "shoot where you will play: one more shot will hardly change what is known,"
            f" {100 * now:.0f} % expected from {span}"
        )
    return (
        f"its outcome tells most: from {span} the mean hit probability is expected to rise"
        f" from {100 * now:.0f} to {100 * (now + gain):.0f} %"
    )
