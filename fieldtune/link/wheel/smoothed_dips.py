"""What the dips of own rpm tell of its being smoothed: log likelihoods of each way to smooth over none.

An unsmoothed reading of a wheel that a shot slowed has fallen all the way by the second reading, whatever the control.
One that is low-passed or averaged over many readings can't. That leaves dips that begin slowly in either: their shape
decides (``smoothing_fit``). What is smoothed over two readings at most passes for unsmoothed.

Of dips of an unsmoothed wheel that stand out, two readings take 0.95 in the median, and less than 0.8 of one in ten. So
one that falls at once counts 4 against smoothing, in log likelihood. A soft one counts by its fit, at most 2 either
way. What no course fits to 5 % of its depth, as a lowered setpoint, says nothing. The last twelve of all these count.

A wheel that is lowered untold falls as slowly as in a smoothed reading, and may come back from below. So a rise that
begins at once counts 4 against smoothing, too: no smoother leaves a corner there.

Over how long it is smoothed is known to a factor of two: fall and return may be exchanged, and the depth that the
profile lets expect decides. That suffices, as 0.4 to 2.5 times the true one finds the same shots.
"""

from __future__ import annotations

from collections import deque
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from fieldtune.link.wheel.smoothing_fit import LOW_PASS_S, MEAN_S, dips

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

LEADS_S = np.append(LOW_PASS_S, 0.8 * MEAN_S)
"""By how much each smoother holds a reading back; a moving mean by half its length, but it falls over all of it."""
BEFORE_S, BEHIND_S = 0.9, 0.6
"""What is looked at before and behind a dip's lowest point."""
_BEGUN_S = 0.6  # how long before its lowest point a dip may have begun
_DEEP, _OUT, _BACK = 0.006, 8.0, 0.35  # of the speed; times its noise; of its depth that it has to make good
_ONE_DIP_S = 0.25
_SECOND = 1.65  # median size of a second difference over the standard deviation, of normal errors
_DIPS, _MANY = 12, 75  # dips, and cells of each that make up one that tells all it can
_LEFT = 0.05  # of the noise, at least
_OFF = 0.02  # of its depth: what a course of a wheel is off in each cell, whatever fits it best
_WELL, _STRANGE = 2.0, 0.05  # of the noise, and of the depth: what every course leaves more of is no dip at all
_OFTEN = 0.25  # of the readings
_QUICK = 2.05  # readings
_MOST, _AT_ONCE = 2.0, -4.0  # log likelihoods of one dip: no model is so true that one could settle it
_AT_ONCE_SHARE, _AT_ONCE_OUT, _SLOWEST_S = 0.8, 6.0, 0.03
_ROUGH, _OF_NORMAL = 0.8, 1.28 * 6**0.5  # of second differences: below it are these times the deviation
_FALL_READINGS, _TOP_READINGS, _BOTTOM_S = 8, 12, (-0.15, 0.06)
_LEVEL, _CORNER, _RISE = 5, 2, 3  # cells: before a rise, of its beginning, and two times so many of it
_FALLS, _RISES, _RISE_OUT = 0.2, 0.05, 6.0  # before it, of the rise; times its error
_MOST_WORSE, _TEMPERED = 1.0, 5.0
_OFF_PROFILE = 0.7  # log of a factor by which the depth that a profile lets expect is off


class _Told(NamedTuple):
    """What one dip tells of each smoother (k,): log likelihood over none, how well it fits, share of speed lost."""

    logs: FloatArray
    fits: FloatArray
    shares: FloatArray


class SmoothedDips:
    """Sees dips of own rpm. ``expected``: share of its speed that a wheel is expected to lose at a shot."""

    def __init__(self, expected: float) -> None:
        self._expected = expected
        self._last_s = -np.inf
        self._logs: deque[FloatArray] = deque(maxlen=_DIPS)  # also of what was no dip
        self._told: deque[_Told] = deque(maxlen=_DIPS)

    def look(self, times: FloatArray, rpm: FloatArray, cell_s: float, looked_s: float) -> bool:
        """Judges a dip of the ``rpm`` at ``times`` (n,) whose lowest point is in the ``looked_s`` before the last
        ``BEHIND_S``, or a rise that begins there at once; whether there was one.
        """
        turns = np.append(0.0, np.cumsum(rpm[1:] * np.diff(times)))
        before, behind, looked = (round(part / cell_s) for part in (BEFORE_S, BEHIND_S, looked_s))
        ends = times[-1] + cell_s * np.arange(-(before + behind + looked + 1), 1)
        speeds = np.diff(np.interp(ends, times, turns)) / cell_s
        if rises_at_once(speeds, before, before + looked, step_of(rpm)):
            self._logs.append(np.full(len(LEADS_S), _AT_ONCE))
            return True
        place = before + int(np.argmin(speeds[before : before + looked + 1]))
        at_s, near = float(ends[place + 1]), round(_ONE_DIP_S / cell_s)
        part = speeds[place - before : place + behind]
        lowest, top = part[before], part[: before + 1].max()
        if lowest > speeds[max(place - near, 0) : place + near].min() or at_s - self._last_s < _ONE_DIP_S:
            return False
        rough, depth = float(np.median(np.abs(np.diff(part, n=2)))) / _SECOND, top - lowest
        noise = 2 * (rough**2 + step_of(rpm) ** 2 / 12)
        if depth <= max(_DEEP * top, _OUT * (noise / 2) ** 0.5) or part[before:].max() - lowest < _BACK * depth:
            return False
        self._last_s = at_s
        self._told.append(_told(part, cell_s, before, noise, depth, Readings(times, rpm, at_s)))
        self._logs.append(self._told[-1].logs)
        return True

    def most_s(self, low_passes: bool) -> tuple[float, float]:
        """The greatest of the log likelihoods, and what it is smoothed over most likely, seconds.

        ``low_passes``: whether it may be low-passed. A wheel that falls slowly and comes back soon looks as one that
        comes back slowly, smoothed over less: how deep shots should be tells these apart.
        """
        if not self._told:
            return 0.0, 0.0
        may = np.ones(len(LEADS_S), dtype=bool)
        may[: len(LOW_PASS_S)] = low_passes
        logs = np.sum(self._logs, axis=0)[may]
        fits = np.array([told.fits for told in self._told])
        worse = np.maximum(fits - fits.max(axis=1, keepdims=True), -_MOST_WORSE).sum(axis=0)
        shares = np.median([told.shares for told in self._told], axis=0)
        likely = _TEMPERED * worse - (np.log(np.maximum(shares, 1e-3) / self._expected) / _OFF_PROFILE) ** 2 / 2
        weight = np.where(may, np.exp(likely - likely[may].max()), 0.0)
        return float(logs.max()), float(np.exp(weight @ np.log(LEADS_S) / weight.sum()))


