"""When a counter was read anew, by a program that prints oftener than it reads: at even times, somewhere between lines.

Each new reading came between the line that shows it first and the one before. If the program reads at even times, only
few of these fit between all of the last lines at once, and the time of each reading is known far better than by its own
two lines.
"""

from __future__ import annotations

import math
from collections import deque
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

_KEPT, _FEWEST = 120, 8  # readings
_TRIED = 33  # periods
_LOCKED = 100  # readings that all come at the same place between two lines
_HEARD_LATE = 0.25  # of the time between two lines
_SOME = 5  # readings, over which a speed is taken
_LEAST_S = 0.001  # a program's own timer is not better than that


class RefreshTimes:
    """Takes new readings in order of time."""

    def __init__(self) -> None:
        self._first: deque[float] = deque(maxlen=_KEPT)  # the earliest and latest possible time of each
        self._last: deque[float] = deque(maxlen=_KEPT)
        self._number: deque[int] = deque(maxlen=_KEPT)  # by how many periods each came behind the first
        self._said_s = math.nan  # when the last one was said to be made
        self.period_s = 0.0
        """Time between two readings, as far as it is known; 0 until then."""

    def clear(self) -> None:
        """Forgets the past."""
        self._first.clear()
        self._last.clear()
        self._number.clear()
        self.period_s = 0.0

    def place(
        self, first_s: float, last_s: float, tick_s: float, readings: int = 0, about_s: float = 0.0
    ) -> tuple[float, float]:
        """When the reading that came in ``first_s`` to ``last_s`` was made, and how uncertain that is, seconds.

        ``tick_s``: uncertainty of these times. ``readings``: how many were made since the last, if that is known;
        ``about_s``: likewise, how far they are about apart.
        """
        room_s = last_s - first_s + 2 * tick_s
        periods = self._periods_since((first_s + last_s) / 2, room_s, readings, about_s) if self._number else 0
        if periods is None:
            self.clear()
        self._first.append(first_s)
        self._last.append(last_s)
        self._number.append((self._number[-1] if self._number else 0) + (periods or 0))
        while len(self._number) >= _FEWEST:
            # A line that was heard late puts a single reading off; all that are known say more than the last few.
            for room_s in (tick_s, tick_s + _HEARD_LATE * (last_s - first_s)):
                found = self._at_even_times(room_s)
                if found is not None:
                    return self._beside_last(*found, periods or 0, tick_s, last_s - first_s)
            for kept in (self._first, self._last, self._number):  # the program's timer is not as even as that
                for _ in range((len(kept) + 1) // 2):
                    kept.popleft()
        self._said_s = math.nan
        return (first_s + last_s) / 2, last_s - first_s

    def _beside_last(
        self, at_s: float, spread_s: float, periods: int, tick_s: float, gap_s: float
    ) -> tuple[float, float]:
        """The same, of a reading so many ``periods`` behind the last; it is unsure if these two don't go together."""
        off_s = abs(at_s - self._said_s - periods * self.period_s)
        self._said_s = at_s
        return at_s, gap_s if off_s > tick_s + _LEAST_S else spread_s

    def _periods_since(self, middle_s: float, room_s: float, readings: int, about_s: float) -> int | None:
        """The fewest periods that may lie between the last reading and one at ``middle_s``; None if no number does.

        A wheel that turns has moved at each reading: only a slow one leaves some out.
        """
        since = middle_s - (self._first[-1] + self._last[-1]) / 2
        self.period_s = self.period_s or about_s or since / max(readings, 1)
        periods = readings or max(math.ceil((since - room_s) / self.period_s), 1)
        return periods if abs(since - periods * self.period_s) <= room_s else None

    def _at_even_times(self, tick_s: float) -> tuple[float, float] | None:
        """Time and uncertainty of the last reading, over all periods at which all readings fit; None if none fits."""
        first, last = np.array(self._first), np.array(self._last)
        ago = np.array(self._number) - self._number[-1]  # periods (n,), below 0 but for the last
        shortest, longest = (first[-1] - last[0]) / -ago[0], (last[-1] - first[0]) / -ago[0]
        periods = np.linspace(shortest, longest, _TRIED)
        earliest, latest = _within(first, last, ago, periods)
        room = latest - earliest + 2 * tick_s
        fits = room > 0
        if not fits.any():
            return None
        self.period_s = float(np.average(periods[fits], weights=room[fits]))
        at = float(np.average((earliest[fits] + latest[fits]) / 2, weights=room[fits]))
        # What all readings are late by doesn't matter to a speed; an error of the period does, over some of them.
        gap = float(last[-1] - first[-1])
        spread = min(
            float(np.max(latest[fits]) - np.min(earliest[fits])), _SOME * gap / len(ago) if len(ago) >= _LOCKED else gap
        )
        return float(min(max(at, first[-1]), last[-1])), min(max(spread, tick_s, _LEAST_S), gap)


def _within(first: FloatArray, last: FloatArray, ago: FloatArray, periods: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Earliest and latest time (p,) of the last reading, for each period (p,), so that all (n,) fit."""
    back = periods[:, None] * ago[None, :]
    return np.asarray((first - back).max(axis=1)), np.asarray((last - back).min(axis=1))
