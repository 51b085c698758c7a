"""Batteries: voltage at rest by chemistry and charge, sag under load, and resistance from two loads.

The rest voltages are typical curves of the chemistry at room temperature, put together from memory of makers' sheets
(common practice, no single source): good to some 20 mV a cell, and flat where lifepo4 and nimh are flat, where
voltage says little about charge.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.arrays import FloatArray

_CHARGE = (0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 1.0)
_REST_VOLTAGE: dict[str, tuple[float, ...]] = {
    "nimh": (1.05, 1.16, 1.20, 1.235, 1.255, 1.268, 1.28, 1.292, 1.305, 1.32, 1.345, 1.40),
    "lead-acid": (1.893, 1.906, 1.918, 1.943, 1.968, 1.993, 2.017, 2.040, 2.062, 2.083, 2.103, 2.122),
    "li-ion": (3.00, 3.30, 3.45, 3.57, 3.62, 3.66, 3.71, 3.78, 3.87, 3.96, 4.06, 4.20),
    "lifepo4": (2.80, 3.05, 3.15, 3.22, 3.25, 3.27, 3.285, 3.295, 3.305, 3.315, 3.33, 3.45),
}
CHEMISTRIES = tuple(_REST_VOLTAGE)


def open_circuit_voltage(chemistry: str, charge: ArrayLike, cells: int = 1) -> FloatArray:
    """Voltage at rest (V) at a charge 0..1 (clipped) of so many cells in series; KeyError for a chemistry there
    isn't.
    """
    cell = np.interp(np.asarray(charge, dtype=float), _CHARGE, _REST_VOLTAGE[chemistry])
    return np.asarray(cells * cell, dtype=float)


def charge_at(chemistry: str, voltage: ArrayLike, cells: int = 1) -> FloatArray:
    """Charge 0..1 at a voltage at rest (V): the inverse of ``open_circuit_voltage``, 0 below and 1 above it."""
    cell = np.asarray(voltage, dtype=float) / cells
    return np.asarray(np.interp(cell, _REST_VOLTAGE[chemistry], _CHARGE), dtype=float)


def loaded_voltage(open_circuit: ArrayLike, resistance: ArrayLike, load_current: ArrayLike) -> FloatArray:
    """Voltage (V) under a load current (A): what is left after the loss in the resistance (ohm) of pack and wiring."""
    volts, ohms, amps = (np.asarray(a, dtype=float) for a in (open_circuit, resistance, load_current))
    return np.asarray(volts - ohms * amps, dtype=float)


def current_through(open_circuit: ArrayLike, resistance: ArrayLike, load_resistance: ArrayLike) -> FloatArray:
    """Current (A) through a load (ohm) on a battery of this open-circuit voltage (V) and resistance (ohm)."""
    volts, ohms, load = (np.asarray(a, dtype=float) for a in (open_circuit, resistance, load_resistance))
    return np.asarray(volts / (ohms + load), dtype=float)


def two_pulse_resistance(
    voltage_1: ArrayLike, current_1: ArrayLike, voltage_2: ArrayLike, current_2: ArrayLike
) -> FloatArray:
    """Resistance (ohm) from voltages (V) under a small and a large current (A): (V1 - V2) / (I2 - I1), as in IEC 61960.

    nan where the two currents are the same.
    """
    v1, i1, v2, i2 = (np.asarray(a, dtype=float) for a in (voltage_1, current_1, voltage_2, current_2))
    gap = np.asarray(i2 - i1, dtype=float)
    return np.where(gap != 0, (v1 - v2) / np.where(gap != 0, gap, 1.0), np.nan)
