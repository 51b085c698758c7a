"""Where the line stands: the last believed line's clock and counter."""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field

from fieldtune.link.sample import Sample

AHEAD_S = 0.25  # a line is never older for the robot than for the host by more than this
TRAIL = 8


@dataclass(slots=True)
class Base:
    """State behind the last believed line. ``clock`` is the robot's reading in ticks, None where arrival serves.

    ``mark`` is then the line's time by arrival. ``rough`` is how far the robot's own rpm goes up and down from line to
    line, turns/s; ``trail`` the last (seconds, turns); ``story`` what it means if this state does not follow the last.
    """

    clock: float | None
    tick: float
    counts: int | None
    sample: Sample
    mark: float = 0.0
    period: float = 0.0
    turns: float = 0.0
    turned_s: float = 0.0
    rpm: float | None = None
    rough: float = 0.0
    volts: float | None = None
    trail: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=TRAIL))
    story: str | None = None

    @property
    def rate(self) -> float | None:
        """Turns a second over the last lines; None with fewer than two."""
        trail = self.trail
        if len(trail) < 2:
            return None
        (start, turns), (end, last) = trail[0], trail[-1]
        return (last - turns) / (end - start) if end > start else None

    def roughen(self, rpm: float) -> None:
        """Follows how unevenly the robot computes its rpm; one false line counts little."""
        if self.rpm is not None:
            change = abs(rpm - self.rpm) / 60
            self.rough += 0.05 * (min(change, 4 * self.rough + 0.2) - self.rough)
        self.rpm = rpm
