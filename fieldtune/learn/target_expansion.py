"""The targets of shots in required log exit speed, expanded to second order around a shape of the unknowns.

An expansion holds for every draw of the posterior at once and costs one evaluation a target; the MAP estimate expands
again where the maximum has moved.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.required_speed.interface import RequiredSpeed, RequiredSpeedPoint
from fieldtune.arrays import distinct
from fieldtune.frozen import frozen
from fieldtune.learn.parameters import SHAPES, Layout
from fieldtune.learn.side_miss import chord
from fieldtune.robot.model import Robot, Target

if TYPE_CHECKING:
    from fieldtune.aim.rim_scores import RimScores
    from fieldtune.arrays import BoolArray, FloatArray, IntArray
    from fieldtune.learn.shot_table import ShotTable

RequiredSpeedOf = Callable[[Robot, Target], RequiredSpeed]

# Away from the origin by this many standard deviations the gradient is taken again for the curvature.
_SHIFT = 0.5
# Metres beyond a measured miss at which slopes are taken again.
_BEYOND = 0.02
# More distances than this are gathered, those within so many metres into one.
_MANY, _TOGETHER = 64, 0.02
# Where the element does not pass at all by the profile, the opening counts with this share of its depth either way.
_FALLBACK_SHARE = 0.25
# A basket whose rim lets so few in is taken as one that nothing passes.
_HARDLY = 0.01


@frozen
class Expansion:
    """Required log speeds at m places: value (m,), slope (m, 3) and bend (m, 3, 3) in angle, log drag and distance.

    ``by_miss`` (m,) is the derivative in the miss, ``unit_slope`` (m, 3) that of its logarithm.
    """

    value: FloatArray
    slope: FloatArray
    bend: FloatArray
    by_miss: FloatArray
    unit_slope: FloatArray

    def at(self, index: IntArray | BoolArray | slice) -> Expansion:
        """Some of the places."""
        return Expansion(
            self.value[index], self.slope[index], self.bend[index], self.by_miss[index], self.unit_slope[index]
        )

    def replaced(self, where: BoolArray, other: Expansion) -> Expansion:
        """This expansion with ``other`` in some places."""
        return Expansion(
            np.where(where, other.value, self.value),
            np.where(where[:, None], other.slope, self.slope),
            np.where(where[:, None, None], other.bend, self.bend),
            np.where(where, other.by_miss, self.by_miss),
            np.where(where[:, None], other.unit_slope, self.unit_slope),
        )

    def nearby(self, aside: FloatArray) -> Expansion:
        """This expansion a little further away, metres (m,)."""
        value = self.value + self.slope[:, 2] * aside + 0.5 * self.bend[:, 2, 2] * aside**2
        slope = self.slope + self.bend[:, :, 2] * aside[:, None]
        return replace(self, value=value, slope=slope)

    def moving(self, edge_slope: FloatArray) -> Expansion:
        """This expansion at a miss that itself moves with the shape by ``edge_slope`` (m, 3)."""
        return Expansion(
            self.value, self.slope + self.by_miss[:, None] * edge_slope, self.bend, self.by_miss, self.unit_slope
        )


def _shifts(layout: Layout) -> FloatArray:
    """The origin, and a small step along each of the three shapes (4, 3)."""
    return np.vstack([np.zeros(SHAPES), np.diag(_SHIFT * layout.prior.shape)])


def _seen(required: RequiredSpeed, reading: FloatArray, miss: FloatArray, shapes: FloatArray) -> RequiredSpeedPoint:
    """Required speed at m places from each of k shapes, flattened (k * m,)."""
    angle, drag, bias = shapes.T
    return required.log_speed(
        (reading[None, :] + bias[:, None]).ravel(),
        np.broadcast_to(miss, (len(shapes), len(miss))).ravel(),
        np.repeat(angle, len(miss)),
        np.repeat(drag, len(miss)),
    )


def _gradients(point: RequiredSpeedPoint, places: int) -> FloatArray:
    """Derivatives in angle, log drag and distance (k, places, 3)."""
    return np.stack([point.d_angle, point.d_drag, point.d_distance], axis=-1).reshape(-1, places, SHAPES)


def expand(required: RequiredSpeed, reading: FloatArray, miss: FloatArray, layout: Layout, curved: bool) -> Expansion:
    """Expand required speeds at distance readings and misses (m,) around the layout's origin."""
    steps, places = _shifts(layout)[: 4 if curved else 1], len(miss)
    point = _seen(required, reading, miss, layout.origin + steps)
    slopes = _gradients(point, places)
    bend = np.zeros((places, SHAPES, SHAPES))
    if curved:
        bend = np.stack([(slopes[1 + k] - slopes[0]) / steps[1 + k, k] for k in range(SHAPES)], axis=-1)
        bend = np.nan_to_num((bend + bend.transpose(0, 2, 1)) / 2, posinf=0.0, neginf=0.0)
    return Expansion(point.value[:places], slopes[0], bend, point.d_miss[:places], np.zeros((places, SHAPES)))


