"""Fields to samples: SI units, unwrapped clock and counter, and what can't be true taken out.

An XOR lets some false lines through, so each line is weighed against the ones before it. A line that does not follow
is *held* for one line: if the next one follows the old state, the held line was false and is dropped and counted; if
the next one follows the held line, the change was real (a restart, a reset counter, a gap, a hard spin-up). On a
damaged line two have to follow a clock, or own rpm that is far off.
"""

from __future__ import annotations

import math
from collections import Counter
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

from fieldtune.frozen import frozen
from fieldtune.link.limits import Limits
from fieldtune.link.samples import Sample
from fieldtune.link.text.wire_numbers import LARGEST
from fieldtune.link.validation.clock_judge import SECONDS
from fieldtune.link.validation.derived_values import DerivedValues
from fieldtune.link.validation.line_changes import change_goes_on, changed_state
from fieldtune.link.validation.line_order import OVERTAKEN, TWICE
from fieldtune.link.validation.no_reading import ImpossibleAgain
from fieldtune.link.validation.no_speed import why_no_own_rpm
from fieldtune.link.validation.nominal_time import NominalTime
from fieldtune.link.validation.plausibility import Continuity
from fieldtune.link.validation.two_robots import TwoRobots

if TYPE_CHECKING:
    from fieldtune.link.text.wire_values import WireValues
    from fieldtune.link.validation.line_state import LineState
    from fieldtune.robot.model import Robot

_SETTLED_FAULT = 4  # lines in a row after which an out-of-range reading is a broken sensor, not a broken line
_MOST_BEHIND = 12
_STEEP = 0.25  # of the speed
_CLOCK_GIVEN_UP = 12  # refused clocks in a row after which the host's arrival time is the better clock
_CLOCK_APART = 12  # lines of the wheel without a clock, and none with one, after which arrival times it


@frozen
class _Held:
    """A line that does not follow in its ``reason``, until the next decides. ``base``: what is known behind it if it is
    true; ``alike``: others that agree with it, where three have to.
    """

    wire: WireValues
    number: int
    arrival: float
    base: LineState
    sample: Sample
    reason: str
    alike: tuple[Sample, ...] = ()


