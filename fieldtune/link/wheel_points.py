"""The wheel's turns over time as the line tells of them, and its mean speeds in even cells of time around an instant."""

from __future__ import annotations

import statistics
from bisect import bisect_left, bisect_right
from collections import deque
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.link.samples import Sample

if TYPE_CHECKING:
    from fieldtune.arrays import BoolArray, FloatArray, IntArray

SPACING_S = 0.004
_SHORTEST_S = 0.01
_STEADY = 0.3  # of the time between lines: a counter read seldom is mostly read at the same place between them
_KEPT_POINTS = 700
_ALIKE = 0.15  # of a cell's length that the spacing may drift before cells get another one
_GAP = 1.8  # cells without a point: what the wheel did meanwhile is not known
_HELD = 0.7  # of own rpm that is new: less, and the robot prints oftener than it calculates
_LATELY = 40
_SPIKE = 5.0  # standard deviations off both neighbours


@dataclass(frozen=True, slots=True)
class Cells:
    """Mean speeds (m,), turns/s, over cells ``begins`` to ``ends`` (m,) of the even ``edges_s`` (n + 1,).

    Seconds are relative to an instant, at an edge. Counts tell the mean over a gap, own rpm tells nothing of it.
    """

    edges_s: FloatArray
    begins: IntArray
    ends: IntArray
    speeds: FloatArray

    def of(self, lag: FloatArray) -> FloatArray:
        """Mean speeds lost (k, m) of turns lost ``lag`` (k, n + 1) at the edges."""
        across = self.edges_s[self.ends] - self.edges_s[self.begins]
        return np.asarray((lag[:, self.ends] - lag[:, self.begins]) / across)

    @property
    def middles_s(self) -> FloatArray:
        """The middle of each (m,)."""
        return np.asarray((self.edges_s[self.begins] + self.edges_s[self.ends]) / 2)


