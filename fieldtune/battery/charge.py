"""How much charge is left, followed through a session: what is drawn is counted, and the voltage at rest looked at.

One small filter for each capacity that the battery may have, weighed by how well it predicts.

Each follows the charge 0..1 by counting what is drawn, and corrects it by the rest voltage through the chemistry's
open-circuit curve (an extended Kalman filter; Plett, J. Power Sources 134 (2004) 277). A constant error of the curve
goes into the charge and out again where the voltage that matters is read back from the same curve.

``ShotCount`` counts shots from sudden losses of wheel speed, or from the robot's own word, with the time and charge
that each takes.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.arrays import FloatArray

if TYPE_CHECKING:
    from fieldtune.battery.blocks import Block
    from fieldtune.battery.resistance import LineFit
    from fieldtune.robot.model import Robot

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

    ``volts`` is the battery's open-circuit voltage over charge, ``charge_of`` its inverse; ``cells`` sets how exact a
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
        """Charge drawn from the battery."""
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
    center = median(values)
    distance = median(abs(value - center) for value in values)
    return center, 1.253 * 1.483 * distance / math.sqrt(len(values))


_LOOK_S = 4.0
_MINUTES_S = 300.0
_LOOKS = 4
_KNOWN_LOG_SD, _TYPICAL_LOG_SD = 0.1, 0.8


class ChargeFollower:
    """``drawn`` is the charge counted so far, coulombs; ``bank`` is None until the first voltage at rest is known."""

    def __init__(self, robot: Robot) -> None:
        self.battery = robot.battery
        self.bank: ChargeBank | None = None
        self.drawn = 0.0
        self._mean_a = 0.0
        self._unspent = 0.0
        self._look: list[tuple[float, float]] = []
        self._since: float | None = None

    def count(self, amps: float, seconds: float) -> None:
        """Charge that has gone; at high current a chemistry with a Peukert exponent gives up its capacity sooner.

        What counts is the current over minutes: between bursts the acid comes back to the plates (Doerffel & Sharkh,
        J. Power Sources 155 (2006) 395, on why the law overstates changing loads; from memory).
        """
        self._mean_a += (amps - self._mean_a) * -math.expm1(-seconds / _MINUTES_S)
        cell, spent = None if self.battery is None else self.battery.cell, amps * seconds
        if cell is not None and self.battery is not None:
            spent *= cell.current_factor(self._mean_a, self.battery.capacity_ah or cell.typical_ah)
        self.drawn += spent
        self._unspent += spent

    def follow(self, block: Block, amps: float, most_amps: float, line: LineFit) -> None:
        """One block. Only those of little current, against the ``most_amps`` seen, tell the voltage at rest well."""
        if self.bank is None:
            self.bank, self._unspent = self._new_bank(line), 0.0
        if amps <= max(2.0, 0.25 * most_amps):
            self._look.append((block.volts, amps))
        self._since = block.time_s if self._since is None else self._since
        if block.time_s - self._since < _LOOK_S:
            return
        # What is seen is the mean of the look, so it belongs to the charge halfway through it.
        self.bank.spend(self._unspent / 2)
        if len(self._look) >= _LOOKS:
            rest, noise = middle([v + line.resistance * a for v, a in self._look])
            amps_there = sum(a for _, a in self._look) / len(self._look)
            self.bank.observe(rest, max(math.hypot(noise, amps_there * line.resistance_sd), 1e-3))
        self.bank.spend(self._unspent / 2)
        self._unspent, self._look, self._since = 0.0, [], block.time_s

    def level(self) -> tuple[float, tuple[float, float]] | None:
        """Charge 0..1 with its 90 % interval, the curve's own error included; None without chemistry."""
        if self.bank is None or self.battery is None or self.battery.cell is None:
            return None
        mean, sd = self.bank.level()
        ends = np.clip(np.array([mean - 1.645 * sd, mean + 1.645 * sd]), 0.0, 1.0)
        off = 1.645 * self.battery.cell.rest_spread(ends, self.battery.cells)
        low, high = self.bank.charge_of(self.bank.volts(ends) + np.array([-1, 1]) * off)
        return mean, (min(float(low), mean), max(float(high), mean))

    def coulombs_until(self, rest_v: float, sd_v: float = 0.0) -> tuple[float, float, float] | None:
        """Charge until the rest voltage falls to a value known to ``sd_v``: median, 5 % and 95 % quantile.

        None until a voltage at rest has been seen.
        """
        if self.bank is None:
            return None
        left = self.bank.coulombs_until(rest_v, sd_v)
        median, low, high = (max(coulombs - self._unspent, 0.0) for coulombs in left)
        return median, low, high

    def _new_bank(self, line: LineFit) -> ChargeBank:
        """The chemistry's curve; without one a straight line whose steepness stands for the unknown capacity."""
        battery, sd, rest = self.battery, max(line.rest_sd, 0.02), line.rest_v
        if battery is None or battery.cell is None:
            return ChargeBank.start(
                lambda charge: rest * (0.7 + 0.6 * charge),
                lambda volts: (volts / rest - 0.7) / 0.6,
                cells=10,
                rest_v=rest,
                rest_sd=sd,
                capacity_ah=8.0,
                spread=1.0,
            )
        cell, cells, given = battery.cell, battery.cells, battery.capacity_ah

        def volts(charge: FloatArray) -> FloatArray:
            return cell.rest_voltage(charge, cells)

        def charge_of(rest_v: FloatArray) -> FloatArray:
            return cell.charge_at(rest_v, cells)

        return ChargeBank.start(
            volts,
            charge_of,
            cells,
            rest,
            sd,
            capacity_ah=given if given is not None else cell.typical_ah,
            spread=_KNOWN_LOG_SD if given is not None else _TYPICAL_LOG_SD,
        )


