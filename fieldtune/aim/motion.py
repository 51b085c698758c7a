"""The recommendation for a robot in motion: setpoint and turn of an element that keeps the robot's own velocity.

On the field the element leaves with the launcher's velocity plus the robot's, and from there its path is one like any
other: a little steeper or flatter, faster or slower. So the turn cancels the robot's way across, and the speed is the
one at which the sum of both velocities is what the target asks for at the sum's elevation; that is exact, with air too,
and needs no guess of the time of flight. Velocities in m/s: ``forward`` towards the target, ``right`` across.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from fieldtune.aim.draws import Belief, Unknowns, log_speed
from fieldtune.aim.element_path import path_figures
from fieldtune.aim.hit_chance import HitChanceCurve
from fieldtune.aim.hood import best_exit_angle
from fieldtune.aim.recommend import caution_words, mean_log_speed, recommend, unreachable
from fieldtune.aim.required_speed.choice import fastest_exit, required_speed_for
from fieldtune.aim.required_speed.interface import RequiredSpeed
from fieldtune.aim.results import WORTH_SAYING, Aim, SetpointChoice
from fieldtune.aim.setpoint_search import best_setpoint
from fieldtune.aim.situation import situation
from fieldtune.arrays import FloatArray
from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.person_units import amount, how_far
from fieldtune.robot.exit_speed import drive_quantity
from fieldtune.robot.model import Robot, Target

_FASTEST = 10.0
_TRIES, _SAME, _NEAR = 60, 1e-7, math.radians(1)


@frozen
class Motion:
    """The robot's velocity, m/s: towards the target, and to the right of that."""

    forward: float = 0.0
    right: float = 0.0


@frozen
class _Lead:
    """Launch at ``speed`` (m/s) and turned by ``turn`` (rad, right positive), as the field sees it: a robot with its
    exit angle at the sum's elevation, and what its target needs."""

    speed: float
    turn: float
    robot: Robot
    need: RequiredSpeed


def recommend_moving(
    robot: Robot, target: Target, belief: Belief, distance_m: float, motion: Motion, battery_v: float | None = None
) -> Aim:
    """As ``recommend``, with ``turn_deg``. ``exit_speed_mps`` and ``exit_angle_deg`` are the launcher's own.

    Raises ``InputError`` for a motion that no robot makes, or that no turn can lead.
    """
    if not (math.isfinite(motion.forward) and math.isfinite(motion.right)) or _total(motion) > _FASTEST:
        raise InputError(
            f"a robot at {amount(_total(motion), 'm/s')}: expected at most {amount(_FASTEST, 'm/s', figures=4)}"
        )
    lead = _lead(robot, target, belief, distance_m, motion)
    if lead is None:
        reason = f"in this motion no setpoint reaches the target from {how_far(distance_m)}"
        return unreachable(robot, target, required_speed_for(robot, target), belief, distance_m, battery_v, reason)
    curve = _MovingCurve.of(robot, belief, lead, motion, distance_m, battery_v)
    best = best_setpoint(curve, lowest_wins=target.slowest_wins)
    if best is None or best.probability < WORTH_SAYING:
        reason = f"in this motion no setpoint scores from {how_far(distance_m)}"
        return unreachable(robot, target, required_speed_for(robot, target), belief, distance_m, battery_v, reason)
    speed = mean_log_speed(robot, belief, best.setpoint, battery_v)
    still = replace(belief.best, angle_error=np.zeros(1))
    along = _sum(math.exp(speed), _angles(robot, belief.best), lead.turn, motion)
    figures = path_figures(lead.robot, target, still, distance_m, float(along.log_speed[0]))
    return Aim(
        robot=robot.name,
        distance_m=distance_m,
        target=target.name,
        setpoint=SetpointChoice(best.setpoint, robot.setpoint.unit, best.low, best.high),
        hit_probability=best.probability,
        hit_probability_90=best.interval_90,
        exit_speed_mps=math.exp(speed),
        exit_angle_deg=math.degrees(float(_angles(robot, belief.best)[0])),
        entry_angle_deg=figures.entry_angle_deg,
        apex_m=figures.apex_m,
        time_s=figures.time_s,
        reachable=True,
        ceiling=None,
        shots_used=belief.shots_used,
        epoch=belief.epoch,
        cautions=caution_words(robot, target, best, None, battery_v, figures),
        other_setpoint=best.other,
        battery_v=battery_v,
        turn_deg=math.degrees(lead.turn) + 0.0,  # never minus zero
    )


