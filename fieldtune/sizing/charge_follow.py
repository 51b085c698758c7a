"""Follows a pack's charge through a session: counts what is drawn, looks at the voltage at rest every few seconds."""

from __future__ import annotations

import math

import numpy as np

from fieldtune.physics.battery import charge_at, open_circuit_voltage
from fieldtune.robot.model import Robot
from fieldtune.sizing.blocks import Block
from fieldtune.sizing.charge import ChargeBank, FloatArray, middle
from fieldtune.sizing.line_fit import LineFit

_LOOK_S = 4.0
_LOOKS = 4
_CURVE_V = 0.02
"""How far a pack's rest voltage may lie from its chemistry's curve, volts a cell (see ``physics.battery``)."""
_KNOWN_LOG_SD, _TYPICAL_LOG_SD = 0.1, 0.8
_TYPICAL_AH = {"nimh": 3.0, "lead-acid": 7.0, "li-ion": 4.0, "lifepo4": 4.0}
"""Capacities of packs on small robots: common practice, no source; taken only where the profile gives none."""


class ChargeFollower:
    """``drawn`` is the charge counted so far, coulombs; ``bank`` is None until the first voltage at rest is known."""

    def __init__(self, robot: Robot) -> None:
        self.battery = robot.battery
        self.bank: ChargeBank | None = None
        self.drawn = 0.0
        self._unspent = 0.0
        self._look: list[tuple[float, float]] = []
        self._since: float | None = None

    def count(self, amps: float, seconds: float) -> None:
        """Charge that has gone."""
        self.drawn += amps * seconds
        self._unspent += amps * seconds

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
        if self.bank is None or self.battery is None or self.battery.chemistry is None:
            return None
        mean, sd = self.bank.level()
        ends = np.clip(np.array([mean - 1.645 * sd, mean + 1.645 * sd]), 0.0, 1.0)
        low, high = self.bank.charge_of(self.bank.volts(ends) + np.array([-1, 1]) * _CURVE_V * self.battery.cells)
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
        if battery is None or battery.chemistry is None:
            return ChargeBank.start(
                lambda charge: rest * (0.7 + 0.6 * charge),
                lambda volts: (volts / rest - 0.7) / 0.6,
                cells=10,
                rest_v=rest,
                rest_sd=sd,
                capacity_ah=8.0,
                spread=1.0,
            )
        chemistry, cells, given = battery.chemistry, battery.cells, battery.capacity_ah

        def volts(charge: FloatArray) -> FloatArray:
            return np.asarray(open_circuit_voltage(chemistry, charge, cells), dtype=float)

        def charge_of(rest_v: FloatArray) -> FloatArray:
            return np.asarray(charge_at(chemistry, rest_v, cells), dtype=float)

        return ChargeBank.start(
            volts,
            charge_of,
            cells,
            rest,
            sd,
            capacity_ah=given if given is not None else _TYPICAL_AH[chemistry],
            spread=_KNOWN_LOG_SD if given is not None else _TYPICAL_LOG_SD,
        )
