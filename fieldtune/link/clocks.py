"""How much time lies between two lines: by the robot's clock over its roll-over, else by when the lines arrived."""

from __future__ import annotations

from fieldtune.link.arrival import ArrivalClock
from fieldtune.link.base import AHEAD_S, Base
from fieldtune.link.wire import Wire

_WRAPS = (2**16, 2**32)
_LONGEST_S = 10.0
_SHORT_WRAPS = 2  # roll-overs at 16 bits after which the clock is known to be so short


class Clocks:
    """Reads the robot's clock, as long as it can be trusted."""

    def __init__(self) -> None:
        self.arrival = ArrivalClock()
        self._trusted = True
        self._short = 0

    def distrust(self) -> None:
        """From now on the host's arrival time is the clock."""
        self._trusted = False

    def reading(self, wire: Wire) -> tuple[float | None, float]:
        """The robot's clock in ticks, None without a usable one, and the seconds of a tick (or its uncertainty)."""
        if self._trusted:
            if wire.t_us is not None:
                return wire.t_us, 1e-6
            if wire.t_ms is not None:
                return wire.t_ms, 1e-3
        return None, self.arrival.tick_s

    def elapsed(self, base: Base, wire: Wire, number: int, waited: float) -> float | None:
        """Seconds from ``base`` to line ``number``, None if the clock went where no clock goes.

        ``waited``: seconds between their arrivals, which tell roll-over from restart.
        """
        clock, tick = self.reading(wire)
        if clock is None or base.clock is None:
            return self.arrival.time_of(number) - base.mark
        before = base.clock if tick == base.tick else base.clock * base.tick / tick
        ticks = clock - before
        if self._short >= _SHORT_WRAPS and max(clock, before) < _WRAPS[0]:
            lap = _WRAPS[0] * tick
            since = ticks % _WRAPS[0] * tick
            return since + max(round((waited - since) / lap), 0) * lap
        if ticks >= 0:
            return ticks * tick
        for wrap in _WRAPS:
            since = (ticks + wrap) * tick
            if before < wrap and 0 <= since <= min(waited + AHEAD_S, _LONGEST_S):
                return since
        return None

    def rolled_over(self, before: float, clock: float) -> bool:
        """Whether a believed clock began anew; notes how long it is."""
        if clock >= before:
            if clock >= _WRAPS[0]:
                self._short = 0
            return False
        if before < _WRAPS[0]:
            self._short += 1
        return True
