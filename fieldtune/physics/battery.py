"""Batteries: voltage at rest by chemistry and charge, sag under load, and resistance from two loads.

Voltages at rest of one cell at room temperature, with how far cells of one chemistry differ:

- lead-acid: density of the acid, 1.265, 1.225, 1.190, 1.155 and 1.120 at full, three, two, one quarter and empty, plus
  0.845 V: 12.66 to 11.79 V for six cells (common practice). Glass-mat and gel cells stand 20 to 40 mV higher.
- li-ion: mean of five cells charged to 4.2 V (Chen et al. 2020, Mohtat et al. 2020, Ecker et al. 2015, Kim et al. 2011,
  Ramadass et al. 2004; all J. Electrochem. Soc., computed with PyBaMM's parameter sets). Standard deviation 0.14 V at a
  tenth, 0.05 V at half and 0.03 V at eight tenths of the charge.
- lifepo4: Prada et al., J. Electrochem. Soc. 160 (2013) A616, computed alike; ends are common practice. 30 mV, which on
  the flat part is half of the charge.
- nimh: a 6.5 Ah module of six cells as measured for the vehicle simulator ADVISOR of the National Renewable Energy
  Laboratory (from memory), the empty end common practice. 20 mV, as flat.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.arrays import FloatArray

_CHARGE = (0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 1.0)
_REST_VOLTAGE: dict[str, tuple[float, ...]] = {
    "nimh": (1.05, 1.16, 1.215, 1.24, 1.257, 1.27, 1.281, 1.292, 1.302, 1.315, 1.335, 1.40),
    "lead-acid": (1.965, 1.972, 1.979, 1.993, 2.007, 2.021, 2.035, 2.049, 2.063, 2.078, 2.094, 2.110),
    "li-ion": (3.00, 3.30, 3.42, 3.55, 3.64, 3.70, 3.75, 3.82, 3.90, 4.00, 4.08, 4.20),
    "lifepo4": (2.50, 2.80, 2.98, 3.17, 3.21, 3.25, 3.265, 3.27, 3.28, 3.305, 3.32, 3.45),
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
