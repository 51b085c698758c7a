"""Own rpm that the robot's program smooths before it prints it, made as quick as the wheel again.

A first-order low-pass is undone by its own equation: y = x + tau x'. Of the turns that are summed from it that makes
x summed and tau x, so that its noise doesn't add up: it is that of a count. A moving mean is undone nearly as well.
That the reading is smoothed shows by its dips (``smoothing_fit``): several in a row of which a smoothed shot leaves far
less than anything else.
"""

from __future__ import annotations

from collections import deque
from dataclasses import replace
from itertools import takewhile
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.link.smoothing_fit import LOW_PASS_S, MEAN_S, dips

if TYPE_CHECKING:
    from collections.abc import Callable

    from fieldtune.arrays import FloatArray
    from fieldtune.link.samples import Sample

_LEADS_S = np.append(LOW_PASS_S, 0.8 * MEAN_S)  # a moving mean is late by half its length, and falls over all of it
_HARMLESS_S = 0.1
_KEPT_S, _LOOK_S = 8.0, 0.2
_BEFORE_S, _BEHIND_S, _BEGUN_S = 0.9, 0.6, 0.6  # of a dip's lowest point; how long before that it may have begun
_CELL_S, _LONGEST_CELL_S, _ROUND_S = 0.02, 0.035, 0.005  # of longer ones a dip has no shape
_DEEP, _OUT, _BACK = 0.006, 8.0, 0.35  # of the speed; times its noise; of its depth that it has to make good
_ONE_DIP_S = 0.25
_SECOND = 1.65  # median size of a second difference over the standard deviation, of normal errors
_AT_ONCE_S = 0.015  # and half the time between two lines
_FALL = 0.2, 0.8  # of the depth
_DIPS, _MANY = 8, 75  # dips, and cells of each that make up one that tells all it can
_SMOOTHED, _NOT = 1.5, 0.0  # of the sum of logs of what is left
_MOST_OF_ONE, _SHARP = 0.6, -0.4
_SAYS = 0.1  # less is said by noise
_MOST_WORSE, _TEMPERED = 1.0, 5.0
_OFF_PROFILE = 0.7  # log of a factor by which the depth that a profile lets expect is off
_EXPECTED = 0.1  # where it lets expect nothing
_OTHER = 1.25  # times what it was taken for
_WELL, _MISFIT, _LEFT = 2.0, 0.6, 0.05  # times the noise that a good fit leaves; log; of the noise, at least
_PAUSE_S = 0.3
_FALSE = 0.04  # of the speed: no smoothed reading steps by more from line to line
_MOST_TURNS = 0.02  # that a step of what is printed may make: as many as one count of an encoder of 50


