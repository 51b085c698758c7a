"""Air, and what it does to round things: density, viscosity, standard atmosphere, drag, lift of spinning balls.

Sources: density CIPM-2007 (Picard, Davis, Glaeser, Fujii, Metrologia 45 (2008) 149); speed of sound and viscosity
IEC 61094-2:2009, annex F; standard atmosphere U.S. Standard Atmosphere 1976, equal to ISO 2533 below 32 km.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.frozen import frozen
from fieldtune.physics.drag_spread import CONSTANT_SPREAD, SURFACE_SPREAD

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

ZERO_CELSIUS = 273.15
CARBON_DIOXIDE = 0.0004
"""Mole fraction of carbon dioxide that CIPM-2007 takes where nobody measured."""


@frozen
class AirState:
    """Density (kg/m^3), dynamic viscosity (Pa s), speed of sound (m/s), temperature (K), pressure (Pa), arrays
    alike.
    """

    density: FloatArray
    viscosity: FloatArray
    sound_speed: FloatArray
    temperature: FloatArray
    pressure: FloatArray


def humid_air(temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike = 0.0) -> AirState:
    """Moist air at temperature (K), pressure (Pa) and relative humidity (0..1); broadcasts.

    CIPM-2007 is stated to hold for 15..27 degC and 600..1100 hPa; a little outside it degrades gently.
    """
    t_k, p, h = (np.asarray(a, dtype=float) for a in (temperature, pressure, humidity))
    return AirState(
        density=density(t_k, p, h),
        viscosity=viscosity(t_k, p, h),
        sound_speed=sound_speed(t_k, p, h),
        temperature=t_k,
        pressure=p,
    )


def saturation_pressure(temperature: ArrayLike) -> FloatArray:
    """Saturation vapour pressure of water (Pa) at temperature (K); CIPM-2007 appendix A."""
    t_k = np.asarray(temperature, dtype=float)
    power = 1.2378847e-5 * t_k**2 - 1.9121316e-2 * t_k + 33.93711047 - 6343.1645 / t_k
    return np.asarray(np.exp(power), dtype=float)


def vapour_fraction(temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike) -> FloatArray:
    """Mole fraction of water vapour in moist air (K, Pa, 0..1); CIPM-2007 appendix A."""
    t_k, p = np.asarray(temperature, dtype=float), np.asarray(pressure, dtype=float)
    celsius = t_k - ZERO_CELSIUS
    enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * celsius**2
    fraction = np.asarray(humidity, dtype=float) * enhancement * saturation_pressure(t_k) / p
    return np.asarray(fraction, dtype=float)


def compressibility(temperature: ArrayLike, pressure: ArrayLike, fraction: ArrayLike) -> FloatArray:
    """Compressibility factor Z of moist air (K, Pa, vapour mole fraction); CIPM-2007 appendix A."""
    t_k, p, x = (np.asarray(a, dtype=float) for a in (temperature, pressure, fraction))
    t = t_k - ZERO_CELSIUS
    linear = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2
    linear = linear + (5.707e-6 - 2.051e-8 * t) * x + (1.9898e-4 - 2.376e-6 * t) * x**2
    return np.asarray(1 - p / t_k * linear + (p / t_k) ** 2 * (1.83e-11 - 0.765e-8 * x**2), dtype=float)


def density(temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike = 0.0) -> FloatArray:
    """Density of moist air (kg/m^3) at K, Pa and relative humidity 0..1; CIPM-2007 eq. (5b)."""
    t_k, p = np.asarray(temperature, dtype=float), np.asarray(pressure, dtype=float)
    x = vapour_fraction(t_k, p, humidity)
    dry = (3.483740 + 1.4446 * (CARBON_DIOXIDE - 0.0004)) * 1e-3
    return np.asarray(dry * p / (compressibility(t_k, p, x) * t_k) * (1 - 0.3780 * x), dtype=float)


def viscosity(temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike = 0.0) -> FloatArray:
    """Dynamic viscosity of moist air (Pa s) at K, Pa, 0..1; IEC 61094-2:2009 annex F, after Zuckerwar & Meredith."""
    t_k = np.asarray(temperature, dtype=float)
    x = vapour_fraction(t_k, pressure, humidity)
    value = 84.986 + 7.0 * t_k + (113.157 - t_k) * x - 3.7501e-3 * t_k**2 - 100.015 * x**2
    return np.asarray(value * 1e-8, dtype=float)


def sound_speed(temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike = 0.0) -> FloatArray:
    """Zero-frequency speed of sound of moist air (m/s) at K, Pa, 0..1; IEC 61094-2:2009 annex F, after Cramer 1993."""
    t_k, p = np.asarray(temperature, dtype=float), np.asarray(pressure, dtype=float)
    t, x, c = t_k - ZERO_CELSIUS, vapour_fraction(temperature, pressure, humidity), CARBON_DIOXIDE
    value = 331.5024 + 0.603055 * t - 0.000528 * t**2 + (51.471935 + 0.1495874 * t - 0.000782 * t**2) * x
    value = value + (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t**2) * p + (-85.20931 - 0.228525 * t + 5.91e-5 * t**2) * c
    return np.asarray(value - 2.835149 * x**2 - 2.15e-13 * p**2 + 29.179762 * c**2 + 0.000486 * x * p * c, dtype=float)


def standard_air(altitude: ArrayLike = 0.0) -> AirState:
    """U.S. Standard Atmosphere 1976 at geometric altitude (m), up to 11 km geopotential; viscosity by Sutherland's law.

    Constants are the standard's own: R* = 8.31432 J/(mol K), M0 = 28.9644 g/mol, r0 = 6356766 m, L = -6.5 K/km.
    """
    z = np.asarray(altitude, dtype=float)
    geopotential = 6_356_766.0 * z / (6_356_766.0 + z)
    t_k = 288.15 - 0.0065 * geopotential
    gas = 8.31432 / 28.9644e-3
    p = 101325.0 * (t_k / 288.15) ** (9.80665 / (gas * 0.0065))
    return AirState(
        density=p / (gas * t_k),
        viscosity=1.458e-6 * t_k**1.5 / (t_k + 110.4),
        sound_speed=np.sqrt(1.4 * gas * t_k),
        temperature=t_k,
        pressure=p,
    )


# Drag of round things in air: coefficient over Reynolds number, by surface, each with how far it may be off.
#
# All laws are smooth in the Reynolds number, so that a high-order integration converges.


_SLOWEST = 1e-3
"""Reynolds number below which the coefficient no longer grows: nothing that flies is ever there."""


@frozen
class DragLaw:
    """``coefficient`` maps Reynolds numbers (n,) to drag coefficients (n,); ``spread`` is one relative standard
    deviation.

    ``constant`` is the coefficient where it doesn't depend on the Reynolds number, else None. Spin adds to it
    by_spin S / (1 + spin_ceiling S), with S the spin ratio.
    """

    name: str
    coefficient: Callable[[ArrayLike], FloatArray]
    spread: float
    constant: float | None = None
    by_spin: float = 0.0
    spin_ceiling: float = 0.0

    def added(self, spin_ratio: ArrayLike) -> FloatArray:
        """What spin adds to the coefficient, at spin ratios (n,) either way."""
        s = np.abs(np.asarray(spin_ratio, dtype=float))
        return np.asarray(self.by_spin * s / (1 + self.spin_ceiling * s), dtype=float)


def brown_lawler(reynolds: ArrayLike) -> FloatArray:
    """Smooth sphere, Re < 2e5: Brown & Lawler, J. Environ. Eng. 129 (2003) 222, eq. 19."""
    re = np.maximum(np.asarray(reynolds, dtype=float), _SLOWEST)
    return np.asarray(24 / re * (1 + 0.150 * re**0.681) + 0.407 / (1 + 8710 / re), dtype=float)


def smooth_sphere(reynolds: ArrayLike) -> FloatArray:
    """Smooth sphere through the drag crisis: Brown & Lawler below it, Morrison's rise above it, a smooth step between.

    Above: 0.25 (Re/1e6) / (1 + Re/1e6), from Morrison, An Introduction to Fluid Mechanics (2013). The step in ln Re
    is ours, from about 0.5 at 2e5 to about 0.1 at 3e5 (Appl. Sci. 12(3) (2022) 1416, section 1). Where the crisis
    lies depends on roughness and on the air's turbulence: measured values reach from 2.5e5 to 3.7e5.
    """
    re = np.maximum(np.asarray(reynolds, dtype=float), _SLOWEST)
    before = 1 / (1 + (np.minimum(re, 1e8) / 2.65e5) ** 12)
    high = re / 1e6
    return np.asarray(brown_lawler(re) * before + 0.25 * high / (1 + high) * (1 - before), dtype=float)


def goff_carre(speed: ArrayLike) -> FloatArray:
    """Drag coefficient of a non-spinning soccer ball at speed (m/s): Goff & Carre, Eur. J. Phys. 31 (2010) 775, eq.
    (3).
    """
    v = np.asarray(speed, dtype=float)
    return np.asarray(0.155 + 0.346 / (1 + np.exp((v - 12.19) / 1.309)), dtype=float)


_MEASURED_RE_PER_SPEED = 0.218 / 1.5e-5
"""Reynolds number a m/s of the ball behind ``goff_carre``: 218 mm (memory), air of 1.5e-5 m^2/s."""


def seamed_sphere(reynolds: ArrayLike) -> FloatArray:
    """Ball of panels with flat seams: Goff & Carre's soccer ball over the Reynolds number, so that it serves other
    sizes. Beyond its crisis, Re 1.8e5, raised seams and pebbled balls keep more; slower they agree within the spread.
    """
    re = np.minimum(np.asarray(reynolds, dtype=float), 1e7)
    return goff_carre(re / _MEASURED_RE_PER_SPEED)


def raised_seams(reynolds: ArrayLike) -> FloatArray:
    """Ball with raised stitches: falls to 0.33 only, as baseballs do, 0.3 to 0.35 beyond the crisis (Nathan, Am. J.
    Phys. 76 (2008) 119 and others; from memory); the step is that of ``seamed_sphere``.
    """
    return np.asarray(0.33 + (seamed_sphere(reynolds) - 0.155) * (0.501 - 0.33) / 0.346, dtype=float)


CRISIS = 1.8e5
"""Reynolds number beyond which balls with flat, raised and no seams differ."""


def dimpled_sphere(reynolds: ArrayLike) -> FloatArray:
    """Dimpled ball: 0.5 before, 0.24 after an early crisis near Re 4.5e4.

    Before it after Bearman & Harvey, Aeronaut. Q. 27 (1976) 112, who have 0.25 after it; after it Smits & Smith,
    Science and Golf II (1994), whose share of spin is added, too (all from memory). The smooth step between is ours.
    """
    re = np.clip(np.asarray(reynolds, dtype=float), 1.0, 1e8)
    return np.asarray(0.24 + 0.26 / (1 + (re / 4.5e4) ** 6), dtype=float)


def constant_drag(coefficient: float, spread: float = CONSTANT_SPREAD, name: str = "constant") -> DragLaw:
    """A drag coefficient that does not depend on the speed."""

    def law(reynolds: ArrayLike) -> FloatArray:
        return np.full(np.shape(reynolds), coefficient)

    return DragLaw(name, law, spread, coefficient)


DRAG_LAWS: dict[str, DragLaw] = {
    "smooth": DragLaw("smooth", smooth_sphere, SURFACE_SPREAD["smooth"]),
    # Cross & Lindsey, Sports Eng. 17 (2014) 89: 0.507 +- 0.024 in free flight, whatever speed and spin. Wind tunnels
    # find 0.56 S more at first (Stepanek, Am. J. Phys. 56 (1988) 138; from memory): half of that, within the spread of
    # both up to S = 0.4.
    "felt": replace(constant_drag(0.507, SURFACE_SPREAD["felt"], "felt"), by_spin=0.28, spin_ceiling=0.9),
    "seamed": DragLaw("seamed", seamed_sphere, SURFACE_SPREAD["seamed"]),
    # Smits & Smith, Science and Golf II (1994): C_D = 0.24 + 0.18 S (from memory).
    "dimpled": DragLaw("dimpled", dimpled_sphere, SURFACE_SPREAD["dimpled"], by_spin=0.18),
    # From memory, no publication at hand: balls with holes lie around a rough sphere's 0.5.
    "perforated": constant_drag(0.50, SURFACE_SPREAD["perforated"], "perforated"),
    # Rough spheres: about 0.5 up to an early crisis, 0.3 to 0.4 beyond (Achenbach, J. Fluid Mech. 65 (1974) 113; from
    # memory); foam is rough and slow.
    "foam": constant_drag(0.47, SURFACE_SPREAD["foam"], "foam"),
}
"""Default law of each surface."""

BLUFF_DRAG = 1.0
"""Mean drag coefficient of a tumbling disc or block on its mean projected area; common practice."""


_SEAMS = {
    "flat": DRAG_LAWS["seamed"],
    "raised": DragLaw("raised seams", raised_seams, SURFACE_SPREAD["seamed"]),
    # Grained all over: about 0.5 at any speed it is thrown with, as basketballs have (from memory).
    "pebbled": constant_drag(0.5, SURFACE_SPREAD["seamed"], "pebbled"),
}


def drag_law(surface: str, coefficient: float | None = None, seams: str | None = None) -> DragLaw:
    """Law of a surface, or the constant coefficient if one is given; ``seams`` of a seamed one: flat, raised, pebbled.

    KeyError for a surface there isn't.
    """
    if coefficient is not None:
        return constant_drag(coefficient)
    return DRAG_LAWS[surface] if surface != "seamed" or seams is None else _SEAMS[seams]


# Lift of spinning balls: coefficient over the spin ratio S (surface speed of the spin over speed through the air).
#
# Every law has the form S / (a + b |S|): proportional at small spin, saturating at large, odd. Positive spin is
# backspin, which lifts.


@frozen
class LiftLaw:
    """C_L = S / (slowness + ceiling |S|), or ``constant`` whatever the spin; ``spread`` is one relative deviation."""

    name: str
    slowness: float
    ceiling: float
    spread: float
    constant: float | None = None

    def coefficient(self, spin_ratio: ArrayLike) -> FloatArray:
        """Lift coefficients at spin ratios (n,), positive up for backspin."""
        s = np.asarray(spin_ratio, dtype=float)
        if self.constant is not None:
            return np.full(s.shape, self.constant)
        return np.asarray(s / (self.slowness + self.ceiling * np.abs(s)), dtype=float)


LIFT_LAWS: dict[str, LiftLaw] = {
    # Through C_L = 0.3 at S = 1 (Fox & McDonald, Ex. 9.9); a smooth ball's lift is weak and may even turn round
    # (reverse Magnus effect), so the spread is wide.
    "smooth": LiftLaw("smooth", 1.8, 1.533, 0.5),
    # Tennis ball: Stepanek, Am. J. Phys. 56 (1988) 138 (from memory): 1 / (2.022 + 0.981 v / v_spin).
    "felt": LiftLaw("felt", 0.981, 2.022, 0.15),
    # Baseball: S / (0.4 + 2.32 S), after Nathan, Am. J. Phys. 76 (2008) 119 (curve from memory).
    "seamed": LiftLaw("seamed", 0.4, 2.32, 0.15),
    # Golf ball, after Bearman & Harvey 1976 (from memory): about 0.15 at S = 0.1 and 0.29 at S = 0.3.
    "dimpled": LiftLaw("dimpled", 0.45, 2.0, 0.2),
    # No publication at hand: between felt and smooth, hence the spread.
    "perforated": LiftLaw("perforated", 1.4, 1.8, 0.4),
    # The same: rougher than smooth, less hairy than felt.
    "foam": LiftLaw("foam", 1.4, 1.8, 0.4),
}
"""Default law of each surface."""

NO_LIFT = LiftLaw("none", 1.0, 0.0, 0.0, 0.0)


def constant_lift(coefficient: float) -> LiftLaw:
    """A lift coefficient that does not depend on the spin."""
    return LiftLaw("constant", 1.0, 0.0, 0.1, coefficient)


def lift_law(surface: str, coefficient: float | None = None) -> LiftLaw:
    """Law of a surface, or the constant coefficient if one is given; KeyError for a surface there isn't."""
    return LIFT_LAWS[surface] if coefficient is None else constant_lift(coefficient)
