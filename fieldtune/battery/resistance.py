"""A battery as a straight line, V = rest voltage - resistance * current, and which voltages can be its own.

A Kalman filter over the two unknowns: recursive least squares in which the rest voltage may wander as charge goes and
the resistance hardly at all (Bar-Shalom, Li & Kirubarajan, Estimation with Applications to Tracking and Navigation,
2001, chapter 5). An odd sample is weighed down as Huber does (Robust Statistics, 1981): by its distance over 2.5
deviations.
Plain floats: it runs ten times a second beside everything else.

And the two-pulse test, guided: a small load for ten seconds, then a large one for a second, as in IEC 61960 for cells
(0.2 C for 10 s, then 1 C for 1 s). The launcher is the load: the wheel held low, then spun up at full power. Pure
state, fed with the same samples as the battery watch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.records import known
from fieldtune.robot.chemistry import CHEMISTRIES

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.battery.blocks import Block
    from fieldtune.robot.model import Robot

_HUBER = 2.5
_REST_WANDER = 2e-3
_RESISTANCE_WANDER = 1e-3
_NOISE_FLOOR = 2e-3
_NOISE_START = 0.03
_NOISE_RATE = 0.03


@dataclass
class LineFit:
    """Rest voltage (V) and resistance (ohm) with their covariance; ``noise`` is one sample's deviation, V."""

    rest_v: float
    resistance: float
    var_rest: float
    var_resistance: float
    covariance: float = 0.0
    noise: float = _NOISE_START
    samples: int = 0

    @classmethod
    def start(cls, rest_v: float, resistance: float, resistance_sd: float, rest_sd: float = 0.15) -> LineFit:
        """Begin at a first guess of both."""
        return cls(rest_v, resistance, rest_sd**2, resistance_sd**2)

    @property
    def rest_sd(self) -> float:
        """Standard deviation of the rest voltage, V."""
        return math.sqrt(self.var_rest)

    @property
    def resistance_sd(self) -> float:
        """Standard deviation of the resistance, ohms."""
        return math.sqrt(self.var_resistance)

    def current_at(self, volts: float) -> float:
        """Current (A) that the line gives at a voltage, not below zero."""
        return max((self.rest_v - volts) / self.resistance, 0.0)

    def wait(self, seconds: float) -> None:
        """Let time pass: both unknowns may have moved since."""
        self.var_rest += _REST_WANDER**2 * seconds
        self.var_resistance += (_RESISTANCE_WANDER * self.resistance) ** 2 * seconds

    def update(self, volts: float, amps: float, amps_sd: float = 0.0, volts_share: float = 1.0) -> None:
        """One reading, V and A. ``amps_sd``: the current's error; ``volts_share``: noise over a single sample's."""
        off = volts - (self.rest_v - self.resistance * amps)
        to_rest = self.var_rest - self.covariance * amps
        to_resistance = self.covariance - self.var_resistance * amps
        explained = to_rest - to_resistance * amps
        noise = (self.noise * volts_share) ** 2 + (self.resistance * amps_sd) ** 2
        far = abs(off) / math.sqrt(explained + noise)
        if far > _HUBER:
            noise = noise * far / _HUBER + explained * (far / _HUBER - 1)
        total = explained + noise
        gain_rest, gain_resistance = to_rest / total, to_resistance / total
        self.rest_v += gain_rest * off
        self.resistance = max(self.resistance + gain_resistance * off, 1e-4)
        self.var_rest -= gain_rest * to_rest
        self.covariance -= gain_rest * to_resistance
        self.var_resistance -= gain_resistance * to_resistance
        self.samples += 1
        self._learn_noise(volts - (self.rest_v - self.resistance * amps), volts_share)

    def _learn_noise(self, left: float, volts_share: float) -> None:
        """Follow the size of what the line does not explain, a far sample counting no more than Huber lets it."""
        single = min(abs(left), _HUBER * self.noise * volts_share) / volts_share
        self.noise = max(math.sqrt(self.noise**2 + _NOISE_RATE * (single**2 - self.noise**2)), _NOISE_FLOOR)


SMALL_S, LARGE_S = 10.0, 1.0
_APART = 2.0
_APART_A = 2.0
_QUIET_TAIL_S = 1.0

