"""Few alike lines weighed quickly: those that plainly follow the line before, as nearly all do.

The rules are those of ``Continuity`` for the case in which nothing is doubtful, and what is kept is the same to the
last digit. The first line that is not plainly good, be it false or only unusual, ends the run: from there on lines are
weighed with care.
"""

from __future__ import annotations

import math
from operator import itemgetter
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.line_fields import BY_WIRE_NAME, CLOCKS, COUNTER, FIRED
from fieldtune.link.clock import AHEAD_S, LineState
from fieldtune.link.limits import COUNTS_OFF, INSIDE, LEAST_SPEED, RPM_OFF, SPEED_OFF, TICKS_OFF
from fieldtune.link.nominal_time import NominalTime
from fieldtune.link.plausibility import FORGIVEN, LATE_FORGOTTEN, NEARER, STOOD_S, SURE_SCATTERS, Continuity
from fieldtune.link.samples import Sample
from fieldtune.link.two_robots import Said, rpm_alike
from fieldtune.link.wire_numbers import LARGEST

if TYPE_CHECKING:
    from fieldtune.link.layouts import Row
    from fieldtune.link.limits import Limits

_SURE_V = 0.2
"""By how much a battery may be off the last line's with nobody asking why."""


@frozen
class _Reading:
    """A value that becomes a reading: its place in a row, and the numbers between which it is surely possible."""

    name: str
    place: int
    per: float
    signless: bool
    low: float
    high: float

    def of(self, row: Row) -> float:
        """As in a sample."""
        value: float = row[self.place] / self.per
        return abs(value) if self.signless else value