class LineWeigher:
    """Weighs records one after another; ``take`` appends the samples that hold.

    ``dropped`` counts lines refused here by cause, ``notices`` what is no fault: restarts, roll-overs, gaps, jumps.
    """

    def __init__(self, robot: Robot) -> None:
        self.dropped: Counter[str] = Counter()
        self.good = 0
        self._limits = Limits.of(robot)
        self._continuity = Continuity(self._limits)
        self.notices = self._continuity.notices
        self._derived = DerivedValues(robot, self._limits, self.notices)
        self._base: LineState | None = None
        self._left_s = 0.0, math.inf  # time and arrival of the last line before all was begun anew
        self._held: _Held | None = None
        self._own_rpm: float | None = None  # of the last line, as corrected
        self._behind: list[Sample] = []  # of lines of other readings than what the held one changed
        self._seen: WireValues | None = None
        self._last: WireValues | None = None
        self._out_of_range: Counter[str] = Counter()
        self._again = ImpossibleAgain()
        self._refused_clocks = 0
        most = self._limits.wheel_rpm / 60 * (self._limits.counts_per_turn or math.inf)
        self._two_robots = TwoRobots(most)
        self._nominal = NominalTime()
        self._by_time: float | None = None
        """What it says of the next line, if that was asked already."""
        self._fired: float | None = None
        self._odd_fired: float | None = None
        self._counts_shots = False

    @property
    def clock(self) -> Literal["robot", "arrival", "unknown"]:
        """``robot``, ``arrival`` (the host's clock stands in) or ``unknown`` (no line yet)."""
        if self._base is None:
            return "unknown"
        return "arrival" if self._base.clock is None else "robot"

    @property
    def two_robots(self) -> bool:
        """Whether two robots speak in turn."""
        return self._two_robots.sure

    @property
    def waits(self) -> bool:
        """Whether the last line says something so unlike the ones before that the next one has to agree."""
        return self._held is not None

    @property
    def why_no_own_rpm(self) -> str:
        """Why the robot's own rpm is no speed now, in words; empty where it is one."""
        return why_no_own_rpm(self._continuity.dead_rpm, self._base)

    @property
    def clock_fault(self) -> str | None:
        """What is wrong with the robot's own clock, in words; None where nothing is, or there is none."""
        clocks = self._continuity.clocks
        return clocks.fault or clocks.off

    def trust_clock(self) -> None:
        """Arrival times are made up: they say nothing of the robot's clock."""
        self._continuity.clocks.judging = False

    @property
    def tick_s(self) -> float:
        """Uncertainty of a sample's time, seconds: the clock's resolution, or the jitter of arrival."""
        base = self._base
        return self._continuity.clocks.arrival.tick_s if base is None or base.clock is None else base.tick

    @property
    def jitter_s(self) -> float:
        """How late lines are by turns, where they have no clock and overtake each other; else 0."""
        return self._continuity.clocks.arrival.jitter_s

    @property
    def reading_s(self) -> float:
        """Seconds between two readings of a counter read oftener than printed; 0 where each line has its own."""
        return self._continuity.ages.between_s

    @property
    def damaged(self) -> int:
        """Lines refused here that a faulty wire makes; one said twice, or overtaken by another, is none of them."""
        return self.dropped.total() - self.dropped[TWICE] - self.dropped[OVERTAKEN]

    def reconnected(self) -> None:
        """The line was closed and opened again: nothing held survives, and the next lines say where the robot is."""
        self._refuse_held()
        self._last = None

    def begin_anew(self) -> None:
        """Nothing is known of clock and wheel any more: the robot's clock isn't trusted, or it is another robot."""
        if self._held is not None:
            self.dropped["not followed"] += 1
        if self._base is not None:
            self._left_s = self._base.time_s, self._base.arrival_s
        self._base = self._held = None
        self._behind.clear()
        self._nominal = NominalTime()

    def take(self, wire: WireValues, number: int, arrival: float, out: list[Sample]) -> None:
        """Weighs one record that arrived at ``arrival`` (host seconds); appends what is now believed to ``out``."""
        by_time, self._by_time = self._by_time, None
        for whole in (wire.t_ms, wire.t_us, wire.wheel_counts, wire.fired):
            if whole is not None and not -LARGEST < whole < LARGEST:
                self.dropped["impossible number"] += 1
                return
        self._derived.work_out(wire)
        try:
            sample = self._continuity.measured(wire, arrival)
        except OverflowError:  # a reading of some hundred digits
            self.dropped["impossible number"] += 1
            return
        if wire.fired is not None:
            sample.fired = self._has_fired(float(wire.fired))
        if wire != self._seen and self._continuity.clocks.judge(wire, arrival):
            self.notices[SECONDS] = int(self._continuity.clocks.unit.counts_seconds)
            self.begin_anew()
        self._seen = wire
        odd = self._continuity.odd
        if odd and not self._settled(sample, odd):
            return
        if self._out_of_range and not odd:
            self._out_of_range.clear()
        doubtful = self._held is not None or self._base is None
        if self._two_robots.see(wire, sample.wheel_rpm, sample.battery_v, arrival, doubtful):
            self.notices["lines of two robots mixed: unplug one"] += 1
        self._continuity.mixed = self._two_robots.sure
        if sample.wheel_rpm is not None:
            if by_time is None:  # else it was seen
                self._continuity.dead_rpm.see(sample.wheel_rpm)
            clock, tick = self._continuity.clocks.reading(wire)
            if clock is not None:
                was = self._nominal.sure and by_time is None
                rpm = self._nominal.see(clock * tick, sample.wheel_rpm) if by_time is None else by_time
                sample.wheel_rpm = rpm
                self.notices["own rpm by a nominal time"] += self._nominal.sure and not was
            zeros = self._continuity.dead_rpm.zeros
            if zeros.are_readings:
                sample.wheel_rpm, sample.averaged = zeros.mean, True
        base, self._own_rpm = self._base, sample.wheel_rpm
        if base is None:
            self._open(wire, number, arrival, sample, out)
            return
        if wire == self._last and base.clock is not None:
            self.dropped[TWICE] += 1
            return
        self._continuity.see_counts(wire, number)
        reason = self._continuity.fault(base, wire, number, sample)
        if reason is not None:
            self._weigh(base, wire, number, arrival, sample, reason, out)
            return
        held = self._held
        if held is not None:
            if held.reason == "wheel" and (_same_count(held.wire, wire) or change_goes_on(base, held.base, sample)):
                self._believe(held, wire, number, sample, out)
                return
            if not _says_nothing_of(held.reason, sample, wire) or len(self._behind) >= _MOST_BEHIND:
                self._refuse_held(out)
        self._refused_clocks = 0
        self._last = wire
        self._continuity.advance(base, wire, number, sample)
        (out if self._held is None else self._behind).append(sample)
        if self._continuity.untimed >= _CLOCK_APART and self._continuity.clocks.judging:
            self._continuity.clocks.distrust("the robot's clock stands on lines of its own")
            self.begin_anew()

    def _has_fired(self, fired: float) -> bool:
        """Whether a shot leaves now, by 0 and 1, or by how many have left so far."""
        before, odd = self._fired, self._odd_fired
        if before is not None and fired > 1 and fired not in (before, before + 1, odd):
            self._odd_fired = fired  # a digit was damaged; a number of shots is said again
            return False
        self._fired, self._odd_fired = fired, None
        self._counts_shots = self._counts_shots or fired > 1
        return fired > (fired if before is None else before) if self._counts_shots else fired != 0

    def _open(self, wire: WireValues, number: int, arrival: float, sample: Sample, out: list[Sample]) -> None:
        """The first line is believed as soon as a second one follows it."""
        held = self._held
        if held is not None:
            ahead = self._continuity.fault(held.base, wire, number, sample, loose=True)
            if ahead is None:
                self._believe(held, wire, number, sample, out)
                return
            self._refuse_held(out)
        time_s = self._left_s[0] + max(arrival - self._left_s[1], 0.0)
        begun = self._continuity.begun(wire, number, sample, time_s)
        self._held = _Held(wire, number, arrival, begun, sample, "not followed")

    def _weigh(
        self,
        base: LineState,
        wire: WireValues,
        number: int,
        arrival: float,
        sample: Sample,
        reason: str,
        out: list[Sample],
    ) -> None:
        """A line that does not follow: confirm the held one by it, or hold it."""
        held = self._held
        if held is not None:
            fresh = self._continuity.measured(wire, arrival)
            fresh.fired, fresh.wheel_rpm = sample.fired, self._own_rpm
            for name in self._continuity.odd:
                setattr(fresh, name, None)
            # One that departs in another respect is another false line, and confirms nothing.
            alike = reason == held.reason and self._continuity.fault(held.base, wire, number, fresh, loose=True) is None
            if alike:
                if not held.alike and self._needs_a_third(base, wire, reason):
                    self._held = replace(held, alike=(fresh,))
                else:
                    self._believe(held, wire, number, fresh, out)
                return
            self._refuse_held(out)
            if self._base is None:  # its clock is given up
                self._open(wire, number, arrival, sample, out)
                return
        changed = changed_state(self._continuity, base, wire, number, sample, reason)
        self._held = _Held(wire, number, arrival, changed, sample, reason)

    def _needs_a_third(self, base: LineState, wire: WireValues, reason: str) -> bool:
        """Whether a change may be two false lines that lost the same digit: of the clock, or own rpm far off."""
        if not self._continuity.noisy or reason == "battery":
            return False
        if reason == "clock":
            return True
        rpm = self._own_rpm if wire.wheel_counts is None else None
        return rpm is not None and base.rpm is not None and abs(rpm - base.rpm) > _STEEP * base.rpm

    def _believe(self, held: _Held, wire: WireValues, number: int, sample: Sample, out: list[Sample]) -> None:
        if held.base.change is not None:
            self.notices[held.base.change] += 1
            if held.base.change == "counter jump" and self._base is not None:
                self._continuity.width.see_jump(self._base, held.base)
        self._held = None
        self._refused_clocks = 0
        self._base = held.base
        self._last = wire
        out.append(held.sample)
        self._behind = sorted([*held.alike, *self._behind], key=lambda sample: sample.time_s)
        self._let_out(out)
        self._continuity.fault(held.base, wire, number, sample, loose=True)
        self._continuity.advance(held.base, wire, number, sample)
        out.append(sample)

    def _let_out(self, out: list[Sample]) -> None:
        """The samples that came behind the held one."""
        out += self._behind
        self._behind.clear()

    def _refuse_held(self, out: list[Sample] | None = None) -> None:
        self._let_out([] if out is None else out)
        held, self._held = self._held, None
        if held is None:
            return
        if held.reason == "wheel" and self._base is not None:
            self._continuity.refused(self._base, held.wire)
        cause = "impossible " + held.reason if held.reason != "not followed" else held.reason
        self.dropped[cause] += 1 + len(held.alike)
        if held.reason == "clock" and self._base is not None:
            self._refused_clocks += 1
            if self._refused_clocks >= _CLOCK_GIVEN_UP:
                self._continuity.clocks.distrust("the robot's clock jumps")
                self.begin_anew()

    def _settled(self, sample: Sample, found: list[str]) -> bool:
        """True if the impossible readings have come again and again: they are unknown then, the rest counts."""
        unknown = True
        for name in found:
            self._out_of_range[name] += 1
            again = self._again.see(name, getattr(sample, name))
            unknown = unknown and (again or self._out_of_range[name] >= _SETTLED_FAULT)
        if not unknown:
            self.dropped[f"impossible {found[0].rsplit('_', 1)[0]}"] += 1
            return False
        for name in found:
            self.notices[f"{name.rsplit('_', 1)[0]} out of range"] += 1
            setattr(sample, name, None)
        return True


def _says_nothing_of(reason: str, sample: Sample, wire: WireValues) -> bool:
    """Whether a line has nothing of what a held one changed: it bears that out as little as it speaks against it."""
    if reason == "wheel":
        return sample.wheel_rpm is None and wire.wheel_counts is None
    return reason == "battery" and sample.battery_v is None


def _same_count(held: WireValues, wire: WireValues) -> bool:
    """Whether the counter was not read anew between two lines: then what the first one says is no damage."""
    return held.wheel_counts is not None and held.wheel_counts == wire.wheel_counts
