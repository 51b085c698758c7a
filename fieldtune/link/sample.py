"""One decoded line: its readings in SI, placed in time; and which lines of a fast robot become samples."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from fieldtune.line_fields import Readings


@dataclass(slots=True, kw_only=True)
class Sample(Readings):
    """One plausible line: ``None`` where the line did not say it. Read-only once handed out.

    ``time_s`` runs on over roll-over, restarts and gaps; ``fresh`` marks the first sample behind such a break.
    ``turns`` counts wheel turns since the last break. ``wheel_rpm`` is the speed at the wheel without
    a sign: as sent, else the local slope of the counts. ``arrival_s`` is the host's clock. ``before_s`` is the time of
    the line before, which need not have become a sample.
    """

    time_s: float
    arrival_s: float
    turns: float | None = None
    fired: bool | None = None
    fresh: bool = False
    before_s: float | None = None


_SPACING_S = 0.0065  # some 150 samples/s at most


class SampleChooser:
    """Chooses among lines in order of time: fast lines are thinned, but nothing that matters is passed over."""

    def __init__(self) -> None:
        self._last_s: float | None = None
        self._due_s = -math.inf
        self._turns: float | None = None
        self._moved_s = -math.inf

    def chosen(
        self, times_s: Sequence[float], turns: Sequence[float | None] | None, told: Sequence[object] | None
    ) -> list[tuple[int, float | None]]:
        """Which of the next lines become samples, and the time of the line before each.

        Those that are due, tell of a shot or a break (``told``), or bring a count of an encoder that has few.
        """
        found = []
        last_s, due_s, before, moved_s = self._last_s, self._due_s, self._turns, self._moved_s
        for i, now_s in enumerate(times_s):
            timeless = last_s is not None and now_s <= last_s  # other fields, sent in a line of their own
            wanted = timeless or now_s >= due_s or (told is not None and bool(told[i]))
            if turns is not None and turns[i] != before:
                wanted = wanted or now_s - moved_s > _SPACING_S
                before, moved_s = turns[i], now_s
            if wanted:
                found.append((i, last_s))
                due_s = now_s + _SPACING_S
            last_s = now_s
        self._last_s, self._due_s, self._turns, self._moved_s = last_s, due_s, before, moved_s
        return found
