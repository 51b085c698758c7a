"""The figures of one predicted path, from the exact solver: exit and entry angle, apex, time, speed."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldtune.aim.belief import Unknowns
from fieldtune.aim.bodies import flying_body, sliding_drag
from fieldtune.aim.exit import spin_ratio
from fieldtune.physics import slide
from fieldtune.physics.flight import fly
from fieldtune.physics.roll import roll_time_to
from fieldtune.robot.model import Robot, Target


@dataclass(frozen=True, slots=True)
class PathFigures:
    """Of the mean path at the target; ``None`` where the path does not get there or the figure has no meaning."""

    exit_speed_mps: float
    exit_angle_deg: float
    entry_angle_deg: float | None
    apex_m: float | None
    time_s: float | None


def path_figures(robot: Robot, target: Target, unknowns: Unknowns, distance: float, log_speed: float) -> PathFigures:
    """Figures of the path with these (single) unknowns at a reading ``distance``, leaving at exp(log_speed)."""
    speed = math.exp(log_speed)
    true_distance = distance + float(unknowns.distance_bias[0])
    drag = float(unknowns.log_drag[0])
    if target.on_floor:
        friction = robot.floor.friction * math.exp(drag)
        floor, drag_per_metre = robot.floor, sliding_drag(robot)
        if robot.element.shape == "sphere":
            rolling = floor.rolling * math.exp(drag)
            time = roll_time_to(speed, true_distance, friction, rolling, floor.slope, drag_per_metre)
        else:
            time = slide.time_to(speed, true_distance, friction, floor.slope, drag_per_metre)
        return PathFigures(speed, math.degrees(robot.floor.slope), None, None, _known(time))
    elevation = robot.launcher.exit_angle + float(unknowns.angle_error[0])
    there = fly(flying_body(robot), speed, elevation, spin_ratio(robot), true_distance, log_drag=drag)
    return PathFigures(
        speed,
        math.degrees(elevation),
        _known(-np.degrees(np.arctan(there.slope))),
        _known(there.apex + robot.launcher.exit_height),
        _known(there.time),
    )


def _known(value: object) -> float | None:
    number = float(np.asarray(value, dtype=float).ravel()[0])
    return number if math.isfinite(number) else None
