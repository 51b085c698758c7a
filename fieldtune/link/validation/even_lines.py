"""Few alike lines weighed quickly: those that plainly follow the line before, as nearly all do.

The rules are those of ``Continuity`` for the case in which nothing is doubtful, and what is kept is the same to the
last digit. The first line that is not plainly good, be it false or only unusual, ends the run: from there on lines are
weighed with care.

It asks those rules where a line is off by more than rounding. What it keeps of a wheel's counts it keeps itself, as a
call a line would cost a fifth; ``test_few_lines_together`` holds both ways against each other, on good and hostile
lines. Tried without gain: the loop by columns (a fifth slower at ten lines, twice at one), arrays for fewer lines.
"""

from __future__ import annotations

import math
from operator import itemgetter
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.line_fields import BY_WIRE_NAME, CLOCKS, COUNTER, FIRED
from fieldtune.link.limits import COUNTS_OFF, INSIDE, LEAST_SPEED, RPM_OFF
from fieldtune.link.samples import Sample
from fieldtune.link.text.wire_numbers import LARGEST
from fieldtune.link.validation.line_state import AHEAD_S, LineState
from fieldtune.link.validation.nominal_time import NominalTime
from fieldtune.link.validation.plausibility import BEAT_S, FORGIVEN, STOOD_S, Continuity
from fieldtune.link.validation.two_robots import RPM_ALIKE, Said, rpm_alike

