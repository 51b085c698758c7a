"""A setpoint that can't be the wheel's speed in rpm: percent, a share, turns a second, under a name that promises rpm.

It is far below what the profile's program accepts, while the wheel holds a speed far above it.
"""

from __future__ import annotations

from collections import deque

_HELD_S, _SPREAD = 1.0, 0.03
_BELOW_LOWEST, _TIMES = 0.5, 3.0


class SetpointUnit:
    """Sees setpoint and speed; ``other`` is (setpoint, rpm) of the wheel that gave it away, None while it fits."""

    def __init__(self, lowest_rpm: float) -> None:
        self._least = _BELOW_LOWEST * lowest_rpm
        self._held: deque[tuple[float, float]] = deque(maxlen=400)
        self.other: tuple[float, float] | None = None

    def see(self, time_s: float, setpoint: float, rpm: float | None) -> bool:
        """Takes one moment of the line; True if the setpoint is in another unit."""
        if setpoint >= self._least:
            self.other = None
        if rpm is None or not 0 < setpoint < self._least:
            self._held.clear()
        elif self.other is None and rpm > max(_TIMES * setpoint, self._least):
            self._hold(time_s, setpoint, rpm)
        else:
            self._held.clear()
        return self.other is not None

    def _hold(self, time_s: float, setpoint: float, rpm: float) -> None:
        """Whether the wheel holds this speed: one that only runs out falls."""
        held = self._held
        held.append((time_s, rpm))
        if time_s - held[0][0] >= _HELD_S:
            speeds = [speed for _, speed in held]
            third = len(speeds) // 3
            fell = sum(speeds[:third]) - sum(speeds[-third:])
            if max(speeds) - min(speeds) <= _SPREAD * rpm and abs(fell) <= _SPREAD / 3 * third * rpm:
                self.other = setpoint, rpm
            held.popleft()
            while time_s - held[0][0] >= _HELD_S:
                held.popleft()
