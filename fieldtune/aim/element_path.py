"""A robot's element on its way, in the air or over the floor, and the figures of one path.

Distances are horizontal, as the profile's are; ``log_friction`` scales friction and rolling resistance together.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.frozen import frozen
from fieldtune.person_units import amount
from fieldtune.physics import rolling, sliding
from fieldtune.physics.air import BLUFF_DRAG, CRISIS, humid_air
from fieldtune.physics.flight import fly
from fieldtune.physics.flying_body import Body, ball, bluff
from fieldtune.physics.landing import Rest, come_to_rest
from fieldtune.physics.rolling import Ground
from fieldtune.records import known
from fieldtune.robot.exit_speed import spin_ratio

if TYPE_CHECKING:
    from fieldtune.aim.draws import Unknowns
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Air, Element, Robot, Target


def flying_body(robot: Robot) -> Body:
    """The element as a flying body in the profile's air; a disc or a block tumbles (constant mean drag)."""
    return _flying(robot.element, robot.air)


@lru_cache(maxsize=64)
def _flying(element: Element, air: Air) -> Body:
    state = humid_air(air.temperature, air.pressure, air.humidity)
    if element.shape == "sphere" and element.diameter is not None:
        return ball(
            element.mass, element.diameter, state, element.surface, element.drag, element.lift, seams=element.seams
        )
    return bluff(element.mass, element.mean_projected_area, state, element.drag, element.lift, volume=element.volume)


def seams_doubt(robot: Robot, speed: float) -> str | None:
    """One sentence where a seamed ball leaves so fast (m/s) that it counts of which kind it is, and nobody said."""
    element = robot.element
    if (
        element.shape != "sphere"
        or element.surface != "seamed"
        or element.drag is not None
        or element.seams is not None
    ):
        return None
    fast = CRISIS / flying_body(robot).reynolds_per_speed
    if speed < fast:
        return None
    return (
        f"above {amount(fast, 'm/s', 0)} flat seams are taken; raised or pebbled ones brake "
        "twice as much: give element.seams"
    )


def air_density(air: Air) -> float:
    """kg/m^3."""
    return float(humid_air(air.temperature, air.pressure, air.humidity).density)


def sliding_drag(robot: Robot) -> float:
    """Relative loss of speed a metre to the air on the floor: rho Cd A / (2 m), area seen from the front, 1/m."""
    element = robot.element
    if element.shape == "sphere":
        return max(flying_body(robot).drag_per_metre * (0.5 if element.drag is None else element.drag), 1e-9)
    if element.shape == "disc":
        front = (element.diameter or 0.0) * (element.height or 0.0)
    else:
        front = ((element.length or 0.0) + (element.width or 0.0)) / 2 * (element.height or 0.0)
    coefficient = BLUFF_DRAG if element.drag is None else element.drag
    return max(air_density(robot.air) * coefficient * front / (2 * element.mass), 1e-9)


_BOUNCE = {"sphere": 0.6, "disc": 0.3, "block": 0.3}
"""Restitution where the profile gives none. Balls: a little above wool and cork, 5/9 (Newton, Principia, scholium to
the laws; from memory); others: common practice for wood on hard floors."""
_FELT_BOUNCE = 0.745
"""A tennis ball comes back 135 to 147 cm from 254 (rules of the International Tennis Federation; from memory)."""


def drop_to_floor(robot: Robot) -> float:
    """How far (m) the centre is above where it lies on the floor, at the exit."""
    return max(robot.launcher.exit_height - robot.element.lying_height, 0.0)


def rolling_inertia(element: Element) -> float:
    """I / (m R^2) of the element as it rolls; inf for discs and blocks, which slide."""
    return math.inf if element.shape != "sphere" else element.ball_inertia


def ground(robot: Robot, log_friction: ArrayLike = 0.0) -> Ground:
    """The floor as physics sees it."""
    floor, factor = robot.floor, np.exp(np.asarray(log_friction, dtype=float))
    felt = robot.element.shape == "sphere" and robot.element.surface == "felt"
    usual = _FELT_BOUNCE if felt else _BOUNCE[robot.element.shape]
    bounce = usual if floor.restitution is None else floor.restitution
    inertia = rolling_inertia(robot.element)
    return Ground(floor.friction * factor, floor.rolling * factor, floor.slope, bounce, sliding_drag(robot), inertia)


