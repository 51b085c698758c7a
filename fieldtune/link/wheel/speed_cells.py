"""Mean speeds of a wheel in even cells of time, by points of its turns that come oddly, sparsely or damaged.

Counts tell the mean speed over a gap. Own rpm tells nothing of one, but the speed at each reading.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fieldtune.arrays import BoolArray, FloatArray, IntArray

FEWEST = 6  # points, or cells, that tell of a wheel at all
_GAP = 1.8  # cells without a point: what the wheel did meanwhile is not known
_FAR = 4.0  # standard deviations off the neighbours: a false count
_SPIKE = 5.0  # standard deviations off both neighbours
_BEFORE_ALL, _BEHIND_ALL, _NOTHING = np.array([-math.inf]), np.array([math.inf]), np.zeros(1)


@frozen
class Cells:
    """Mean speeds (m,), turns/s, over cells ``begins`` to ``ends`` (m,) of the even ``edges_s`` (n + 1,).

    Seconds are relative to an instant, at an edge.
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


def speed_cells(
    edges_s: FloatArray,
    t: FloatArray,
    turns: FloatArray,
    counts: bool,
    breaks_s: Iterable[tuple[float, float]],
    noisy: bool,
) -> Cells | None:
    """The cells between even ``edges_s`` (n + 1,) that points ``t``, ``turns`` (p,) tell; None where they are too few.

    ``counts``: turns are counted, not summed from own rpm; ``breaks_s``: from when to when they jump; ``noisy``:
    single speeds may be false.
    """
    cell = edges_s[1] - edges_s[0]
    behind, known = t.searchsorted(edges_s), np.concatenate((_BEFORE_ALL, t, _BEHIND_ALL))
    left, right = known[behind], known[behind + 1]
    near = np.minimum(right - edges_s, edges_s - left) <= 0.5 * cell
    kept = (near | (right - left <= _GAP * cell)).nonzero()[0]
    x = np.interp(edges_s, t, turns)
    begins, ends = kept[:-1], kept[1:]
    speeds = (x[ends] - x[begins]) / (edges_s[ends] - edges_s[begins])
    if not counts and len(kept) < len(edges_s):
        single = ends - begins == 1
        begins, ends, speeds = _with_readings(begins[single], speeds[single], behind, t, turns)
    for since_s, until_s in breaks_s:
        if edges_s[0] < until_s and since_s <= edges_s[-1]:
            apart = (edges_s[ends] <= since_s) | (edges_s[begins] >= until_s)
            begins, ends, speeds = begins[apart], ends[apart], speeds[apart]
    if len(begins) < FEWEST:
        return None
    if noisy:
        fine = ~_spikes(speeds)
        begins, ends, speeds = begins[fine], ends[fine], speeds[fine]
    return Cells(edges_s, begins, ends, speeds)


def _with_readings(
    begins: IntArray, speeds: FloatArray, behind: IntArray, t: FloatArray, turns: FloatArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """Cells of own rpm whose ``speeds`` (m,) are known from ``begins`` (m,) to end, and those with a reading inside.

    ``behind`` (n + 1,): the first point behind each edge, of ``t`` and ``turns`` (p,). Where lines are lost, what the
    wheel did between is unknown, but not what it did at a reading.
    """
    sums = np.concatenate((_NOTHING, _NOTHING, (np.diff(turns) / np.maximum(np.diff(t), 1e-6)).cumsum()))
    first = np.maximum(behind[:-1], 1)  # the first point of all has none before it
    readings = behind[1:] - first
    inside = readings > 0
    inside[begins] = False
    others = inside.nonzero()[0]
    means = (sums[behind[1:]] - sums[first])[others] / readings[others]
    all_begins = np.concatenate((begins, others))
    order = all_begins.argsort()
    all_begins = all_begins[order]
    return all_begins, all_begins + 1, np.concatenate((speeds, means))[order]


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


def fine_points(t: FloatArray, x: FloatArray, floor: float) -> BoolArray:
    """Which points (n,) are not far off a line through their neighbours on either side: no false counts.

    ``floor``: the least variance of a point.
    """
    fine = np.ones(len(t), dtype=bool)
    share = (t[1:-1] - t[:-2]) / np.maximum(t[2:] - t[:-2], 1e-9)
    off = np.abs(x[1:-1] - (x[:-2] + share * (x[2:] - x[:-2])))
    room = max(_FAR * math.sqrt(2 * floor), _FAR * 1.5 * float(np.median(off)))
    fine[1:-1] = ~((off > room) & (off >= np.maximum(np.r_[0, off[:-1]], np.r_[off[1:], 0])))
    return fine