def expand_measured(
    required: RequiredSpeed, reading: FloatArray, miss: FloatArray, layout: Layout, curved: bool
) -> Expansion:
    """``expand`` at measured misses, with the slope of their unit: d(dL/dmiss)/dshape is d(dL/dshape)/dmiss."""
    at = expand(required, reading, miss, layout, curved)
    beyond = _gradients(_seen(required, reading, miss + _BEYOND, layout.origin[None]), len(miss))[0]
    with np.errstate(invalid="ignore", divide="ignore"):
        unit_slope = np.nan_to_num((beyond - at.slope) / _BEYOND / at.by_miss[:, None], posinf=0.0, neginf=0.0)
    return replace(at, unit_slope=unit_slope)


@frozen
class SideEstimate:
    """Side bias and scatter (rad) with which the range looks at round openings."""

    bias: float
    scatter: float


@frozen
class TargetExpansion:
    """Targets of n shots: expansions at the centre and at the edges between which it scores, and at measured misses.

    ``endless`` (n,): no far edge. ``miss`` equals ``center`` where no miss was measured.
    """

    center: Expansion
    low: Expansion
    high: Expansion
    miss: Expansion
    endless: BoolArray

    def at(self, index: IntArray | BoolArray) -> TargetExpansion:
        """Some of the shots."""
        return TargetExpansion(
            self.center.at(index), self.low.at(index), self.high.at(index), self.miss.at(index), self.endless[index]
        )


def expand_target(
    robot: Robot,
    table: ShotTable,
    index: IntArray,
    layout: Layout,
    required_of: RequiredSpeedOf,
    side: SideEstimate,
    curved: bool,
) -> TargetExpansion:
    """Targets of the shots ``index``, all of one view (``ShotTable.views``), seen from the layout's origin."""
    target = table.targets[table.target[index[0]]]
    required = required_of(table.held(robot, index), target)
    distances, back, aside = _places(table.reading[index])
    measured = np.isfinite(table.miss[index])
    low_miss, high_miss, low_slope, high_slope = _opening(required, target, distances, layout, side)
    endless, count = np.isinf(high_miss), len(distances)
    misses = np.concatenate([np.zeros(count), low_miss, np.where(endless, 0.0, high_miss)])
    three = expand(required, np.tile(distances, 3), misses, layout, curved)
    center, low, high = (three.at(slice(k * count, (k + 1) * count)) for k in range(3))
    low, high = low.moving(low_slope), high.moving(high_slope)
    # Where the path would peak before the near edge nothing slower comes down there either: the centre bounds it.
    low = low.replaced(~np.isfinite(low.value) | ((low.by_miss < 0) & (low.value > center.value)), center)
    endless = endless | ~np.isfinite(high.value)
    high = high.replaced(endless, low)
    center, low, high = (edge.at(back).nearby(aside) for edge in (center, low, high))
    miss = center
    if measured.any():
        hit = expand_measured(required, table.reading[index][measured], table.miss[index][measured], layout, curved)
        places = np.zeros(len(index), dtype=np.intp)
        places[measured] = np.arange(len(hit.value))
        miss = miss.replaced(measured, hit.at(places))
    return TargetExpansion(center, low, high, miss, endless[back])


