"""Readings of own rpm far off smooth ones: of an edge that was missed, or seen twice, until the next ones say so.

No wheel loses or gains a quarter of its speed from one reading to the next, and is back with another.
"""

from __future__ import annotations

from typing import Generic, NamedTuple, TypeVar

_FAR, _BACK, _WAITS_S = 0.25, 0.1, 0.12  # of the speed; for how long the next reading is waited for
_GOES_ON = 2.0  # times the last step

Reading = TypeVar("Reading")


class Settled(NamedTuple, Generic[Reading]):
    """Readings that turned out true, and false ones, each in their order."""

    true: list[Reading]
    false: list[Reading]


class Excursion(Generic[Reading]):
    """Keeps readings that wait for the next one."""

    def __init__(self) -> None:
        self._waiting: list[Reading] = []
        self._first_s = self._first_rpm = 0.0

    def take(self, reading: Reading, time_s: float, rpm: float, last: float, step: float) -> Settled[Reading]:
        """Takes a reading; gives those that are settled by it, which may be none, or itself.

        ``last``: the last reading that was true, ``step``: by how much it differed from the one before.
        """
        settled = Settled[Reading]([], [])
        if self._waiting:
            stays = abs(rpm - last) > _BACK * last
            alike = (rpm - last) * (self._first_rpm - last) > 0 and abs(rpm - last) > _FAR * last
            if alike and time_s - self._first_s < _WAITS_S:
                self._waiting.append(reading)
                return settled
            (settled.true if stays else settled.false).extend(self.release())
            if stays:
                last, step = self._first_rpm, self._first_rpm - last
        off = rpm - last
        if abs(off) <= _FAR * last or 0 < off * step < _GOES_ON * step**2:
            settled.true.append(reading)
        else:
            self._first_s, self._first_rpm = time_s, rpm
            self._waiting.append(reading)
        return settled

    def release(self) -> list[Reading]:
        """Those that wait, as nothing is to be waited for any more."""
        released, self._waiting = self._waiting, []
        return released
