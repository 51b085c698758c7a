"""How many bits the robot's counter has, whatever the profile says: it begins anew at 16 bits, or at 8.

A counter of 8 bits may go round between two lines, more than once: then nobody knows how far the wheel turned.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldtune.link.limits import Limits
    from fieldtune.link.validation.line_state import LineState

_SHORT, _SHORT_TIMES, _AS_BEFORE = 1 << 16, 2, 0.5
_BYTE, _BYTE_TIMES, _BYTE_LINES = 1 << 8, 3, 20
_ALIKE, _ROUNDED = 0.2, 2  # share, and counts, by which one step may be off the last
_FASTEST = 0.5  # of the highest speed that passes for possible: about what motors can

TOO_NARROW = "wheel_counts has 8 bits only, and goes round between two lines"


class CounterWidth:
    """Sees a counter, and says by how many counts it moved from one line to the next."""

    def __init__(self, limits: Limits, notices: Counter[str]) -> None:
        self.modulus = 1 << limits.counter_bits
        self.half = self.modulus >> 1
        self._limits, self._notices = limits, notices
        self._profile = self.modulus
        self._rolled = 0
        self._last: int | None = None
        self._step = self._fell = self._lines = 0

    def signed(self, counts: int) -> int:
        """A count, or a difference of counts, as the counter's own distance from zero."""
        return (counts + self.half) % self.modulus - self.half

    def too_narrow(self, line_s: float) -> bool:
        """Whether the wheel may turn by half of all that the counter counts, or more, from line to line."""
        most = _FASTEST * self._limits.wheel_rpm / 60 * (self._limits.counts_per_turn or 0.0) * line_s
        return self.modulus == _BYTE and most > self.half

    @property
    def in_a_byte(self) -> bool:
        """Whether the last count was one of 8 bits."""
        return self._last is not None

    def see_jump(self, base: LineState, after: LineState) -> None:
        """Learns from a jump of the counter whether it rolls over at 16 bits."""
        rate, counts, before = base.rate, after.counts, base.counts
        if self.modulus <= _SHORT or rate is None or counts is None or before is None:
            return
        went = rate * (self._limits.counts_per_turn or 0.0) * (after.time_s - base.time_s)
        rolled = (counts - before + _SHORT // 2) % _SHORT - _SHORT // 2
        if abs(counts - before) > _SHORT // 2 and abs(rolled - went) < _AS_BEFORE * abs(went):
            self._rolled += 1
            if self._rolled >= _SHORT_TIMES:
                self._become(_SHORT)
                self._notices["counter of 16 bits"] += 1

    def see(self, counts: int) -> None:
        """Takes the count of any undamaged line: one that never leaves 8 bits, and jumps within them, has no more."""
        if not -_BYTE // 2 <= counts < _BYTE:
            self._last, self._fell, self._lines = None, 0, 0
            if self.modulus == _BYTE != self._profile:
                self._become(self._profile)
            return
        last, self._last = self._last, counts
        if self.modulus == _BYTE or last is None:
            return
        self._lines += 1
        before, self._step = self._step, (counts - last + _BYTE // 2) % _BYTE - _BYTE // 2
        goes_on = self._step != 0 and abs(self._step - before) <= _ROUNDED + _ALIKE * abs(before)
        self._fell += goes_on and abs(counts - last) > _BYTE // 2
        if self._fell >= _BYTE_TIMES and self._lines >= _BYTE_LINES:
            self._become(_BYTE)
            self._notices["counter of 8 bits"] += 1

    def _become(self, modulus: int) -> None:
        self.modulus, self.half = modulus, modulus >> 1