if TYPE_CHECKING:
    from fieldtune.link.limits import Limits
    from fieldtune.link.text.layouts import LineTable, Row

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
        self._fired_of = None if self._fired is None else itemgetter(self._fired)
        self._readings = _readings(names, steps.limits)
        by_name = {reading.name: reading for reading in self._readings}
        self._signed, self._signless = (
            [(one.name, one.place, one.per) for one in self._readings if one.signless == signless]
            for signless in (False, True)
        )
        self._bounds = [(reading.place, reading.low, reading.high) for reading in self._readings]
        self._volts, self._rpm = by_name.get("battery_v"), by_name.get("wheel_rpm")
        self.counted, self.has_rpm = self._counts is not None, self._rpm is not None
        limits = steps.limits
        per_turn = limits.counts_per_turn or 1.0
        self._most_ticks = (1 - INSIDE) * AHEAD_S / self._tick
        self._per_turn, self._count_off = per_turn, COUNTS_OFF / per_turn
        self._little_rpm = min(RPM_OFF * LEAST_SPEED * limits.wheel_rpm, RPM_ALIKE)  # less than anyone asks about
        self._usable = self._counts is None or limits.counts_per_turn is not None
        self.due_s = -math.inf
        """From this time on such lines become samples again, where others come between."""

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
        fired = self._fired_of
        return [fired(row) != 0 for row in rows] if fired is not None and any(map(fired, rows)) else None

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
        own_rpm = steps.dead_rpm
        if steps.noisy or steps.mixed or own_rpm.dead or own_rpm.zeros.are_readings or not steps.clocks.plain:
            return False
        if self._counts is not None and (base.counts is None or not base.trail or abs(first[self._counts]) > LARGEST):
            return False
        return bool(0 < first[self._clock] - base.clock <= self._most_ticks)

    def clock_s(self, row: Row) -> float:
        """What a line's clock says, seconds."""
        seconds: float = row[self._clock] * self._tick
        return seconds

    def clocks_s(self, table: LineTable, start: int, end: int) -> list[float]:
        """What the clocks of these lines say, seconds."""
        return [row[self._clock] * self._tick for row in table.rows[start:end]]

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
        steps = self._steps
        bounds = () if bounded else self._bounds
        at_clock, at_counts, own_rpm, battery = self._clock, self._counts, self._rpm, self._volts
        at_fired = at_clock if self._fired is None else self._fired
        most_fired = math.inf if self._fired is None else 1.0  # more is a count of shots
        tick, per_turn, count_off = self._tick, self._per_turn, self._count_off
        most_ticks, half = self._most_ticks, steps.width.half
        clock, counts, time_s, turns, trail = base.clock or 0, base.counts or 0, base.time_s, base.turns, base.trail
        turned_s, stale_s, stood = base.turned_s, base.stale_s, base.stood
        rate = None if base.still or at_counts is None else base.rate
        at_volts, sure, said_v = at_clock, math.inf, 0.0
        if battery is not None:
            at_volts, sure = battery.place, _SURE_V * abs(battery.per)
            said_v = rows[0][at_volts] if base.volts is None else base.volts * battery.per
        times: list[float] = []
        wheel: list[float | None] = []
        rpm, by_time = None, None
        for row in rows:
            ticks = row[at_clock] - clock
            if not 0 < ticks <= most_ticks:  # it may have hundreds of digits
                break
            if bounds and not _within(row, bounds):
                break
            if abs(row[at_volts] - said_v) > sure or row[at_fired] > most_fired:
                break
            now_s = time_s + ticks * tick
            if own_rpm is not None:
                rpm = own_rpm.of(row)
                steps.dead_rpm.see(rpm)
                by_time = nominal.see(row[at_clock] * tick, rpm)
                if nominal.sure or steps.dead_rpm.zeros.are_readings or not self._rpm_goes_on(base, rpm, now_s):
                    break
            if at_counts is not None:
                moved = row[at_counts] - counts
                if moved:
                    if rate is None or not -half <= moved < half or type(moved) is not int:
                        break
                    step, after = moved / per_turn, now_s - turned_s
                    # Mostly it is off by less than all that may come together.
                    if not -count_off <= step - rate * after <= count_off and not steps.turns_follow(
                        step, after, rate, stale_s, tick
                    ):
                        break
                    if stood:
                        stale_s = max(0.98 * stale_s, now_s - time_s)
                        base.stale_until_s = now_s + (BEAT_S if steps.whole else 0.0)
                    elif stale_s and now_s > base.stale_until_s:
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
                    stood = abs(rate or 0.0) * (now_s - time_s) * per_turn > 1.5
            if rpm is not None:
                by_time = None
                steps.refused_rpm = max(steps.refused_rpm - FORGIVEN, 0.0)
                base.follow_rpm(now_s, rpm)
            clock, time_s, said_v = row[at_clock], now_s, row[at_volts]
            times.append(now_s)
            wheel.append(rpm if at_counts is None else turns)
        if times:
            if at_counts is not None and steps.width.in_a_byte:
                for row in rows[: len(times)]:
                    steps.width.see(row[at_counts])
            if steps.whole and at_counts is not None:
                said = rows[: len(times)]
                steps.see_more_counts([(row[at_clock] * tick, row[at_counts]) for row in said], tick)
            steps.clocks.keep_pace(base, times, arrival_s - base.arrival_s)
            steps.clocks.rolled_over(clock, clock)
            base.clock, base.time_s, base.arrival_s = clock, time_s, arrival_s
            base.turns, base.turned_s, base.stale_s, base.stood = turns, turned_s, stale_s, stood
            if at_counts is not None:
                base.counts = counts
            if battery is not None:
                base.volts = battery.of(rows[len(times) - 1])
        return times, wheel, by_time

    def _rpm_goes_on(self, base: LineState, rpm: float, now_s: float) -> bool:
        """Whether own rpm surely goes on. A wheel that stood may go on standing, but the first zero is looked at."""
        last, steps = base.rpm, self._steps
        if last is None or base.dead or steps.dead_rpm.dead or (rpm == 0.0 and last != 0.0):
            return False
        return abs(rpm - last) <= self._little_rpm or (rpm_alike(rpm, last) and steps.rpm_follows(base, rpm, now_s))


def _within(row: Row, bounds: list[tuple[int, float, float]]) -> bool:
    return all(low <= row[place] <= high for place, low, high in bounds)


def _readings(names: tuple[str, ...], limits: Limits) -> tuple[_Reading, ...]:
    """The readings among these names: of two for the same one, the first counts."""
    found: dict[str, _Reading] = {}
    for wire_name, (row, _) in BY_WIRE_NAME.items():
        if wire_name not in names or row.name in found:
            continue
        place, per, (low, high) = names.index(wire_name), limits.per[wire_name], limits.surely(wire_name)
        found[row.name] = _Reading(row.name, place, per, limits.signless(row), low, high)
    return tuple(found.values())
