"""The predicted path as points to draw: the mean path and the band that holds 90 % of shots."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.draws import log_speed
from fieldtune.aim.element_path import flying_body, speed_at, stop_distance, thrown
from fieldtune.aim.recommend import mean_log_speed
from fieldtune.aim.results import ArcPicture
from fieldtune.normal import ndtri
from fieldtune.physics.flight import path
from fieldtune.robot.exit_speed import drive_quantity, spin_ratio

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief
    from fieldtune.arrays import FloatArray
    from fieldtune.physics.landing import Rest
    from fieldtune.robot.model import Robot, Target

_POINTS = 40
_PATHS = 64


def picture(
    robot: Robot, target: Target, belief: Belief, distance_m: float, setpoint: float, battery_v: float | None = None
) -> ArcPicture:
    """Mean path and band of a setpoint, from the exit to a little behind the target's true distance."""
    quantity = drive_quantity(robot, [setpoint], battery_v)
    draws, best = belief.draws, belief.best
    pick = np.linspace(0, len(belief.weights) - 1, _PATHS).round().astype(int)
    scatter = ndtri((np.arange(_PATHS) + 0.5) / _PATHS)
    # Speed and angle scatter go through the same quantiles in unlike orders, so that they are independent.
    shuffled = scatter[np.argsort((np.arange(_PATHS) * 0.6180339887) % 1.0)]
    speeds = log_speed(robot, belief.basis, draws, quantity)[pick, 0] + draws.speed_scatter[pick] * scatter
    mean = mean_log_speed(robot, belief, setpoint, battery_v)
    bias = float(best.distance_bias[0])
    end = max(distance_m + bias, 0.05)
    angle = np.append(draws.angle_error[pick] + draws.angle_scatter[pick] * shuffled, best.angle_error)
    log_drag = np.append(draws.log_drag[pick], best.log_drag)
    fast = np.exp(np.append(speeds, mean))
    return target.by_way(
        lambda: _flight_picture(robot, fast, angle, log_drag, end), lambda: _floor_picture(robot, fast, angle, log_drag)
    )


def _flight_picture(
    robot: Robot, speeds: FloatArray, angle: FloatArray, log_drag: FloatArray, end: float
) -> ArcPicture:
    """Through the air, of paths of which the last is the mean one."""
    x = np.linspace(0.0, end * 1.12, _POINTS)
    elevation = robot.launcher.exit_angle + angle
    heights, fast = path(flying_body(robot), speeds, elevation, spin_ratio(robot), x, log_drag=log_drag)
    heights = heights + robot.launcher.exit_height
    low, high = _band(heights[:-1])
    return ArcPicture(x, heights[-1], low, high, fast[-1], None, None)


def _band(rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    """5 % and 95 % of each column; a path that ended is below all others."""
    low, high = np.quantile(np.where(np.isfinite(rows), rows, -1e3), [0.05, 0.95], axis=0)
    return low, high


def _floor_picture(robot: Robot, speeds: FloatArray, angle: FloatArray, log_friction: FloatArray) -> ArcPicture:
    """Over the floor, of paths of which the last is the mean one: how it slows down, and where 90 % come to rest."""
    rest = thrown(robot, speeds, angle, log_friction) if robot.lands_first else None
    stops = stop_distance(robot, speeds, log_friction) if rest is None else rest.distance
    low, high = np.quantile(stops[:-1], [0.05, 0.95])
    end = float(stops[-1]) if math.isfinite(float(stops[-1])) else 20.0
    x = np.linspace(0.0, end, _POINTS)
    y = robot.element.lying_height + x * math.tan(robot.floor.slope)
    if rest is None:
        left = speed_at(robot, float(speeds[-1]), x, float(log_friction[-1]))
    else:
        left, y = _thrown_path(robot, rest, x, y, speeds, angle, log_friction)
    return ArcPicture(x, y, y.copy(), y.copy(), np.nan_to_num(left), float(low), float(high))


def _thrown_path(
    robot: Robot,
    rest: Rest,
    x: FloatArray,
    lying: FloatArray,
    speeds: FloatArray,
    angle: FloatArray,
    log_friction: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Speed (m/s) and height (m) of the mean throw at x (n,): in flight, over the bounces (their hops not drawn), then
    along the floor.
    """
    land, run, run_speed = (float(a[-1]) for a in (rest.landing.distance, rest.run, rest.run_speed))
    elevation = robot.launcher.exit_angle + angle[-1]
    height, flying = path(flying_body(robot), speeds[-1], elevation, spin_ratio(robot), np.minimum(np.abs(x), land))
    further = np.maximum(x - run, 0.0)
    running = speed_at(robot, run_speed, further, float(log_friction[-1]), float(rest.run_spin[-1]))
    hopping = np.interp(x, [land, max(run, land + 1e-9)], [float(rest.landing.along[-1]), run_speed])
    left = np.where(x < land, flying[0], np.where(x < run, hopping, running))
    return left, np.where(x < land, height[0] + robot.launcher.exit_height, lying)
