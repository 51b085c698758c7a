"""Measured shots of a robot whose truth is known, for tests of learning."""

from __future__ import annotations

import numpy as np
from robots import shot, thrower
from vacuum_need import vacuum_need

from fieldtune.aim.draws import model_log_speed


def throws(correction, distances, seed=1, epoch=1, first=1, sd=0.01, aim_off=0.0, robot=None):
    """Measured shots of a thrower whose log speed is the model's plus ``correction(q)``, aimed ``aim_off`` high."""
    robot = robot or thrower()
    need, rng = vacuum_need(robot, robot.target()), np.random.default_rng(seed)
    grid, made = np.linspace(700, 4000, 3301), []
    for number, distance in enumerate(distances, start=first):
        real = model_log_speed(robot, grid) + np.array([correction(q) for q in grid])
        q = float(grid[np.argmin(np.abs(real - need.log_speed(distance).value[0] - aim_off))])
        speed = float(model_log_speed(robot, [q])[0]) + correction(q) + rng.normal(0, sd)
        misses = np.linspace(-0.8, 2.0, 561)
        values = need.log_speed(distance + 0 * misses, misses).value
        start = int(np.nanargmin(values))
        made.append(
            shot(number, distance, q, None, epoch=epoch, miss_m=float(np.interp(speed, values[start:], misses[start:])))
        )
    return made