def _places(reading: FloatArray) -> tuple[FloatArray, IntArray, FloatArray]:
    """Distances at which to work out centre and edges, which of them each shot takes, and how far it is from it.

    Many shots come from few distances. From very many, those within a centimetre share one: the slope takes them there.
    """
    distances = distinct(reading)
    back = np.searchsorted(distances, reading)
    if len(distances) > _MANY:
        steps = np.maximum(np.round(reading / _TOGETHER), 1)
        together = distinct(steps)
        back, distances = np.searchsorted(together, steps), together * _TOGETHER
    return distances, back, reading - distances[back]


def _opening(
    required: RequiredSpeed, target: Target, distances: FloatArray, layout: Layout, side: SideEstimate
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Misses (m,) between which it scores, on average over good sides, and how they move with the shape (m, 3).

    Where hits off a rim count, between the edges of an opening that scores as much on either side of its best miss.
    Where the profile says that nothing passes, a share of the opening stands for it.
    """
    steps, count = 0.1 * _shifts(layout), len(distances)
    if required.rim is not None:
        lows, highs, passes = _seen_rim(required.rim, distances, layout.origin + steps, side)
        near, far, _ = (_FALLBACK_SHARE * edge for edge in target.bare())
        met = np.ones(count)
        moves = _moves(lows, steps, passes, met), _moves(highs, steps, passes, met)
        return np.where(passes, lows[0], near), np.where(passes, highs[0], far), *moves
    free = required.free_at(_seen(required, distances, np.zeros(count), layout.origin + steps))
    low, high, _ = (_FALLBACK_SHARE * edge for edge in target.bare())
    lows = np.where(np.isfinite(free.low), free.low, low).reshape(-1, count)
    highs = np.where(np.isnan(free.high), high, free.high).reshape(-1, count)
    met = np.ones(count)
    if free.ring is not None:
        half = np.where(np.isfinite(free.side[:count]), free.side[:count], target.width / 2)
        met = chord(distances, half, side.bias, side.scatter)
    passes = np.asarray(np.isfinite(free.low).reshape(-1, count).all(axis=0))
    return lows[0] * met, highs[0] * met, _moves(lows, steps, passes, met), _moves(highs, steps, passes, met)


def _seen_rim(
    rim: RimScores, distances: FloatArray, shapes: FloatArray, side: SideEstimate
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Edges (4, m) of openings that score as much short of the best miss, and beyond it, as a basket with its rim.

    Far balls that come back from the board make a second stretch, which is left out: among wild outcomes there is room.
    Also whether anything scores at all (m,).
    """
    angle, _, bias = shapes.T
    true = np.maximum((distances[None, :] + bias[:, None]).ravel(), 0.01)
    chance = rim.over_misses(
        true, np.repeat(angle, len(distances)), true * side.bias, np.maximum(true * side.scatter, 1e-6)
    )
    misses, rows, best = rim.misses, np.arange(len(chance)), chance.argmax(axis=1)
    most = np.maximum(chance[rows, best], _HARDLY)
    beyond = np.arange(len(misses)) > best[:, None]
    lowest = np.minimum.accumulate(np.where(beyond, chance, most[:, None]), axis=1)
    again = beyond & (lowest < most[:, None] / 2) & (chance > lowest + 0.02 * most[:, None])
    chance = np.where(np.maximum.accumulate(again, axis=1), 0.0, chance)
    areas = np.pad(np.cumsum((chance[:, 1:] + chance[:, :-1]) / 2 * np.diff(misses), axis=1), ((0, 0), (1, 0)))
    before = areas[rows, best]
    low, high = misses[best] - before / most, misses[best] + (areas[:, -1] - before) / most
    passes = (chance.max(axis=1) > _HARDLY).reshape(len(shapes), -1).all(axis=0)
    return low.reshape(len(shapes), -1), high.reshape(len(shapes), -1), passes


def _moves(edges: FloatArray, steps: FloatArray, passes: BoolArray, met: FloatArray) -> FloatArray:
    """How an edge (4, m) moves with the shape (m, 3); not at all where there is none."""
    still = ~passes | np.isinf(edges[0])
    level = np.where(still, 0.0, edges)
    return np.stack([(level[1 + k] - level[0]) / steps[1 + k, k] * met for k in range(SHAPES)], axis=-1)
