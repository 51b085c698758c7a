"""Own rpm that a program limits, or whose variable can't hold more: at its highest value it stands, to the last digit.

A rounded reading of an even wheel stands, too, and one that can't reach its setpoint does so at its highest value. So
that alone says nothing, unless the value is the most that so many bits hold, or the reading goes up and down by itself
in many sizes wherever it is lower. And a reading in steps, of whole counts or rounded, comes to its values by whole
steps: to a limit it mostly doesn't.
"""

from __future__ import annotations

from collections import Counter, deque

from fieldtune.link.validation.standing_value import CHANGES, has_stood

_SAME, _SAME_ROUGH, _TIMES_SAME = 25, 15, 3  # lines with the highest value, and times as often as others in a row
_FINE_RPM, _OFF_RPM = 5.0, 1.5  # of smaller steps a reading is fine; by how much a whole step is rounded
_BITS = {2.0**bits - 1 for bits in range(8, 17)}
_SURELY = 2  # stands at one and the same value


class LimitedRpm:
    """Sees own rpm line by line."""

    def __init__(self) -> None:
        self.highest: float | None = None
        """The value at which it is cut off; None where it isn't, as far as is known."""
        self._top = 0.0
        self._last: float | None = None
        self._into_top = 0.0
        self._same = self._times = 0
        self._changes: deque[tuple[float, int]] = deque(maxlen=CHANGES)  # by how much, behind how many lines without

    @property
    def stands(self) -> bool:
        """Whether it stands there now: the wheel may be faster."""
        return self.highest is not None and self._last is not None and self._last >= self.highest

    @property
    def sure(self) -> bool:
        """Whether it came back to that value: that of an encoder whose wire is pulled doesn't."""
        return self.highest is not None and (self._times >= _SURELY or self.highest in _BITS)

    def see(self, rpm: float) -> bool:
        """Takes the next value; whether the wheel may be faster."""
        last, self._last = self._last, rpm
        if rpm > self._top:
            self._top, self._times, self.highest = rpm, 0, None
        if rpm == last:
            self._same += 1
        else:
            if last is not None:
                if rpm == self._top:
                    self._into_top = rpm - last
                elif last != self._top:
                    self._changes.append((rpm - last, self._same))
            self._same = 1
        if rpm == self._top > 0.0 and self._is_cut_off():
            self._times += self.highest is None or self._same == _SAME
            self.highest = rpm
        return self.stands

    def _is_cut_off(self) -> bool:
        """Whether it stands there as no wheel's reading does."""
        if self.highest is not None:
            return self._same == _SAME
        if self._same < _SAME_ROUGH or not self._came_by_no_step():
            return False
        return (self._same >= _SAME and self._top in _BITS) or has_stood(self._changes, self._same, _TIMES_SAME)

    def _came_by_no_step(self) -> bool:
        """Whether it is no whole step above the value before, where the reading goes in steps."""
        sizes = Counter(abs(round(change)) for change, _ in self._changes)
        step = float(min((size for size, times in sizes.items() if times > 1), default=0))
        off = abs(self._into_top - step * round(self._into_top / step)) if step else 0.0
        return step < _FINE_RPM or off > _OFF_RPM
