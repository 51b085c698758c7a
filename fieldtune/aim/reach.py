"""Where a target can be reached at all, and in plain words why not where it can't."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.draws import log_speed
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.person_units import amount, how_far, size
from fieldtune.robot.exit_speed import drive_quantity, soars

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief, Unknowns
    from fieldtune.aim.required_speed.interface import RequiredSpeed, RequiredSpeedPoint
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot, Target


def check_distance(distance_m: float) -> None:
    """Raise ``InputError`` unless the distance is a positive number of metres that a field can have."""
    if not math.isfinite(distance_m) or distance_m <= 0:
        raise InputError(f"distance {distance_m!r}: expected a length above zero, such as 3.2 m")
    if distance_m > 100:
        raise InputError(
            f"distance {amount(distance_m, 'm', figures=4)}: more than any field; expected metres, such as 3.2 m"
        )


_SCAN_M, _FEWEST = 0.02, 240
"""Spacing of the distances scanned, metres, and the fewest of them."""


@frozen
class Reach:
    """Distance readings (n,) scanned, and whether the mean path scores there within the setpoint's limits."""

    distance_m: FloatArray
    works: FloatArray

    @property
    def nearest(self) -> float | None:
        return float(self.distance_m[self.works > 0].min()) if self.works.any() else None

    @property
    def farthest(self) -> float | None:
        return float(self.distance_m[self.works > 0].max()) if self.works.any() else None

    def closest_to(self, distance: float) -> float | None:
        """The working distance closest to a given one."""
        good = self.distance_m[self.works > 0]
        return float(good[np.argmin(np.abs(good - distance))]) if good.size else None


_limits: deque[tuple[Robot, Belief, float | None, tuple[float, float]]] = deque(maxlen=4)


def speed_limits(robot: Robot, belief: Belief, battery_v: float | None) -> tuple[float, float]:
    """Lowest and highest log exit speed within the setpoint's limits, by the best single belief.

    The last ones are kept: every answer to the same shots asks for them.
    """
    for of_robot, of_belief, of_battery, limits in _limits:
        if of_robot is robot and of_belief is belief and of_battery == battery_v:
            return limits
    limits = _speed_limits(robot, belief, battery_v)
    _limits.appendleft((robot, belief, battery_v, limits))
    return limits


def _speed_limits(robot: Robot, belief: Belief, battery_v: float | None) -> tuple[float, float]:
    grid = np.geomspace(max(robot.setpoint.low, robot.setpoint.high * 1e-3), robot.setpoint.high, 17)
    speeds = log_speed(robot, belief.basis, belief.best, drive_quantity(robot, grid, battery_v))[0]
    finite = speeds[np.isfinite(speeds)]
    return (float(finite.min()), float(finite.max())) if finite.size else (math.inf, -math.inf)


def reach(robot: Robot, need: RequiredSpeed, belief: Belief, battery_v: float | None = None) -> Reach:
    """Scan the distances a required speed is made for."""
    best: Unknowns = belief.best
    bias, angle, drag = float(best.distance_bias[0]), float(best.angle_error[0]), float(best.log_drag[0])
    count = max(math.ceil((need.d_high - need.d_low) / _SCAN_M), _FEWEST)
    true = np.linspace(need.d_low, need.d_high, count)
    point, free = need.log_speed(true, 0.0, angle, drag), need.free(true, angle, drag)
    low, high = speed_limits(robot, belief, battery_v)
    works = np.isfinite(free.low) & np.isfinite(point.value) & (point.value >= low) & (point.value <= high)
    return Reach(true - bias, works.astype(float))


def reach_of_all(
    robot: Robot,
    target: Target,
    belief: Belief,
    battery_v: float | None = None,
    required_of: Callable[[Robot, Target], RequiredSpeed] = required_speed_for,
) -> Reach:
    """Where the target can be reached as the hood stands and at its ends, as ``reach``."""
    if robot.hood is None:
        return reach(robot, required_of(robot, target), belief, battery_v)
    helds = [robot.with_exit_angle(angle) for angle in (None, robot.hood.low, robot.hood.high)]
    seen = [reach(held, required_of(held, target), belief, battery_v) for held in helds]
    return Reach(np.concatenate([one.distance_m for one in seen]), np.concatenate([one.works for one in seen]))


def mean_point(need: RequiredSpeed, belief: Belief, distance: float) -> RequiredSpeedPoint:
    """The required speed of the target's centre at a reading, as the best single belief sees it."""
    best = belief.best
    return need.log_speed(distance + float(best.distance_bias[0]), 0.0, best.angle_error, best.log_drag)


def why_not(
    robot: Robot,
    target: Target,
    need: RequiredSpeed,
    belief: Belief,
    distance: float,
    battery_v: float | None,
    point: RequiredSpeedPoint | None = None,
) -> str | None:
    """One plain sentence on why a distance can't be scored from, with the nearest thing that works; None if it can.

    ``point``: the target's centre (``mean_point``), where it is known already.
    """
    angle = float(belief.best.angle_error[0])
    point = mean_point(need, belief, distance) if point is None else point
    value, slope = float(point.value[0]), float(point.slope[0])
    low, high = speed_limits(robot, belief, battery_v)
    size_mm = robot.element.passing_size * 1000
    if not target.fits(robot.element):
        return f"the element ({size(size_mm, 0)}) does not fit through the opening: check element and target"
    if not math.isfinite(value):
        reason = f"{how_far(distance)} is too close: at this exit angle no speed gets up to the target"
        if soars(robot):
            reason += " by its speed alone, and lift that carries it above its line of departure isn't calculated"
        if robot.launcher.exit_angle + angle <= 0:
            reason = f"{how_far(distance)} is too far: leaving level or downwards, it falls below the target before"
        reason = target.by_way(lambda: reason, lambda: "the floor falls away too steeply: the element never stops")
    elif target.rising_reason(slope) is not None:
        reason = f"{how_far(distance)} is too close: {target.rising_reason(slope)}"
    elif not np.isfinite(need.free_at(point).low[0]):
        entry, flattest = math.atan(-slope), target.flattest_entry(robot.element)
        reason = f"from {how_far(distance)} the element comes in at {math.degrees(entry):.0f} deg"
        if flattest is not None and entry > flattest:
            reason += ": on so low a path it touches the near rim"
        else:
            limit = "" if flattest is None else f", and it takes {math.degrees(flattest):.0f} deg"
            reason += f"{limit}: it can't pass the opening"
    elif value > high:
        highest = _setpoint(robot, robot.setpoint.high)
        reason = f"{how_far(distance)} is too far: the highest setpoint, {highest}, falls short"
    elif value < low:
        lowest = _setpoint(robot, robot.setpoint.low)
        reason = f"{how_far(distance)} is too close: the lowest setpoint, {lowest}, is too much"
    else:
        return None
    nearest = reach(robot, need, belief, battery_v).closest_to(distance)
    return reason + (f"; go to {how_far(nearest)}" if nearest is not None else "; no distance works with this profile")


def _setpoint(robot: Robot, value: float) -> str:
    return f"{value:g} {robot.setpoint.unit}"
