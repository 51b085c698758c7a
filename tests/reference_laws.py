"""The laws of a launch, written apart from the program: air, drag, lift, exit speed. SI, angles in radians.

A robot is a plain dict of numbers: ``dataclasses.asdict`` of a loaded profile, nothing computed from it. Of the laws
that the program names for each surface the published formulas are written down here once more.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Law = Callable[[FloatArray], FloatArray]
G = 9.80665
SHELL, SOLID, TENNIS = 2 / 3, 2 / 5, 0.55


def air_density(temperature: float, pressure: float, humidity: float) -> float:
    """Moist air at K, Pa, 0..1: CIPM-2007, Picard et al., Metrologia 45 (2008) 149, eq. (1) and appendix A."""
    t, p, c = temperature, pressure, temperature - 273.15
    steam = math.exp(1.2378847e-5 * t * t - 1.9121316e-2 * t + 33.93711047 - 6343.1645 / t)
    x = humidity * (1.00062 + 3.14e-8 * p + 5.6e-7 * c * c) * steam / p
    first = 1.58123e-6 - 2.9331e-8 * c + 1.1043e-10 * c * c + (5.707e-6 - 2.051e-8 * c) * x
    z = 1 - p / t * (first + (1.9898e-4 - 2.376e-6 * c) * x * x) + (p / t) ** 2 * (1.83e-11 - 0.765e-8 * x * x)
    return 3.483740e-3 * p / (z * t) * (1 - 0.3780 * x)


def air_viscosity(temperature: float) -> float:
    """Dry air: Sutherland's law (U.S. Standard Atmosphere 1976); moist air's is up to 2.5 % less (40 C, saturated)."""
    return 1.458e-6 * temperature**1.5 / (temperature + 110.4)


def brown_lawler(re: FloatArray) -> FloatArray:
    """Smooth sphere below its crisis: Brown & Lawler, J. Environ. Eng. 129 (2003) 222, eq. 19."""
    return 24 / re * (1 + 0.150 * re**0.681) + 0.407 / (1 + 8710 / re)


def smooth(re: FloatArray) -> FloatArray:
    """Through the crisis: a step in ln Re at 2.65e5 as the program states it, to Morrison's rise (2013) above."""
    step = 1 / (1 + (re / 2.65e5) ** 12)
    return brown_lawler(re) * step + 0.25 * (re / 1e6) / (1 + re / 1e6) * (1 - step)


def soccer(speed: FloatArray) -> FloatArray:
    """Goff & Carre, Eur. J. Phys. 31 (2010) 775, eq. (3), over the speed in m/s."""
    return 0.155 + 0.346 / (1 + np.exp((speed - 12.19) / 1.309))


def seamed(re: FloatArray) -> FloatArray:
    """The same over the Reynolds number of a 218 mm ball in air of 1.5e-5 m^2/s."""
    return soccer(np.minimum(re * 1.5e-5 / 0.218, 600.0))


def dimpled(re: FloatArray) -> FloatArray:
    """Levels after Bearman & Harvey, Aeronaut. Q. 27 (1976) 112, and Smits & Smith 1994 (from memory), the program's
    step between.
    """
    return 0.24 + 0.26 / (1 + (re / 4.5e4) ** 6)


def always(value: float) -> Law:
    return lambda x: np.full_like(x, value)


DRAG: dict[str, Law] = {
    "smooth": smooth,
    "felt": always(0.507),  # Cross & Lindsey, Sports Eng. 17 (2014) 89
    "seamed": seamed,
    "dimpled": dimpled,
    "perforated": always(0.50),  # from memory
    "foam": always(0.47),  # from memory
}
SPIN_DRAG = {  # what spin adds: b S / (1 + c S)
    "felt": (0.28, 0.9),  # half of Stepanek, Am. J. Phys. 56 (1988) 138 (from memory)
    "dimpled": (0.18, 0.0),  # Smits & Smith, Science and Golf II (1994) (from memory)
}
LIFT = {  # C_L = S / (a + b |S|); sources as the program gives them
    "smooth": (1.8, 1.533),  # through Fox & McDonald, Ex. 9.9
    "felt": (0.981, 2.022),  # Stepanek, Am. J. Phys. 56 (1988) 138 (from memory)
    "seamed": (0.4, 2.32),  # Nathan, Am. J. Phys. 76 (2008) 119 (from memory)
    "dimpled": (0.45, 2.0),
    "perforated": (1.4, 1.8),
    "foam": (1.4, 1.8),
}


@dataclass(frozen=True)
class Flyer:
    """What flies: ``k`` is rho A / (2 m) in 1/m, ``re`` the Reynolds number a m/s, ``fall`` the acceleration down with
    buoyancy, ``heavier`` the factor on inertia by displaced air."""

    k: float
    re: float
    drag: Law
    lift: Law
    fall: float = G
    heavier: float = 1.0
    spin_drag: tuple[float, float] = (0.0, 0.0)

    def drag_of(self, speed: FloatArray, spin: FloatArray) -> FloatArray:
        """Drag coefficient at speeds and surface speeds of the spin (m/s)."""
        share, (b, c) = np.abs(spin) / speed, self.spin_drag
        return self.drag(self.re * speed) + b * share / (1 + c * share)


