"""The recommendation at one distance: the setpoint that scores most under everything uncertain, with its figures.

And what one small change of each cause does to the miss there ("10 rpm = 3 cm").
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.draws import log_speed
from fieldtune.aim.element_path import PathFigures, air_density, path_figures, rest_distance, seams_doubt
from fieldtune.aim.hit_chance import HitChanceCurve, weighted_interval
from fieldtune.aim.reach import check_distance, mean_point, reach, why_not
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.results import WORTH_SAYING, Aim, Sensitivity, SetpointChoice
from fieldtune.aim.setpoint_search import Best, best_setpoint
from fieldtune.person_units import how_far
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief, Unknowns
    from fieldtune.aim.required_speed.interface import RequiredSpeed, RequiredSpeedPoint
    from fieldtune.robot.model import Robot, Target

_NEEDED_GRID = 201


def sensitivity(
    robot: Robot, target: Target, belief: Belief, point: RequiredSpeedPoint, setpoint: float, battery_v: float | None
) -> Sensitivity | None:
    """Derivatives of the miss at the setpoint, around ``point``, the target's centre as the best single belief sees it;
    ``None`` where the mean path does not cross the target."""
    best = belief.best
    if not np.isfinite(point.value[0]) or not point.d_miss[0] > 0:
        return None
    miss_per_log = 1 / float(point.d_miss[0])
    half, nominal = robot.setpoint.step / 2, robot.drive.nominal_voltage if robot.drive else 12.0
    volts = nominal if battery_v is None else battery_v
    asked = [drive_quantity(robot, [setpoint - half, setpoint + half], battery_v)]
    asked += [drive_quantity(robot, [setpoint], volts + dv) for dv in (-0.5, 0.5)]
    speeds = log_speed(robot, belief.basis, best, np.concatenate(asked))[0]
    slower, faster, weaker, stronger = speeds.tolist()
    return Sensitivity(
        per_step_m=(faster - slower) * miss_per_log,
        per_degree_m=-math.radians(1) * float(point.d_angle[0]) * miss_per_log,
        # A closed speed loop or a spring does not feel the volt; an open loop does.
        per_volt_m=(stronger - weaker) * miss_per_log,
        per_cm_m=-0.01 * float(point.d_distance[0]) * miss_per_log,
        per_10_degC_m=_warmth_change(robot, target, best, point, miss_per_log),
    )


def _warmth_change(
    robot: Robot, target: Target, best: Unknowns, point: RequiredSpeedPoint, miss_per_log: float
) -> float:
    """Change of the miss (m) with air ten degrees warmer and so thinner: on the floor followed once more."""
    warmer = replace(robot.air, temperature=robot.air.temperature + 10)

    def flight() -> float:
        return -float(point.d_drag[0]) * math.log(air_density(warmer) / air_density(robot.air)) * miss_per_log

    def floor() -> float:
        speed, warm = np.exp(point.value), replace(robot, air=warmer)
        then, now = (rest_distance(r, speed, best.angle_error, best.log_drag) for r in (warm, robot))
        return float(then[0] - now[0])

    return target.by_way(flight, floor)


def recommend(robot: Robot, target: Target, belief: Belief, distance_m: float, battery_v: float | None = None) -> Aim:
    """Recommendation at a distance reading, in metres. Raises ``InputError`` for a distance that is none."""
    check_distance(distance_m)
    need = required_speed_for(robot, target)
    curve = HitChanceCurve.at(robot, need, belief, distance_m, battery_v)
    best = best_setpoint(curve, lowest_wins=target.slowest_wins)
    point = mean_point(need, belief, distance_m)
    reason = why_not(robot, target, need, belief, distance_m, battery_v, point)
    if best is None or (reason is not None and best.probability < WORTH_SAYING):
        return unreachable(robot, target, need, belief, distance_m, battery_v, reason)
    speed = mean_log_speed(robot, belief, best.setpoint, battery_v)
    figures = path_figures(robot, target, belief.best, distance_m, speed, _long(point, distance_m, speed))
    return Aim(
        robot=robot.name,
        distance_m=distance_m,
        target=target.name,
        setpoint=SetpointChoice(best.setpoint, robot.setpoint.unit, best.low, best.high),
        hit_probability=best.probability,
        hit_probability_90=best.interval_90,
        exit_speed_mps=figures.exit_speed_mps,
        exit_angle_deg=figures.exit_angle_deg,
        entry_angle_deg=figures.entry_angle_deg,
        apex_m=figures.apex_m,
        time_s=figures.time_s,
        reachable=reason is None,
        ceiling=None,
        shots_used=belief.shots_used,
        epoch=belief.epoch,
        cautions=caution_words(robot, target, best, reason, battery_v, figures),
        sensitivity=sensitivity(robot, target, belief, point, best.setpoint, battery_v),
        nearest_m=None if reason is None else reach(robot, need, belief, battery_v).closest_to(distance_m),
        other_setpoint=best.other,
        battery_v=battery_v,
    )


def _long(point: RequiredSpeedPoint, distance_m: float, speed: float) -> float:
    """About how far behind the target's centre ``point`` a path at a log speed comes down, metres."""
    value, by_distance = float(point.value[0]), float(point.d_distance[0])
    if not math.isfinite(value) or not by_distance > 0:
        return 0.0
    return min(max((speed - value) / by_distance, -0.2 * distance_m), 0.2 * distance_m)


