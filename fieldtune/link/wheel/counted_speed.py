"""The speed by the robot's counter, or why the counter says none."""

from __future__ import annotations

import math
from functools import partial
from typing import TYPE_CHECKING, NamedTuple

from fieldtune.link.validation.counter_doubts import CounterDoubts
from fieldtune.link.validation.no_speed import NO_WHEEL, STANDS_STILL
from fieldtune.link.validation.rpm_falls import NOISE, STILL
from fieldtune.link.wheel.counter_noise import CounterNoise
from fieldtune.link.wheel.wheel_speed import SpeedTrack

if TYPE_CHECKING:
    from fieldtune.link.limits import Limits

_JITTERED_S = 0.3  # of lines that overtake each other no older ones tell what the wheel does now


class LineNow(NamedTuple):
    """What is known of a line beside its readings.

    ``tick_s``: uncertainty of its time; ``thin_s``: as of ``SpeedTrack.add``; ``noisy``: lines were damaged lately;
    ``whole``: none was for long (None: none yet, but not for long); ``jitter_s``: how late lines are by
    turns; ``reading_s``: time between two readings of a counter read oftener than printed; ``too_narrow``: the counter
    may go round between two lines.
    """

    tick_s: float
    thin_s: float
    noisy: bool
    whole: bool | None
    jitter_s: float
    reading_s: float
    too_narrow: bool


class CountedSpeed:
    """Follows the wheel's turns; ``begun``: a notice of what the last line was the first to show, else empty."""

    def __init__(self, limits: Limits) -> None:
        per_turn = limits.counts_per_turn or 1.0
        self._anew = partial(SpeedTrack, 1.0 / per_turn, limits.accel_rps2)
        self.track = self._anew()
        self._doubts = CounterDoubts(per_turn)
        self._noise = CounterNoise(1.0 / per_turn, limits.accel_rps2)
        self.begun = ""

    def clear(self) -> None:
        """What comes next has no connection with what was before."""
        if self._noise.tells_no_wheel:  # it tells nothing of how the counter is read
            self.track = self._anew()
        self.track.clear()
        self._doubts.clear()
        self._noise.clear()

    @property
    def no_counter(self) -> str:
        """Why the counter is none, in words; empty where it is one."""
        return self._doubts.why or (NO_WHEEL if self._noise.tells_no_wheel else "")

    @property
    def why(self) -> str:
        """Why it says no speed, in words; empty where it does."""
        return self._doubts.why or (STANDS_STILL if self.track.dead else self.no_counter)

    def add(self, time_s: float, turns: float, before_s: float | None, line: LineNow) -> float | None:
        """Takes the turns so far; the speed, rpm, None where it isn't known. ``before_s``: time of the line before."""
        known, was_dead, self.begun = self.no_counter, self.track.dead, ""
        if self._doubts.see(turns, bool(line.whole), line.too_narrow):
            if self.no_counter != known:
                self.begun = self._doubts.why
                self.track.clear()
            return None
        track = self.track
        track.longest_s = _JITTERED_S if line.jitter_s else math.inf
        rpm = track.add(time_s, turns, line.tick_s, line.thin_s, line.noisy, before_s, line.reading_s)
        rate, whole = None if rpm is None else rpm / 60, line.whole is not False and not line.jitter_s
        if self._noise.see(time_s, turns, rate, max(line.tick_s, line.reading_s), track.reading_s, whole):
            self.begun = "" if known else NOISE
            return None
        if known:  # what was counted before is no part of this run, and tells nothing of how the counter is read
            self.track = self._anew()
        if track.dead and not was_dead:
            self.begun = STILL
        return rpm