def thrown(robot: Robot, speed: ArrayLike, angle_error: ArrayLike, log_friction: ArrayLike) -> Rest:
    """Throws that land first, at exit speeds (m/s), followed to rest; broadcasts to (n,)."""
    v, elevation = np.asarray(speed, dtype=float), robot.launcher.exit_angle + np.asarray(angle_error, dtype=float)
    body, floor = flying_body(robot), ground(robot, log_friction)
    return come_to_rest(body, floor, v, elevation, spin_ratio(robot) * v, drop_to_floor(robot))


def rest_distance(robot: Robot, speed: ArrayLike, angle_error: ArrayLike, log_friction: ArrayLike) -> FloatArray:
    """Distance (m) at which launches at exit speeds (m/s) come to rest, landing first or not; broadcasts to (n,)."""
    if robot.lands_first:
        return thrown(robot, speed, angle_error, log_friction).distance
    return stop_distance(robot, speed, log_friction)


def stop_distance(robot: Robot, speed: ArrayLike, log_friction: ArrayLike = 0.0) -> FloatArray:
    """Distance (m) at which an element that starts on the floor comes to rest."""
    v, at = np.asarray(speed, dtype=float), ground(robot, log_friction)
    if math.isinf(at.inertia):
        far = sliding.stop_distance(v, at.friction, at.slope, at.drag)
    else:
        far = rolling.roll_stop_distance(v, at, spin_ratio(robot) * v)
    return far * math.cos(at.slope)


def speed_at(
    robot: Robot,
    speed: ArrayLike,
    distance: ArrayLike,
    log_friction: ArrayLike = 0.0,
    spin: ArrayLike | None = None,
) -> FloatArray:
    """Speed left (m/s) at a distance of an element that starts on the floor; nan where it has stopped before.

    ``spin``: surface speed of it (m/s, backspin positive), the launcher's where None.
    """
    v, at = np.asarray(speed, dtype=float), ground(robot, log_friction)
    x = np.asarray(distance, dtype=float) / math.cos(at.slope)
    if math.isinf(at.inertia):
        return sliding.speed_at(v, x, at.friction, at.slope, at.drag)
    turn = spin_ratio(robot) * v if spin is None else spin
    return rolling.roll_speed_at(v, x, at, turn)


def time_to(robot: Robot, speed: ArrayLike, distance: ArrayLike, log_friction: ArrayLike = 0.0) -> FloatArray:
    """Time (s) to a distance of an element that starts on the floor; nan where it has stopped before."""
    v, at = np.asarray(speed, dtype=float), ground(robot, log_friction)
    x = np.asarray(distance, dtype=float) / math.cos(at.slope)
    if math.isinf(at.inertia):
        return sliding.time_to(v, x, at.friction, at.slope, at.drag)
    return rolling.roll_time_to(v, x, at, spin_ratio(robot) * v)


# The figures of one predicted path, from the exact solver: exit and entry angle, apex, time, speed.


_NEWTON, _SETTLED_M, _TOLERANCE_M = 4, 1e-4, 3e-4


@frozen
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


def path_figures(
    robot: Robot, target: Target, unknowns: Unknowns, distance: float, log_speed: float, long_m: float = 0.0
) -> PathFigures:
    """Figures of the path with these (single) unknowns at a reading ``distance``, leaving at exp(log_speed).

    ``long_m``: how far behind the target's centre it may cross its plane; only saves time where it is right.
    """
    speed = math.exp(log_speed)
    true_distance = distance + float(unknowns.distance_bias[0])
    drag = float(unknowns.log_drag[0])
    angle_error = float(unknowns.angle_error[0])

    def flight() -> PathFigures:
        elevation, spin, body = robot.launcher.exit_angle + angle_error, spin_ratio(robot), flying_body(robot)
        rise, at = target.height - robot.launcher.exit_height, true_distance
        if not target.miss_is_height:
            at += long_m
        there = fly(body, speed, elevation, spin, at, drag, _TOLERANCE_M)
        if not target.miss_is_height:  # where this path itself comes down on the opening's plane, not the centre's
            for _ in range(_NEWTON):
                step = (rise - float(there.height[0])) / float(there.slope[0])
                if not there.slope[0] < 0 or not _SETTLED_M < abs(step) < 0.5 * true_distance:
                    break
                at += step
                there = fly(body, speed, elevation, spin, at, drag, _TOLERANCE_M)
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
        # To rest where it has to lie still: the mean path may stop just short of the zone's centre.
        rest = float(stop_distance(robot, speed, drag)) * (1 - 1e-12)
        time = time_to(robot, speed, rest if target.holds_still else true_distance, drag)
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
    return known(np.asarray(value, dtype=float).ravel()[0])
