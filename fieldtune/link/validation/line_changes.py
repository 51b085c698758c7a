"""What it would mean if a line that does not follow were true: a change of the wheel, a restart, a gap, a jump."""

from __future__ import annotations

from dataclasses import replace

from fieldtune.link.samples import Sample
from fieldtune.link.text.wire_values import WireValues
from fieldtune.link.validation.line_state import AHEAD_S, LineState
from fieldtune.link.validation.plausibility import PATIENCE_S, Continuity

_NEAR_ZERO_S = 20.0  # a controller that restarted says so within seconds
_AT_ONCE_S = 0.05
_FELL = 0.7
_SAME_WAY = 0.3


def changed_state(
    steps: Continuity, base: LineState, wire: WireValues, number: int, sample: Sample, reason: str
) -> LineState:
    """The state in which this line would be true although it does not follow ``base``, and why."""
    since = sample.arrival_s - base.arrival_s
    waited = max(since, base.period, base.tick)
    elapsed = steps.clocks.elapsed(base, wire, number, since)
    near = steps.noisy and elapsed is not None and 0 < elapsed - since < AHEAD_S
    timed = elapsed is not None and _agrees(elapsed, waited) and (reason != "clock" or near)
    turned = wire.wheel_counts is not None and steps.limits.counts_per_turn is not None
    if timed and (steps.fault(base, wire, number, sample, loose=True) is None or not turned):
        follows = replace(base, trail=base.trail.copy(), rpms=base.rpms.copy(), change=None)
        if reason == "wheel":
            while len(follows.trail) > 1:
                follows.trail.popleft()
        steps.advance(follows, wire, number, sample)
        return follows
    change = _kind_of_change(steps, base, wire, elapsed, waited)
    # A false clock leaves the wheel as it was; no controller restarts at once.
    goes_on = steps.noisy and base.rpm is not None and (change != "restart" or waited < _AT_ONCE_S)
    if goes_on and sample.wheel_rpm is not None:
        possible = steps.rpm_follows(base, sample.wheel_rpm, base.time_s + waited, loose=True)
        sample.wheel_rpm = sample.wheel_rpm if possible else None
    changed = steps.begun(wire, number, sample, base.time_s + max(waited, 1e-4), change)
    changed.period, changed.scatter, changed.late_s = base.period, base.scatter, base.late_s
    if goes_on and changed.rpm is None:
        changed.rpm, changed.rpm_s = base.rpm, changed.time_s - waited
    return changed


def change_goes_on(base: LineState, after: LineState, sample: Sample) -> bool:
    """Whether the line between ``base`` and ``sample``, which led to ``after``, began a change that goes on.

    A false line is an excursion: the one behind it is back where the wheel was. A shot or a hard spin-up is not.
    """
    if after.change is not None:
        return False
    if sample.wheel_rpm is not None and base.rpm is not None and after.rpm is not None:
        first, then = after.rpm - base.rpm, sample.wheel_rpm - base.rpm
        return first * then > 0 and abs(then) >= 0.5 * abs(first)
    rate = base.rate
    if sample.turns is None or rate is None or after.turned_s <= base.turned_s or sample.time_s <= after.turned_s:
        return False
    first = (after.turns - base.turns) / (after.turned_s - base.turned_s) - rate
    then = (sample.turns - after.turns) / (sample.time_s - after.turned_s) - rate
    return first * then > 0 and abs(then) >= _SAME_WAY * abs(first)


def _agrees(elapsed: float, waited: float) -> bool:
    return abs(elapsed - waited) <= 0.35 + 0.25 * waited


def _kind_of_change(steps: Continuity, base: LineState, wire: WireValues, elapsed: float | None, waited: float) -> str:
    """What it would mean, if the next line agrees."""
    clock, tick = steps.clocks.reading(wire)
    counts = None if wire.wheel_counts is None else int(wire.wheel_counts)
    clock_fell = clock is not None and base.clock is not None and clock < _FELL * base.clock
    young = clock_fell and clock is not None and clock * tick <= _NEAR_ZERO_S + waited
    if young and (counts is None or base.counts is None or _near_zero(steps, counts, base.counts, (clock or 0) * tick)):
        return "restart"
    if elapsed is not None and _agrees(elapsed, waited):
        return "gap" if elapsed > PATIENCE_S else "counter jump"
    return "clock jump"


def _near_zero(steps: Continuity, counts: int, before: int, seconds: float) -> bool:
    """Whether the counter can have started from zero when the clock did."""
    per_turn = steps.limits.counts_per_turn or 1.0
    reach = steps.limits.wheel_rpm / 60 * per_turn * max(seconds, 0.05)
    return abs(steps.width.signed(counts)) <= max(min(reach, _FELL * abs(steps.width.signed(before))), per_turn)
