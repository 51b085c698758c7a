"""Robots for the sizing tests: the invented harbour machines, built without a profile file. All is invented."""

from __future__ import annotations

import math
from dataclasses import replace

from fieldtune.robot.model import (
    Air,
    Arm,
    Battery,
    Drive,
    Element,
    Encoder,
    Floor,
    Flywheel,
    Launcher,
    LinkSettings,
    Robot,
    SetpointRange,
    Spot,
    Striker,
    Target,
    Uncertainty,
)

RPM = 2 * math.pi / 60

DRIVE = Drive(
    control="speed",
    motors=2,
    nominal_voltage=9.6,
    no_load_speed=6100 * RPM,
    stall_torque=0.125,
    stall_current=9.5,
    no_load_current=0.5,
    gears=((22, 33),),
    stage_efficiency=0.95,
)


def heron(**changes: object) -> Robot:
    """A wheel pair that throws foam balls into a basket."""
    robot = Robot(
        name="heron",
        title="Heron",
        element=Element("sphere", 0.04, diameter=0.058, surface="smooth"),
        launcher=Launcher(
            "flywheel",
            math.radians(52),
            0.38,
            flywheel=Flywheel(2, 0.088, 180e-6, 1.0, 0.76),
        ),
        drive=DRIVE,
        battery=Battery("nimh", 8, 0.090),
        encoder=Encoder(48, "motor", 32),
        targets=(Target("basket", 0.95, (0.30,)),),
        floor=Floor(0.22, 0.0),
        air=Air(297.15, 100500.0, 0.4),
        setpoint=SetpointRange("rpm", 600, 4200, 10),
        uncertainty=Uncertainty(),
        link=LinkSettings(),
        spots=(Spot("near line", 1.8), Spot("far line", 3.2)),
    )
    return replace(robot, **changes)  # type: ignore[arg-type]


def otter(**changes: object) -> Robot:
    """A striker that slides wooden discs to a berth."""
    robot = replace(
        heron(),
        name="otter",
        title="Otter",
        element=Element("disc", 0.085, diameter=0.090, height=0.012),
        launcher=Launcher(
            "striker",
            0.0,
            0.006,
            striker=Striker("strike", 900.0, 6.0, 0.010, 0.060, 0.030, 0.180, 0.55, 0.85),
        ),
        drive=replace(DRIVE, motors=1, gears=((12, 60), (15, 45))),
        targets=(Target("zone", 0.0, (0.4, 0.6)),),
        setpoint=SetpointRange("mm", 10, 60, 1),
        spots=(Spot("berth", 1.5),),
    )
    return replace(robot, **changes)  # type: ignore[arg-type]


def crane(**changes: object) -> Robot:
    """A spring arm that lobs balls through a window."""
    robot = replace(
        heron(),
        name="crane",
        title="Crane",
        launcher=Launcher(
            "arm",
            math.radians(50),
            0.55,
            arm=Arm(0.35, 0.012, math.radians(40), 60.0, None, 8.0, 0.05, 0.30, 0.80),
        ),
        drive=replace(DRIVE, motors=1, gears=((12, 120), (12, 120))),
        targets=(Target("window", 1.1, (0.5, 0.4)),),
        setpoint=SetpointRange("mm", 50, 300, 5),
        spots=(Spot("quay", 2.0),),
    )
    return replace(robot, **changes)  # type: ignore[arg-type]


def with_drive(robot: Robot, **changes: object) -> Robot:
    """The robot with some of its drive's figures changed."""
    assert robot.drive is not None
    return replace(robot, drive=replace(robot.drive, **changes))  # type: ignore[arg-type]


def with_battery(robot: Robot, **changes: object) -> Robot:
    """The robot with some of its battery's figures changed."""
    assert robot.battery is not None
    return replace(robot, battery=replace(robot.battery, **changes))  # type: ignore[arg-type]


def big_heron(**changes: object) -> Robot:
    """A heavier wheel pair on strong motors: it draws enough for a pack to tire within a session."""
    robot = replace(
        heron(),
        name="big-heron",
        element=replace(heron().element, mass=0.140, diameter=0.120),
        launcher=Launcher("flywheel", math.radians(52), 0.38, flywheel=Flywheel(2, 0.100, 9e-4, 1.0, 0.85)),
        drive=Drive(
            control="speed",
            motors=2,
            nominal_voltage=12.0,
            no_load_speed=5300 * RPM,
            stall_torque=1.2,
            stall_current=60.0,
            no_load_current=2.0,
            gears=((18, 24),),
            stage_efficiency=0.95,
        ),
        battery=Battery("nimh", 10, 0.040),
        setpoint=SetpointRange("rpm", 600, 4600, 10),
    )
    return replace(robot, **changes)  # type: ignore[arg-type]
