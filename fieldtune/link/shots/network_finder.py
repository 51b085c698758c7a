"""Instants at which a wheel's course is plainly a shot's by the shot network, a second later.

It is asked about each reading that enough has come behind. Of near ones the likeliest is a candidate. What it finds may
be older than a shot that is known already: that one showed sooner. Of counts that no clock of the robot's times it has
to be surer: late lines look like a wheel that slows.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import deque
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.link.shots.shot_network import (
    BEFORE,
    BEHIND,
    PAST_S,
    Past,
    cell_length,
    log_odds_around,
    means_around,
    means_between,
    past_of,
    summed,
)

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.link.wheel.wheel_points import WheelPoints

_LIKELY = 1.0  # log odds
_EVERY_S, _PAST_EVERY_S = 0.25, 1.0
_APART = 0.45  # of a cell: instants nearer than this are not weighed both
_NEAR_S, _NEAR_CELLS = 0.15, 2.0
_SAME_S = 0.12
_HEARD = 2.0  # log odds: of counts timed as they come far more instants look like a shot's
_GAP = 2.5  # of the network's cells
_DENSE = 0.7  # of the readings that should be in them: fewer, and they are printed on changes alone


class NetworkFinder:
    """Follows a wheel's points. ``expected``: as of ``shot_network.inputs``; ``slowest``: rpm."""

    def __init__(self, points: WheelPoints, expected: float, slowest: float) -> None:
        self._points, self._expected, self._slowest = points, expected, slowest / 60
        self.clear()

    def clear(self) -> None:
        """What comes next has no connection with the past."""
        self._weighed_s = self._past_s = -math.inf
        self._odds: deque[tuple[float, float]] = deque(maxlen=200)
        self._unsettled: deque[tuple[float, float]] = deque()
        self._past: Past | None = None
        self._less = 0.0

    @property
    def reach_s(self) -> float:
        """How far behind an instant it looks."""
        return BEHIND * cell_length(self._points.cell_s)

    def knows(self, instant: float) -> bool:
        """Whether all instants near one were weighed."""
        return self._weighed_s > instant + _SAME_S

    def odds_near(self, instant: float) -> float | None:
        """The largest log odds near an instant; None where it could not be weighed from both sides."""
        near = [(at, odds) for at, odds in self._odds if abs(at - instant) < _SAME_S]
        return max(odds for _, odds in near) if near and near[0][0] <= instant <= near[-1][0] else None

    def found(self, noisy: bool, heard: bool) -> list[tuple[float, float]]:
        """Instants that are likely a shot's, and their log odds; none of those while a line is damaged."""
        points, cell = self._points, cell_length(self._points.cell_s)
        self._less = _HEARD if heard and self._points.samples and self._points.are_counts else 0.0
        if noisy:
            self._weighed_s = points.now_s
            self._unsettled.clear()
        until = points.now_s - self.reach_s
        if until < self._weighed_s + _EVERY_S:
            return []
        at = self._instants(max(self._weighed_s, points.t[0] + BEFORE * cell), until, cell)
        self._weighed_s = until
        if at:
            self._weigh(np.array(at), cell)
        return self._likeliest(max(_NEAR_S, _NEAR_CELLS * cell))

    def _instants(self, since: float, until: float, cell: float) -> list[float]:
        t, chosen = self._points.t, [-math.inf]
        for at in t[bisect_right(t, since) : bisect_right(t, until)]:
            if at - chosen[-1] > _APART * cell:
                chosen.append(at)
        return chosen[1:]

    def _weigh(self, at: FloatArray, cell: float) -> None:
        t, x, part = self._points.between(at[0] - (BEFORE + 3) * cell, self._points.now_s)
        gaps = np.concatenate([[0], np.cumsum(np.diff(t) > _GAP * cell)])
        first = np.maximum(np.searchsorted(t, at - BEFORE * cell, side="right") - 1, 0)
        last = np.minimum(np.searchsorted(t, at + BEHIND * cell), len(t) - 1)
        speeds = means_around(t, x, at, cell)
        dense = last - first > _DENSE * (BEFORE + BEHIND) * cell / self._points.cell_s
        whole = dense & (gaps[first] == gaps[last]) & (np.median(speeds, axis=1) > self._slowest)
        if not whole.any():
            return
        self._look_back(cell)
        if self._past is not None:
            volt_s = self._volt_seconds(t, part)
            volts = None if volt_s is None else means_around(t, volt_s, at[whole], cell)
            odds = log_odds_around(speeds[whole], volts, cell, self._expected, self._past)
            new = list(zip(at[whole].tolist(), (odds - self._less).tolist(), strict=True))
            self._odds += new
            self._unsettled += new

    def _look_back(self, cell: float) -> None:
        now = self._points.now_s
        if now - self._past_s < _PAST_EVERY_S:
            return
        self._past_s = now
        t, x, part = self._points.between(now - PAST_S, now)
        speeds, volt_s = means_between(t, x, t[0], now, cell), self._volt_seconds(t, part)
        turning = speeds > self._slowest
        volts = None if volt_s is None else means_between(t, volt_s, t[0], now, cell)[turning]
        self._past = past_of(speeds[turning], volts)

    def _volt_seconds(self, t: FloatArray, part: slice) -> FloatArray | None:
        """The battery's volts up to each point (n,) at ``t``, summed over time; None where one doesn't tell them."""
        volts = [sample.battery_v for sample in self._points.samples[part]]
        return None if None in volts else summed(t, np.array(volts, dtype=float))

    def _likeliest(self, near_s: float) -> list[tuple[float, float]]:
        found, unsettled = [], self._unsettled
        while unsettled and unsettled[0][0] <= self._weighed_s - near_s:
            at, odds = unsettled.popleft()
            if odds > _LIKELY:
                near = [some for then, some in self._odds if abs(then - at) <= near_s]  # none behind a long gap
                if odds >= max(near, default=odds):
                    found.append((at, odds))
        return found