class SmoothedRpm:
    """Sees own rpm line by line. ``smoothed_s``: what it is smoothed over, 0 where it isn't, as far as is known.

    ``kept``: share of its speed that a wheel keeps at a shot, None where the profile can't tell.
    """

    def __init__(self, kept: float | None) -> None:
        self._expected = _EXPECTED if kept is None else 1 - kept
        self.smoothed_s = 0.0
        self._undone_s = 0.0  # of that, what can be undone
        self._samples: deque[Sample] = deque()
        self._looked_s = self._dip_s = -np.inf
        self._dips: deque[tuple[FloatArray, FloatArray]] = deque(maxlen=_DIPS)
        self._before: tuple[float, float] | None = None

    @property
    def words(self) -> list[str]:
        """What to say of it."""
        over = f"own rpm is smoothed over about {self.smoothed_s:.1g} s and shown as late"
        return [f"{over}: send it unsmoothed, or the counts"] if self.smoothed_s else []

    def clear(self) -> None:
        """What comes next has no connection with the past."""
        self._samples.clear()
        self._before = None

    def see(self, sample: Sample, doubted: bool, anew: Callable[[], None]) -> list[Sample]:
        """Takes a sample with own rpm; gives what stands for it: the wheel's speed, not that of a while ago.

        Where it has become known that it is smoothed, or isn't, it calls ``anew``, and gives the last seconds anew.
        ``doubted``: the rpm may be false.
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
        if sample.time_s - self._looked_s >= _LOOK_S or sample.time_s < self._looked_s:
            self._looked_s = sample.time_s
            self._look(sample.time_s)
        if self._undone_s == was_s:
            return [self._undone(sample, doubted)]
        self._before = None
        anew()
        return [self._undone(one, doubted) for one in samples]

    def _undone(self, sample: Sample, doubted: bool) -> Sample:
        rpm, before = sample.wheel_rpm, self._before
        if rpm is None or (doubted and before is not None and abs(rpm - before[1]) > _FALSE * before[1]):
            return sample
        self._before = sample.time_s, rpm
        if not self._undone_s or before is None or sample.time_s <= before[0]:
            return sample
        ahead = self._undone_s * (rpm - before[1]) / (sample.time_s - before[0])
        return replace(sample, wheel_rpm=max(rpm + ahead, 0.0))

    def _look(self, now_s: float) -> None:
        """Judges a dip that was at its lowest a while ago."""
        since_s = now_s - (_BEFORE_S + _BEHIND_S + _BEGUN_S)
        lately = list(takewhile(lambda one: one.time_s > since_s, reversed(self._samples)))[::-1]
        if len(lately) == len(self._samples):
            return
        times, rpm = np.array([(one.time_s, one.wheel_rpm) for one in lately]).T
        usual_s = float(np.median(np.diff(times)))
        cell_s = round(max(round(usual_s / _ROUND_S) * _ROUND_S, _CELL_S), 3)
        if cell_s > _LONGEST_CELL_S:
            return
        turns = np.append(0.0, np.cumsum(rpm[1:] * np.diff(times)))
        before, behind = round(_BEFORE_S / cell_s), round(_BEHIND_S / cell_s)
        looked = round(_LOOK_S / cell_s) + 1
        ends = now_s + cell_s * np.arange(-(before + behind + looked), 1)
        speeds = np.diff(np.interp(ends, times, turns)) / cell_s
        place = before + int(np.argmin(speeds[before : before + looked]))
        at_s, near = float(ends[place + 1]), round(_ONE_DIP_S / cell_s)
        part = speeds[place - before : place + behind]
        lowest, top = part[before], part[: before + 1].max()
        if lowest > speeds[max(place - near, 0) : place + near].min() or at_s - self._dip_s < _ONE_DIP_S:
            return
        rough, depth = float(np.median(np.abs(np.diff(part, n=2)))) / _SECOND, top - lowest
        if depth < max(_DEEP * top, _OUT * rough) or part[before:].max() - lowest < _BACK * depth:
            return
        if len({one.setpoint for one in lately if one.time_s > ends[place - before]}) > 1:
            return
        self._dip_s = at_s
        step = _step_of(rpm)
        noise = len(part) * (2 * rough**2 + step**2 / 6)
        fell_s = _fell_s(times, rpm, at_s, top, depth) - usual_s / 2
        told = _told(part, cell_s, before, noise, fell_s)
        if abs(told[0].max()) > _SAYS:
            self._dips.append(told)
            self._decide(step)

    def _decide(self, step_rpm: float) -> None:
        """Whether the last dips tell what it is smoothed over."""
        told = np.array([fits for fits, _ in self._dips])
        best = float(np.clip(told, -_MOST_OF_ONE, _MOST_OF_ONE).sum(axis=0).max())
        if best > _SMOOTHED:
            smoothed_s = self._most_likely(told)
            if smoothed_s < _HARMLESS_S:
                smoothed_s = 0.0
            elif 1 / _OTHER < self.smoothed_s / smoothed_s < _OTHER:
                return
        elif best < _NOT:
            smoothed_s = 0.0
        else:
            return
        self.smoothed_s = smoothed_s
        self._undone_s = 0.0 if smoothed_s * step_rpm / 60 > _MOST_TURNS else smoothed_s

    def _most_likely(self, told: FloatArray) -> float:
        """What it is smoothed over, by what the dips (n,) tell of each smoother (n, k).

        A wheel that falls slowly and comes back soon looks as one that comes back slowly, smoothed over less: how deep
        shots should be tells these apart.
        """
        worse = np.maximum(told - told.max(axis=1, keepdims=True), -_MOST_WORSE).sum(axis=0)
        shares = np.median([shares for fits, shares in self._dips if fits.max() > _SHARP], axis=0)
        likely = _TEMPERED * worse - (np.log(np.maximum(shares, 1e-3) / self._expected) / _OFF_PROFILE) ** 2 / 2
        weight = np.exp(likely - likely.max())
        return float(np.exp(weight @ np.log(_LEADS_S) / weight.sum()))


def _told(speeds: FloatArray, cell_s: float, lowest: int, noise: float, fell_s: float) -> tuple[FloatArray, FloatArray]:
    """What a dip of ``speeds`` (n,), lowest in one of its cells, tells of each smoother (k,).

    Log of what an unsmoothed reading leaves over what that leaves, and the share of its speed that the wheel lost.
    Where that is far more than ``noise``, neither is quite right: then it must be far less.
    ``fell_s``: how long it fell.
    """
    if fell_s < _AT_ONCE_S:
        return np.full(len(_LEADS_S), _SHARP), np.ones(len(_LEADS_S))
    left, depth = dips(speeds, cell_s, max(lowest - round(_BEGUN_S / cell_s), 2), lowest + 1)
    left += _LEFT * noise
    tells = min(len(speeds) / _MANY, 1.0) * np.log(left[0] / left[1:])
    misfit = np.clip(np.log(left[1:].min() / noise / _WELL), 0.0, _MISFIT)
    tells = np.where(tells > 0, np.maximum(tells - misfit, 0.0), tells)
    return tells, np.asarray(depth[1:] / speeds[: lowest + 1].max())


def _step_of(rpm: FloatArray) -> float:
    """The least step of what is printed."""
    steps = np.abs(np.diff(rpm))
    steps = steps[steps > 1e-6]
    return float(steps.min()) if len(steps) else 0.0


def _fell_s(times: FloatArray, rpm: FloatArray, at_s: float, top: float, depth: float) -> float:
    """How long it took to fall to the lowest point at ``at_s``, without its beginning and end."""
    upto = int(np.searchsorted(times, at_s)) + 1
    high = np.flatnonzero(rpm[:upto] > top - _FALL[0] * depth)
    if not len(high):
        return 0.0
    low = np.flatnonzero(rpm[high[-1] : upto] < top - _FALL[1] * depth)
    return float(times[high[-1] + low[0]] - times[high[-1]]) if len(low) else float(at_s - times[high[-1]])
