"""Where the line stands: the last believed line's clock and counter, and what may follow it."""

from __future__ import annotations

from collections import Counter, deque
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from fieldtune.link.sample import Limits, Sample
from fieldtune.link.wire import Wire

IntArray = NDArray[np.int64]

_WRAP = 2**32
_NEAR_ZERO_S = 20.0  # a controller that restarted says so within seconds
AHEAD_S = 0.25
_FELL = 0.7
_PATIENCE_S = 0.5  # a longer silence, or a clock ahead of the host's by more, has to be confirmed


@dataclass(slots=True)
class Base:
    """State behind the last believed line. ``clock`` is the robot's reading in ticks, None where arrival serves."""

    clock: float | None
    tick: float
    counts: int | None
    sample: Sample
    period: float = 0.0
    turns: float = 0.0
    turned_s: float = 0.0
    rpm: float | None = None
    volts: float | None = None
    trail: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=8))
    story: str | None = None


class Steps:
    """Rules for going from one line to the next, for one robot."""

    def __init__(self, limits: Limits) -> None:
        self.notices: Counter[str] = Counter()
        self._limits = limits
        self._trust_clock = True
        self._modulus = 1 << limits.counter_bits
        self._half = self._modulus >> 1

    def distrust_clock(self) -> None:
        """From now on the host's arrival time is the clock."""
        self._trust_clock = False

    def measured(self, wire: Wire, arrival: float) -> Sample:
        """The line in SI, not yet placed in time."""
        volts, amps, metres = wire.battery_v, wire.current_a, wire.distance_m
        if wire.battery_mv is not None:
            volts = wire.battery_mv / 1000
        if wire.current_ma is not None:
            amps = wire.current_ma / 1000
        if wire.distance_mm is not None:
            metres = wire.distance_mm / 1000
        fired = wire.fired
        return Sample(
            0.0,
            arrival,
            None,
            wire.wheel_rpm,
            wire.wheel2_rpm,
            volts,
            amps,
            metres,
            wire.setpoint,
            wire.power_pct,
            wire.draw_mm,
            None if fired is None else fired != 0,
        )

    def begun(self, wire: Wire, sample: Sample, time_s: float, story: str | None = None) -> Base:
        """A state that rests on this line alone."""
        clock, tick = self._clock(wire)
        sample.time_s, sample.fresh = time_s, True
        counts = None if wire.wheel_counts is None else int(wire.wheel_counts)
        per_turn = self._limits.counts_per_turn
        base = Base(clock, tick, counts, sample, rpm=sample.wheel_rpm, volts=sample.battery_v, story=story)
        if counts is not None and per_turn is not None:
            sample.turns = 0.0
            base.turned_s = time_s
            base.trail.append((time_s, 0.0))
        return base

    def _clock(self, wire: Wire) -> tuple[float | None, float]:
        if self._trust_clock:
            if wire.t_us is not None:
                return wire.t_us, 1e-6
            if wire.t_ms is not None:
                return wire.t_ms, 1e-3
        return None, 0.005

    def wrapped(self, steps: IntArray) -> IntArray:
        """Signed counts of differences (n,) over the counter's roll-over."""
        return (steps + self._half) % self._modulus - self._half

    def count_wraps(self, steps: IntArray) -> None:
        """Notes the roll-overs among differences (n,)."""
        wraps = int(np.count_nonzero(np.abs(steps) > self._half))
        if wraps:
            self.notices["counter roll-over"] += wraps

    def surprise(self, base: Base, wire: Wire, sample: Sample, loose: bool = False) -> str | None:
        """Why this line does not follow ``base``, or None; places ``sample`` in time and turns when it does.

        ``loose`` asks only for what is physically possible, for a change that two lines agree on.
        """
        if self._timeless(base, wire):
            # A line without the clock that the others have tells its readings, but no wheel can be timed by it.
            sample.time_s, sample.wheel_rpm = base.sample.time_s, None
            return self._readings_follow(base, sample, loose)
        elapsed = self._elapsed(base, wire, sample)
        if elapsed is None or elapsed > (10.0 if loose else max(_PATIENCE_S, 6 * base.period)):
            return "clock"
        if not loose and elapsed - (sample.arrival_s - base.sample.arrival_s) > AHEAD_S:
            return "clock"  # ahead of the host, which can only get lines late
        sample.time_s = base.sample.time_s + elapsed
        limits = self._limits
        if wire.wheel_counts is not None and base.counts is not None and limits.counts_per_turn is not None:
            step = self._step(base, int(wire.wheel_counts)) / limits.counts_per_turn
            if not self._wheel_follows(base, step, sample.time_s - base.turned_s, loose):
                return "wheel"
            sample.turns = base.turns + step
        if wire.wheel_rpm is not None and base.rpm is not None:
            change = (abs(wire.wheel_rpm) - abs(base.rpm)) / 60
            room = 0.04 * max(abs(base.rpm) / 60, limits.wheel_rpm / 1200)
            rise = (limits.accel_rps2 if loose else limits.tight_rps2) * elapsed
            if change > room + rise or (not loose and -change > room + rise):
                return "wheel"
        return self._readings_follow(base, sample, loose)

    def _timeless(self, base: Base, wire: Wire) -> bool:
        return base.clock is not None and wire.t_ms is None and wire.t_us is None

    @staticmethod
    def _readings_follow(base: Base, sample: Sample, loose: bool) -> str | None:
        volts, before = sample.battery_v, base.volts
        if not loose and volts is not None and before is not None and abs(volts - before) > 0.15 * before + 0.3:
            return "battery"
        return None

    def _elapsed(self, base: Base, wire: Wire, sample: Sample) -> float | None:
        """Seconds since ``base`` by the line's clock, None if the clock went where no clock goes."""
        clock, tick = self._clock(wire)
        if clock is None or base.clock is None:
            return self._by_arrival(base, sample)
        ticks = clock - base.clock
        if tick != base.tick:
            ticks = clock - base.clock * base.tick / tick
        if ticks < 0:
            ticks += _WRAP
            if base.clock >= _WRAP or ticks * tick > 10.0:
                return None
        return ticks * tick

    @staticmethod
    def _by_arrival(base: Base, sample: Sample) -> float:
        """Arrival comes in bursts; a slow filter on the period spreads them (alpha-beta, gains 1/10 and 1/200)."""
        since = max(sample.arrival_s - base.sample.arrival_s, 0.0)
        if base.period == 0.0:
            return since
        late = sample.arrival_s - (base.sample.time_s + base.period)
        if abs(late) > 4 * base.period + 0.1:
            return max(sample.arrival_s - base.sample.time_s, 1e-4)
        return max(base.period + 0.1 * late, 1e-4)

    def _step(self, base: Base, counts: int) -> int:
        """Signed counts since ``base``, over the counter's roll-over."""
        return (counts - (base.counts or 0) + self._half) % self._modulus - self._half

    def _wheel_follows(self, base: Base, step: float, elapsed: float, loose: bool) -> bool:
        limits = self._limits
        fastest = limits.wheel_rpm / 60
        noise = 1.5 / (limits.counts_per_turn or 1.0)
        rate = self._rate(base)
        if rate is None:
            return abs(step) <= fastest * (elapsed + base.tick) + noise
        noise += 1.2 * base.tick * abs(rate)
        if not loose:
            room = noise + 0.06 * abs(rate) * elapsed + limits.tight_rps2 * elapsed * elapsed / 2
            return abs(step - rate * elapsed) <= room
        forward = step if rate >= 0 else -step
        limit = min((abs(rate) + limits.accel_rps2 * elapsed) * elapsed, fastest * (elapsed + base.tick))
        return -noise - 0.2 * fastest * elapsed <= forward <= limit + noise

    @staticmethod
    def _rate(base: Base) -> float | None:
        """Turns a second over the last lines; None with fewer than two."""
        trail = base.trail
        if len(trail) < 2:
            return None
        (start, turns), (end, last) = trail[0], trail[-1]
        return (last - turns) / (end - start) if end > start else None

    def advance(self, base: Base, wire: Wire, sample: Sample) -> None:
        """Moves ``base`` on to a line that follows it."""
        if sample.battery_v is not None:
            base.volts = sample.battery_v
        if self._timeless(base, wire):
            base.sample = sample
            return
        elapsed = sample.time_s - base.sample.time_s
        before, (base.clock, base.tick) = base.clock, self._clock(wire)
        if before is not None and base.clock is not None and base.clock < before:
            self.notices["clock roll-over"] += 1
        if base.period == 0.0:
            base.period = min(elapsed, 2.0)
        elif elapsed < 6 * base.period:
            base.period += (0.05 if base.clock is not None else 0.005) * (elapsed - base.period)
        if wire.wheel_counts is not None:
            self._turn(base, int(wire.wheel_counts), sample)
        if sample.wheel_rpm is not None:
            base.rpm = sample.wheel_rpm
        base.sample = sample

    def _turn(self, base: Base, counts: int, sample: Sample) -> None:
        if base.counts is not None and abs(counts - base.counts) > self._half:
            self.notices["counter roll-over"] += 1
        base.counts = counts
        if sample.turns is None and self._limits.counts_per_turn is not None:
            sample.turns = base.turns
        if sample.turns is not None:
            base.turns, base.turned_s = sample.turns, sample.time_s
            base.trail.append((sample.time_s, sample.turns))

    def branched(self, base: Base, wire: Wire, sample: Sample, reason: str) -> Base:
        """The state in which this line would be true although it does not follow ``base``, and why."""
        waited = max(sample.arrival_s - base.sample.arrival_s, base.period, base.tick)
        elapsed = self._elapsed(base, wire, sample)
        if elapsed is not None and self._agrees(elapsed, waited) and reason != "clock":
            physical = self.surprise(base, wire, sample, loose=True)
            if physical is None:
                follows = replace(base, trail=base.trail.copy(), story=None)
                if reason == "wheel":
                    while len(follows.trail) > 1:
                        follows.trail.popleft()
                self.advance(follows, wire, sample)
                return follows
        story = self._story(base, wire, elapsed, waited)
        changed = self.begun(wire, sample, base.sample.time_s + max(waited, 1e-4), story)
        changed.period = base.period
        return changed

    @staticmethod
    def _agrees(elapsed: float, waited: float) -> bool:
        return abs(elapsed - waited) <= 0.35 + 0.25 * waited

    def _story(self, base: Base, wire: Wire, elapsed: float | None, waited: float) -> str:
        """What it would mean, if the next line agrees."""
        clock, tick = self._clock(wire)
        counts = None if wire.wheel_counts is None else int(wire.wheel_counts)
        clock_fell = clock is not None and base.clock is not None and clock < _FELL * base.clock
        young = clock_fell and clock is not None and clock * tick <= _NEAR_ZERO_S + waited
        if young and (counts is None or base.counts is None or self._near_zero(counts, base.counts, clock or 0, tick)):
            return "restart"
        if elapsed is not None and self._agrees(elapsed, waited):
            return "gap" if elapsed > _PATIENCE_S else "counter jump"
        return "clock jump"

    def _near_zero(self, counts: int, before: int, clock: float, tick: float) -> bool:
        """Whether the counter can have started from zero when the clock did."""
        signed = (counts + self._half) % self._modulus - self._half
        per_turn = self._limits.counts_per_turn or 1.0
        reach = self._limits.wheel_rpm / 60 * per_turn * max(clock * tick, 0.05)
        earlier = (before + self._half) % self._modulus - self._half
        return abs(signed) <= max(min(reach, _FELL * abs(earlier)), per_turn)
