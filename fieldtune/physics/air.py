"""Air: density, viscosity and speed of sound of moist air, and the standard atmosphere.

Sources: density CIPM-2007 (Picard, Davis, Glaeser, Fujii, Metrologia 45 (2008) 149); speed of sound and viscosity
IEC 61094-2:2009, annex F; standard atmosphere U.S. Standard Atmosphere 1976, equal to ISO 2533 below 32 km.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

ZERO_CELSIUS = 273.15
CARBON_DIOXIDE = 0.0004
"""Mole fraction of carbon dioxide that CIPM-2007 takes where nobody measured."""


@dataclass(frozen=True, slots=True)
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
