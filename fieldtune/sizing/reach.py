"""How far a mechanism reaches: needed exit speed over distance as a table, read both ways for whole arrays at once."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.aim.places import working_range
from fieldtune.aim.required_speed.choice import fastest_exit, required_speed_for
from fieldtune.frozen import frozen
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Robot, Target

_POINTS = 400
_STRONGER = (1.0, 1.5, 2.5, 5.0, 10.0, 25.0, 60.0, 150.0)
"""Times the highest setpoint that are tried where it reaches too little."""
_SLACK = 0.1
"""A table that ends this far (in ln speed) below the fastest exit ends for another reason than speed."""


@frozen
class ReachTable:
    """Distances (n,), metres, from which the target can be scored, and the ln of the exit speed needed there."""

    distance: FloatArray
    log_speed: FloatArray

    @property
    def nearest(self) -> float | None:
        """Closest distance at which any speed scores."""
        return float(self.distance[0]) if self.distance.size else None

    def needed(self, distance: float | None) -> float | None:
        """ln of the needed exit speed at a distance; None where no speed scores from there."""
        if distance is None or not self.distance.size or not self.distance[0] <= distance <= self.distance[-1]:
            return None
        return float(np.interp(distance, self.distance, self.log_speed))

    def slope(self, distance: float | None) -> float | None:
        """Rise of the ln of the needed speed per metre at a distance; None where it doesn't rise."""
        if distance is None or self.distance.size < 2 or self.needed(distance) is None:
            return None
        rise = float(np.interp(distance, self.distance, np.gradient(self.log_speed, self.distance)))
        return rise if rise > 0 else None

    def farthest(self, log_speed: ArrayLike) -> FloatArray:
        """Farthest distances (m) that exit speeds (ln, n) reach, nan where they reach none; held at the table's end."""
        speeds = np.asarray(log_speed, dtype=float)
        if not self.distance.size:
            return np.full_like(speeds, np.nan)
        rising = int(np.argmin(self.log_speed))
        reached = np.interp(speeds, self.log_speed[rising:], self.distance[rising:], left=np.nan)
        return np.asarray(reached, dtype=float)


def as_taught(robot: Robot, speed_factor: float) -> tuple[Robot, float]:
    """The robot with the exit speeds that shots taught, so many times the profile's, and the factor that is left.

    A wheel's grip takes up all of it, so that drop, recovery and energies follow; of a spring it stays a factor.
    """

    def gripping(wheel: Flywheel) -> tuple[Robot, float]:
        mechanism = replace(wheel, grip=wheel.grip * speed_factor)
        return replace(robot, launcher=replace(robot.launcher, mechanism=mechanism)), 1.0

    return robot.launcher.mechanism.by_motion(gripping, lambda _: (robot, speed_factor))


def reach_table(robot: Robot, target: Target, speed_factor: float = 1.0) -> ReachTable:
    """The table of one target: a little beyond what the highest setpoint may reach, and out to every spot if it can be.

    So that it tells what a spot needs where gears, spring or setpoint are still too weak for it. ``speed_factor``: what
    shots taught, real exit speed over the profile's model.
    """
    farthest = max((spot.distance for spot in robot.spots), default=robot.field_range[1] if robot.field_range else 0.0)
    for times in _STRONGER:
        stronger = replace(robot, setpoint=replace(robot.setpoint, high=robot.setpoint.high * times))
        need = required_speed_for(stronger, target)
        distance = np.geomspace(need.d_low, need.d_high, _POINTS)
        value, free = need.log_speed(distance).value, need.free(distance)
        good = np.isfinite(value) & np.isfinite(free.low)
        distance, value = distance[good], value[good]
        if distance.size and (distance[-1] >= farthest or value[-1] < math.log(fastest_exit(stronger)) - _SLACK):
            break
    return ReachTable(distance, value - np.log(speed_factor))


def quantity_for(robot: Robot, log_speed: ArrayLike) -> FloatArray:
    """Wheel rpm or draw in mm behind ln exit speeds (n,); nan beyond the longest draw. The inverse of the model."""
    wanted = np.exp(np.asarray(log_speed, dtype=float))
    return robot.launcher.mechanism.quantity_for(wanted, robot.element, robot.setpoint.high)


@frozen
class NearFar:
    """The distances a robot is sized for, and the drive quantity (wheel rpm or draw mm) each needs."""

    near_m: float | None
    far_m: float | None
    near: float | None
    far: float | None
    guess: str | None = None
    """One sentence where nobody said which distances."""


def near_and_far(robot: Robot, table: ReachTable) -> NearFar:
    """The nearest and the farthest of the profile's spots that can score; without spots, the working range's ends."""
    places = sorted(s.distance for s in robot.spots if table.needed(s.distance) is not None)
    if places:
        near, far = places[0], places[-1]
        return NearFar(near, far, _quantity(robot, table.needed(near)), _quantity(robot, table.needed(far)))
    highest = float(model_log_speed(robot, drive_quantity(robot, robot.setpoint.high)))
    reached = float(table.farthest(highest))
    limit = reached if np.isfinite(reached) else None
    nearest, guess = table.nearest, None
    if nearest is not None and limit is not None and nearest < limit:
        over = working_range(robot, nearest, limit)
        nearest, limit, guess = over.near_m, over.far_m, over.guess
    quantities = [_quantity(robot, table.needed(distance)) for distance in (nearest, limit)]
    return NearFar(nearest, limit, quantities[0], quantities[1], guess)


def _quantity(robot: Robot, log_speed: float | None) -> float | None:
    value = float(quantity_for(robot, log_speed)) if log_speed is not None else float("nan")
    return value if np.isfinite(value) else None