class WheelPoints:
    """Points of turns over time: new counts, or the robot's own rpm summed. ``quantum``: one count in turns."""

    def __init__(self, quantum: float) -> None:
        self._quantum = quantum
        self.clear()

    def clear(self) -> None:
        """Forgets the past."""
        self.t: list[float] = []
        self.turns: list[float] = []
        self._spread_s: list[float] = []
        self.samples: list[Sample] = []
        self._rpms: deque[float] = deque(maxlen=3)
        self._summed: tuple[float, float, float] | None = None
        self._fresh_s: deque[float] = deque(maxlen=_LATELY)
        self._fresh = 1.0
        self._pace = 0
        self.cell_s = 0.0
        """Length of a cell, seconds; 0 while too little has come to tell."""

    @property
    def are_counts(self) -> bool:
        """Whether turns are counted, not summed from own rpm."""
        return self.samples[-1].turns is not None

    def add(self, sample: Sample, placed: tuple[float, float, float] | None, noisy: bool) -> bool:
        """Takes a sample; says whether it brought a point. ``placed``: as in ``DropDetector.see``."""
        point = placed if sample.turns is not None else self._sum(sample, noisy)
        if point is None or (self.t and point[0] - self.t[-1] < SPACING_S):
            return False
        self.t.append(point[0])
        self.turns.append(abs(point[1]))
        self._spread_s.append(point[2])
        self.samples.append(sample)
        if len(self.t) > _KEPT_POINTS:
            for kept in (self.t, self.turns, self._spread_s, self.samples):
                del kept[: _KEPT_POINTS // 3]
        self._pace += 1
        if len(self.t) >= 10 and (self._pace >= _LATELY // 2 or not self.cell_s):
            self._pace = 0
            self._find_cell()
        return True

    def _sum(self, sample: Sample, noisy: bool) -> tuple[float, float, float] | None:
        """Turns summed from the robot's own rpm; on a noisy line from the middle one of three, as a false value would
        stay in the sum for good. Of rpm that is said again and again, the sum's corners are the points.
        """
        if sample.wheel_rpm is None:
            return None
        self._rpms.append(sample.wheel_rpm)
        rpm = statistics.median(self._rpms) if noisy and len(self._rpms) == 3 else sample.wheel_rpm
        before, self._summed = self._summed, (sample.time_s, 0.0, rpm)
        if before is None:
            return sample.time_s, 0.0, 0.0
        self._summed = (sample.time_s, before[1] + rpm / 60 * (sample.time_s - before[0]), rpm)
        new = rpm != before[2]
        self._fresh += 0.05 * (new - self._fresh)
        cut_off = sample.time_s - before[0] > max(_GAP * self.cell_s, 3 * _SHORTEST_S)
        if (new or cut_off) and self._fresh < _HELD and before[0] - self.t[-1] > SPACING_S:
            return before[0], before[1], 0.0
        if self._fresh > _HELD or sample.time_s - self.t[-1] > max(1.2 * self.cell_s, _SHORTEST_S):
            return sample.time_s, self._summed[1], 0.0
        return None

    def _find_cell(self) -> None:
        """Cells as long as points are apart: their lower quartile, as lines may be missing."""
        lately = self.t[-_LATELY:]
        steps = sorted(after - before for before, after in zip(lately, lately[1:], strict=False))
        apart = max(steps[len(steps) // 4], _SHORTEST_S)
        if not self.cell_s or abs(apart / self.cell_s - 1) > _ALIKE:
            self.cell_s = apart

    def between(self, since: float, until: float) -> tuple[FloatArray, FloatArray, slice]:
        """Seconds and turns (n,) of the points from ``since`` to ``until``."""
        part = slice(bisect_left(self.t, since), bisect_right(self.t, until))
        return np.array(self.t[part]), np.array(self.turns[part]), part

    def coarseness(self, rate: float, part: slice, tick_s: float) -> float:
        """The least variance of a point, turns^2: of whole counts at uncertain times (evenly spread: GUM 4.3.7)."""
        spread_s = max(tick_s, _STEADY * statistics.median(self._spread_s[part]))
        return float(self._quantum**2 + (rate * spread_s) ** 2) / 12 + 1e-12

    def cells(self, instant: float, before: int, after: int, noisy: bool) -> Cells | None:
        """So many cells before and behind an instant; None where too few of them are known."""
        cell = self.cell_s
        edges = np.arange(-before, after + 1) * cell
        t, x, _ = self.between(instant - (before + 2) * cell, instant + (after + 2) * cell)
        if len(t) < 6:
            return None
        t = t - instant
        right = np.searchsorted(t, edges)
        left = np.maximum(right - 1, 0)
        right = np.minimum(right, len(t) - 1)
        near = np.minimum(np.abs(t[right] - edges), np.abs(t[left] - edges)) <= 0.5 * cell
        spanned = (t[right] - t[left] <= _GAP * cell) & (t[right] >= edges) & (t[left] <= edges)
        whole = near | spanned
        x = np.interp(edges, t, x)
        kept = np.flatnonzero(whole)
        begins, ends = kept[:-1], kept[1:]
        if not self.are_counts:
            single = ends - begins == 1
            begins, ends = begins[single], ends[single]
        if len(begins) < 6:
            return None
        speeds = (x[ends] - x[begins]) / (edges[ends] - edges[begins])
        if noisy:
            fine = ~_spikes(speeds)
            begins, ends, speeds = begins[fine], ends[fine], speeds[fine]
        return Cells(edges, begins, ends, speeds)


def _spikes(speeds: FloatArray) -> BoolArray:
    """Which speeds (n,) lie far off both neighbours, that agree with one another: false readings."""
    spikes = np.zeros(len(speeds), dtype=bool)
    if len(speeds) < 5:
        return spikes
    middle, left, right = speeds[1:-1], speeds[:-2], speeds[2:]
    off = np.minimum(np.abs(middle - left), np.abs(middle - right))
    usual = 1.5 * float(np.median(off))
    spikes[1:-1] = (off > _SPIKE * usual) & (off > 2 * np.abs(left - right)) & ((middle - left) * (middle - right) > 0)
    return spikes
