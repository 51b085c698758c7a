"""What was being shot in the last seconds: a shot is recognised a little later, when a key may have changed it all."""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from typing import TYPE_CHECKING, Protocol

if TYPE_CHECKING:
    from fieldtune.link.samples import Live, ShotSeen
    from fieldtune.records import Result, UnansweredShot

_REMEMBERED_S = 15.0
"""How long it is remembered what was being shot; a shot is recognised sooner than that after it left."""


class SeenResult(Protocol):
    """What was seen of a shot."""

    @property
    def result(self) -> Result:
        """How it ended."""
        ...

    @property
    def miss_m(self) -> float | None:
        """How far off, positive long; ``None`` where it didn't get there."""
        ...


class ShotMemory:
    """Keeps what a shot would have been about, from when on it would have been that."""

    def __init__(self) -> None:
        self._lately: deque[tuple[float, UnansweredShot]] = deque()

    def note(self, now_s: float, shot: UnansweredShot) -> None:
        """A shot that leaves from now on is this one, but for its name and time."""
        lately = self._lately
        if not lately or replace(lately[-1][1], uid="", time="") != replace(shot, uid="", time=""):
            lately.append((now_s, shot))
        while len(lately) > 1 and lately[1][0] < now_s - _REMEMBERED_S:
            lately.popleft()

    def at(self, left_s: float) -> UnansweredShot | None:
        """What a shot that left then was, None if it left before all that is known."""
        before = [shot for at, shot in self._lately if at <= left_s]
        return before[-1] if before else None


def ago_s(live: Live, seen: ShotSeen) -> float:
    """How long ago a shot left: before the latest sample by the line's clock, and that one is some time old itself."""
    since_s = max((float(latest) - seen.time_s for latest in live.history_s[-1:]), default=0.0)
    return min(_REMEMBERED_S, max(0.0, since_s) + (live.age_s or 0.0))
