"""A counter that goes up and down instead of on: it is set back with each line, so that it says the counts since then.

A launcher's wheel turns one way. While it runs evenly such a counter stands almost still, as that of a wheel at rest
does, but for a count more or less from line to line; a wheel at rest has the same count in all lines.
"""

from __future__ import annotations

from collections import deque

_LINES, _TURNS_BACK = 60, 8


class UpAndDown:
    """Sees a counter line by line; ``sure`` while it does not say how far the wheel has turned."""

    def __init__(self) -> None:
        self._step = 0.0
        self._turned_back: deque[bool] = deque(maxlen=_LINES)
        self.sure = False

    def clear(self) -> None:
        """What comes next has no connection with what was before."""
        self._step = 0.0
        self._turned_back.clear()

    def see(self, step: float) -> None:
        """Takes the turns (or counts) since the line before, with their sign."""
        back = step * self._step < 0
        if step != 0:
            self._step = step
        self._turned_back.append(back)
        times = sum(self._turned_back)
        self.sure = times >= _TURNS_BACK or (self.sure and times > 0)
