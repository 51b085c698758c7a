"""A reading that stands at one value to the last digit, though before it went up and down by itself in many sizes."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection
from itertools import pairwise

_SAME, _TIMES_SAME = 60, 12  # lines with one value, and how many times as often as it was said before at most
_TURNS, _SIZES, CHANGES = 10, 8, 40  # of the last changes, how many turned back, and how many were of another size


class StandingValue:
    """Sees a reading line by line; ``stands`` from when no sensor reads so until it changes again."""

    def __init__(self) -> None:
        self.stands = False
        self._changes: deque[tuple[float, int]] = deque(maxlen=CHANGES)  # by how much, behind how many lines without
        self._last: float | None = None
        self._same = 0

    def see(self, value: float) -> bool:
        """Takes the next value; whether it is the same once more."""
        last, self._last = self._last, value
        if value == last:
            self._same += 1
            self.stands = self.stands or (self._same % _SAME == 0 and has_stood(self._changes, self._same, _TIMES_SAME))
            return True
        if last is not None:
            self._changes.append((value - last, self._same))
        self._same, self.stands = 1, False
        return False


def has_stood(changes: Collection[tuple[float, int]], same: int, times: float) -> bool:
    """Whether a reading has stood at one value for long, after changes up and down of many sizes.

    ``changes``: the last ``CHANGES``, by how much and behind how many lines without; ``same``: lines with the value,
    ``times`` as many as with any before.
    """
    back = sum(one * then < 0 for (one, _), (then, _) in pairwise(changes))
    sizes = {round(abs(change), 6) for change, _ in changes}
    usual = max((same for _, same in changes), default=0)
    return back >= _TURNS and len(sizes) >= _SIZES and same >= times * usual
