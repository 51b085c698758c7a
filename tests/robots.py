"""Robots for tests: one door, ``make_robot``, and the few that several tests share. All figures are invented."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np

from fieldtune.aim.draws import Belief, Unknowns, gain_basis
from fieldtune.constants import RPM
from fieldtune.records import Shot
from fieldtune.robot.model import (
    Air,
    Arm,
    Basket,
    Battery,
    Drive,
    Element,
    Encoder,
    Floor,
    Flywheel,
    Gate,
    Launcher,
    LinkSettings,
    Robot,
    SetpointRange,
    Spot,
    Striker,
    Target,
    Uncertainty,
    Window,
    Zone,
)

BALL = Element("sphere", 0.066, diameter=0.072)
PLAIN_BALL = replace(BALL, drag=0.0, lift=0.0)
DISC = Element("disc", 0.055, diameter=0.09, height=0.012)
BASKET = Basket(0.95, (0.30,))
WINDOW = Window(1.1, (0.5, 0.35))
ZONE = Zone(0.0, (0.30, 0.40))
GATE = Gate(0.0, (0.30,))
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
_LAUNCHERS = {
    "flywheel": Launcher(math.radians(52), 0.38, Flywheel(2, 0.104, 3.6e-4, 1.0, 0.785)),
    "striker": Launcher(0.0, 0.006, Striker("strike", 900.0, 6.0, 0.01, 0.07, 0.02, 0.16, 0.6, 0.8)),
    "arm": Launcher(math.radians(48), 0.45, Arm(0.35, 0.012, math.radians(42), 2000.0, None, 20.0, 0.05, 0.30, 0.8)),
}
_RANGES = {
    "flywheel": SetpointRange("rpm", 600, 4200, 10),
    "striker": SetpointRange("mm", 10, 70, 0.5),
    "arm": SetpointRange("mm", 50, 300, 1),
}


def make_robot(kind: str = "flywheel", element: Element = BALL, target: Target = BASKET, **changes: Any) -> Robot:
    """A robot with a launcher of this kind: "flywheel", "striker" or "arm".

    ``changes`` name fields of ``Robot``, or "mechanism" ("flywheel", "striker", "arm") for what launches. A dict
    changes single figures of that part, ``drive={"motors": 1}``; anything else takes its place. It has no battery and
    no spots, and a default air, unless they are given.
    """
    made = Robot(
        "test", "Test robot", element, _LAUNCHERS[kind], DRIVE, None, None, (target,), Floor(0.22, 0.0), Air(),
        _RANGES[kind], Uncertainty(), LinkSettings(), (),
    )  # fmt: skip
    return altered(made, **changes)


def altered(robot: Robot, **changes: Any) -> Robot:
    """The robot with ``changes`` as ``make_robot`` takes them."""
    for name, value in changes.items():
        inside = name == "mechanism" or name in _LAUNCHERS
        old = robot.launcher.mechanism if inside else getattr(robot, name)
        new = replace(old, **value) if isinstance(value, dict) else value
        robot = replace(robot, **({"launcher": replace(robot.launcher, mechanism=new)} if inside else {name: new}))
    return robot


# -- that learn -------------------------------------------------------------------------------------------------------


def thrower(uncertainty: Uncertainty | None = None, target: Target = BASKET, unit: str = "rpm") -> Robot:
    """A flywheel pair that throws foam balls into a basket."""
    power = {"drive": {"control": "power"}, "setpoint": SetpointRange("%", 10, 100, 0.5)} if unit == "%" else {}
    geared = altered(make_robot(name="thrower", target=target), drive={"gears": ((22, 33), (20, 28))})
    return altered(geared, uncertainty=uncertainty or Uncertainty(), **power)


def slider(uncertainty: Uncertainty | None = None) -> Robot:
    """A spring striker that slides wooden discs into a zone."""
    return make_robot(
        "striker",
        Element("disc", 0.085, diameter=0.09, height=0.02),
        Zone(0.0, (0.5, 0.8)),
        name="slider",
        launcher={"exit_height": 0.01},
        mechanism=Striker("strike", 900.0, 5.0, 0.01, 0.09, 0.02, 0.25, 0.55, 0.8),
        drive=None,
        setpoint=SetpointRange("mm", 10, 90, 0.5),
        uncertainty=uncertainty or Uncertainty(),
    )


def swinger() -> Robot:
    """An arm that throws through a window."""
    return make_robot(
        "arm",
        Element("sphere", 0.06, diameter=0.08),
        Window(1.2, (0.6, 0.45)),
        name="swinger",
        launcher={"exit_angle": math.radians(45), "exit_height": 0.5},
        mechanism=Arm(0.35, 0.012, math.radians(45), 450.0, None, 10.0, 0.03, 0.25, 0.7),
        drive=None,
        floor=Floor(0.25, 0.0),
        setpoint=SetpointRange("mm", 30, 250, 1),
    )


def shot(
    number: int, distance: float, setpoint: float, result: str | None = None, *, epoch: int = 1, **rest: Any
) -> Shot:
    """A confirmed shot."""
    return Shot(number, f"u{number}", "2025-01-01T00:00:00Z", distance, setpoint, result, epoch, **rest)


def belief(of: Robot, spread: float = 1.0, count: int = 200, seed: int = 3) -> Belief:
    """Independent normal draws around the profile, ``spread`` times its stated uncertainty (0: certain)."""
    rng, u, basis = np.random.default_rng(seed), of.uncertainty, gain_basis(of)

    def normal(sd: float) -> np.ndarray:
        return spread * sd * rng.standard_normal(count)

    gain = np.zeros((count, basis.size))
    gain[:, 0], gain[:, 1] = normal(u.grip), normal(0.05)
    draws = Unknowns(
        gain,
        normal(u.exit_angle),
        normal(u.drag),
        normal(u.distance),
        normal(0.01),
        np.full(count, u.exit_speed_scatter),
        np.full(count, u.exit_angle_scatter),
        np.full(count, u.side_scatter),
    )
    best = Unknowns(
        *(getattr(draws, name)[:1] * 0 for name in draws.__slots__[:5]),
        *(getattr(draws, name)[:1] for name in draws.__slots__[5:]),
    )
    return Belief(basis, draws, np.full(count, 1 / count), best, 0, 1)


# -- with a battery and spots, for sizes ------------------------------------------------------------------------------


def _equipped(name: str, kind: str, **changes: Any) -> Robot:
    whole = make_robot(
        kind,
        Element("sphere", 0.04, diameter=0.058),
        name=name,
        title=name.capitalize(),
        battery=Battery("nimh", 8, 0.090),
        encoder=Encoder(48, "motor", 32),
        air=Air(297.15, 100500.0, 0.4),
    )
    return altered(whole, **changes)


def heron(**changes: Any) -> Robot:
    """A wheel pair that throws foam balls into a basket."""
    robot = _equipped(
        "heron",
        "flywheel",
        mechanism=Flywheel(2, 0.088, 180e-6, 1.0, 0.76),
        spots=(Spot("near line", 1.8), Spot("far line", 3.2)),
    )
    return altered(robot, **changes)


def otter(**changes: Any) -> Robot:
    """A striker that slides wooden discs to a berth."""
    robot = _equipped(
        "otter",
        "striker",
        element=Element("disc", 0.085, diameter=0.090, height=0.012),
        mechanism=Striker("strike", 900.0, 6.0, 0.010, 0.060, 0.030, 0.180, 0.55, 0.85),
        drive={"motors": 1, "gears": ((12, 60), (15, 45))},
        targets=(Zone(0.0, (0.4, 0.6)),),
        setpoint=SetpointRange("mm", 10, 60, 1),
        spots=(Spot("berth", 1.5),),
    )
    return altered(robot, **changes)


def crane(**changes: Any) -> Robot:
    """A spring arm that lobs balls through a window."""
    robot = _equipped(
        "crane",
        "arm",
        launcher={"exit_angle": math.radians(50), "exit_height": 0.55},
        mechanism=Arm(0.35, 0.012, math.radians(40), 60.0, None, 8.0, 0.05, 0.30, 0.80),
        drive={"motors": 1, "gears": ((12, 120), (12, 120))},
        targets=(Window(1.1, (0.5, 0.4)),),
        setpoint=SetpointRange("mm", 50, 300, 5),
        spots=(Spot("quay", 2.0),),
    )
    return altered(robot, **changes)


def big_heron(**changes: Any) -> Robot:
    """A heavier wheel pair on strong motors: it draws enough for a battery to tire within a session."""
    robot = heron(
        name="big-heron",
        element={"mass": 0.140, "diameter": 0.120},
        mechanism=Flywheel(2, 0.100, 9e-4, 1.0, 0.85),
        drive=Drive("speed", 2, 12.0, 5300 * RPM, 1.2, 60.0, 2.0, ((18, 24),), 0.95),
        battery=Battery("nimh", 10, 0.040),
        setpoint=SetpointRange("rpm", 600, 4600, 10),
    )
    return altered(robot, **changes)
