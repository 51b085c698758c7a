"""The last seconds of the line as ring buffers, so that a snapshot is one copy."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

KEPT_S = 10.0
_SPACING_S = 0.009
_SLOTS = 1200


class History:
    """Wheel rpm and battery volts over the last ten seconds of the line's clock; a gap is a row of nan."""

    def __init__(self) -> None:
        self._rows = np.full((3, _SLOTS), np.nan)
        self._next = 0
        self._count = 0
        self._last_s = -np.inf

    def add(self, time_s: float, rpm: float | None, volts: float | None) -> None:
        """Keeps one point, at most one each 9 ms."""
        if time_s - self._last_s < _SPACING_S:
            return
        self._last_s = time_s
        self._put(time_s, np.nan if rpm is None else rpm, np.nan if volts is None else volts)

    def gap(self) -> None:
        """Marks a break that a drawing must not join."""
        if self._count and np.isfinite(self._last_s):
            self._put(self._last_s + 1e-3, np.nan, np.nan)

    def _put(self, *row: float) -> None:
        self._rows[:, self._next] = row
        self._next = (self._next + 1) % _SLOTS
        self._count = min(self._count + 1, _SLOTS)

    def arrays(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Seconds, rpm and volts (n,), oldest first, copies."""
        order = np.arange(self._next - self._count, self._next) % _SLOTS
        seconds, rpm, volts = self._rows[:, order]
        first = int(np.searchsorted(seconds, self._last_s - KEPT_S)) if self._count else 0
        return seconds[first:], rpm[first:], volts[first:]
