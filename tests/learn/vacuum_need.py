"""A need in closed form (no air): the parabola through exit and target, for tests of learning that need no tables."""

from __future__ import annotations

import math

import numpy as np

from fieldtune.aim.required_speed.interface import EachDraw, RequiredSpeedPoint

G = 9.80665


class VacuumNeed:
    """Basket or window of a robot, without air: v^2 = g D^2 / (2 cos^2(angle) (D tan(angle) - rise))."""

    rim = None

    def __init__(self, robot, target):
        self.target, self.element = target, robot.element
        self.exit_angle = robot.launcher.exit_angle
        self.rise = target.height - robot.launcher.exit_height
        self.d_low, self.d_high = 1.05 * max(self.rise, 0.05) / math.tan(self.exit_angle), 20.0

    def log_speed(self, distance, miss=0.0, angle_error=0.0, log_drag=0.0):
        d, m, error, drag = (
            np.array(a, dtype=float).ravel() for a in np.broadcast_arrays(distance, miss, angle_error, log_drag)
        )
        window = self.target.kind == "window"
        rise = self.rise + m if window else np.full_like(d, self.rise)
        d = d if window else d + m
        angle = self.exit_angle + error
        tangent = np.tan(angle)
        drop = np.where((d > 0) & (d * tangent - rise > 0), d * tangent - rise, np.nan)
        by_drop = -0.5 / drop
        d_distance = 1 / d + by_drop * tangent
        # A made-up weak drag, so that its unknown is not without effect: speed grows by 2 % a metre.
        pull = 0.02 * d * np.exp(drag)
        return RequiredSpeedPoint(
            value=0.5 * np.log(G * d * d / (2 * drop)) - np.log(np.cos(angle)) + pull,
            d_distance=d_distance + 0.02 * np.exp(drag),
            d_miss=-by_drop if window else d_distance + 0.02 * np.exp(drag),
            d_angle=tangent + by_drop * d * (1 + tangent**2),
            d_drag=pull,
            slope=tangent - 2 * drop / d,
            slope_by_angle=-(1 + tangent**2),
            bend=-2 * drop / d**2,
        )

    def free_at(self, center):
        return self.target.free(self.element, center.slope)

    def for_draws(self, angle_error, log_drag):
        return EachDraw(self, angle_error, log_drag)

    def free(self, distance, angle_error=0.0, log_drag=0.0):
        return self.free_at(self.log_speed(distance, 0.0, angle_error, log_drag))


_NEEDS = {}


def vacuum_need(robot, target):
    """The need of a robot's target, kept."""
    key = (id(robot), target)
    if key not in _NEEDS:
        _NEEDS[key] = VacuumNeed(robot, target)
    return _NEEDS[key]
