"""Robots for tests of learning (invented figures), and shots with the least that has to be said."""

from __future__ import annotations

import math

import numpy as np
from vacuum_need import vacuum_need

from fieldtune.aim.exit_speed import model_log_speed
from fieldtune.records import Shot
from fieldtune.robot.model import (
    Air,
    Arm,
    Drive,
    Element,
    Floor,
    Flywheel,
    Launcher,
    LinkSettings,
    Robot,
    SetpointRange,
    Striker,
    Target,
    Uncertainty,
)


def thrower(uncertainty=None, target=None, unit="rpm"):
    """A flywheel pair that throws foam balls into a basket."""
    limits = SetpointRange("rpm", 600, 4200, 10) if unit == "rpm" else SetpointRange("%", 10, 100, 0.5)
    drive = Drive("speed" if unit == "rpm" else "power", 2, 9.6, 638.8, 0.125, 9.5, 0.5, ((22, 33), (20, 28)), 0.95)
    return Robot(
        name="thrower",
        title="a flywheel pair",
        element=Element("sphere", 0.066, diameter=0.072),
        launcher=Launcher("flywheel", math.radians(52), 0.38, flywheel=Flywheel(2, 0.104, 3.6e-4, 1.0, 0.785)),
        drive=drive,
        battery=None,
        encoder=None,
        targets=(target or Target("basket", 0.95, (0.30,)),),
        floor=Floor(0.25, 0.0),
        air=Air(),
        setpoint=limits,
        uncertainty=uncertainty or Uncertainty(),
        link=LinkSettings(),
        spots=(),
    )


def slider(uncertainty=None, target=None):
    """A spring striker that slides wooden discs into a zone."""
    striker = Striker("strike", 900.0, 5.0, 0.01, 0.09, 0.02, 0.25, 0.55, 0.8)
    return Robot(
        name="slider",
        title="a striker",
        element=Element("disc", 0.085, diameter=0.09, height=0.02),
        launcher=Launcher("striker", 0.0, 0.01, striker=striker),
        drive=None,
        battery=None,
        encoder=None,
        targets=(target or Target("zone", 0.0, (0.5, 0.8)),),
        floor=Floor(0.22, 0.0),
        air=Air(),
        setpoint=SetpointRange("mm", 10, 90, 0.5),
        uncertainty=uncertainty or Uncertainty(),
        link=LinkSettings(),
        spots=(),
    )


def swinger(uncertainty=None, target=None):
    """An arm that throws through a window."""
    arm = Arm(0.35, 0.012, math.radians(45), 450.0, None, 10.0, 0.03, 0.25, 0.7)
    return Robot(
        name="swinger",
        title="an arm",
        element=Element("sphere", 0.06, diameter=0.08),
        launcher=Launcher("arm", math.radians(45), 0.5, arm=arm),
        drive=None,
        battery=None,
        encoder=None,
        targets=(target or Target("window", 1.2, (0.6, 0.45)),),
        floor=Floor(0.25, 0.0),
        air=Air(),
        setpoint=SetpointRange("mm", 30, 250, 1),
        uncertainty=uncertainty or Uncertainty(),
        link=LinkSettings(),
        spots=(),
    )


def shot(number, distance, setpoint, result=None, *, epoch=1, **rest):
    """A confirmed shot."""
    return Shot(number, f"u{number}", "2025-01-01T00:00:00Z", distance, setpoint, result, epoch, **rest)


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
