"""Which way to face: the learned side bias as an angle to turn by, and a pose on the field as distance and bearing.

Angles are positive to the right; headings, as on the line, counter-clockwise from the field's x axis.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from fieldtune.aim.draws import Belief
from fieldtune.aim.hit_chance import HitChanceCurve
from fieldtune.aim.required_speed.interface import RequiredSpeed
from fieldtune.aim.results import Aim
from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.robot.model import Robot, Target

_WORTH_TURNING = 0.02
_TOO_LITTLE = 0.1


@frozen
class Pose:
    """Where the element leaves, metres on the field; ``heading_deg`` counter-clockwise from +x, None if unknown."""

    x_m: float
    y_m: float
    heading_deg: float | None = None


def seen_from(robot: Robot, target: Target, pose: Pose) -> tuple[float, float | None]:
    """Distance (m) to the target and the turn (degrees, positive right) that faces it; None without a heading.

    Raises ``InputError`` where the profile has no position of the target, or the pose is none.
    """
    if target.position is None:
        key = f"[targets.{target.name}]" if target.name else "[target]"
        raise InputError(f"{robot.name}: a pose needs to know where the target stands; give {key} position")
    if not all(map(math.isfinite, (pose.x_m, pose.y_m, pose.heading_deg or 0.0))):
        raise InputError("a pose of x, y and heading: expected plain numbers")
    ahead, aside = target.position[0] - pose.x_m, target.position[1] - pose.y_m
    distance = math.hypot(ahead, aside)
    if distance < 1e-6:
        raise InputError("the robot stands in the target: check the pose and the target's position")
    if pose.heading_deg is None:
        return distance, None
    turn = math.remainder(pose.heading_deg - math.degrees(math.atan2(aside, ahead)), 360.0)
    return distance, turn + 0.0


def towards(target: Target, pose: Pose, vx_mps: float, vy_mps: float) -> tuple[float, float]:
    """A velocity on the field as its parts towards the target and to the right of that, m/s."""
    if target.position is None:
        return 0.0, 0.0
    ahead, aside = target.position[0] - pose.x_m, target.position[1] - pose.y_m
    distance = max(math.hypot(ahead, aside), 1e-9)
    cosine, sine = ahead / distance, aside / distance
    return vx_mps * cosine + vy_mps * sine, vx_mps * sine - vy_mps * cosine


def bias_turn(
    robot: Robot, need: RequiredSpeed, belief: Belief, distance_m: float, setpoint: float, battery_v: float | None
) -> tuple[float, float] | None:
    """Turn (degrees, positive right) that takes the learned side bias away, and the hit chance it gains; None where
    that is 0.02 or less.
    """
    draws, weights = belief.draws, belief.weights
    bias = float(weights @ draws.side_bias)
    if abs(bias) <= _TOO_LITTLE * float(weights @ draws.side_scatter):
        return None
    turned = replace(belief, draws=replace(draws, side_bias=draws.side_bias - bias))
    at = np.array([setpoint])
    now, then = (float(HitChanceCurve.at(robot, need, b, distance_m, battery_v).mean(at)[0]) for b in (belief, turned))
    return (-math.degrees(bias), then - now) if then - now > _WORTH_TURNING else None


def turn_words(turn_deg: float) -> str:
    """A turn as one reads it."""
    return f"turn {abs(turn_deg):.1f} deg to the {'right' if turn_deg > 0 else 'left'}"


def beyond_turret(robot: Robot, turn_deg: float) -> str | None:
    """A word where the launcher can't turn that far by itself; None where it can, or the robot turns as a whole."""
    if robot.turret is None:
        return None
    low, high = (math.degrees(limit) for limit in robot.turret)
    if low <= turn_deg <= high:
        return None
    rest = turn_deg - min(max(turn_deg, low), high)
    return f"the turret turns from {low:.0f} to {high:.0f} deg: first {turn_words(rest)} with the whole robot"


def with_turn(
    robot: Robot, need: RequiredSpeed, belief: Belief, aim: Aim, facing_deg: float | None, battery_v: float | None
) -> Aim:
    """The recommendation with its whole turn: to face the target (``facing_deg``), to lead it (the aim's own, for a
    robot in motion), and against the side bias; with words where they are needed.
    """
    if aim.setpoint.value is None:
        return replace(aim, turn_deg=facing_deg)
    bias = bias_turn(robot, need, belief, aim.distance_m, aim.setpoint.value, battery_v)
    known = [turn for turn in (facing_deg, aim.turn_deg, bias[0] if bias else None) if turn is not None]
    if not known:
        return aim
    whole, words = sum(known), []
    if bias is not None:
        side = "left" if bias[0] > 0 else "right"
        points = 100 * bias[1]
        words.append(f"{turn_words(bias[0])}: shots go to the {side}, which costs {points:.0f} points of hit chance")
    beyond = beyond_turret(robot, whole)
    words += [] if beyond is None else [beyond]
    return replace(aim, turn_deg=whole, cautions=(*aim.cautions, *words))
