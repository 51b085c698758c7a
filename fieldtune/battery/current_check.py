"""Whether the current that a robot sends can be believed: its zero, its sign, a dead sensor, none at all."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from statistics import median
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldtune.battery.blocks import Block, BlockMaker
    from fieldtune.battery.resistance import LineFit

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