Step = Literal["small", "large", "done", "failed"]


@dataclass
class TwoPulse:
    """``step`` and ``instruction`` tell the person what to do; ``resistance_ohm`` is there once it is done."""

    robot: Robot
    step: Step = "small"
    resistance_ohm: float | None = None
    _small: list[Block] = field(default_factory=list)
    _large: list[Block] = field(default_factory=list)
    _waited: float = 0.0

    def __post_init__(self) -> None:
        from fieldtune.battery.blocks import BlockMaker, MotorSide

        self._blocks = BlockMaker(MotorSide.of(self.robot))

    @property
    def instruction(self) -> str:
        """What to do now, or what came out."""
        small, large = self.robot.launcher.mechanism.load_steps
        if self.step == "small":
            return f"{small} for {max(SMALL_S - self._waited, 0):.0f} s more, with no element in it and the range clear"
        if self.step == "large":
            return large
        if self.step == "done" and self.resistance_ohm is not None:
            return f"resistance of battery and wiring: {1000 * self.resistance_ohm:.0f} mΩ"
        return "no clear step of current was seen: send current_ma, or take a larger step of the setpoint, and repeat"

    def feed(self, t: float, wheel_rpm: float | None, voltage: float | None, current: float | None = None) -> Step:
        """One sample: seconds, rpm, volts, battery amps (calculated from the wheel's gain where not sent)."""
        if voltage is None or odd_voltage(self.robot, voltage) is not None or self.step in ("done", "failed"):
            return self.step
        block = self._blocks.add(t, wheel_rpm, voltage, current)
        if block is not None and block.amps is not None:
            self._take(block)
        return self.step

    def _take(self, block: Block) -> None:
        if self.step == "small":
            self._waited += block.seconds
            self._small.append(block)
            if self._waited >= SMALL_S:
                self.step = "large"
            return
        quiet = [b for b in self._small if b.time_s > self._small[-1].time_s - _QUIET_TAIL_S]
        _, base = _means(quiet)
        heavy = (block.amps or 0.0) > max(_APART * base, base + _APART_A)
        if heavy or self._large:
            self._large.append(block)
        if self._large and (block.time_s - self._large[0].time_s >= LARGE_S or not heavy):
            self._finish(quiet)

    def _finish(self, quiet: list[Block]) -> None:
        small_v, small_a = _means(quiet)
        large_v, large_a = _means(self._large)
        ohm = known(two_pulse_resistance(small_v, small_a, large_v, large_a))
        if ohm is not None and ohm > 0:
            self.resistance_ohm, self.step = ohm, "done"
        else:
            self.step = "failed"


def _means(blocks: list[Block]) -> tuple[float, float]:
    """Volts and amps over time."""
    total = sum(b.seconds for b in blocks)
    volts = sum(b.volts * b.seconds for b in blocks) / total
    return volts, sum((b.amps or 0.0) * b.seconds for b in blocks) / total


def two_pulse_resistance(
    voltage_1: ArrayLike, current_1: ArrayLike, voltage_2: ArrayLike, current_2: ArrayLike
) -> FloatArray:
    """Resistance (ohm) from voltages (V) under a small and a large current (A): (V1 - V2) / (I2 - I1), as in IEC 61960.

    nan where the two currents are the same.
    """
    v1, i1, v2, i2 = (np.asarray(a, dtype=float) for a in (voltage_1, current_1, voltage_2, current_2))
    gap = np.asarray(i2 - i1, dtype=float)
    return np.where(gap != 0, (v1 - v2) / np.where(gap != 0, gap, 1.0), np.nan)


# Which voltage to calculate with: what a battery gives at rest, and which readings can't be a battery's.


LOW_CHARGE = 0.2
"""Charge at which a battery counts as low: common practice, no source; below it most chemistries drop fast."""


_SAME_NOMINAL = 0.15
"""Cells whose nominal voltage is this near may stand in for each other (common practice: 3.6 V against 3.2 or 4)."""


def rest_voltage(robot: Robot, charge: float) -> float | None:
    """Open-circuit voltage of the robot's battery at a charge 0..1; None without battery or chemistry."""
    return None if robot.battery is None else robot.battery.rest_voltage(charge)


