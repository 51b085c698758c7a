"""The inverse question: for a fixed setpoint, where to stand; and which standing distance forgives most."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldtune.aim.belief import Belief, Unknowns
from fieldtune.aim.chance import situation
from fieldtune.aim.exit import drive_quantity, log_speed
from fieldtune.aim.need import Need, need_for
from fieldtune.aim.reach import reach
from fieldtune.aim.recommend import table
from fieldtune.aim.results import Standing, TableRow
from fieldtune.aim.search import NEARLY_AS_WELL
from fieldtune.robot.model import Robot, Target

FloatArray = NDArray[np.float64]
_COARSE, _FINE = 61, 41
_WORTH_SAYING = 0.01
_FORGIVING_ROWS = 24


def stand(
    robot: Robot, target: Target, belief: Belief, setpoint: float, battery_v: float | None = None
) -> tuple[Standing, ...]:
    """Distance readings at which a setpoint scores, best first; each with the stretch that scores nearly as well."""
    need = need_for(robot, target)
    speeds = log_speed(robot, belief.basis, belief.draws, drive_quantity(robot, [setpoint], battery_v))
    coarse = np.linspace(need.d_low, need.d_high, _COARSE)
    chance = hit_over_distance(need, belief, speeds, coarse)
    found = []
    for peak in _peaks(chance):
        low, high = coarse[max(peak - 1, 0)], coarse[min(peak + 1, _COARSE - 1)]
        wide = np.unique(np.concatenate([coarse, np.linspace(low, high, _FINE)]))
        found.append(_standing(wide, hit_over_distance(need, belief, speeds, wide), (low + high) / 2))
    best = max(found, key=lambda s: s.hit_probability, default=None)
    return tuple(
        Standing(s.distance_m, s.low_m, s.high_m, s.hit_probability, forgives_most=s is best)
        for s in sorted(found, key=lambda s: -s.hit_probability)
        if s.hit_probability >= _WORTH_SAYING
    )


def hit_over_distance(need: Need, belief: Belief, speeds: FloatArray, readings: FloatArray) -> FloatArray:
    """Mean hit probability (n,) at distance readings (n,) for one log speed a draw (K, 1)."""
    draws, count = belief.draws, len(readings)
    repeated = Unknowns(*(np.repeat(getattr(draws, f), count, axis=0) for f in draws.__slots__))
    scene = situation(need, np.tile(readings, len(belief.weights)), repeated)
    chance = scene.hit(np.repeat(speeds, count, axis=0))[:, 0]
    return np.asarray(belief.weights @ chance.reshape(-1, count))


def most_forgiving(
    robot: Robot, target: Target, belief: Belief, battery_v: float | None = None
) -> TableRow | None:
    """The standing distance whose best setpoint scores most over everything uncertain; ``None`` where none scores."""
    scanned = reach(robot, need_for(robot, target), belief, battery_v)
    if scanned.nearest is None or scanned.farthest is None:
        return None
    distances = np.linspace(max(scanned.nearest, 0.05), scanned.farthest, _FORGIVING_ROWS)
    rows = [r for r in table(robot, target, belief, [float(d) for d in distances], battery_v) if r.hit_probability]
    return max(rows, key=lambda r: r.hit_probability or 0.0, default=None)


@dataclass(frozen=True, slots=True)
class _Span:
    distance_m: float
    low_m: float
    high_m: float
    hit_probability: float


def _peaks(chance: FloatArray) -> list[int]:
    """Places of the local maxima that matter: at least a tenth of the highest."""
    padded = np.concatenate([[-1.0], chance, [-1.0]])
    places = np.flatnonzero((padded[1:-1] > padded[:-2]) & (padded[1:-1] >= padded[2:]))
    return [int(i) for i in places if chance[i] >= 0.1 * chance.max() and chance[i] > 0]


def _standing(readings: FloatArray, chance: FloatArray, near: float) -> _Span:
    step = readings[-1] - readings[0]
    window = np.abs(readings - near) <= step / _COARSE * 2
    at = int(np.flatnonzero(window)[np.argmax(chance[window])])
    level = NEARLY_AS_WELL * chance[at]
    left = right = at
    while left > 0 and chance[left - 1] >= level:
        left -= 1
    while right < len(readings) - 1 and chance[right + 1] >= level:
        right += 1
    return _Span(float(readings[at]), float(readings[left]), float(readings[right]), float(chance[at]))
