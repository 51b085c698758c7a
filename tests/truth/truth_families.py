"""Families of strange robots: physics and priors that no profile states, each drawn flat between bounds.

A robot is a vector of numbers, uniform in its family's bounds; an ideal learner is told the bounds (``truth_ideal``).
Every family is off in level, angle, drag and reading as far as twice what its profile states, and has one more thing
that the product's model lacks: ``slip`` a loss that grows and bends with the setpoint, ``air`` drag that changes with
speed, a drag crisis and a spin nobody stated (on the floor: friction that changes with speed, and a tilt), ``reading``
a tape that stretches and an angle that changes with speed, ``loose`` scatter far from the stated one, with heavy tails.
"""

from __future__ import annotations

import numpy as np
from truth_drawing import COMBINATIONS, Nominal, draw_nominal
from truth_physics import Array, Ball, Ground
from truth_robots import HiddenRobot

Bounds = dict[str, tuple[float, float]]
KINDS = ("flywheel", "open loop", "striker", "arm")
# In units of what the profile states as one standard deviation, save where the name says otherwise.
_COMMON: Bounds = {
    "level": (-1.7, 1.7),
    "angle": (-1.7, 1.7),
    "drag": (-1.7, 1.7),
    "distance": (-1.7, 1.7),
    "side_bias": (-0.4, 0.4),
    "log_speed_scatter": (-0.4, 0.4),
    "log_angle_scatter": (-0.4, 0.4),
    "log_side_scatter": (-0.4, 0.4),
    "loss": (-0.03, 0.03),
    "bend": (0.7, 1.5),
    "exponent": (-0.1, 0.1),
    "crisis_depth": (0.0, 0.1),
    "crisis_speed": (6.0, 14.0),
    "spin": (0.0, 0.0),
    "friction_per_speed": (-0.02, 0.02),
    "stick": (0.0, 0.1),
    "tilt": (-0.002, 0.002),
    "scale": (0.995, 1.005),
    "angle_per_range_deg": (-0.5, 0.5),
    "mass_spread": (0.0, 0.02),
    "tail": (0.0, 0.0),
}
FAMILIES: dict[str, Bounds] = {
    "slip": {"loss": (-0.15, 0.05), "bend": (0.5, 3.0)},
    "air": {
        "exponent": (-0.4, 0.4), "crisis_depth": (0.0, 0.5), "spin": (-0.15, 0.15),
        "friction_per_speed": (-0.06, 0.06), "stick": (0.0, 0.4), "tilt": (-0.01, 0.01),
    },
    "reading": {"scale": (0.95, 1.05), "distance": (-3.0, 3.0), "angle_per_range_deg": (-4.0, 4.0)},
    "loose": {
        "log_speed_scatter": (-0.9, 0.9), "log_angle_scatter": (-0.9, 0.9), "log_side_scatter": (-0.9, 0.9),
        "mass_spread": (0.0, 0.05), "tail": (0.3, 0.5), "side_bias": (-1.0, 1.0),
    },
}  # fmt: skip
NAMES = tuple(_COMMON)
WILD = {"loose": 0.05}


def bounds(family: str) -> Array:
    """Lower and upper bounds (parameters, 2) of a family."""
    return np.array([FAMILIES[family].get(name, _COMMON[name]) for name in NAMES])


def build(n: Nominal, values: Array, family: str, battery_v: float) -> HiddenRobot:
    """The robot that these values (parameters,) make of a profile."""
    v = dict(zip(NAMES, (float(x) for x in values), strict=True))
    u = n.uncertainty
    per_mass = 0.5 * 1.19 * n.area / n.mass
    sliding = n.target in ("zone", "gate")
    spin = n.spin_ratio + v["spin"]
    ball = Ball(
        per_mass, n.drag * np.exp(v["drag"] * u["drag"]), v["exponent"], v["crisis_speed"], v["crisis_depth"], spin
    )
    friction = n.friction * np.exp(v["drag"] * u["friction"])
    ground = Ground(friction, v["friction_per_speed"], v["stick"], v["tilt"], per_mass * 0.3)
    return HiddenRobot(
        name=f"stranger-{family}",
        kind=f"{n.launcher} {n.target}",
        nominal=n,
        level=v["level"] * (u["grip"] if n.launcher == "flywheel" else 0.05),
        shape="power",
        depth=v["loss"],
        power=v["bend"],
        offset=0.0,
        stiffening=0.0,
        angle=n.exit_angle + v["angle"] * u["exit_angle"],
        angle_per_range=np.radians(v["angle_per_range_deg"]),
        ball=None if sliding else ball,
        ground=ground if sliding else None,
        distance_bias=v["distance"] * u["distance"],
        distance_scale=v["scale"],
        distance_noise=0.01,
        speed_scatter=u["exit_speed_scatter"] * np.exp(v["log_speed_scatter"]),
        angle_scatter=u["exit_angle_scatter"] * np.exp(v["log_angle_scatter"]),
        side_scatter=u["side_scatter"] * np.exp(v["log_side_scatter"]),
        side_bias=v["side_bias"] * u["side_scatter"],
        mass_spread=v["mass_spread"],
        tail=v["tail"],
        wild=WILD.get(family, 0.02),
        battery_v=battery_v,
    )


def stranger(number: int, kind: str, seed: int) -> HiddenRobot:
    """The ``number``-th robot of a kind; families take turns. The same arguments give the same robot."""
    family = tuple(FAMILIES)[number % len(FAMILIES)]
    launcher = "flywheel" if kind == "open loop" else kind
    fitting = [k for k in range(12) if COMBINATIONS[k % len(COMBINATIONS)][0] == launcher]
    for attempt in range(200):
        rng = np.random.default_rng([seed, number, KINDS.index(kind), attempt])
        n = draw_nominal(rng, fitting[(number // len(FAMILIES)) % len(fitting)])
        if launcher == "flywheel" and n.power != (kind == "open loop"):
            continue
        limits = bounds(family)
        values = limits[:, 0] + (limits[:, 1] - limits[:, 0]) * rng.random(len(NAMES))
        robot = build(n, values, family, float(rng.uniform(11.8, 13.0)))
        if robot.settle() and robot.oracle().mean() > 0.45:
            robot.name = f"{kind}-{family}-{number:03d}".replace(" ", "-")
            return robot
    raise RuntimeError(f"no workable {kind} {number}")
