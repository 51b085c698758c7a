"""Samples in short blocks with mean voltage and current, and whether that current can be believed.

Where the robot sends no current it is calculated from how fast the wheel gains speed: the motors' torque is what the
wheel gains in angular momentum, and a chopper draws from the battery the motors' current times the share of time that
it is on.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median
from typing import TYPE_CHECKING

from fieldtune.constants import RPM
from fieldtune.frozen import frozen
from fieldtune.robot.drivetrain import train

if TYPE_CHECKING:
    from fieldtune.battery.resistance import LineFit
    from fieldtune.robot.model import Robot

_LONGEST_STEP_S = 0.5
_BLOCK_S = 0.08
_LONG_BLOCK_S = 0.4
_FALL_SDS = 4.0

Row = tuple[float, float | None, float, float | None]
"""Seconds, wheel rpm, volts, amps of one sample."""


@frozen
class Block:
    """Means over a stretch of the line: time at its end (s), volts, battery amps (None where unknown) and their error.

    ``modelled_amps`` is the calculated current, ``amps`` the measured one where it is sent. ``gaining``: the wheel
    sped up; ``still``: it stood still all the time. ``samples``: readings behind ``volts``.
    """

    time_s: float
    seconds: float
    volts: float
    lowest_v: float
    amps: float | None
    amps_sd: float
    modelled_amps: float | None
    gaining: bool
    still: bool
    samples: int


@frozen
class MotorSide:
    """What turns a gain in wheel speed into battery current: one drive at one gear train, scalars only for speed."""

    motors: int
    resistance: float
    torque_constant: float
    emf_per_wheel_speed: float
    no_load_current: float
    inertia: float
    torque_gain: float

    @classmethod
    def of(cls, robot: Robot) -> MotorSide | None:
        """None where drive or wheel inertia are unknown."""
        drive, inertia = robot.drive, robot.turning_inertia
        if drive is None or inertia is None:
            return None
        m = train(drive, 0.0).motor
        gain = drive.reduction * drive.efficiency
        return cls(
            drive.motors,
            m.resistance,
            m.torque_constant,
            m.emf_constant * drive.reduction,
            m.no_load_current,
            inertia,
            gain,
        )

    def battery_current(self, speed: float, acceleration: float, volts: float) -> float:
        """Battery current (A, all motors) at a wheel speed (rad/s) and acceleration (rad/s^2)."""
        each = self.no_load_current + self.inertia * acceleration / (
            self.torque_gain * self.torque_constant * self.motors
        )
        on = (self.emf_per_wheel_speed * speed + each * self.resistance) / volts
        return self.motors * each * min(max(on, 0.0), 1.0)

    def current_error(self, acceleration_sd: float) -> float:
        """How an error of the acceleration shows in the battery's current, A, at full power."""
        return self.inertia * acceleration_sd / (self.torque_gain * self.torque_constant)


@dataclass
class BlockMaker:
    """Gathers samples; ``add`` returns a block whenever one is full.

    ``rpm_noise``, one reading's deviation in rpm, is learned from how far readings leave a straight line. The current
    sensor's ``sign`` and ``offset_a`` are what its check found.
    """

    motor: MotorSide | None
    rpm_noise: float = 20.0
    sign: float = 1.0
    offset_a: float = 0.0
    trust_current: bool = True
    _rows: list[Row] = field(default_factory=list)

    def add(self, t: float, rpm: float | None, volts: float, amps: float | None) -> Block | None:
        """One sample: seconds, wheel rpm, volts, battery amps (either None where not sent)."""
        rows = self._rows
        if rows and not 0 < t - rows[-1][0] <= _LONGEST_STEP_S:
            rows.clear()
        rows.append((t, rpm, volts, amps))
        self._learn_noise(rows)
        if len(rows) < 2 or not self._full(rows):
            return None
        block = self._close(rows)
        self._rows = [rows[-1]]
        return block

    def _full(self, rows: list[Row]) -> bool:
        """Short while the wheel's speed clearly changes, long while it does not and its gain needs time to show."""
        seconds, first, last = rows[-1][0] - rows[0][0], rows[0][1], rows[-1][1]
        if seconds < _BLOCK_S:
            return False
        if first is None or last is None or seconds >= _LONG_BLOCK_S:
            return True
        return abs(last - first) > _FALL_SDS * math.sqrt(2) * self.rpm_noise

    def _fell(self, rows: list[Row]) -> bool:
        """Whether the wheel lost speed on the way, as in a shot: its gain then tells nothing of the motors' torque."""
        least = _FALL_SDS * math.sqrt(2) * self.rpm_noise
        return any(a[1] is None or b[1] is None or a[1] - b[1] > least for a, b in pairwise(rows))

    def _learn_noise(self, rows: list[Row]) -> None:
        if len(rows) < 3:
            return
        a, b, c = rows[-3][1], rows[-2][1], rows[-1][1]
        if a is not None and b is not None and c is not None:
            bend = min((a - 2 * b + c) ** 2 / 6, 4 * self.rpm_noise**2)
            self.rpm_noise = max(math.sqrt(0.98 * self.rpm_noise**2 + 0.02 * bend), 1.0)

    def _close(self, rows: list[Row]) -> Block:
        first, last = rows[0], rows[-1]
        seconds = last[0] - first[0]
        volts, samples = _mean([r[0] for r in rows], [r[2] for r in rows]), len(rows)
        modelled, gaining, amps_sd = None, False, 0.0
        if self.motor is not None and first[1] is not None and last[1] is not None and not self._fell(rows):
            acceleration = (last[1] - first[1]) * RPM / seconds
            acceleration_sd = math.sqrt(2) * self.rpm_noise * RPM / seconds
            gaining = acceleration > 2 * acceleration_sd
            if acceleration > -3 * acceleration_sd:
                modelled = self.motor.battery_current((last[1] + first[1]) / 2 * RPM, acceleration, volts)
                amps_sd = self.motor.current_error(acceleration_sd)
        amps = modelled
        told = [(r[0], r[2], r[3]) for r in rows if r[3] is not None]
        if self.trust_current and told and (len(told) == len(rows) or modelled is None):
            # A current that comes with some samples only is paired with the voltages of just those.
            volts, samples = _mean([r[0] for r in told], [r[1] for r in told]), len(told)
            amps = self.sign * (_mean([r[0] for r in told], [r[2] for r in told]) - self.offset_a)
            amps_sd = 0.0
        still = all(r[1] is not None and abs(r[1]) <= _FALL_SDS * self.rpm_noise for r in rows)
        lowest = min(r[2] for r in rows)
        return Block(last[0], seconds, volts, lowest, amps, amps_sd, modelled, gaining, still, samples)


