"""What may follow the last believed line: a clock that goes on, a wheel within its motor's power, a battery."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable

from fieldtune.line_fields import BY_WIRE_NAME
from fieldtune.link.limits import (
    COUNTS_OFF,
    EDGE_COUNTS,
    LEAST_SPEED,
    RPM_OFF,
    SCATTERS_OFF,
    SPEED_OFF,
    TICKS_OFF,
    VOLTS_OFF,
    Limits,
)
from fieldtune.link.samples import Sample
from fieldtune.link.text.wire_values import WireValues, all_readings, own_rpm
from fieldtune.link.validation.clock import Clocks
from fieldtune.link.validation.counter_width import CounterWidth
from fieldtune.link.validation.dead_rpm import DeadRpm
from fieldtune.link.validation.line_state import A_COUNT, LineState
from fieldtune.link.validation.reading_age import ReadingAge
from fieldtune.link.validation.rpm_falls import STILL, RpmFalls

PATIENCE_S = 0.5  # a longer silence, or a clock ahead of the host's by more, has to be confirmed
_LONG_S = 10.0
_FALL = 0.35  # of its speed is the most that an element can take from a wheel at once
STOOD_S = 0.5  # without a new count: what the wheel did before says nothing of it any more
_COARSE = 8  # score of own rpm refused for a count too much or too little, from which on that much is allowed
_SELDOM = 0.2  # what a good line takes off that score while lines are damaged: a lost digit may look like a count
_LIKE_A_COUNT = 0.6, 1.5  # counts that pass for one, as a clock in whole ms makes the times between lines uneven
BEAT_S = 2.5  # a counter that is read nearly as often as lines are printed is not read anew for one of them so often
_ROUGH, FORGIVEN, _LEARN = 8.0, 0.05, 0.3  # refused lines; what a good one makes up for; share learnt of each
_SURE_SCATTERS = 1.5 * SCATTERS_OFF  # where no line was damaged lately
_NOISY_S = 0.02
_LATE = 0.6  # of a period: later than this, a line may have been lost on the way


class Continuity:
    """Rules for going from one line to the next, for one robot. ``number``: which line of all it is."""

    def __init__(self, limits: Limits) -> None:
        self.notices: Counter[str] = Counter()
        self.clocks = Clocks()
        self.limits = limits
        self.noisy = False  # whether lines were damaged lately
        self.whole: bool | None = None  # no line was damaged for long: odd readings are the program's own
        self.ages = ReadingAge()
        self._seen_counts: int | None = None
        self.dead_rpm, self.falls = DeadRpm(), RpmFalls(limits)
        self.mixed = False  # whether two robots talk on the line
        self.width = CounterWidth(limits, self.notices)
        self._rows = [
            (
                row.name,
                limits.per[wire.name],
                row.signless or (row.name == "setpoint" and limits.setpoint_is_speed),
                *limits.of_readings[row.name],
            )
            for row, wire in BY_WIRE_NAME.values()
        ]
        self._which: list[int] = []  # of the rows, those that lines of late name
        self._named = self.kinds = 0  # how often lines named other readings than the one before
        self.odd: list[str] = []
        self._by_a_count = 0.0
        self.refused_rpm = 0.0  # own rpm that was refused of late, a little less for each that was not
        self.untimed = 0  # lines with the wheel's speed, but no clock, since the last that had both

    def measured(self, values: WireValues, arrival: float) -> Sample:
        """The line in SI, not yet placed in time. A wheel counts as turning forwards, whichever way it is wired.

        ``odd`` says then which of its readings this robot can't produce.
        """
        said = all_readings(values)
        named = len(said) - said.count(None)
        if named != self._named:
            self._which, self._named = self._first_of_each(said), named
            self.kinds += 1
        sample = Sample(time_s=0.0, arrival_s=arrival, fired=None if values.fired is None else values.fired != 0)
        if self.odd:
            self.odd = []
        rows = self._rows
        for i in self._which:
            number = said[i]
            if number is None:  # as many names, but others
                self._named = -1
                return self.measured(values, arrival)
            name, per, turned, low, high = rows[i]
            value = number / per
            if turned and value < 0:
                value = -value
            setattr(sample, name, value)
            if not low <= value <= high:
                self.odd.append(name)
        return sample

    def _first_of_each(self, said: tuple[int | float | None, ...]) -> list[int]:
        """Which of the values on a line become readings: of two for the same one, the first."""
        which: dict[str, int] = {}
        for i, value in enumerate(said):
            if value is not None:
                which.setdefault(self._rows[i][0], i)
        return list(which.values())

    def begun(
        self, wire: WireValues, number: int, sample: Sample, time_s: float, change: str | None = None
    ) -> LineState:
        """A state that rests on this line alone."""
        clock, tick = self.clocks.reading(wire)
        sample.time_s, sample.fresh = time_s, True
        counts = None if wire.wheel_counts is None else int(wire.wheel_counts)
        base = LineState(clock, tick, counts, time_s, sample.arrival_s, volts=sample.battery_v, change=change)
        if sample.wheel_rpm is not None:
            base.follow_rpm(time_s, sample.wheel_rpm)
        if clock is None:
            base.mark = self.clocks.arrival.time_of(number)
        if counts is not None and self.limits.counts_per_turn is not None:
            sample.turns = 0.0
            base.turned_s = time_s
            base.trail.append((time_s, 0.0))
        return base

    def see_counts(self, wire: WireValues, number: int) -> None:
        """Learns from the count of any line how old such counts are."""
        if wire.wheel_counts is None or self.whole is False:
            return
        clock, tick = self.clocks.reading(wire)
        if clock is not None:  # of others those were seen, too, that are taken for overtaken
            self.width.see(int(wire.wheel_counts))
        if not self.whole:
            return
        time_s = self.clocks.arrival.time_of(number) if clock is None else clock * tick
        self.see_more_counts([(time_s, int(wire.wheel_counts))], tick)

    def see_more_counts(self, lines: Iterable[tuple[float, int]], tick: float) -> None:
        """Learns from lines how old their counts are: of each its time, with its uncertainty, and count."""
        before, half, modulus = self._seen_counts, self.width.half, self.width.modulus
        steps = []
        for time_s, counts in lines:
            steps.append((time_s, 0 if before is None else (counts - before + half) % modulus - half))
            before = counts
        self._seen_counts = before
        self.ages.see(steps, tick)

    def fault(self, base: LineState, wire: WireValues, number: int, sample: Sample, loose: bool = False) -> str | None:
        """Why this line does not follow ``base``, or None; places ``sample`` in time and turns when it does.

        ``loose`` asks only for what is physically possible, for a change that two lines agree on.
        """
        if self._timeless(base, wire):
            # A line without the clock that the others have tells its readings, but no wheel can be timed by it.
            clockless = self.clocks.reading(wire)[0] is None
            self.untimed += clockless and (sample.wheel_rpm is not None or wire.wheel_counts is not None)
            sample.time_s, sample.wheel_rpm = base.time_s, None
            return self._readings_follow(base, sample, loose)
        waited = sample.arrival_s - base.arrival_s
        elapsed = self.clocks.elapsed(base, wire, number, waited)
        if elapsed is None or elapsed > (_LONG_S if loose else max(PATIENCE_S, 6 * base.period)):
            return "clock"
        timed = base.clock is not None and self.clocks.judging  # else arrival says nothing of it
        if timed and elapsed - waited > self.clocks.ahead_s(base, self.noisy and not loose):
            return "clock"  # ahead of the host, which can only get lines late
        if not self._turns_follow(base, wire, sample, elapsed, loose):
            late = self.clocks.arrival.late()
            if loose or base.clock is not None or late < _LATE * self.clocks.arrival.period:
                return "wheel"
            if not self._turns_follow(base, wire, sample, elapsed + late, loose):
                return "wheel"
            self.clocks.arrival.believe()
        if sample.wheel_rpm is not None and self._is_dead(base, sample.wheel_rpm, sample.time_s, loose):
            self._lost(base, sample)
        elif sample.wheel_rpm is not None and not self.rpm_follows(base, sample.wheel_rpm, sample.time_s, loose):
            if not loose:
                return "wheel"
            sample.wheel_rpm = None  # unknown until it follows again, or has had the time for such a change
        return self._readings_follow(base, sample, loose)

    def _timeless(self, base: LineState, wire: WireValues) -> bool:
        """Whether a line has no time of its own: it has no clock though others do, or the clock did not move."""
        return base.clock is not None and self.clocks.reading(wire)[0] in (None, base.clock)

    def _turns_follow(self, base: LineState, wire: WireValues, sample: Sample, elapsed: float, loose: bool) -> bool:
        sample.time_s = base.time_s + elapsed
        per_turn = self.limits.counts_per_turn
        if wire.wheel_counts is None or base.counts is None or per_turn is None:
            return True
        step = self.width.signed(int(wire.wheel_counts) - base.counts) / per_turn
        sample.turns = base.turns + step
        if step == 0 or self._on_an_edge(base, step, sample.time_s):
            return True  # no new reading: many programs print oftener than they read their counter
        return self._wheel_follows(base, step, sample.time_s - base.turned_s, loose)

    def _on_an_edge(self, base: LineState, step: float, time_s: float) -> bool:
        """Whether a wheel that was to make many counts has made one: with a dead channel it goes to and fro."""
        per_turn, rate = self.limits.counts_per_turn or 1.0, base.rate
        if rate is None or abs(step) * per_turn > 1.01:
            return False
        return abs(rate) * (time_s - base.turned_s) * per_turn > EDGE_COUNTS

    def _wheel_follows(self, base: LineState, step: float, elapsed: float, loose: bool) -> bool:
        limits = self.limits
        fastest = limits.wheel_rpm / 60
        rate = 0.0 if base.still else base.rate
        if rate is None:
            return abs(step) <= fastest * (elapsed + base.tick) + COUNTS_OFF / (limits.counts_per_turn or 1.0)
        if not loose:
            return self.turns_follow(step, elapsed, rate, base.stale_s, base.tick)
        noise = self._reading_off(rate, base.stale_s, base.tick)
        forward = step if rate >= 0 else -step
        limit = min((abs(rate) + limits.accel_rps2 * elapsed) * elapsed, fastest * (elapsed + base.tick))
        return -noise - 0.2 * fastest * elapsed <= forward <= limit + noise

    def turns_follow(self, step: float, elapsed: float, rate: float, stale_s: float, tick: float) -> bool:
        """Whether so many turns, seconds after the last new count, go on plainly from that many turns a second.

        ``stale_s``: how old a count may be when it is printed.
        """
        room = self._reading_off(rate, stale_s, tick)
        room += SPEED_OFF * abs(rate) * elapsed + self.limits.tight_rps2 * elapsed * elapsed / 2
        return abs(step - rate * elapsed) <= room

    def _reading_off(self, rate: float, stale_s: float, tick: float) -> float:
        """Turns by which a reading of the counter may be off because it is rounded, and of another time."""
        off_s = TICKS_OFF * tick + 2 * max(stale_s, self.ages.between_s)
        return COUNTS_OFF / (self.limits.counts_per_turn or 1.0) + off_s * abs(rate)

    def rpm_follows(self, base: LineState, rpm: float, time_s: float, loose: bool = False) -> bool:
        """Whether own rpm goes on from that of ``base``, plainly, or ``loose``: as no more than is possible."""
        if base.rpm is None or self.dead_rpm.zeros.are_readings:
            return True
        limits, elapsed = self.limits, time_s - base.rpm_s
        change = (rpm - base.rpm) / 60
        # One of some thousand lines of a rough reading is off by four times its scatter, with nothing damaged.
        scatters = 0.0 if self.mixed else SCATTERS_OFF if self.noisy else _SURE_SCATTERS
        room = RPM_OFF * max(base.rpm, LEAST_SPEED * limits.wheel_rpm) / 60 + scatters * base.scatter
        room += base.a_count_rps(limits.counts_per_turn) if loose and self.whole else 0.0
        if not loose:
            if self._by_a_count >= _COARSE:  # own rpm is counted anew each line
                room += A_COUNT / self._counts_of(1.0)
            # Where lines are damaged and few are left, a false one would pass for a change since long before.
            return abs(change) <= room + limits.tight_rps2 * (min(elapsed, _NOISY_S) if self.noisy else elapsed)
        fall = max(room, _FALL * base.rpm / 60) + self.falls.brake_rps2(base) * elapsed
        return -fall <= change <= room + limits.accel_rps2 * elapsed

    def _counts_of(self, rps: float) -> float:
        """How many counts the wheel makes at this speed in the time of a line; 0 where the encoder isn't known."""
        return rps * (self.limits.counts_per_turn or 0.0) * min(self.clocks.line_s, 1.0)

    def refused(self, base: LineState, wire: WireValues) -> None:
        """Learns from own rpm that was refused: off by one count again and again, it goes in steps of so much.

        Where no characters were damaged for long, all that is refused again and again is how rough the reading is.
        """
        rpm = own_rpm(wire)
        if rpm is not None and base.rpm is not None:
            rps_off = abs(abs(rpm / self.limits.per["wheel_rpm"]) - base.rpm) / 60
            if self.whole:
                self.refused_rpm += 1
                if self.refused_rpm > _ROUGH:
                    base.scatter += _LEARN * max(rps_off - base.scatter, 0.0)
            off = rps_off * self._counts_of(1.0)
            self._by_a_count = min(
                max(self._by_a_count + (1 if _LIKE_A_COUNT[0] < off < _LIKE_A_COUNT[1] else -3), 0), 2 * _COARSE
            )

    def _is_dead(self, base: LineState, rpm: float, time_s: float, loose: bool) -> bool:
        """Whether own rpm is no wheel's: what it counts with is dead."""
        if self.dead_rpm.dead:
            return True
        fell = self.falls.dead(base, rpm, time_s) or (loose and self.falls.at_once(base, rpm, time_s))
        return fell and not self.dead_rpm.zeros.are_readings

    def _lost(self, base: LineState, sample: Sample) -> None:
        """From now on own rpm is none, until it is the wheel's again; a single reading tells nobody."""
        if base.dead:
            self.notices[STILL] += not base.told
            base.told = True
        else:
            base.dead, base.noise, base.as_before, base.even_since_s = True, False, 0, sample.time_s
            base.no_speed_rpm = sample.wheel_rpm or 0.0
        sample.wheel_rpm = None

    def _readings_follow(self, base: LineState, sample: Sample, loose: bool) -> str | None:
        volts, before = sample.battery_v, base.volts
        if loose or self.whole or volts is None or before is None:  # else a rough reading would cost the wheel's
            return None
        share, beside = VOLTS_OFF
        return "battery" if abs(volts - before) > share * before + beside else None

    def advance(self, base: LineState, wire: WireValues, number: int, sample: Sample) -> None:
        """Moves ``base`` on to a line that follows it."""
        if sample.battery_v is not None:
            base.volts = sample.battery_v
        if self._timeless(base, wire):
            return
        if sample.wheel_rpm is not None or wire.wheel_counts is not None:
            self.untimed = 0
        self.clocks.keep_pace(base, (sample.time_s,), sample.arrival_s - base.arrival_s)
        before, (base.clock, base.tick) = base.clock, self.clocks.reading(wire)
        if base.clock is None:
            base.mark = self.clocks.arrival.time_of(number)
        elif before is not None and self.clocks.rolled_over(before, base.clock):
            self.notices["clock roll-over"] += 1
        if wire.wheel_counts is not None:
            self._turn(base, int(wire.wheel_counts), sample)
        if sample.wheel_rpm is not None:
            self.refused_rpm = max(self.refused_rpm - FORGIVEN, 0.0)
            if self._by_a_count < _COARSE and self.whole is False:  # a digit that is lost may look like a count, too
                self._by_a_count = max(self._by_a_count - _SELDOM, 0.0)
            base.follow_rpm(sample.time_s, sample.wheel_rpm)
        base.time_s, base.arrival_s = sample.time_s, sample.arrival_s

    def _turn(self, base: LineState, counts: int, sample: Sample) -> None:
        if base.counts is not None and abs(counts - base.counts) > self.width.half:
            self.notices["counter roll-over"] += 1
        base.counts = counts
        rate = base.rate
        if base.clock is None and rate and sample.turns is not None and self.limits.counts_per_turn:
            self.clocks.arrival.compare(sample.turns - base.turns, rate, 1 / self.limits.counts_per_turn)
        if sample.turns is None and self.limits.counts_per_turn is not None:
            sample.turns = base.turns
        if sample.turns is None:
            return
        no_more = sample.turns == base.turns or self._on_an_edge(base, sample.turns - base.turns, sample.time_s)
        if no_more and base.trail:
            base.turns = sample.turns
            self._no_new_count(base, sample, rate or 0.0)
            return
        if base.stood:
            base.stale_s = max(0.98 * base.stale_s, sample.time_s - base.time_s)
            base.stale_until_s = sample.time_s + (BEAT_S if self.whole else 0.0)
        elif sample.time_s > base.stale_until_s:
            base.stale_s = 0.95 * base.stale_s if base.stale_s > 1e-4 else 0.0
        base.stood = base.still = False
        base.turns, base.turned_s = sample.turns, sample.time_s
        base.trail.append((sample.time_s, sample.turns))

    def _no_new_count(self, base: LineState, sample: Sample, rate: float) -> None:
        """Between two readings of the counter, on a wheel that turns less than a count a line, or one that stands."""
        base.stood = base.stood or abs(rate) * (sample.time_s - base.time_s) * (self.limits.counts_per_turn or 1) > 1.5
        if sample.time_s - base.turned_s > STOOD_S:
            base.trail.clear()
            base.trail.append((sample.time_s, sample.turns or 0.0))
            base.turned_s, base.stood, base.still = sample.time_s, False, True
