"""Whether the current that a robot sends can be believed: its sign, a dead sensor, none at all."""

from __future__ import annotations

from dataclasses import dataclass

from fieldtune.sizing.blocks import Block, BlockMaker
from fieldtune.sizing.line_fit import LineFit

_ENOUGH = 4
_CLEAR_A = 2.0


@dataclass
class CurrentCheck:
    """Counts what blocks of a wheel that gains speed say of the measured current."""

    measured: bool = False
    drawing: int = 0
    backwards: int = 0
    dead: int = 0
    turned: bool = False
    distrusted: bool = False

    def look(self, block: Block, blocks: BlockMaker, line: LineFit | None) -> None:
        """One block; turns the sign in ``blocks`` or stops trusting the sensor once several blocks agree."""
        if block.amps is None or block.amps_sd > 0 or not blocks.trust_current:
            return
        self.measured = True
        sagging = line is not None and line.samples > _ENOUGH and block.volts < line.rest_v - 3 * line.noise
        if not block.gaining and not sagging:
            return
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
        if self.dead >= _ENOUGH and self.dead > 3 * self.drawing:
            self.distrusted, blocks.trust_current = True, False

    def words(self, can_reckon: bool) -> list[str]:
        """What to say about the current, one line each."""
        instead = "reckoned from the wheel's acceleration instead" if can_reckon else "resistance stays unknown"
        if self.distrusted:
            return [f"current reads zero while the wheel speeds up: sensor not used, {instead}"]
        lines = []
        if not self.measured:
            lines.append(f"no current sent: {instead}; send current_ma to know it better")
        if self.turned:
            lines.append("current has the wrong sign (negative while drawing): turned round here, mend it on the robot")
        return lines