def _mean(times: list[float], values: list[float]) -> float:
    """Mean over time by trapezoids; of a single instant its value."""
    if len(times) < 2:
        return values[0]
    area = 0.0
    for k in range(1, len(times)):
        area += (values[k] + values[k - 1]) / 2 * (times[k] - times[k - 1])
    return area / (times[-1] - times[0])


# Whether the current that a robot sends can be believed: its zero, its sign, a dead sensor, none at all.


_ENOUGH = 4
_CLEAR_A = 2.0
_RESTS, _FEW = 25, 2
_OFFSET_A = 0.05
_WORTH_SAYING_A = 0.5


@dataclass
class CurrentCheck:
    """Counts what blocks of a wheel that gains speed say of the measured current."""

    measured: bool = False
    drawing: int = 0
    backwards: int = 0
    dead: int = 0
    turned: bool = False
    distrusted: bool = False
    rests: list[float] = field(default_factory=list)

    def look(self, block: Block, blocks: BlockMaker, line: LineFit | None) -> bool:
        """One block; whether what was learned with the current so far has to be forgotten.

        Takes off in ``blocks`` what the sensor reads while the wheel stands still, turns its sign, or stops trusting it
        once several blocks agree.
        """
        if block.amps is None or block.amps_sd > 0 or not blocks.trust_current:
            return False
        self.measured = True
        if block.still and len(self.rests) < _RESTS:
            self._find_zero(block.amps * blocks.sign + blocks.offset_a, blocks)
        sagging = line is not None and line.samples > _ENOUGH and block.volts < line.rest_v - 3 * line.noise
        if not block.gaining and not sagging:
            return False
        if block.amps > _CLEAR_A:
            self.drawing += 1
        elif block.amps < -_CLEAR_A:
            self.backwards += 1
        elif abs(block.amps) < 0.1 and block.modelled_amps is not None and block.modelled_amps > 2 * _CLEAR_A:
            self.dead += 1
        if self.backwards >= _ENOUGH and self.backwards > 3 * self.drawing:
            self.turned = not self.turned
            blocks.sign = -blocks.sign
            self.backwards = self.drawing = 0
            return True
        if self.dead >= _ENOUGH and self.dead > 3 * self.drawing:
            self.distrusted, blocks.trust_current = True, False
            return True
        return False

    def _find_zero(self, reading: float, blocks: BlockMaker) -> None:
        """What the sensor reads with nothing drawn; the median, since a spin-up may begin within a block."""
        self.rests.append(reading)
        zero = self._zero
        if zero is not None and abs(zero) > _OFFSET_A:
            blocks.offset_a = zero

    @property
    def _zero(self) -> float | None:
        """Amps read at standstill; None while the readings differ by as much as they are off."""
        if len(self.rests) < _FEW:
            return None
        zero = median(self.rests)
        return zero if abs(zero) > 2 * (max(self.rests) - min(self.rests)) / math.sqrt(len(self.rests)) else None

    def words(self, can_calculate: bool) -> list[str]:
        """What to say about the current, one line each."""
        instead = "calculated from the wheel's acceleration instead" if can_calculate else "resistance stays unknown"
        if self.distrusted:
            return [f"current reads zero while the wheel speeds up: sensor not used, {instead}"]
        lines = []
        if not self.measured:
            lines.append(f"no current sent: {instead}; send current_ma to know it better")
        zero = self._zero
        if zero is not None and abs(zero) > _WORTH_SAYING_A:
            lines.append(f"current reads {zero:.1f} A while the wheel stands still: taken off here")
        if self.turned:
            lines.append("current has the wrong sign (negative while drawing): turned round here, mend it on the robot")
        return lines
