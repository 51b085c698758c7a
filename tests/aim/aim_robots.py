"""Hand-built robots and beliefs for the tests of aim, in the invented harbour game."""

from __future__ import annotations

import math

import numpy as np

from fieldtune.aim.draws import Belief, Unknowns
from fieldtune.aim.exit_speed import gain_basis
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

BALL = Element("sphere", 0.066, diameter=0.072)
PLAIN_BALL = Element("sphere", 0.066, diameter=0.072, drag=0.0, lift=0.0)
DISC = Element("disc", 0.055, diameter=0.09, height=0.012)
BASKET = Target("basket", 0.95, (0.30,))
WINDOW = Target("window", 1.1, (0.5, 0.35))
ZONE = Target("zone", 0.0, (0.30, 0.40))
GATE = Target("gate", 0.0, (0.30,))

_MOTORS = Drive("speed", 2, 9.6, 638.8, 0.125, 9.5, 0.5, ((22, 33),), 0.95)
_WHEELS = Launcher("flywheel", math.radians(52), 0.38, flywheel=Flywheel(2, 0.104, 3.6e-4, 1.0, 0.785))
_SPRING = Launcher("striker", 0.0, 0.006, striker=Striker("strike", 900.0, 6.0, 0.01, 0.07, 0.02, 0.16, 0.6, 0.8))
_SWING = Launcher(
    "arm", math.radians(48), 0.45, arm=Arm(0.35, 0.012, math.radians(42), 2000.0, None, 20.0, 0.05, 0.30, 0.8)
)
_RANGES = {
    "flywheel": SetpointRange("rpm", 600, 4200, 10),
    "striker": SetpointRange("mm", 10, 70, 0.5),
    "arm": SetpointRange("mm", 50, 300, 1),
}


def robot(
    kind: str = "flywheel",
    element: Element = BALL,
    target: Target = BASKET,
    uncertainty: Uncertainty | None = None,
    setpoint: SetpointRange | None = None,
    floor: Floor | None = None,
) -> Robot:
    launcher = {"flywheel": _WHEELS, "striker": _SPRING, "arm": _SWING}[kind]
    return Robot(
        "test",
        "Test robot",
        element,
        launcher,
        _MOTORS,
        None,
        None,
        (target,),
        floor or Floor(0.22, 0.0),
        Air(),
        setpoint or _RANGES[kind],
        uncertainty or Uncertainty(),
        LinkSettings(),
        (),
    )


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