def lead_angle(
    robot: Robot,
    target: Target,
    belief: Belief,
    distance_m: float,
    motion: Motion,
    battery_v: float | None,
    stands_deg: float | None,
) -> float | None:
    """Exit angle (degrees) to set the hood to in motion; None without a hood.

    That of a standing robot from where the target seems to be when the time of flight shifts it by the robot's own way,
    which is what an exported program does too. ``stands_deg``: the angle for a robot that stands still here.
    """
    if robot.hood is None or stands_deg is None:
        return None
    time = recommend(robot.with_exit_angle(stands_deg), target, belief, distance_m, battery_v).time_s
    if time is None:
        return stands_deg
    seen = math.hypot(distance_m - motion.forward * time, motion.right * time)
    return best_exit_angle(robot, target, belief, max(seen, 0.01), battery_v, stands_deg)


def _total(motion: Motion) -> float:
    return math.hypot(motion.forward, motion.right)


def _angles(robot: Robot, unknowns: Unknowns) -> FloatArray:
    """Elevations of the launch (K,), rad."""
    return np.asarray(robot.launcher.exit_angle + unknowns.angle_error)


@frozen
class _Sum:
    """Launch and robot together on the field: log speed and elevation (any shape), and their parts in m/s."""

    log_speed: FloatArray
    elevation: FloatArray
    launched: FloatArray
    along: FloatArray
    up: FloatArray


def _sum(speed: FloatArray | float, elevation: FloatArray, turn: float, motion: Motion) -> _Sum:
    """``launched``: the launcher's own part along the way, ``along``: all of it. The parts across cancel."""
    launched = np.asarray(speed) * np.cos(elevation) * math.cos(turn)
    along, up = launched + motion.forward, np.asarray(speed) * np.sin(elevation)
    size = np.maximum(np.hypot(along, up), 1e-9)
    return _Sum(np.log(size), np.arctan2(up, along), launched, along, up)


def _lead(robot: Robot, target: Target, belief: Belief, distance: float, motion: Motion) -> _Lead | None:
    """Speed and turn of the mean launch, by fixed point; None where nothing gets there."""
    best = belief.best
    angles, true = _angles(robot, best), distance + float(best.distance_bias[0])
    flat = math.cos(float(angles[0]))
    built, need = robot, required_speed_for(robot, target)
    first = float(need.log_speed(true, 0.0, best.angle_error, best.log_drag).value[0])
    speed = math.exp(first) if math.isfinite(first) else fastest_exit(robot)
    for _ in range(_TRIES):
        if abs(motion.right) >= 0.98 * speed * flat:
            raise InputError(
                f"at {amount(abs(motion.right), 'm/s', figures=2)} across no turn can lead: drive slower, "
                "or shoot standing"
            )
        turn = math.asin(-motion.right / (speed * flat))
        at = _sum(speed, angles, turn, motion)
        if not at.along[0] > 0:
            raise InputError(
                f"at {amount(-motion.forward, 'm/s', figures=2)} backwards the element can't get to the target"
            )
        elevation = float(at.elevation[0])
        if abs(elevation - built.launcher.exit_angle) > _NEAR:
            built = replace(robot, launcher=replace(robot.launcher, exit_angle=elevation))
            need = required_speed_for(built, target)
        error = elevation - built.launcher.exit_angle
        wanted = float(need.log_speed(true, 0.0, error, best.log_drag).value[0])
        if not math.isfinite(wanted):
            return None
        step = wanted - float(at.log_speed[0])
        speed = float(speed * math.exp(float(np.clip(step, -0.2, 0.2))))
        if abs(step) < _SAME:
            moved = replace(robot, launcher=replace(robot.launcher, exit_angle=elevation))
            return _Lead(speed, turn, moved, required_speed_for(moved, target))
    return None


