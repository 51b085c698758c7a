"""What is worked out of a line before it is weighed: counts from a position in turns, rpm from the time of a turn.

An angle that starts anew with each turn says no speed: between two lines the wheel may have turned any number of times
more. What was beyond one turn once is no such angle.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

from fieldtune.line_fields import COUNTER, PERIOD
from fieldtune.link.limits import Limits
from fieldtune.link.text.wire_values import own_rpm

if TYPE_CHECKING:
    from fieldtune.link.text.wire_values import WireValues
    from fieldtune.robot.model import Robot

_BEYOND = 1.05  # turns
_SHORTEST_US = 1e-3  # far beyond any wheel
_MOVED = 2.0  # counts
_FRACTIONS, _MOST_FRACTIONS = 3, 60
NOT_WHOLE = f"{COUNTER} is no whole number"
WITHIN_A_TURN = f"{COUNTER} has not left one turn"


class DerivedValues:
    """Works them out line by line; ``notices`` counts values that can't be used."""

    def __init__(self, robot: Robot, limits: Limits, notices: Counter[str]) -> None:
        scale, encoder = robot.link.scale, robot.encoder
        self._factor = scale.get(COUNTER)
        """Counts that one of the robot's numbers is; None where it is a count."""
        self._period = scale.get(PERIOD, 1.0)
        self._rpm = limits.per["wheel_rpm"]
        self._notices = notices
        self._turn = _BEYOND * max(limits.counts_per_turn or 0.0, encoder.counts_per_turn if encoder else 0.0)
        self._goes_on = self._moved = False
        self._first: float | None = None
        self._fractions = 0

    @property
    def needed(self) -> bool:
        """Whether all lines are to be looked at."""
        return self._factor is not None

    def work_out(self, wire: WireValues) -> None:
        """Puts whole counts, and rpm, into the line's values."""
        if wire.wheel_period_us is not None:
            period_us = abs(wire.wheel_period_us * self._period)
            if own_rpm(wire) is None and period_us > _SHORTEST_US:  # 0 says that none was measured
                setattr(wire, "wheel_rpm", self._rpm * 60e6 / period_us)  # noqa: B010 (fields by name, see WireValues)
            wire.wheel_period_us = None
        said = wire.wheel_counts
        if said is None:
            return
        if self._factor is None:
            self._leave_out_fractions(wire, said)
            return
        counts = said * self._factor
        wire.wheel_counts = round(counts)
        self._first = counts if self._first is None else self._first
        self._goes_on = self._goes_on or abs(counts) > self._turn
        self._moved = self._moved or abs(counts - self._first) > _MOVED
        if self._moved and not self._goes_on:
            self._notices[WITHIN_A_TURN] += 1
            wire.wheel_counts = None

    def _leave_out_fractions(self, wire: WireValues, said: int | float) -> None:
        """Numbers with a fraction are no counts, nor are whole ones among them."""
        if isinstance(said, int) and not self._fractions:
            return
        whole = said == round(said)
        self._fractions = max(self._fractions - 1, 0) if whole else min(self._fractions + 1, _MOST_FRACTIONS)
        if not whole or self._fractions >= _FRACTIONS:
            self._notices[NOT_WHOLE] += 1
            wire.wheel_counts = None
