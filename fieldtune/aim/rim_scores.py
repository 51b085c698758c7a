"""How likely a ball scores that comes down on a basket's rim or board, over its miss: tabulated once a target."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.element_path import flying_body, rolling_inertia
from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.frozen import frozen
from fieldtune.normal import ndtr
from fieldtune.physics.flight import fly
from fieldtune.physics.rim_bounce import Rim, falls_in
from fieldtune.robot.exit_speed import spin_ratio

if TYPE_CHECKING:
    from fieldtune.aim.required_speed.interface import RequiredSpeed
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot

_MISSES, _SIDES, _DISTANCES, _ANGLES = 49, 11, 14, 3
_RESTITUTION = ((0.34, 1 / 6), (0.6, 2 / 3), (0.86, 1 / 6))
"""Restitution of rim and board with its weights: 0.6 +- 0.15, a guess (basketballs on steel and glass 0.5 to 0.75, from
memory); three points of Gauss and Hermite."""


@frozen
class RimScores:
    """Probability that a ball scores: ``chance`` (distances, angles, sides, misses) over ln(distance), error of the
    exit angle (rad), side miss (m, either way) and miss (m)."""

    misses: FloatArray
    sides: FloatArray
    log_distance: FloatArray
    angles: FloatArray
    chance: FloatArray

    @classmethod
    def made(cls, robot: Robot, rim: Rim, need: RequiredSpeed, angle_span: float) -> RimScores:
        """Throws at the rim from distances over the whole range, each followed until it is in or out."""
        ball = robot.element.passing_size / 2
        beyond = ball + rim.tube
        deep = 0.0 if rim.board is None else min(rim.board[1], 2 * rim.radius + rim.board[2])
        misses = np.linspace(-rim.radius - beyond, rim.radius + beyond + deep, _MISSES)
        sides = np.linspace(0.0, rim.radius + beyond, _SIDES)
        farthest = max(need.d_high / 1.15, 1.2 * need.d_low)
        distances = np.geomspace(need.d_low, farthest, _DISTANCES)
        angles = np.linspace(-angle_span, angle_span, _ANGLES)
        d, a, m = (x.ravel() for x in np.meshgrid(distances, angles, misses, indexing="ij"))
        point = need.log_speed(d, m, a)
        speed = np.exp(np.where(point.d_miss > 0, point.value, np.nan))
        there = fly(flying_body(robot), speed, robot.launcher.exit_angle + a, spin_ratio(robot), d + m)
        score = _scores(robot, rim, ball, m, sides, there.speed, there.slope, spin_ratio(robot) * speed)
        shape = (_DISTANCES, _ANGLES, _MISSES, _SIDES)
        return cls(misses, sides, np.log(distances), angles, np.moveaxis(score.reshape(shape), 3, 2))

    def over_misses(
        self, distance: FloatArray, angle_error: FloatArray, offset: FloatArray, side_sd: FloatArray
    ) -> FloatArray:
        """Probability to score (n, misses) where the side miss is normal: mean ``offset`` (n,), deviation ``side_sd``
        (n,), metres."""
        near, far, part = _between(np.log(distance), self.log_distance)
        left, right, turn = _between(angle_error, self.angles)
        below = [ndtr((side * self.sides[:, None] - offset) / side_sd) for side in (1, -1)]
        within = np.diff(below[0] - below[1], axis=0) / 2
        shares = np.pad(within, ((1, 0), (0, 0))) + np.pad(within, ((0, 1), (0, 0)))
        chance = np.zeros((len(distance), len(self.misses)))
        for at, weight in ((near, 1 - part), (far, part)):
            for tilt, how in ((left, 1 - turn), (right, turn)):
                for k, share in enumerate(shares):
                    chance += (weight * how * share)[:, None] * self.chance[at, tilt, k]
        return chance


def _scores(
    robot: Robot,
    rim: Rim,
    ball: float,
    miss: FloatArray,
    sides: FloatArray,
    speed: FloatArray,
    slope: FloatArray,
    spin: FloatArray,
) -> FloatArray:
    """Probability (n, sides) for balls that would cross the plane with these misses, speeds and slopes (n,)."""
    falling = np.isfinite(speed) & (slope < 0)
    forward = np.where(falling, speed, 1.0) / np.hypot(1.0, slope)
    # Back along the path, free of the air, to where it can't have touched anything yet.
    back = (np.maximum(miss + rim.ring + rim.tube, 0.0) + 1.5 * ball) / np.where(falling, forward, 1.0)
    start = np.stack([miss - forward * back, -slope * forward * back - STANDARD_GRAVITY / 2 * back**2])
    rise = slope * forward + STANDARD_GRAVITY * back
    good = np.flatnonzero(falling & ((start[1] > 0) | (miss > -rim.radius)))
    each = len(_RESTITUTION) * len(sides)
    places = np.repeat(good, each)
    z = np.tile(np.repeat(sides, len(_RESTITUTION)), len(good))
    e = np.tile([value for value, _ in _RESTITUTION], len(good) * len(sides))
    place, velocity = np.stack([start[0][places], start[1][places], z]), np.stack([forward, rise, 0 * rise])[:, places]
    inertia = min(rolling_inertia(robot.element), 1e9)
    scored = falls_in(rim, ball, inertia, place, velocity, spin[places], e)
    found = np.zeros((len(miss), len(sides)))
    weights = np.array([weight for _, weight in _RESTITUTION])
    found[good] = scored.reshape(len(good), len(sides), len(_RESTITUTION)) @ weights
    return found


def _between(x: FloatArray, nodes: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Indices of the nodes (even spacing) on both sides of x (n,), held at the ends, and the share of the way."""
    place = np.clip((x - nodes[0]) / (nodes[1] - nodes[0]), 0.0, len(nodes) - 1 - 1e-9)
    low = np.nan_to_num(place).astype(np.intp)
    return low, low + 1, np.nan_to_num(place - low)