def hit_chance(
    robot: Robot, target: Target, belief: Belief, distance_m: float, setpoint: float, battery_v: float | None = None
) -> float:
    """Hit probability of one setpoint at a distance reading."""
    check_distance(distance_m)
    at = HitChanceCurve.at(robot, required_speed_for(robot, target), belief, distance_m, battery_v)
    return float(at.mean(np.array([setpoint]))[0])


def needed_setpoint_90(
    robot: Robot, target: Target, belief: Belief, distance_m: float, battery_v: float | None = None
) -> tuple[float, float] | None:
    """Between which setpoints the one that sends a mean shot through the target's centre lies, with 90 %.

    Each draw of what is unknown needs one of its own; None where hardly any draw reaches the target.
    """
    check_distance(distance_m)
    curve = HitChanceCurve.at(robot, required_speed_for(robot, target), belief, distance_m, battery_v)
    grid = np.linspace(robot.setpoint.low, robot.setpoint.high, _NEEDED_GRID)
    speeds = curve.speeds(grid)
    needed = curve.scene.center
    reached = np.isfinite(needed) & (needed <= speeds[:, -1])
    if belief.weights[reached].sum() < 0.5:
        return None
    found = np.array([np.interp(needed[k], speeds[k], grid) for k in np.flatnonzero(reached)])
    return weighted_interval(found, belief.weights[reached] / belief.weights[reached].sum(), 0.90)


def mean_log_speed(robot: Robot, belief: Belief, setpoint: float, battery_v: float | None) -> float:
    """ln exit speed of the best single belief at a setpoint."""
    return float(log_speed(robot, belief.basis, belief.best, drive_quantity(robot, setpoint, battery_v))[0, 0])


def unreachable(
    robot: Robot,
    target: Target,
    need: RequiredSpeed,
    belief: Belief,
    distance_m: float,
    battery_v: float | None,
    reason: str | None,
) -> Aim:
    nothing = PathFigures(math.nan, math.degrees(robot.launcher.exit_angle), None, None, None)
    return Aim(
        robot=robot.name,
        distance_m=distance_m,
        target=target.name,
        setpoint=SetpointChoice(None, robot.setpoint.unit, None, None),
        hit_probability=None,
        hit_probability_90=None,
        exit_speed_mps=None,
        exit_angle_deg=nothing.exit_angle_deg,
        entry_angle_deg=None,
        apex_m=None,
        time_s=None,
        reachable=False,
        ceiling=None,
        shots_used=belief.shots_used,
        epoch=belief.epoch,
        cautions=(reason or f"no setpoint scores from {how_far(distance_m)}",),
        nearest_m=reach(robot, need, belief, battery_v).closest_to(distance_m),
        battery_v=battery_v,
    )


def caution_words(
    robot: Robot, target: Target, best: Best, reason: str | None, battery_v: float | None, figures: PathFigures
) -> tuple[str, ...]:
    landing_m, seams = figures.landing_m, seams_doubt(robot, figures.exit_speed_mps)
    words = [] if reason is None else [reason]
    if best.other is not None:
        words.append(f"a second setpoint scores too: {best.other:.0f} {robot.setpoint.unit}")
    if robot.setpoint.scale.follows_voltage and battery_v is None and robot.drive is not None:
        words.append(f"battery voltage unknown: {robot.drive.nominal_voltage:g} V assumed")
    flies = target.by_way(lambda: True, lambda: robot.lands_first)
    if robot.element.shape != "sphere" and flies:
        words.append("rough: a tumbling disc or block flies with a constant mean drag")
    if seams is not None and flies:
        words.append(seams)
    clean = target.clean_only(robot.element)
    if clean is not None:
        words.append(clean)
    if landing_m is not None:
        goes_on = "rolls" if robot.element.shape == "sphere" else "slides"
        words.append(f"it lands {how_far(landing_m)} out, bounces and {goes_on} on: a rough figure until shots tell")
    return tuple(words)


def speed_factor(robot: Robot, belief: Belief, setpoint: float | None = None) -> float:
    """Believed exit speed over the profile's model at a setpoint, mid-range where None; 1 without shots."""
    if belief.shots_used == 0:
        return 1.0
    at = setpoint if setpoint is not None else (robot.setpoint.low + robot.setpoint.high) / 2
    model = float(model_log_speed(robot, drive_quantity(robot, at)))
    return math.exp(mean_log_speed(robot, belief, at, None) - model)
