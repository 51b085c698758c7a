"""Which samples are looked at closely: fast lines are thinned, but nothing that matters is passed over."""

from __future__ import annotations

import math
from collections.abc import Sequence

from fieldtune.link.sample import Sample

_SPACING_S = 0.0065  # some 150 samples/s at most


class Thinning:
    """Chooses among samples in order of time."""

    def __init__(self) -> None:
        self._last_s: float | None = None
        self._due_s = -math.inf
        self._turns: float | None = None
        self._moved_s = -math.inf

    def chosen(self, samples: Sequence[Sample]) -> list[tuple[int, float | None]]:
        """Which of the next samples, and the time of the one before each.

        Those that are due, tell of a shot or a break, or bring a count of an encoder that has few.
        """
        found = []
        last_s, due_s, turns, moved_s = self._last_s, self._due_s, self._turns, self._moved_s
        for i, sample in enumerate(samples):
            now_s = sample.time_s
            wanted = now_s >= due_s or sample.fired or sample.fresh
            if sample.turns != turns:
                wanted = wanted or now_s - moved_s > _SPACING_S
                turns, moved_s = sample.turns, now_s
            if wanted:
                found.append((i, last_s))
                due_s = now_s + _SPACING_S
            last_s = now_s
        self._last_s, self._due_s, self._turns, self._moved_s = last_s, due_s, turns, moved_s
        return found
