"""What one small change of each cause does to the miss at this distance ("10 rpm = 3 cm")."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from fieldtune.aim.belief import Belief, Unknowns
from fieldtune.aim.bodies import air_density
from fieldtune.aim.exit import drive_quantity, log_speed, supply_voltage
from fieldtune.aim.floor import rest_distance
from fieldtune.aim.need import NeedPoint
from fieldtune.aim.needs import need_for
from fieldtune.aim.results import Sensitivity
from fieldtune.robot.model import Robot, Target


def sensitivity(
    robot: Robot, target: Target, belief: Belief, distance_m: float, setpoint: float, battery_v: float | None = None
) -> Sensitivity | None:
    """Derivatives of the miss at the setpoint; ``None`` where the mean path does not cross the target."""
    best, need = belief.best, need_for(robot, target)
    true = distance_m + float(best.distance_bias[0])
    point = need.log_speed(true, 0.0, best.angle_error, best.log_drag)
    if not np.isfinite(point.value[0]) or not point.d_miss[0] > 0:
        return None
    miss_per_log = 1 / float(point.d_miss[0])
    step = robot.setpoint.step
    return Sensitivity(
        per_step_m=_speed_change(robot, belief, setpoint, battery_v, step=step) * miss_per_log,
        per_degree_m=-math.radians(1) * float(point.d_angle[0]) * miss_per_log,
        per_volt_m=_volt_change(robot, belief, setpoint, battery_v) * miss_per_log,
        per_cm_m=-0.01 * float(point.d_distance[0]) * miss_per_log,
        per_10_degC_m=_warmth_change(robot, target, best, point, miss_per_log),
    )


def _speed_change(robot: Robot, belief: Belief, setpoint: float, battery_v: float | None, step: float) -> float:
    pair = drive_quantity(robot, [setpoint - step / 2, setpoint + step / 2], battery_v)
    speeds = log_speed(robot, belief.basis, belief.best, pair)[0]
    return float(speeds[1] - speeds[0])


def _volt_change(robot: Robot, belief: Belief, setpoint: float, battery_v: float | None) -> float:
    """A closed speed loop or a spring does not feel the volt; an open loop does."""
    volts = supply_voltage(robot, battery_v)
    if robot.setpoint.unit != "%" or volts is None:
        return 0.0
    pair = np.concatenate([drive_quantity(robot, [setpoint], volts + dv) for dv in (-0.5, 0.5)])
    speeds = log_speed(robot, belief.basis, belief.best, pair)[0]
    return float(speeds[1] - speeds[0])


def _warmth_change(robot: Robot, target: Target, best: Unknowns, point: NeedPoint, miss_per_log: float) -> float:
    """Change of the miss (m) with air ten degrees warmer and so thinner: on the floor followed once more."""
    warmer = replace(robot.air, temperature=robot.air.temperature + 10)
    if not target.on_floor:
        return -float(point.d_drag[0]) * math.log(air_density(warmer) / air_density(robot.air)) * miss_per_log
    speed = np.exp(point.value)
    then, now = (rest_distance(r, speed, best.angle_error, best.log_drag) for r in (replace(robot, air=warmer), robot))
    return float(then[0] - now[0])
