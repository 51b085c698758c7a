"""Numbers by which a sensor says that it sees nothing: 0, -1, all ones in binary. Such a number is no reading.

A sensor that has no echo, or isn't plugged in, sends one number of its own again and again among true readings. Damage
makes a new number each time.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldtune.link.limits import NEAREST_M

if TYPE_CHECKING:
    from fieldtune.link.samples import Sample

_AGAIN = 4  # times the same impossible number, after which it is the sensor's own
_MOST = 32
_FASTEST_MPS, _AT_ONCE_M = 15.0, 0.5  # what a robot drives at most, and how far one reading may be off another
_BEYOND = 2.0  # times the farthest place that the robot plays from
_NINES = re.compile(r"9{3,}0*")
"""Of a distance in mm, cm or m, what programs send for no echo: 999, 9999 (common practice)."""
_ONES = frozenset(2**bits - less for bits in range(12, 33) for less in (1, 2))


def is_code(number: float) -> bool:
    """Whether a number is one that sensors send in place of a reading: 0, -1, or all ones but for the last bit.

    The last are what registers of 12 to 32 bits hold when nothing was measured (common practice).
    """
    return number in (0.0, -1.0) or number in _ONES


class ImpossibleAgain:
    """Tells an impossible number that a sensor sends again and again from one that damage made."""

    def __init__(self) -> None:
        self._seen: Counter[tuple[str, float]] = Counter()

    def see(self, name: str, value: float) -> bool:
        """Takes an impossible value of a reading, in SI; whether the same one came so often that it is the sensor's."""
        if len(self._seen) >= _MOST:
            self._seen.clear()
        self._seen[name, value] += 1
        return self._seen[name, value] >= _AGAIN


class DistanceCodes:
    """Finds distances that are possible in themselves, yet codes: 8190 mm where 2400 mm was a moment ago.

    ``farthest_m``: what the robot plays from at most, None where that isn't known.
    """

    def __init__(self, farthest_m: float | None) -> None:
        self._beyond_m = None if farthest_m is None else _BEYOND * farthest_m
        self._last: tuple[float, float] | None = None
        self._codes: set[float] = set()

    @classmethod
    def of_places(cls, spots_m: Sequence[float], field_m: tuple[float, float] | None) -> DistanceCodes:
        """By the places that a profile names."""
        return cls(max([*spots_m, *(field_m or ())], default=None))

    def takes_out(self, sample: Sample) -> bool:
        """Makes the next distance unknown where it is no reading, or nearer than any target; whether it did."""
        distance_m = sample.distance_m
        if distance_m is None or (distance_m >= NEAREST_M and not self._is_code(sample.arrival_s, distance_m)):
            return False
        sample.distance_m = None
        return True

    def _is_code(self, time_s: float, distance_m: float) -> bool:
        millimetres = round(1000 * distance_m)
        last, self._last = self._last, (time_s, distance_m)
        if abs(1000 * distance_m - millimetres) > 1e-6 or not (
            is_code(millimetres) or _NINES.fullmatch(str(millimetres))
        ):
            return False
        if self._beyond_m is not None and distance_m > self._beyond_m:
            self._codes.add(millimetres)
        elif last is not None:
            most_m = _AT_ONCE_M + _FASTEST_MPS * max(time_s - last[0], 0.0)
            if abs(distance_m - last[1]) > most_m:
                self._codes.add(millimetres)
        return millimetres in self._codes