class EvenLines:
    """How lines that name these fields go on, for one robot. ``counted``: they have a counter, which tells turns."""

    def __init__(self, names: tuple[str, ...], steps: Continuity) -> None:
        self._steps = steps
        clock = "t_us" if "t_us" in names else "t_ms"
        self._tick = CLOCKS[clock]
        self._clock = names.index(clock)
        self._counts = names.index(COUNTER) if COUNTER in names else None
        self._fired = names.index(FIRED) if FIRED in names else None
        self._readings = _readings(names, steps.limits)
        by_name = {reading.name: reading for reading in self._readings}
        self._signed, self._signless = (
            [(one.name, one.place, one.per) for one in self._readings if one.signless == signless]
            for signless in (False, True)
        )
        # More than 1 is a count of shots.
        self._of_fired = [] if self._fired is None else [(self._fired, -math.inf, 1.0)]
        self._bounds = [(reading.place, reading.low, reading.high) for reading in self._readings] + self._of_fired
        self._volts, self._rpm = by_name.get("battery_v"), by_name.get("wheel_rpm")
        self.counted, self.has_rpm = self._counts is not None, self._rpm is not None
        limits = steps.limits
        per_turn = limits.counts_per_turn or 1.0
        self._most_ticks = (1 - INSIDE) * AHEAD_S / self._tick
        least_rps = LEAST_SPEED * limits.wheel_rpm / 60
        self._fixed = self._tick, per_turn, limits.tight_rps2, COUNTS_OFF / per_turn, least_rps
        self._usable = self._counts is None or limits.counts_per_turn is not None

    def sample(self, row: Row, time_s: float, arrival_s: float, wheel: float | None) -> Sample:
        """The sample of a line that was found good. ``time_s`` and ``wheel`` as of ``run``."""
        turns, fired = wheel if self.counted else None, None if self._fired is None else row[self._fired] != 0
        sample = Sample(time_s=time_s, arrival_s=arrival_s, turns=turns, fired=fired)
        for name, place, per in self._signed:
            setattr(sample, name, row[place] / per)
        for name, place, per in self._signless:
            setattr(sample, name, abs(row[place] / per))
        return sample

    def told(self, rows: list[Row]) -> list[bool] | None:
        """Which lines tell of a shot; None where none does."""
        fired = self._fired
        return [row[fired] != 0 for row in rows] if fired is not None and any(map(itemgetter(fired), rows)) else None

    def said(self, row: Row, arrival_s: float) -> Said:
        """What ``TwoRobots`` looks at."""
        counts = None if self._counts is None else row[self._counts]
        return Said(row[self._clock] * self._tick, counts, self.own_rpm(row), arrival_s)

    def own_rpm(self, row: Row) -> float | None:
        """The robot's own speed of the wheel."""
        return None if self._rpm is None else self._rpm.of(row)

    def follows(self, base: LineState, first: Row, arrival_s: float) -> bool:
        """Whether a run can begin with this line: nothing is in doubt, and its clock is a plain step ahead."""
        steps = self._steps
        if not self._usable or base.clock is None or base.tick != self._tick or base.dead or arrival_s < base.arrival_s:
            return False
        if steps.doubted or steps.mixed or steps.dead_rpm.dead or not steps.clocks.plain:
            return False
        if self._counts is not None and (base.counts is None or not base.trail or abs(first[self._counts]) > LARGEST):
            return False
        return bool(0 < first[self._clock] - base.clock <= self._most_ticks)

    def clocks_s(self, rows: list[Row]) -> list[float]:
        """What the lines' clock says, seconds."""
        place, tick = self._clock, self._tick
        return [row[place] * tick for row in rows]

    def last_fired(self, row: Row, before: float | None) -> float | None:
        """What the last line that named it said of shots."""
        return before if self._fired is None else float(row[self._fired])

    def run(
        self, base: LineState, rows: list[Row], arrival_s: float, nominal: NominalTime, bounded: bool
    ) -> tuple[list[float], list[float | None], float | None]:
        """Moves ``base`` on over the lines, of one arrival, that plainly follow: their times, and turns or own rpm.

        And what ``nominal`` makes of the first line that doesn't, if it was asked. ``bounded``: all readings are
        possible, as far as limits go.
        """
        steps, dead_rpm = self._steps, self._steps.dead_rpm
        bounds = self._of_fired if bounded else self._bounds
        at_clock, at_counts, own_rpm, battery = self._clock, self._counts, self._rpm, self._volts
        tick, per_turn, tight, count_off, least_rps = self._fixed
        clock, counts, time_s, turns, trail = base.clock or 0, base.counts or 0, base.time_s, base.turns, base.trail
        turned_s, stale_s, stood, volts = base.turned_s, base.stale_s, base.stood, base.volts
        rate = None if base.still or at_counts is None else base.rate
        half, most_ticks, whole = steps.half, self._most_ticks, steps.whole and at_counts is not None
        at_volts, per_volt = (0, 1.0) if battery is None else (battery.place, battery.per)
        waited, late_s, line_s, period = arrival_s - base.arrival_s, base.late_s, steps.line_s, base.period
        times: list[float] = []
        wheel: list[float | None] = []
        counted: list[tuple[float, int]] = []
        rpm: float | None = None
        now_v = volts
        by_time: float | None = None
        possible = True
        for row in rows:
            ticks = row[at_clock] - clock
            if not 0 < ticks <= most_ticks:  # it may have hundreds of digits
                break
            since = ticks * tick
            now_s = time_s + since
            since = now_s - time_s
            for place, low, high in bounds:
                if not low <= row[place] <= high:
                    possible = False
                    break
            if not possible:
                break
            if battery is not None:
                now_v = row[at_volts] / per_volt
                if volts is not None and abs(now_v - volts) > _SURE_V:
                    break
            if own_rpm is not None:
                rpm, last = abs(row[own_rpm.place] / own_rpm.per), base.rpm
                dead_rpm.see(rpm)
                by_time = nominal.see(row[at_clock] * tick, rpm)
                if nominal.sure:
                    break
                # A wheel that stood may go on standing, but the first zero is looked at.
                if last is None or dead_rpm.dead or (rpm == 0.0 and last != 0.0) or not rpm_alike(rpm, last):
                    break
                room = RPM_OFF * max(last / 60, least_rps) + SURE_SCATTERS * base.scatter
                if abs((rpm - last) / 60) > room + tight * (now_s - base.rpm_s):
                    break
            if at_counts is not None:
                moved = row[at_counts] - counts
                if moved:
                    if rate is None or not -half <= moved < half or type(moved) is not int:
                        break
                    step, after = moved / per_turn, now_s - turned_s
                    off = abs(step - rate * after)
                    if off > count_off:  # else it is less than all that may be together
                        fast = abs(rate)
                        room = count_off + (TICKS_OFF * tick + 2 * stale_s) * fast
                        room += SPEED_OFF * fast * after + tight * after * after / 2
                        if off > room:
                            break
                    if stood:
                        stale_s = max(0.98 * stale_s, since)
                    elif stale_s:
                        stale_s = 0.95 * stale_s if stale_s > 1e-4 else 0.0
                    stood, turned_s = False, now_s
                    turns += step
                    counts += moved
                    trail.append((now_s, turns))
                    first_s, first = trail[0]
                    rate = (turns - first) / (now_s - first_s)
                elif now_s - turned_s > STOOD_S:
                    break
                elif not stood:
                    stood = abs(rate or 0.0) * since * per_turn > 1.5
            if own_rpm is not None:
                by_time = None
                steps.refused_rpm = max(steps.refused_rpm - FORGIVEN, 0.0)
                base.follow_rpm(now_s, rpm or 0.0)
            if whole:
                counted.append((row[at_clock] * tick, counts))
            late_s *= LATE_FORGOTTEN
            if since - waited > late_s:
                late_s = since - waited
            waited = 0.0
            line_s = since if line_s == math.inf else line_s * (NEARER if since > line_s else 1 / NEARER)
            if period == 0.0:
                period = since
            elif since < 6 * period:
                period += 0.05 * (since - period)
            clock, time_s, volts = row[at_clock], now_s, now_v
            times.append(now_s)
            wheel.append(rpm if at_counts is None else turns)
        if counted:
            steps.see_more_counts(counted, tick)
        if times:
            base.clock, base.time_s, base.arrival_s = clock, time_s, arrival_s
            base.turns, base.turned_s, base.stale_s, base.stood = turns, turned_s, stale_s, stood
            base.counts = base.counts if at_counts is None else counts
            base.late_s, base.period, base.volts, steps.line_s = late_s, period, volts, line_s
            steps.clocks.rolled_over(clock, clock)
        return times, wheel, by_time


def _readings(names: tuple[str, ...], limits: Limits) -> tuple[_Reading, ...]:
    """The readings among these names: of two for the same one, the first counts."""
    found: dict[str, _Reading] = {}
    for wire_name, (row, _) in BY_WIRE_NAME.items():
        if wire_name not in names or row.name in found:
            continue
        place, per, (low, high) = names.index(wire_name), limits.per[wire_name], limits.surely(wire_name)
        found[row.name] = _Reading(row.name, place, per, limits.signless(row), low, high)
    return tuple(found.values())
