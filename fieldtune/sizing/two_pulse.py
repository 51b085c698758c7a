"""The two-pulse test of a pack's resistance, guided: a small load for ten seconds, then a large one for a second.

As in IEC 61960 for cells (0.2 C for 10 s, then 1 C for 1 s). The launcher is the load: the wheel held low, then spun up
at full power. Pure state, fed with the same samples as the battery watch.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from fieldtune.physics.battery import two_pulse_resistance
from fieldtune.robot.model import Robot
from fieldtune.sizing.blocks import Block, BlockMaker, MotorSide
from fieldtune.sizing.records import known
from fieldtune.sizing.supply import odd_voltage

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
        self._blocks = BlockMaker(MotorSide.of(self.robot))

    @property
    def instruction(self) -> str:
        """What to do now, or what came out."""
        wheel = self.robot.launcher.kind == "flywheel"
        if self.step == "small":
            what = "hold the wheel at its lowest setpoint" if wheel else "leave the launcher at rest, switched on"
            return f"{what} for {max(SMALL_S - self._waited, 0):.0f} s more, with no element in it and the range clear"
        if self.step == "large":
            return "now go to the highest setpoint at once" if wheel else "now cock once, at full power"
        if self.step == "done" and self.resistance_ohm is not None:
            return f"resistance of pack and wiring: {1000 * self.resistance_ohm:.0f} mohm"
        return "no clear step of current was seen: send current_ma, or take a larger step of the setpoint, and repeat"

    def feed(self, t: float, wheel_rpm: float | None, voltage: float | None, current: float | None = None) -> Step:
        """One sample: seconds, rpm, volts, battery amps (reckoned from the wheel's gain where not sent)."""
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
