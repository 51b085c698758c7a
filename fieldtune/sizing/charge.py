"""How much charge is left: one small filter for each capacity that the pack may have, weighed by how well it foretells.

Each follows the charge 0..1 by counting what is drawn, and corrects it by the rest voltage through the chemistry's
open-circuit curve (an extended Kalman filter; Plett, J. Power Sources 134 (2004) 277). A constant error of the curve
goes into the charge and out again where the voltage that matters is read back from the same curve.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Curve = Callable[[FloatArray], FloatArray]

_CAPACITIES = 31
_NINTHS = np.array([-1.593, -0.967, -0.589, -0.282, 0.0, 0.282, 0.589, 0.967, 1.593])
"""Middles of nine equal shares of the normal distribution."""

_CURVE_SD_PER_CELL = 3e-4
_COUNT_SD = 0.15
_STEP = 0.01


@dataclass
class ChargeBank:
    """Charge (n,) with variance, for n capacities (coulombs) with weights that sum to 1.

    ``volts`` is the pack's open-circuit voltage over charge, ``charge_of`` its inverse; ``cells`` sets how exact a
    curve can be.
    """

    volts: Curve
    charge_of: Curve
    cells: int
    capacity: FloatArray
    weight: FloatArray
    charge: FloatArray
    variance: FloatArray

    @classmethod
    def start(
        cls,
        volts: Curve,
        charge_of: Curve,
        cells: int,
        rest_v: float,
        rest_sd: float,
        capacity_ah: float,
        spread: float,
    ) -> ChargeBank:
        """Begin at a rest voltage. ``capacity_ah`` is the median, ``spread`` the deviation of its logarithm."""
        z = np.linspace(-2.5, 2.5, _CAPACITIES)
        weight = np.exp(-0.5 * z**2)
        bank = cls(
            volts,
            charge_of,
            cells,
            3600 * capacity_ah * np.exp(spread * z),
            weight / weight.sum(),
            np.full(_CAPACITIES, float(charge_of(np.array(rest_v)))),
            np.zeros(_CAPACITIES),
        )
        bank.variance += (rest_sd / bank._slope(bank.charge)) ** 2
        return bank

    def spend(self, coulombs: float) -> None:
        """Charge drawn from the pack."""
        share = coulombs / self.capacity
        self.charge = np.clip(self.charge - share, -0.05, 1.05)
        self.variance = self.variance + (_COUNT_SD * share) ** 2

    def observe(self, rest_v: float, rest_sd: float) -> None:
        """A rest voltage seen, volts, with its standard deviation."""
        noise = rest_sd**2 + (_CURVE_SD_PER_CELL * self.cells) ** 2
        slope = self._slope(self.charge)
        off = rest_v - self.volts(self.charge)
        total = slope**2 * self.variance + noise
        gain = self.variance * slope / total
        self.charge = np.clip(self.charge + gain * off, -0.05, 1.05)
        self.variance = self.variance * (1 - gain * slope)
        score = np.log(self.weight + 1e-300) - 0.5 * (np.minimum(off**2 / total, 16.0) + np.log(total))
        weight = np.exp(score - score.max())
        self.weight = weight / weight.sum()

    def level(self) -> tuple[float, float]:
        """Charge left 0..1 and its standard deviation."""
        mean = float(self.weight @ self.charge)
        spread = float(self.weight @ (self.variance + (self.charge - mean) ** 2))
        return min(max(mean, 0.0), 1.0), math.sqrt(spread)

    def coulombs_until(self, rest_v: float, sd_v: float = 0.0) -> tuple[float, float, float]:
        """Charge (coulombs: median, 5 % and 95 % quantile) until the rest voltage falls to a value; 0 where it has.

        ``sd_v``: how well that value is known, volts.
        """
        end = float(self.charge_of(np.array(rest_v)))
        end_variance = (sd_v / self._slope(np.array(end))) ** 2
        spread = np.sqrt(self.variance + end_variance)[:, None] * _NINTHS
        left = np.maximum((self.charge[:, None] + spread - end) * self.capacity[:, None], 0.0)
        weight = np.repeat(self.weight / len(_NINTHS), len(_NINTHS))
        order = np.argsort(left.ravel())
        cumulative = np.cumsum(weight[order]) - weight[order] / 2
        low, median, high = np.interp([0.05, 0.5, 0.95], cumulative, left.ravel()[order])
        return float(median), float(low), float(high)

    def _slope(self, charge: FloatArray) -> FloatArray:
        low, high = np.clip(charge - _STEP, 0.0, 1.0 - _STEP), np.clip(charge + _STEP, _STEP, 1.0)
        return np.maximum((self.volts(high) - self.volts(low)) / (high - low), 1e-3)


def middle(values: list[float]) -> tuple[float, float]:
    """Median of some readings and its standard deviation, from their median distance to it (normal readings)."""
    ordered = sorted(values)
    center = _median(ordered)
    distance = _median(sorted(abs(value - center) for value in ordered))
    return center, 1.253 * 1.483 * distance / math.sqrt(len(ordered))


def _median(ordered: list[float]) -> float:
    half = len(ordered) // 2
    return ordered[half] if len(ordered) % 2 else (ordered[half - 1] + ordered[half]) / 2
