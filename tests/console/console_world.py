"""A robot and a line made by hand, for tests of the console that need no running line. All figures are invented."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
from robots import heron, make_robot

from fieldtune.aim.results import ArcPicture
from fieldtune.link.samples import Health, Live, ShotSeen, WheelFigures
from fieldtune.robot.model import Air, Element, Robot, SetpointRange, Striker, Zone


def thrower(**changes: object) -> Robot:
    """A pair of wheels that throws 58 mm balls into a basket 30 cm wide, 95 cm up; ``changes`` as ``make_robot``'s."""
    return heron(**{"title": "Heron, practice build", "air": Air(), **changes})


def slider() -> Robot:
    """A striker that slides 90 mm discs into a zone."""
    like = thrower()
    return make_robot(
        "striker",
        Element("disc", 0.09, 0.09),
        Zone(0.0, (0.4, 0.5)),
        name="otter",
        title=like.title,
        launcher={"exit_height": 0.01},
        mechanism=Striker("push", 900.0, 5.0, 0.01, 0.06, 0.01, 0.1, 0.5, 0.8),
        battery=like.battery,
        encoder=like.encoder,
        setpoint=SetpointRange("mm", 10, 60, 0.5),
        spots=like.spots,
    )


def vacuum_arc(robot: Robot, speed: float, distance: float) -> ArcPicture:
    """The parabola of a throw at ``speed``, and a band of three per cent of speed either side."""
    angle, height = robot.launcher.exit_angle, robot.launcher.exit_height
    x = np.linspace(0.0, 1.12 * distance, 120)

    def y(v: float) -> np.ndarray:
        return height + x * math.tan(angle) - 9.80665 * x**2 / (2 * (v * math.cos(angle)) ** 2)

    return ArcPicture(x, y(speed), y(0.97 * speed), y(1.03 * speed), np.full_like(x, speed), None, None)


def slide(distance: float) -> ArcPicture:
    """A slide that comes to rest at ``distance``, most of them within 20 cm."""
    x = np.linspace(0.0, distance, 120)
    speed = np.sqrt(2 * 0.22 * 9.80665 * (distance - x))
    y = np.full_like(x, 0.01)
    return ArcPicture(x, y, y, y, speed, distance - 0.2, distance + 0.2)


def live(**changes: object) -> Live:
    """A healthy line: wheel at 2410 of 2450 rpm, 9.9 V."""
    nothing = np.array([])
    steady = Live(
        state="live",
        words="live on a test line",
        port="test",
        age_s=0.02,
        wheel_rpm=2410.0,
        wheel2_rpm=None,
        battery_v=9.9,
        current_a=None,
        distance_m=None,
        setpoint=2450.0,
        power_pct=None,
        draw_mm=None,
        health=Health(lines=100, good=100, rate_hz=50.0, clock="robot"),
        wheel=WheelFigures(),
        shots=(),
        history_s=nothing,
        history_rpm=nothing,
    )
    return replace(steady, **changes)  # type: ignore[arg-type]


def seen(number: int, **changes: object) -> ShotSeen:
    """A shot recognised on the line."""
    shot = ShotSeen(number, 10.0 * number, 2440.0, 210.0, 0.6, 2.9, 2450.0, None, 9.7, None, "wheel")
    return replace(shot, **changes)  # type: ignore[arg-type]
