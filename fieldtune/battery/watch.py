"""Watches the battery while the robot runs: resistance, rest voltage, charge, what it can still do, and for how long.

Pure state: fed with samples, it holds no thread and reads no clock. A few microseconds a sample, so that it can follow
every line and be asked ten times a second.

A battery is a voltage behind a resistance here. What it gives back slowly after a load (polarisation, seconds to
minutes) is left out: where that is a third of the resistance, resistance and ceiling still hold their 10 and 2 %, but
the forecast in shots is off by half as often as not.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldtune.battery.blocks import Block, BlockMaker, CurrentCheck, MotorSide
from fieldtune.battery.ceiling import BETWEEN_SHOTS_S, Limits, ShotCharge
from fieldtune.battery.charge import ChargeFollower, ShotCount
from fieldtune.battery.resistance import LineFit, odd_chemistry, odd_voltage
from fieldtune.battery.status import BatteryStatus, tired_words, warning_words

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

_GAP_S = 5.0
_ENOUGH = 8
_SETTLE = 2
_GREAT_SHARE = 0.6
_CLEAR_A = 2.0
_CHANGED_SHARE = 0.025
_TYPICAL_OHM = 0.1
_ZERO_A, _GAIN = 0.1, 0.03
"""How far a current may be off, measured or calculated: its zero, amps, and its scale (common practice, no source)."""


class BatteryWatch:
    """One robot's battery, followed sample by sample.

    ``resistance_history``: resistances measured on earlier days (ohms, oldest first), to call a tired battery tired.
    """

    def __init__(self, robot: Robot, resistance_history: Sequence[float] = ()) -> None:
        self.robot = robot
        self._history = tuple(resistance_history)
        battery = robot.battery
        self._profile_ohm = battery.resistance if battery is not None else None
        kept = robot.speed_kept
        drop = 0.03 if kept is None else max((1 - kept) / 2, 0.015)
        self._limits = Limits(robot)
        self._shot_charge = ShotCharge.of(robot)
        self._blocks = BlockMaker(MotorSide.of(robot))
        self._shots = ShotCount(drop, robot.setpoint.scale.is_speed)
        self._check = CurrentCheck()
        self._last_t: float | None = None
        self._odd: str | None = None
        self._sag_low: float | None = None
        self._sag: float | None = None
        self._lowest_v = math.inf
        self._change: str | None = None
        self._before_gap: float | None = None
        self._begin()

    def _begin(self) -> None:
        self._line: LineFit | None = None
        self._charge = ChargeFollower(self.robot)
        self._swing = 0.0
        self._after_gap = 0
        self._shots.forget()

    # ---- feeding

    def feed(
        self,
        t: float,
        wheel_rpm: float | None,
        voltage: float | None,
        current: float | None = None,
        setpoint: float | None = None,
        fired: bool | None = None,
        fresh: bool = False,
    ) -> None:
        """One sample: seconds of the line's clock, rpm at the wheel, volts, battery amps, setpoint in the robot's unit.

        Anything not sent is None. ``fired``: the robot's own word that an element was released on this sample;
        ``fresh``: the first one after the line broke off or the robot began anew.
        """
        if voltage is None or not math.isfinite(voltage) or not math.isfinite(t):
            return
        self._odd = odd_voltage(self.robot, voltage)
        if self._odd is not None:
            return
        if self._last_t is not None and (fresh or not 0 <= t - self._last_t <= _GAP_S):
            self._gap()
        self._last_t = t
        self._lowest_v = min(self._lowest_v, voltage)
        self._shots.add(t, wheel_rpm, setpoint, fired, self._charge.drawn)
        block = self._blocks.add(t, wheel_rpm, voltage, current)
        if block is not None:
            self._take(block)

    def _take(self, block: Block) -> None:
        if self._check.look(block, self._blocks, self._line):
            self._begin()
            self._shots.forget_charge()
            return
        amps, amps_sd = block.amps, block.amps_sd
        if amps is None:
            if self._blocks.motor is not None:
                self._charge.count(self._line.current_at(block.volts) if self._line else 0.0, block.seconds)
                return
            amps, amps_sd = 0.0, 1.0
        if self._line is None:
            ohm = self._profile_ohm if self._profile_ohm is not None else _TYPICAL_OHM
            self._line = LineFit.start(block.volts + ohm * amps, ohm, (0.5 if self._profile_ohm else 1.0) * ohm)
        line = self._line
        line.wait(block.seconds)
        line.update(block.volts, amps, amps_sd, 1 / math.sqrt(block.samples))
        self._swing = max(self._swing, amps)
        self._charge.count(amps, block.seconds)
        self._follow_sag(block, amps)
        if line.samples >= _ENOUGH:
            self._charge.follow(block, amps, self._swing, line)
        if self._before_gap is not None:
            self._look_for_change()

    def _follow_sag(self, block: Block, amps: float) -> None:
        """Remember the lowest voltage of each great draw of current, once the current has fallen again."""
        if amps > _GREAT_SHARE * max(self._swing, _CLEAR_A):
            self._sag_low = block.lowest_v if self._sag_low is None else min(self._sag_low, block.lowest_v)
        elif self._sag_low is not None and self._line is not None and amps < 0.5 * _GREAT_SHARE * self._swing:
            self._sag, self._sag_low = max(self._line.rest_v - self._sag_low, 0.0), None

    # ---- battery changes

    def _gap(self) -> None:
        """The line was silent, or its clock began anew: what was known may belong to another battery."""
        self._shots.forget()
        if self._line is not None and self._line.samples >= _ENOUGH:
            self._before_gap = self._line.rest_v if self._before_gap is None else self._before_gap
            self._line.var_rest += 0.5**2
            self._after_gap = 0

    def _look_for_change(self) -> None:
        self._after_gap += 1
        line, before = self._line, self._before_gap
        if line is None or before is None or self._after_gap < _SETTLE:
            return
        step = line.rest_v - before
        if abs(step) > max(_CHANGED_SHARE * before, 4 * line.rest_sd):
            way = "rose" if step > 0 else "fell"
            self._change = (
                f"rest voltage {way} by {abs(step):.2f} V while the line was silent: "
                "if the battery was changed, note the change"
            )
        self._before_gap = None

    def accept_change(self) -> None:
        """A battery was changed: what was learned of the old battery is dropped, the next samples start anew."""
        self._lowest_v = math.inf
        self._change = self._before_gap = None
        self._begin()

    def decline_change(self) -> None:
        """The battery is the same: keep what is known of its resistance, and find the charge again."""
        self._change = self._before_gap = None
        self._charge.bank = None

    # ---- asking

    def status(self, setpoint: float | None = None, distance_m: float | None = None) -> BatteryStatus:
        """What is known now. ``setpoint``: the one in question, as ``distance_m`` needs it (only repeated back)."""
        line = self._line
        found = self.resistance_measured
        measured, ohm = found is not None, found if found is not None else self._profile_ohm
        between = self._shots.between(BETWEEN_SHOTS_S)
        rest = line.rest_v if line is not None else None
        top = held = None
        if rest is not None and ohm is not None:
            top, held = self._limits.ceiling(rest, ohm, between), self._limits.ceiling(rest, ohm, math.inf)
        holds = None if held is None or setpoint is None else held >= setpoint
        recovers = None if top is None or setpoint is None else top >= setpoint
        shots = self._shots_left(setpoint, ohm, between)
        level = self._charge.level()
        return BatteryStatus(
            rest_v=rest,
            rest_sd_v=line.rest_sd if line is not None else None,
            resistance_ohm=ohm,
            resistance_sd_ohm=line.resistance_sd if measured and line is not None else None,
            resistance_measured=measured,
            charge=level[0] if level else None,
            charge_90=level[1] if level else None,
            sag_v=self._sag,
            sag_expected_v=self._sag_expected(rest, ohm),
            ceiling=top,
            setpoint=setpoint,
            distance_m=distance_m,
            holds=holds,
            recovers=recovers,
            shots_left=shots[0] if shots else None,
            shots_left_90=(shots[1], shots[2]) if shots else None,
            shots_seen=self._shots.count,
            warning=warning_words(setpoint, self.robot.setpoint.unit, top, holds, recovers, shots),
            change=self._change,
            missing=self._missing(measured),
        )

    @property
    def resistance_measured(self) -> float | None:
        """Resistance (ohms) once it is measured to a quarter, for the history; None before."""
        line = self._line
        return line.resistance if line is not None and line.resistance_sd < 0.25 * line.resistance else None

    def lowest_rest_v(self, setpoint: float | None) -> float | None:
        """Volts at rest below which a setpoint can't be held between shots any more; None where that isn't known."""
        line, found = self._line, self.resistance_measured
        ohm = found if found is not None else self._profile_ohm
        if setpoint is None or ohm is None or line is None:
            return None
        return self._limits.lowest_voltage(setpoint, ohm, self._shots.between(BETWEEN_SHOTS_S), line.rest_v)

    def _shots_left(
        self, setpoint: float | None, ohm: float | None, between: float
    ) -> tuple[float, float, float] | None:
        line = self._line
        if setpoint is None or ohm is None or line is None:
            return None
        lowest = self._limits.lowest_voltage(setpoint, ohm, between, line.rest_v)
        expected = self._shot_charge.coulombs(setpoint, between) if self._shot_charge is not None else None
        if lowest is None or (expected is None and self._shots.intervals < 3):
            return None
        off = math.hypot(line.resistance_sd, _GAIN * ohm)
        unsure = self._limits.lowest_voltage(setpoint, ohm + off, between, line.rest_v)
        sd = math.hypot(abs(unsure - lowest) if unsure is not None else 0.0, _ZERO_A * ohm)
        each, left = self._shots.charge_per_shot(expected), self._charge.coulombs_until(lowest, sd)
        if left is None or each <= 0:
            return None
        return left[0] / each, left[1] / each, left[2] / each

    def _sag_expected(self, rest_v: float | None, ohm: float | None) -> float | None:
        """Sag as the standing motors start at full power, volts."""
        drive = self.robot.drive
        if rest_v is None or ohm is None or drive is None:
            return None
        return rest_v * ohm / (drive.nominal_voltage / drive.stall_current / drive.motors + ohm)

    def _missing(self, measured: bool) -> tuple[str, ...]:
        robot, words = self.robot, []
        if self._odd is not None:
            words.append(self._odd)
        elif self._line is not None and self._line.samples >= _ENOUGH:
            doubt = odd_chemistry(robot, self._line.rest_v, self._line.rest_sd)
            words += [doubt] if doubt is not None else []
        battery = robot.battery
        if battery is not None and battery.brownout is not None and self._lowest_v < battery.brownout:
            words.append(
                f"the battery fell to {self._lowest_v:.1f} V, below the brown-out limit of {battery.brownout:g} V: "
                "limit the power at spin-up, check plug and wiring, or swap it"
            )
        words.extend(self._check.words(self._blocks.motor is not None))
        battery = robot.battery
        if battery is None or battery.chemistry is None:
            words.append("battery.chemistry unknown: charge unknown, forecast from the voltage's fall alone")
        elif battery.capacity_ah is None and self._charge.bank is not None:
            words.append("battery.capacity unknown: the forecast needs some ten shots to become sharp")
        if not measured and self._blocks.motor is None and not self._check.measured:
            words.append("resistance can't be measured: send current_ma, or give [drive] and launcher.wheel_inertia")
        tired = tired_words(self._history, self.resistance_measured, self._profile_ohm)
        return (*words, tired) if tired is not None else tuple(words)
