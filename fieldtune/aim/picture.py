"""The predicted path as points to draw: the mean path and the band that holds 90 % of shots."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtri

from fieldtune.aim.belief import Belief
from fieldtune.aim.bodies import flying_body, sliding_drag
from fieldtune.aim.exit import drive_quantity, log_speed, spin_ratio
from fieldtune.aim.recommend import mean_log_speed
from fieldtune.aim.results import ArcPicture
from fieldtune.physics import slide
from fieldtune.physics.flight import path
from fieldtune.physics.roll import roll_speed_at, roll_stop_distance
from fieldtune.robot.model import Robot, Target

FloatArray = NDArray[np.float64]
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
    if target.on_floor:
        return _slide_picture(robot, np.exp(np.append(speeds, mean)), np.append(draws.log_drag[pick], best.log_drag))
    elevation = robot.launcher.exit_angle + draws.angle_error[pick] + draws.angle_scatter[pick] * shuffled
    x = np.linspace(0.0, end * 1.12, _POINTS)
    heights, fast = path(
        flying_body(robot),
        np.exp(np.append(speeds, mean)),
        np.append(elevation, robot.launcher.exit_angle + best.angle_error),
        spin_ratio(robot),
        x,
        log_drag=np.append(draws.log_drag[pick], best.log_drag),
    )
    heights = heights + robot.launcher.exit_height
    low, high = _band(heights[:-1])
    return ArcPicture(x, heights[-1], low, high, fast[-1], None, None)


def _band(rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    """5 % and 95 % of each column; a path that ended is below all others."""
    low, high = np.quantile(np.where(np.isfinite(rows), rows, -1e3), [0.05, 0.95], axis=0)
    return low, high


def _slide_picture(robot: Robot, speeds: FloatArray, log_friction: FloatArray) -> ArcPicture:
    friction = robot.floor.friction * np.exp(log_friction)
    drag, slope = sliding_drag(robot), robot.floor.slope
    rolls = robot.element.shape == "sphere"
    rolling = robot.floor.rolling * np.exp(log_friction)
    if rolls:
        stops = roll_stop_distance(speeds, friction, rolling, slope, drag)
    else:
        stops = slide.stop_distance(speeds, friction, slope, drag)
    low, high = np.quantile(stops[:-1], [0.05, 0.95])
    end = float(stops[-1]) if math.isfinite(float(stops[-1])) else 20.0
    x = np.linspace(0.0, end, _POINTS)
    if rolls:
        left = roll_speed_at(speeds[-1], x, friction[-1], rolling[-1], slope, drag)
    else:
        left = slide.speed_at(speeds[-1], x, friction[-1], slope, drag)
    y = robot.launcher.exit_height + x * math.tan(slope)
    return ArcPicture(x, y, y.copy(), y.copy(), np.nan_to_num(left), float(low), float(high))
