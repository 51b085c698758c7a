"""The inverse question: for a fixed setpoint, where to stand; and which standing distance forgives most."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.draws import Belief, log_speed
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.results import WORTH_SAYING, Standing
from fieldtune.aim.setpoint_search import NEARLY_AS_WELL
from fieldtune.aim.situation import situation
from fieldtune.robot.exit_speed import drive_quantity

if TYPE_CHECKING:
    from fieldtune.aim.required_speed.interface import RequiredSpeed
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot, Target

_SCAN, _COARSE, _FINE = 240, 120, 61
_DIP = 0.8
"""Share of the lower of two maxima below which the chance has to fall between them."""


def stand(
    robot: Robot, target: Target, belief: Belief, setpoint: float, battery_v: float | None = None
) -> tuple[Standing, ...]:
    """Distance readings at which a setpoint scores, best first; each with the stretch that scores nearly as well.

    A path may meet a target on its way up and on its way down: each such place stands once.
    """
    need = required_speed_for(robot, target)
    quantity = drive_quantity(robot, [setpoint], battery_v)
    speeds = log_speed(robot, belief.basis, belief.draws, quantity)
    mean = float(log_speed(robot, belief.basis, belief.best, quantity)[0, 0])
    coarse = _readings(need, belief, mean)
    chance = hit_over_distance(need, belief, speeds, coarse)
    found: list[Standing] = []
    for low, high in _maxima(coarse, chance):
        readings = np.linspace(low, high, _FINE)
        spot = _standing(readings, _smoothed(hit_over_distance(need, belief, speeds, readings)))
        if spot.hit_probability >= WORTH_SAYING:
            found.append(spot)
    found.sort(key=lambda s: -s.hit_probability)
    return tuple(replace(s, forgives_most=s is found[0]) for s in found)


def _readings(need: RequiredSpeed, belief: Belief, speed: float) -> FloatArray:
    """Distance readings (n,) to look at first: over the whole range, closer around where the mean path hits."""
    best = belief.best
    bias, angle, drag = float(best.distance_bias[0]), float(best.angle_error[0]), float(best.log_drag[0])
    true = np.geomspace(need.d_low, need.d_high, _SCAN)
    point, free = need.log_speed(true, 0.0, angle, drag), need.free(true, angle, drag)
    gap = np.where(np.isfinite(free.low), speed - point.value, np.nan)
    readings = [np.geomspace(need.d_low, need.d_high, _COARSE)]
    for at in np.flatnonzero(gap[:-1] * gap[1:] <= 0):
        half = min(float(free.high[at] - free.low[at]), float(true[at]))
        readings.append(float(true[at]) + half * np.linspace(-0.5, 0.5, 5))
    every = np.unique(np.concatenate(readings)) - bias
    return np.asarray(every[every > 0.01])


def _maxima(readings: FloatArray, chance: FloatArray) -> list[tuple[float, float]]:
    """Stretches of the readings (n,) around each maximum of the chance, parted where it dips clearly in between."""
    tops: list[int] = []
    for at in np.flatnonzero(chance >= WORTH_SAYING / 2):
        rises = at == 0 or chance[at] >= chance[at - 1]
        falls = at == len(chance) - 1 or chance[at] > chance[at + 1]
        if not (rises and falls):
            continue
        if tops and chance[tops[-1] : at + 1].min() > _DIP * min(chance[tops[-1]], chance[at]):
            if chance[at] > chance[tops[-1]]:
                tops[-1] = int(at)
        else:
            tops.append(int(at))
    valleys = [a + int(np.argmin(chance[a : b + 1])) for a, b in pairwise(tops)]
    ends = [0, *valleys, len(chance) - 1]
    found = []
    for k, top in enumerate(tops):
        left, right = _around(chance, top, 0.2 * chance[top])
        low, high = max(left - 1, ends[k]), min(right + 1, ends[k + 1])
        found.append((float(readings[low]), float(readings[high])))
    return found


def hit_over_distance(need: RequiredSpeed, belief: Belief, speeds: FloatArray, readings: FloatArray) -> FloatArray:
    """Mean hit probability (n,) at distance readings (n,) for one log speed a draw (K, 1)."""
    count = len(readings)
    which = np.repeat(np.arange(len(belief.weights)), count)
    scene = situation(need, np.tile(readings, len(belief.weights)), belief.draws, which)
    chance = scene.hit(np.repeat(speeds, count, axis=0))[:, 0]
    return np.asarray(belief.weights @ chance.reshape(-1, count))


def _smoothed(chance: FloatArray) -> FloatArray:
    """Without the ripple that a limited number of draws leaves where the opening is narrow."""
    padded = np.concatenate([chance[:1], chance, chance[-1:]])
    return np.asarray((padded[:-2] + 2 * padded[1:-1] + padded[2:]) / 4)


def _standing(readings: FloatArray, chance: FloatArray) -> Standing:
    peak = int(np.argmax(chance))
    left, right = _around(chance, peak, 0.998 * chance[peak])
    low, high = _around(chance, peak, NEARLY_AS_WELL * chance[peak])
    middle = float(readings[left] + readings[right]) / 2
    return Standing(middle, float(readings[low]), float(readings[high]), float(chance[peak]))


def _around(chance: FloatArray, at: int, level: float) -> tuple[int, int]:
    left = right = at
    while left > 0 and chance[left - 1] >= level:
        left -= 1
    while right < len(chance) - 1 and chance[right + 1] >= level:
        right += 1
    return left, right