class Readings:
    """Own rpm around a dip that is lowest at ``at_s``, without what is said again."""

    def __init__(self, times: FloatArray, rpm: FloatArray, at_s: float) -> None:
        new = np.append(True, np.diff(rpm) != 0)
        self._times, self._rpm, self._at_s = times[new] - at_s, rpm[new], at_s
        self.apart_s = float(np.quantile(np.diff(self._times), _OFTEN)) if len(self._times) > 1 else np.inf
        """Time between two of them; some come out alike, and seem to take long."""

    def fall_at_once(self) -> bool:
        """Whether two readings take nearly all of the dip, and that is no noise."""
        t, rpm = self._times, self._rpm
        bottom = (t > _BOTTOM_S[0]) & (t < _BOTTOM_S[1])
        if self.apart_s > _SLOWEST_S or not bottom.any():
            return False
        lowest = int(np.argmin(np.where(bottom, rpm, np.inf)))
        if lowest < _FALL_READINGS // 2:
            return False
        depth = rpm[max(lowest - _TOP_READINGS, 0) : lowest + 1].max() - rpm[lowest]
        noise = float(np.quantile(np.abs(np.diff(rpm, n=2)), _ROUGH)) / _OF_NORMAL
        falls = (rpm[:-2] - rpm[2:])[max(lowest - _FALL_READINGS, 0) : lowest]
        return bool(depth > _AT_ONCE_OUT * noise and falls.max() > _AT_ONCE_SHARE * depth)


def rises_at_once(speeds: FloatArray, first: int, last: int, step_rpm: float) -> bool:
    """Whether a wheel that kept its speed, or nearly so, rises from one of the cells on, at first as steeply as later.

    Of even cells' ``speeds`` (n,), printed in steps of ``step_rpm``.
    """
    rough = float(np.median(np.abs(np.diff(speeds, n=2)))) / _SECOND
    at = np.arange(first, last)
    level = (speeds[at] - speeds[at - _LEVEL]) / _LEVEL
    begun, middle, end = (speeds[at + _CORNER + i * _RISE] for i in range(3))
    soon, later = (middle - begun) / _RISE, (end - middle) / _RISE
    least = _RISE_OUT * (2 * (rough**2 + step_rpm**2 / 12)) ** 0.5 / _RISE
    return bool(((later > least) & (soon >= later) & (-_FALLS * later < level) & (level < _RISES * later)).any())


def _told(speeds: FloatArray, cell_s: float, lowest: int, noise: float, depth: float, readings: Readings) -> _Told:
    """What a dip of ``speeds`` (n,), lowest in one of its cells, tells. ``noise``: variance of a step between two."""
    left, deep = dips(speeds, cell_s, max(lowest - round(_BEGUN_S / cell_s), 2), lowest + 1)
    quick = _QUICK * readings.apart_s >= LEADS_S
    plain = min(left[0], left[1:][quick].min(initial=np.inf))
    logs = np.clip((plain - left[1:]) / 2 / (noise + (_OFF * depth) ** 2), -_MOST, _MOST)
    if left.min() / len(speeds) > _WELL * noise + (_STRANGE * depth) ** 2:
        logs = np.zeros(len(LEADS_S))
    if readings.fall_at_once():
        logs = np.full(len(LEADS_S), _AT_ONCE)
    fits = -min(len(speeds) / _MANY, 1.0) * np.log(left[1:] + _LEFT * len(speeds) * noise)
    return _Told(logs, fits, np.asarray(deep[1:] / speeds[: lowest + 1].max()))


def step_of(rpm: FloatArray) -> float:
    """The least step of what is printed."""
    steps = np.abs(np.diff(rpm))
    steps = steps[steps > 1e-6]
    return float(steps.min()) if len(steps) else 0.0