@dataclass
class _MovingCurve(HitChanceCurve):
    """Hit chance over setpoints on the field: each draw's launch plus the robot's motion.

    A faster launch also leaves the sum steeper or flatter; what that changes of the required speed, ``by_angle`` (K,)
    an angle, is counted with the speed.
    """

    lead: _Lead | None = None
    motion: Motion = Motion()  # noqa: RUF009 - frozen
    by_angle: FloatArray | None = None

    @classmethod
    def of(
        cls, robot: Robot, belief: Belief, lead: _Lead, motion: Motion, distance: float, battery_v: float | None
    ) -> _MovingCurve:
        draws = belief.draws
        at = _sum(lead.speed, _angles(robot, draws), lead.turn, motion)
        error = at.elevation - lead.robot.launcher.exit_angle
        point = lead.need.log_speed(distance + draws.distance_bias, 0.0, error, draws.log_drag)
        by_angle = np.nan_to_num(point.d_angle)
        square = at.along**2 + at.up**2
        flat, steep = at.launched, at.up * math.cos(lead.turn)
        # Of a relative error of the launch's speed, and of its elevation: what they are worth in log speed.
        by_speed = (at.along * at.launched + at.up**2 - by_angle * at.up * motion.forward) / square
        up_by_angle = lead.speed * np.cos(_angles(robot, draws))
        by_elevation = (at.up * up_by_angle - at.along * steep) - by_angle * (at.along * up_by_angle + at.up * steep)
        level = _level(robot, belief, lead.speed, battery_v)
        across = -motion.right / at.along
        seen = replace(
            draws,
            angle_error=error,
            speed_scatter=np.hypot(by_speed * draws.speed_scatter, by_elevation / square * draws.angle_scatter),
            angle_scatter=np.zeros_like(draws.angle_scatter),
            side_bias=draws.side_bias * flat / at.along + across * level,
            side_scatter=np.hypot(draws.side_scatter * flat / at.along, across * draws.speed_scatter),
        )
        scene = situation(lead.need, distance, seen)
        return cls(robot, belief, scene, battery_v, lead=lead, motion=motion, by_angle=by_angle)

    def speeds(self, setpoints: FloatArray) -> FloatArray:
        """Log speeds (K, n) on the field, with what the elevation's change asks for taken off."""
        assert self.lead is not None
        assert self.by_angle is not None
        angles = _angles(self.robot, self.belief.draws)
        launch = np.exp(super().speeds(setpoints))
        at = _sum(launch, angles[:, None], self.lead.turn, self.motion)
        middle = _sum(self.lead.speed, angles, self.lead.turn, self.motion)
        return np.asarray(at.log_speed - self.by_angle[:, None] * (at.elevation - middle.elevation[:, None]))


def _level(robot: Robot, belief: Belief, speed: float, battery_v: float | None) -> FloatArray:
    """How much faster than the best belief each draw (K,) launches, relatively, where that launches at ``speed``."""
    grid = np.geomspace(max(robot.setpoint.low, 1e-3 * robot.setpoint.high), robot.setpoint.high, 65)
    quantity = drive_quantity(robot, grid, battery_v)
    mean = log_speed(robot, belief.basis, belief.best, quantity)[0]
    known = np.isfinite(mean)
    at = np.interp(math.log(speed), mean[known], quantity[known])
    basis = belief.basis.at(at)[0]
    return np.asarray(np.expm1(belief.draws.gain @ basis - float((belief.best.gain @ basis)[0])))