def usual_voltage(robot: Robot) -> float | None:
    """What to take where nobody has measured: the half-charged battery, else battery's or drive's nominal voltage."""
    half = rest_voltage(robot, 0.5)
    if half is not None:
        return half
    if robot.battery is not None and robot.battery.nominal_voltage is not None:
        return robot.battery.nominal_voltage
    return robot.drive.nominal_voltage if robot.drive is not None else None


def open_loop_spread(robot: Robot, volts: float | None) -> float | None:
    """Standard deviation of the log voltage that an open-loop command is a fraction of; None where unknown.

    0 for a closed loop, a spring, and a voltage that somebody measured. Otherwise any charge from full to low is as
    likely as another: the range over the root of twelve.
    """
    if not robot.setpoint.scale.follows_voltage or volts is not None:
        return 0.0
    full, low = rest_voltage(robot, 1.0), rest_voltage(robot, LOW_CHARGE)
    return None if full is None or low is None else math.log(full / low) / math.sqrt(12)


def odd_voltage(robot: Robot, volts: float) -> str | None:
    """Why a reading can't be this robot's battery, in one line with the remedy; None where it can."""
    if not volts > 0:
        return f"the battery reads {volts:g} V: no battery, or the meter's wire is off; check battery_mv on the line"
    low, high = _plausible(robot)
    if low <= volts <= high:
        return None
    return (
        f"the battery reads {volts:.4g} V, but {_battery_words(robot)} lies between {low:.3g} and {high:.3g} V: "
        f"check the reading's unit and the profile's [battery]{_others_that_fit(robot, volts)}"
    )


def odd_chemistry(robot: Robot, rest_v: float, sd_v: float = 0.0) -> str | None:
    """Why a voltage at rest (V, ``sd_v`` its deviation) speaks against the profile's chemistry or number of cells.

    One line with the remedy, None where nothing does: a voltage that a full or an empty battery of it can rest at.
    """
    battery = robot.battery
    if battery is None or battery.cell is None:
        return None
    cells = f"{battery.cells} {battery.chemistry} cells"
    ends = [float(battery.cell.rest_voltage(charge, battery.cells)) for charge in (0.0, 1.0)]
    empty, full = (3 * float(battery.cell.rest_spread(charge, battery.cells)) + 2 * sd_v for charge in (0.0, 1.0))
    if rest_v > ends[1] + full:
        return (
            f"{rest_v:.4g} V is more than {cells} rest at when full, {ends[1]:.3g} V: just off its charger, "
            f"or check chemistry and cells in [battery]{_others_that_fit(robot, rest_v)}"
        )
    if rest_v < ends[0] - empty:
        return (
            f"{rest_v:.4g} V is less than {cells} rest at when empty, {ends[0]:.3g} V: charge it now, "
            f"or check chemistry and cells in [battery]{_others_that_fit(robot, rest_v)}"
        )
    return None


def _others_that_fit(robot: Robot, volts: float) -> str:
    """Other cells that make about the same nominal voltage and rest at so many volts, in words; empty without any."""
    battery = robot.battery
    made = None if battery is None else battery.nominal_voltage
    if battery is None or made is None:
        return ""
    found = []
    for row in CHEMISTRIES.values():
        cells = round(made / row.nominal_v)
        other = (row.name, cells) != (battery.chemistry, battery.cells)
        if other and cells and abs(cells * row.nominal_v / made - 1) < _SAME_NOMINAL:
            low, high = (float(row.rest_voltage(charge, cells)) for charge in (LOW_CHARGE, 1.0))
            if low <= volts <= high:
                found.append(f"{cells} {row.name}")
    return f"; {' or '.join(found)} cells would fit" if found else ""


def _plausible(robot: Robot) -> tuple[float, float]:
    battery = robot.battery
    if battery is not None and battery.cell is not None:
        return battery.cell.lowest_v * battery.cells, battery.cell.highest_v * battery.cells
    if robot.drive is not None:
        return 0.3 * robot.drive.nominal_voltage, 2.0 * robot.drive.nominal_voltage
    return 0.0, 100.0


def _battery_words(robot: Robot) -> str:
    battery = robot.battery
    if battery is not None and battery.chemistry is not None:
        return f"a battery of {battery.cells} {battery.chemistry} cells"
    return "a supply that fits this drive"