_WINDOW_S = 0.25
_DEAD_S = 0.35
_STEADY_S = 0.5
_LONGEST_PAUSE_S = 30.0
_NEVER = float("-inf")


@dataclass
class ShotCount:
    """``drop_share`` is the smallest sudden loss of speed that counts as a shot.

    ``in_rpm``: the setpoint is a wheel speed, so that a wheel far below it is still spinning up.
    """

    drop_share: float
    in_rpm: bool = True
    count: int = 0
    by_robot: bool = False
    intervals: int = 0
    interval_s: float = 0.0
    coulombs: float = 0.0
    _since: float = _NEVER
    _before: float = 0.0
    _now: float = 0.0
    _last_shot: tuple[float, float] | None = None
    _setpoint: float | None = None
    _setpoint_since: float = 0.0
    _dead_until: float = _NEVER

    def add(
        self, t: float, rpm: float | None, setpoint: float | None, fired: bool | None, drawn_coulombs: float
    ) -> bool:
        """One sample; whether a shot was seen on it. ``drawn_coulombs``: charge drawn so far, C."""
        self.by_robot = self.by_robot or bool(fired)
        if setpoint != self._setpoint:
            self._setpoint, self._setpoint_since = setpoint, t
            self._start_window()
        seen = bool(fired) if self.by_robot else self._dropped(t, rpm)
        if seen:
            self._note(t, drawn_coulombs)
        return seen

    def forget(self) -> None:
        """Start the wheel's history anew, as after a gap in the line; counts stay."""
        self._start_window()
        self._last_shot = None

    def forget_charge(self) -> None:
        """Drop the charge that shots took, as after a current that was read wrongly; counts stay."""
        self.intervals, self.interval_s, self.coulombs = 0, 0.0, 0.0
        self._last_shot = None

    def charge_per_shot(self, expected: float | None) -> float:
        """Coulombs a shot takes with all that goes on around it; an expected value weighs as two shots."""
        if expected is None:
            return self.coulombs / max(self.intervals, 1)
        return (2 * expected + self.coulombs) / (2 + self.intervals)

    def between(self, usual_s: float) -> float:
        """Mean seconds between shots; ``usual_s`` weighs as one."""
        return (usual_s + self.interval_s) / (1 + self.intervals)

    def _start_window(self) -> None:
        """Forget the highest speeds of the present and the last quarter of a second."""
        self._since, self._before, self._now = _NEVER, 0.0, 0.0

    def _dropped(self, t: float, rpm: float | None) -> bool:
        if rpm is None or self._setpoint is None or t < self._dead_until:
            return False
        if t - self._since > _WINDOW_S:
            self._since, self._before, self._now = t, self._now, 0.0
        self._now = max(self._now, rpm)
        highest = max(self._before, self._now)
        up = self._setpoint > 0 and (not self.in_rpm or highest > 0.6 * self._setpoint)
        steady = up and t - self._setpoint_since >= _STEADY_S
        return steady and rpm < highest * (1 - self.drop_share)

    def _note(self, t: float, drawn_coulombs: float) -> None:
        last = self._last_shot
        if last is not None and t - last[0] <= _LONGEST_PAUSE_S:
            self.intervals += 1
            self.interval_s += t - last[0]
            self.coulombs += drawn_coulombs - last[1]
        self.count += 1
        self._last_shot = (t, drawn_coulombs)
        self._dead_until = t + _DEAD_S
        self._start_window()
