"""What is known of robot and wheel behind the last believed line, by which the next one is judged."""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field

AHEAD_S = 0.25  # a line is never older for the robot than for the host by more than this
TRAIL = 8
_GAIN_S = 0.15
_SLOWER, _LEAST_READING_S = 1.02, 0.001
_FEW_COUNTS = 11.0
A_COUNT = 1.3  # counts by which own rpm may be off where it goes in steps of one


@dataclass(slots=True)
class LineState:
    """What is known behind the last believed line. Seconds are on the line's own time, if nothing else is said."""

    clock: float | None
    """The robot's clock in ticks; None where arrival times the lines."""
    tick: float
    """Seconds a tick of the clock; of arrival its uncertainty."""
    counts: int | None
    """What the counter says."""
    time_s: float
    arrival_s: float
    """When the line arrived, by the host's clock."""
    mark: float = 0.0
    """Where arrival times the lines: when this one was printed, by the host's clock."""
    period: float = 0.0
    """Seconds from line to line, on the mean."""
    late_s: float = AHEAD_S
    """By how much later than the next ones lines came lately."""
    turns: float = 0.0
    turned_s: float = 0.0
    """When a new count came last."""
    rpm: float | None = None
    """The last own rpm that was believed, at ``rpm_s``."""
    rpm_s: float = 0.0
    dead: bool = False
    """Own rpm fell faster than a wheel can: what it says is no speed until it is a wheel's again."""
    noise: bool = False
    """While ``dead``: it said more than about zero since, as an open wire picks something up."""
    told: bool = False
    """While ``dead``: that was counted among the notices."""
    no_speed_rpm: float = 0.0
    """While ``dead``: what it said last, even since ``even_since_s``, and as fast as before ``as_before`` times."""
    even_since_s: float = 0.0
    as_before: int = 0
    stood: bool = False
    """The last line brought no new count."""
    still: bool = False
    """No new count came for so long that what the wheel did before says nothing of it any more."""
    stale_s: float = 0.0
    """How old a count may be when it is printed; not lowered before ``stale_until_s``."""
    stale_until_s: float = 0.0
    rpms: deque[tuple[float, float]] = field(default_factory=deque)
    """The last own (seconds, rpm)."""
    gained_rps2: float = 0.0
    """The most that own rpm gained over such a stretch, turns/s^2."""
    scatter: float = 0.0
    """How far own rpm goes up and down from line to line, turns/s."""
    changed_s: float = 0.0
    """When own rpm changed last."""
    reading_s: float = math.inf
    """About the least time from one change of own rpm to the next."""
    volts: float | None = None
    trail: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=TRAIL))
    """The last (seconds, turns) of new counts."""
    change: str | None = None
    """What it means if this does not follow what was known: as a restart, a gap, a jump of counter or clock."""

    @property
    def rate(self) -> float | None:
        """Turns a second over the last lines; None with fewer than two."""
        trail = self.trail
        if len(trail) < 2:
            return None
        (start, turns), (end, last) = trail[0], trail[-1]
        return (last - turns) / (end - start) if end > start else None

    def a_count_rps(self, counts_per_turn: float | None) -> float:
        """What a count more in own rpm makes of it, turns/s, of an encoder of few counts a turn; 0 of others."""
        return A_COUNT / counts_per_turn / self.reading_s if counts_per_turn and counts_per_turn < _FEW_COUNTS else 0.0

    def follow_rpm(self, time_s: float, rpm: float) -> None:
        """Takes the robot's own rpm; one false line counts little for how uneven it is."""
        if self.rpm is not None:
            change = abs(rpm - self.rpm) / 60
            self.scatter += 0.05 * (min(change, 4 * self.scatter + 0.2) - self.scatter)
            if change:
                self.reading_s = max(min(_SLOWER * self.reading_s, time_s - self.changed_s), _LEAST_READING_S)
                self.changed_s = time_s
        self.rpm, self.rpm_s, self.dead, self.told = rpm, time_s, False, False
        rpms = self.rpms
        rpms.append((time_s, rpm))
        first_s, first = rpms[0]
        if time_s - first_s > _GAIN_S:
            self.gained_rps2 = max(self.gained_rps2, (rpm - first) / 60 / (time_s - first_s))
            while time_s - rpms[0][0] > _GAIN_S:
                rpms.popleft()
