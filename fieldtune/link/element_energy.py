"""What one element takes out of the wheels: its energy, the drop that makes, and the energy a seen drop stands for."""

from __future__ import annotations

import math

import numpy as np

from fieldtune.aim.exit_speed import model_log_speed, spin_ratio
from fieldtune.link.sample import RPM
from fieldtune.physics.flywheel import shot_energy
from fieldtune.robot.model import Robot


def shot_energy_j(robot: Robot, speed: float) -> float:
    """Energy (J) the wheels give for one element leaving at ``speed`` (m/s): its kinetic energy, over grip losses."""
    element, wheel = robot.element, robot.launcher.flywheel
    if wheel is None:
        return float(shot_energy(element.mass, speed))
    radius = max(element.passing_size, 1e-6) / 2
    spin = spin_ratio(robot) * speed / radius
    own_inertia = (0.4 if element.shape == "sphere" else 0.5) * element.mass * radius**2
    return float(shot_energy(element.mass, speed, spin, own_inertia)) / wheel.grip


def drop_share(robot: Robot) -> float | None:
    """Drop over speed that one element's energy makes; None where the profile can't tell. Independent of speed."""
    total = inertia(robot)
    if not total:
        return None
    omega = 100.0
    given = shot_energy_j(robot, float(np.exp(model_log_speed(robot, omega * RPM))))
    return 1 - math.sqrt(max(1 - given / (total * omega**2 / 2), 0.04))


def inertia(robot: Robot) -> float:
    """Of all wheels, referred to the first one's speed, kg m^2; 0 where unknown."""
    wheel = robot.launcher.flywheel
    if wheel is None or not wheel.wheel_inertia:
        return 0.0
    return wheel.wheel_inertia * (1 + wheel.speed_ratio**2 if wheel.wheels == 2 else 1.0)


def released_energy(robot: Robot, before_rpm: float, depth_rpm: float) -> float | None:
    """Energy the wheels lost in a drop of so much from a speed, joules; None without an inertia."""
    total = inertia(robot)
    if not total:
        return None
    before, after = before_rpm / RPM, max(before_rpm - depth_rpm, 0.0) / RPM
    return total * (before**2 - after**2) / 2
