"""Own rpm that the robot's program smooths before it prints it, made as quick as the wheel again.

A first-order low-pass is undone by its own equation: y = x + tau x'. Of the turns that are summed from it that makes
x summed and tau x, so that its noise doesn't add up: it is that of a count. A moving mean is undone nearly as well, as
a low-pass of 0.8 of its length. The speed shown stays as sent, as a lead that is too long would overshoot.

That the reading is smoothed shows by the steps of whole counts in it (``reading_grid``), or else by its dips
(``smoothed_dips``). Most robots smooth nothing: what speaks for it has to outweigh that first. It is taken back when
dips or steps speak against it; with each change the last 20 s are begun anew.

Not undone: what is smoothed over less than 0.05 s, rpm printed in steps that would make more than 0.09 turns, and a
median. Dips of fewer than 30 lines a second have no shape that tells.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from itertools import takewhile
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.link.wheel.reading_grid import ReadingGrid
from fieldtune.link.wheel.smoothed_dips import BEFORE_S, BEHIND_S, SmoothedDips, step_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from fieldtune.link.samples import Sample

_HARMLESS_S = 0.05
_KEPT_S, _LOOK_S = 20.0, 0.2
_MORE_S = 0.6  # than is looked at, so that lines are there to its end
_CELL_S, _LONGEST_CELL_S, _ROUND_S = 0.02, 0.035, 0.005  # of longer ones a dip has no shape
_SURE, _NOT = 6.8, 0.0  # one robot in ten smooths, and it has to be so at 99 of 100: ln 9 + ln 99; taken back
_EXPECTED = 0.1  # share of speed lost at a shot, where the profile lets expect nothing
_OTHER = 1.5  # times what it was taken for
_PAUSE_S = 0.3
_OFTEN = 0.3  # of the readings: some come out alike, and seem to take long
_LONG, _STANDS = 1.5, 1.1  # times from one reading to the next
_FALSE = 0.04  # of the speed: no smoothed reading steps by more from line to line
_MOST_TURNS = 0.09  # that a step of what is printed may make: as many as one count of an encoder of 12


class SmoothedRpm:
    """Sees own rpm line by line. ``smoothed_s``: what it is smoothed over, 0 where it isn't, as far as is known.

    ``kept``: share of its speed that a wheel keeps at a shot, None where the profile can't tell.
    """

    def __init__(self, kept: float | None) -> None:
        self.smoothed_s = 0.0
        self._undone_s = 0.0  # of that, what can be undone
        self._samples: deque[Sample] = deque()
        self._looked_s = -np.inf
        self._knew_s: float | None = None
        self._grid, self._dips = ReadingGrid(), SmoothedDips(_EXPECTED if kept is None else 1 - kept)
        self._reading_s, self._line_s = 1.0, 0.0  # from one reading to the next; when the last line came
        self._before: tuple[float, float, float] | None = None
        """When the last reading came, its rpm, and how far the wheel is ahead."""

    @property
    def words(self) -> list[str]:
        """What to say of it."""
        over = f"own rpm is smoothed over about {self.smoothed_s:.1g} s and shown as late"
        return [f"{over}: send it unsmoothed, or the counts"] if self.smoothed_s else []

    def clear(self) -> None:
        """What comes next has no connection with the past."""
        self._samples.clear()
        self._grid.clear()
        self._before = None

    def see(self, sample: Sample, noisy: bool, anew: Callable[[], None]) -> list[Sample]:
        """Takes a sample with own rpm; gives what stands for it: the wheel's speed, not that of a while ago.

        Where it has become known that it is smoothed, or isn't, it calls ``anew``, and gives the last seconds anew.
        ``noisy``: the rpm may be false.
        """
        rpm, samples = sample.wheel_rpm, self._samples
        if rpm is None:
            return [sample]
        if samples and not 0 < sample.time_s - samples[-1].time_s < _PAUSE_S:
            self.clear()
        samples.append(sample)
        while sample.time_s - samples[0].time_s > _KEPT_S:
            samples.popleft()
        was_s = self._undone_s
        if noisy or sample.averaged:
            self._grid.clear()
        else:
            self._grid.see(sample.time_s, rpm)
        if sample.time_s - self._looked_s >= _LOOK_S or sample.time_s < self._looked_s:
            self._looked_s = sample.time_s
            seen = self._look(sample.time_s)
            if (seen and (noisy or not self._grid.unsettled)) or self._grid.lead_s != self._knew_s:
                self._decide()
        if self._undone_s == was_s:
            return [self._undone(sample, noisy)]
        self._before = None
        anew()
        return [self._undone(one, noisy) for one in samples]

    def _undone(self, sample: Sample, noisy: bool) -> Sample:
        """The sample with what stands for its rpm: as long as a reading does, if that is said again and again."""
        rpm, before = sample.wheel_rpm, self._before
        if rpm is None or not self._undone_s:
            return sample
        if noisy and before is not None and abs(rpm - before[1]) > _FALSE * before[1]:
            return sample
        at_s, last, ahead = before or (-np.inf, rpm, 0.0)
        since_s = sample.time_s - at_s
        if rpm != last or before is None:
            over_s = since_s if 0 < since_s < _LONG * self._reading_s else self._reading_s
            ahead = self._undone_s * (rpm - last) / over_s
            self._before = sample.time_s, rpm, ahead
        elif since_s > _STANDS * self._reading_s - (sample.time_s - (sample.before_s or self._line_s)) / 2:
            ahead = 0.0  # another reading came, and was the same
        self._line_s = sample.time_s
        return replace(sample, wheel_rpm=max(rpm + ahead, 0.0))

    def _look(self, now_s: float) -> bool:
        """Whether there was a dip at its lowest a while ago, that was judged."""
        since_s = now_s - (BEFORE_S + BEHIND_S + _MORE_S)
        lately = list(takewhile(lambda one: one.time_s > since_s, reversed(self._samples)))[::-1]
        if len(lately) == len(self._samples):
            return False
        times, rpm = np.array([(one.time_s, one.wheel_rpm) for one in lately]).T
        usual_s = float(np.median(np.diff(times)))
        cell_s = round(max(round(usual_s / _ROUND_S) * _ROUND_S, _CELL_S), 3)
        changed = len({one.setpoint for one in lately}) > 1
        return cell_s <= _LONGEST_CELL_S and not changed and self._dips.look(times, rpm, cell_s, _LOOK_S)

    def _decide(self) -> None:
        """Whether what is known tells what it is smoothed over."""
        exactly_s, knew_s = self._grid.lead_s, self._knew_s
        self._knew_s = exactly_s
        if exactly_s is not None and exactly_s >= _HARMLESS_S:
            smoothed_s = exactly_s
        else:
            told, smoothed_s = self._dips.most_s(low_passes=exactly_s is None)
            if _NOT <= told <= _SURE and exactly_s == knew_s:
                return
            if told <= _SURE or smoothed_s < _HARMLESS_S:
                smoothed_s = 0.0
        if smoothed_s and 1 / _OTHER < self.smoothed_s / smoothed_s < _OTHER:
            return
        self.smoothed_s = smoothed_s
        times, rpm = np.array([(one.time_s, one.wheel_rpm) for one in self._samples]).T
        step_rpm = step_of(rpm)
        apart_s = np.diff(times[np.append(True, np.diff(rpm) != 0)])
        self._reading_s = float(np.quantile(apart_s, _OFTEN)) if len(apart_s) else self._reading_s
        self._undone_s = 0.0 if smoothed_s * step_rpm / 60 > _MOST_TURNS else smoothed_s
