"""Own rpm that falls as no wheel's does: the encoder's wire is off, and it says zero, or what the open wire picks up.

A wheel has inertia: braked as hard as its motor can it still takes some lines to stop. What is said behind such a fall
is no speed until it is about as fast as before, or even for long: noise goes up and down, and hum is slower.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fieldtune.link.limits import LEAST_SPEED, RPM_OFF, SCATTERS_OFF, Limits

if TYPE_CHECKING:
    from fieldtune.link.validation.line_state import LineState

_BRAKE = 3.0  # times what it was seen to gain: full reverse at full speed, with some room
_SHORTED = 1.3  # times what the profile's motor brakes, shorted
_ABOUT_ZERO = 0.02  # of the fastest speed: a channel that is left alone says a count now and then
_FELL, _AS_BEFORE, _LINES = 0.5, 0.7, 3  # of the speed before; lines in a row
_EVEN, _EVEN_S = 0.1, 0.5  # from line to line, for so long

STILL, NOISE = "counter stands still", "counts of no wheel"


class RpmFalls:
    """Judges own rpm by the lines before, for one robot."""

    def __init__(self, limits: Limits) -> None:
        self._limits = limits
        self._least = _ABOUT_ZERO * limits.wheel_rpm

    def brake_rps2(self, base: LineState, rpm: float = 0.0) -> float:
        """What this wheel can lose of its speed at most, turns/s^2, by what it was seen to gain.

        ``rpm``: the speed from which on, where it is braked by a shorted motor: that takes by its own speed as much of
        the stall torque as this is of the no-load speed, of both of which the limits are twice.
        """
        shorted = _SHORTED * self._limits.accel_rps2 * rpm / self._limits.wheel_rpm
        return min(self._limits.accel_rps2, max(_BRAKE * base.gained_rps2, shorted) or math.inf)

    def dead(self, base: LineState, rpm: float, time_s: float) -> bool:
        """Whether it is no speed: it fell to about zero too fast, or at once, and the wheel isn't back yet."""
        if base.dead:
            return not self._is_back(base, rpm, time_s)
        if rpm > self._least:
            return False
        fastest = max((before for _, before in base.rpms), default=0.0)
        brake = 60 * self.brake_rps2(base, fastest)
        return any(before > self._least + brake * (time_s - at) for at, before in base.rpms)

    def at_once(self, base: LineState, rpm: float, time_s: float) -> bool:
        """Whether it fell by more than any brake takes, where the line after it says so, too."""
        before = base.rpm or 0.0
        room = RPM_OFF * max(before, LEAST_SPEED * self._limits.wheel_rpm) / 60 + SCATTERS_OFF * base.scatter
        room += base.a_count_rps(self._limits.counts_per_turn)
        # Reversed, a motor brakes with its stall torque and, by its own speed, as much again at no-load speed; of both
        # the limits are twice what they are.
        reversed_rps2 = self._limits.accel_rps2 * (0.5 + before / self._limits.wheel_rpm)
        return rpm < _FELL * before and (before - rpm) / 60 > room + reversed_rps2 * (time_s - base.rpm_s)

    def _is_back(self, base: LineState, rpm: float, time_s: float) -> bool:
        """Whether it says a wheel's speed again."""
        said, base.no_speed_rpm = base.no_speed_rpm, rpm
        base.noise = base.noise or rpm > self._least
        if rpm <= self._least or abs(rpm - said) > _EVEN * said:
            base.even_since_s = time_s
        base.as_before = base.as_before + 1 if rpm > _AS_BEFORE * (base.rpm or 0.0) else 0
        return base.as_before >= _LINES or time_s - base.even_since_s > _EVEN_S