def volume(element: dict[str, Any]) -> float:
    if element["shape"] == "block":
        return element["length"] * element["width"] * element["height"]
    d = element["diameter"]
    return math.pi / 6 * d**3 if element["shape"] == "sphere" else math.pi / 4 * d * d * element["height"]


def flyer(of: dict[str, Any], displaced: str = "light") -> Flyer:
    """The robot's element in its air. ``displaced``: whose displaced air buoys and adds half its mass to the inertia of
    acceleration (a sphere's, textbook): "always", "light" (below 100 kg/m^3) or "never".
    """
    e, rho = of["element"], air_density(*(of["air"][name] for name in ("temperature", "pressure", "humidity")))
    if e["shape"] == "sphere":
        width = e["diameter"]
        area = math.pi * width**2 / 4
    else:  # tumbling: a quarter of the surface (Cauchy)
        if e["shape"] == "disc":
            surface = math.pi * e["diameter"] * (e["diameter"] / 2 + e["height"])
        else:
            a, b, c = e["length"], e["width"], e["height"]
            surface = 2 * (a * b + b * c + c * a)
        area, width = surface / 4, 1.0
    ball = e["shape"] == "sphere"
    drag = always(e["drag"]) if e["drag"] is not None else DRAG[e["surface"]] if ball else always(1.0)
    if e["lift"] is not None:
        lift = always(e["lift"])
    else:
        a, b = LIFT[e["surface"]]
        lift = (lambda s: s / (a + b * np.abs(s))) if ball else always(0.0)
    share = rho * volume(e) / e["mass"]
    if displaced == "never" or (displaced == "light" and share < rho / 100):
        share = 0.0
    re = rho * width / air_viscosity(of["air"]["temperature"])
    more = SPIN_DRAG.get(e["surface"], (0.0, 0.0)) if ball and e["drag"] is None else (0.0, 0.0)
    return Flyer(rho * area / (2 * e["mass"]), re, drag, lift, G * (1 - share), 1 + share / 2, more)


def exit_speed(of: dict[str, Any], setpoint: float) -> float:
    """Exit speed (m/s) at a setpoint in the robot's unit, at nominal battery voltage: rolling without slip times grip;
    a spring's energy shared or struck on; work of an arm less what lifts it (all textbook).
    """
    m, kind = of["element"]["mass"], of["launcher"]["kind"]
    my = of["launcher"][kind]
    if kind == "flywheel":
        turning = setpoint * math.pi / 30
        if of["setpoint"]["unit"] == "%":
            teeth = math.prod(driving / driven for driving, driven in of["drive"]["gears"])
            turning = setpoint / 100 * of["drive"]["no_load_speed"] * teeth
        rims = turning * my["wheel_diameter"] / 2
        return my["grip"] * rims * ((1 + my["speed_ratio"]) / 2 if my["wheels"] == 2 else 0.5)
    d = setpoint / 1000
    if kind == "striker":
        energy = my["efficiency"] * (my["spring_rate"] * d * d / 2 + my["preload"] * d)
        moving = my["striker_mass"] + my["spring_mass"] / 3
        if my["contact"] == "push":
            return math.sqrt(2 * energy / (moving + m))
        return (1 + my["restitution"]) * moving / (moving + m) * math.sqrt(2 * energy / moving)
    length, inertia = my["arm_length"], my["arm_inertia"]
    rate = my["spring_rate"]
    work = my["torque"] * d / length if rate is None else rate * d * d / 2 + my["preload"] * d
    rise = length * (math.sin(my["release_angle"]) - math.sin(my["release_angle"] - d / length))
    rod = 3 * inertia / length**2  # taken for a uniform rod, lifted at half its length
    left = my["efficiency"] * work - (m + rod / 2) * G * rise
    return math.sqrt(max(2 * left / (m + inertia / length**2), 0.0))


def spin_share(of: dict[str, Any]) -> float:
    """Surface speed of the spin over the exit speed, backspin positive."""
    wheels = of["launcher"]["flywheel"]
    if wheels is None:
        return 0.0
    return 1.0 if wheels["wheels"] == 1 else (1 - wheels["speed_ratio"]) / (1 + wheels["speed_ratio"])


def rolling_share(element: dict[str, Any]) -> float:
    """I / (m R^2) of a ball, 0 for what slides: shells with holes or air in them, tennis balls, else solid."""
    if element["shape"] != "sphere":
        return 0.0
    if element["surface"] == "felt":
        return TENNIS
    inflated = element["mass"] / volume(element) < {"seamed": 200, "smooth": 150}.get(element["surface"], 0)
    return SHELL if inflated or element["surface"] == "perforated" else SOLID
