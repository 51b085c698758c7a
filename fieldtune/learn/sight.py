"""The targets of shots in needed log exit speed, expanded to second order around a shape of the unknowns.

An expansion holds for every draw of the posterior at once and costs one call of the need a target; ``fit`` expands
again where the maximum has moved.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldtune.aim.need import Need
from fieldtune.learn.shot_table import ShotTable
from fieldtune.learn.side import chord
from fieldtune.learn.unknowns import SHAPES, Layout
from fieldtune.robot.model import Robot, Target

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]
IntArray = NDArray[np.intp]
NeedOf = Callable[[Robot, Target], Need]

# Away from the origin by this many standard deviations the gradient is taken again for the curvature.
_SHIFT = 0.5
# Where the element does not pass at all by the profile, the opening counts with this share of its depth either way.
_FALLBACK_SHARE = 0.25


@dataclass(frozen=True, slots=True)
class Expansion:
    """Needed log speeds at m places: value (m,), slope (m, 3) and bend (m, 3, 3) in angle, log drag and distance."""

    value: FloatArray
    slope: FloatArray
    bend: FloatArray
    by_miss: FloatArray

    def at(self, index: IntArray | BoolArray) -> Expansion:
        """Some of the places."""
        return Expansion(self.value[index], self.slope[index], self.bend[index], self.by_miss[index])

    def replaced(self, where: BoolArray, other: Expansion) -> Expansion:
        """This expansion with ``other`` in some places."""
        return Expansion(
            np.where(where, other.value, self.value),
            np.where(where[:, None], other.slope, self.slope),
            np.where(where[:, None, None], other.bend, self.bend),
            np.where(where, other.by_miss, self.by_miss),
        )


def expand(need: Need, reading: FloatArray, miss: FloatArray, layout: Layout, curved: bool) -> Expansion:
    """Expand a need at distance readings and misses (m,) around the layout's origin."""
    shifts = np.zeros((1 + (SHAPES if curved else 0), SHAPES))
    if curved:
        shifts[1:] = np.diag(_SHIFT * layout.prior.shape)
    angle, drag, bias = (layout.origin + shifts).T
    point = need.log_speed(
        (reading[None, :] + bias[:, None]).ravel(),
        np.broadcast_to(miss, (len(shifts), len(miss))).ravel(),
        np.repeat(angle, len(miss)),
        np.repeat(drag, len(miss)),
    )
    slopes = np.stack([point.d_angle, point.d_drag, point.d_distance], axis=-1).reshape(len(shifts), -1, SHAPES)
    bend = np.zeros((len(miss), SHAPES, SHAPES))
    if curved:
        bend = np.stack([(slopes[1 + k] - slopes[0]) / shifts[1 + k, k] for k in range(SHAPES)], axis=-1)
        bend = np.nan_to_num((bend + bend.transpose(0, 2, 1)) / 2, posinf=0.0, neginf=0.0)
    return Expansion(point.value[: len(miss)], slopes[0], bend, point.d_miss[: len(miss)])


@dataclass(frozen=True, slots=True)
class SideView:
    """Side bias and scatter (rad) with which the range looks at round openings."""

    bias: float
    scatter: float


@dataclass(frozen=True, slots=True)
class Sight:
    """Targets of n shots: expansions at the centre and at the edges between which it scores, and at measured misses.

    ``endless`` (n,): no far edge. ``miss`` equals ``center`` where no miss was measured.
    """

    center: Expansion
    low: Expansion
    high: Expansion
    miss: Expansion
    endless: BoolArray

    def at(self, index: IntArray | BoolArray) -> Sight:
        """Some of the shots."""
        return Sight(
            self.center.at(index), self.low.at(index), self.high.at(index), self.miss.at(index), self.endless[index]
        )


def sight(
    robot: Robot, table: ShotTable, index: IntArray, layout: Layout, need_of: NeedOf, side: SideView, curved: bool
) -> Sight:
    """Targets of the shots ``index``, all of one target, seen from the layout's origin."""
    target = table.targets[table.target[index[0]]]
    need = need_of(robot, target)
    # Many shots come from few distances: centre and edges are worked out once for each.
    distances, back = np.unique(table.reading[index], return_inverse=True)
    low_miss, high_miss = _opening(need, target, distances, layout, side)
    measured = np.isfinite(table.miss[index])
    whole = expand(
        need,
        np.concatenate([distances, distances, distances, table.reading[index][measured]]),
        np.concatenate(
            [
                np.zeros_like(distances),
                low_miss,
                np.where(np.isinf(high_miss), 0.0, high_miss),
                table.miss[index][measured],
            ]
        ),
        layout,
        curved,
    )
    count = len(distances)
    center, low, high = (whole.at(np.arange(k * count, (k + 1) * count)) for k in range(3))
    # Where the path would peak before the near edge nothing slower comes down there either: the centre bounds it.
    low = low.replaced(~np.isfinite(low.value) | ((low.by_miss < 0) & (low.value > center.value)), center)
    endless = np.isinf(high_miss) | ~np.isfinite(high.value)
    high = high.replaced(endless, low)
    places = back.copy()
    places[measured] = 3 * count + np.arange(int(measured.sum()))
    return Sight(center.at(back), low.at(back), high.at(back), whole.at(places), endless[back])


def _opening(
    need: Need, target: Target, distances: FloatArray, layout: Layout, side: SideView
) -> tuple[FloatArray, FloatArray]:
    """Free misses, on average over good sides; a share of the opening where the profile says that nothing passes."""
    angle, drag, bias = layout.origin
    count = len(distances)
    free = need.free(distances + bias, np.full(count, angle), np.full(count, drag))
    spare = _FALLBACK_SHARE * target.opening[0]
    low = np.where(np.isfinite(free.low), free.low, 0.0 if target.kind == "gate" else -spare)
    high = np.where(np.isnan(free.high), math.inf if target.kind == "gate" else spare, free.high)
    if free.round:
        half = np.where(np.isfinite(free.side), free.side, target.opening[-1] / 2)
        met = chord(distances, half, side.bias, side.scatter)
        return low * met, high * met
    return low, high
