"""The figures of one predicted path, from the exact solver: exit and entry angle, apex, time, speed."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.floor_path import flying_body, thrown, time_to
from fieldtune.physics.flight import fly
from fieldtune.robot.exit_speed import spin_ratio

if TYPE_CHECKING:
    from fieldtune.aim.draws import Unknowns
    from fieldtune.robot.model import Robot, Target


_NEWTON = 4


@dataclass(frozen=True, slots=True)
class PathFigures:
    """All of one path, at its own crossing of the target; ``None`` where it does not get there, or that means nothing.

    ``landing_m``: where it first touches a floor that it goes on over, from the exit.
    """

    exit_speed_mps: float
    exit_angle_deg: float
    entry_angle_deg: float | None
    apex_m: float | None
    time_s: float | None
    landing_m: float | None = None


def path_figures(robot: Robot, target: Target, unknowns: Unknowns, distance: float, log_speed: float) -> PathFigures:
    """Figures of the path with these (single) unknowns at a reading ``distance``, leaving at exp(log_speed)."""
    speed = math.exp(log_speed)
    true_distance = distance + float(unknowns.distance_bias[0])
    drag = float(unknowns.log_drag[0])
    angle_error = float(unknowns.angle_error[0])

    def flight() -> PathFigures:
        elevation, spin, body = robot.launcher.exit_angle + angle_error, spin_ratio(robot), flying_body(robot)
        rise, at = target.height - robot.launcher.exit_height, true_distance
        there = fly(body, speed, elevation, spin, at, log_drag=drag)
        if not target.miss_is_height:  # where this path itself comes down on the opening's plane, not the centre's
            for _ in range(_NEWTON):
                step = (rise - float(there.height[0])) / float(there.slope[0])
                if not there.slope[0] < 0 or not abs(step) < 0.5 * true_distance:
                    break
                at += step
                there = fly(body, speed, elevation, spin, at, log_drag=drag)
        return PathFigures(
            speed,
            math.degrees(elevation),
            _known(-np.degrees(np.arctan(there.slope))),
            _known(there.apex + robot.launcher.exit_height),
            _known(there.time),
        )

    def floor() -> PathFigures:
        if robot.lands_first:
            return _thrown_figures(robot, target, speed, angle_error, drag)
        time = time_to(robot, speed, true_distance, drag)
        return PathFigures(speed, math.degrees(robot.floor.slope), None, None, _known(time))

    return target.by_way(flight, floor)


def _thrown_figures(robot: Robot, target: Target, speed: float, angle_error: float, log_friction: float) -> PathFigures:
    """Of a throw over the floor; the time is to rest, and not given for a gate on the way."""
    rest = thrown(robot, speed, angle_error, log_friction)
    entry = np.arctan2(rest.landing.into, rest.landing.along) - robot.floor.slope
    return PathFigures(
        speed,
        math.degrees(robot.launcher.exit_angle + angle_error),
        _known(np.degrees(entry)),
        _known(rest.landing.apex + robot.launcher.exit_height),
        _known(rest.time) if target.holds_still else None,
        _known(rest.landing.distance),
    )


def _known(value: object) -> float | None:
    number = float(np.asarray(value, dtype=float).ravel()[0])
    return number if math.isfinite(number) else None
