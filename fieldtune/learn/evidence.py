"""Evidence: shots as rows of a likelihood of the log exit speed and the drive's response.

A shot with a measured speed teaches about the launcher at that speed; a recommendation is a setpoint, so what the drive
makes of it counts too (``tracked_prior``). Both are normal and conjugate, with a prior worth a few shots on the spread.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.arrays import median
from fieldtune.learn.log_posterior import WILD_SHARE, Rows
from fieldtune.learn.measured import measured_rows
from fieldtune.learn.parameters import PAIRS, SHAPES, Layout, Prior
from fieldtune.learn.target_expansion import (
    Expansion,
    RequiredSpeedOf,
    SideEstimate,
    TargetExpansion,
    expand,
    expand_target,
)
from fieldtune.robot.exit_speed import model_log_speed

if TYPE_CHECKING:
    from fieldtune.arrays import BoolArray, FloatArray, IntArray
    from fieldtune.learn.shot_table import ShotTable
    from fieldtune.robot.model import Robot

# Prior spread of the constant part: a closed loop or a draw stop, and an open loop by the motor's unloaded line.
_CLOSED, _OPEN = 0.02, 0.12
_JITTER, _JITTER_WORTH = 0.004, 4.0


def tracked_prior(robot: Robot, prior: Prior, table: ShotTable) -> Prior:
    """The prior with what pairs of commanded and measured speed say. Without pairs the level covers it all."""
    pairs = table.pairs
    if not len(pairs):
        return prior
    middle = median(pairs)
    # A reading error must not pass for jitter of the drive: far ones count as three typical deviations.
    reach = 3 * max(1.4826 * median(np.abs(pairs - middle)), _JITTER)
    near = np.clip(pairs, middle - reach, middle + reach)
    jitter2 = (_JITTER_WORTH * _JITTER**2 + float(np.sum((near - near.mean()) ** 2))) / (_JITTER_WORTH + len(near))
    broad = _OPEN if robot.setpoint.scale.follows_voltage else _CLOSED
    precision = 1 / broad**2 + len(near) / jitter2
    return replace(
        prior,
        tracking_mean=float(near.sum()) / jitter2 / precision,
        tracking_sd=float(precision**-0.5),
        jitter=float(jitter2**0.5),
    )


_SCAN, _VIEWS = 60, (0.5, 0.9, 0.1)


def sums_in_reach(robot: Robot, layout: Layout, required_of: RequiredSpeedOf) -> FloatArray:
    """Derivatives (n, P) at the prior's middle of believed less required log speed, at distances within reach."""
    required = required_of(robot, robot.targets[0])
    basis = layout.prior.basis
    quantity = np.geomspace(basis.q_low, basis.q_high, _SCAN)
    model = model_log_speed(robot, quantity)
    distance = np.linspace(required.d_low, required.d_high, _SCAN)
    needed = required.log_speed(distance).value
    inside = np.flatnonzero((needed >= model[0]) & (needed <= model[-1]))
    if not len(inside):
        return np.zeros((0, layout.size))
    distance = distance[inside[[int(share * (len(inside) - 1)) for share in _VIEWS]]]
    at = expand(required, distance, np.zeros(len(distance)), layout, curved=False)
    features = np.zeros((len(distance), layout.feature_count))
    features[:, : layout.gains] = basis.at(np.interp(at.value, model, quantity))
    features[:, layout.offset_features] = layout.acting(-1)
    features[:, layout.shape_features_at : layout.shape_features_at + SHAPES] = -at.slope
    return np.asarray(features @ layout.jacobian(np.zeros(layout.size)))


# A wild outcome is any of three, or a miss anywhere within three metres.
_LOG_WILD_OUTCOME = math.log(WILD_SHARE / 3)
_LOG_WILD_MISS = math.log(WILD_SHARE / 6)
# Variance below which no launcher repeats itself; keeps logarithms finite.
_LEAST_VARIANCE = 1e-10
# Change of ln(speed a metre of miss) over one standard deviation of a shape, above which a miss is only short or
# long.
_STEEPEST = 0.25


def evidence(
    robot: Robot, table: ShotTable, layout: Layout, required_of: RequiredSpeedOf, side: SideEstimate, curved: bool
) -> tuple[Rows, ...]:
    """Rows of range evidence of all shots, around the layout's origin.

    A measured miss says all that its result says about the range, and more: only one of the two counts.
    """
    rows: list[Rows] = []
    measured = np.isfinite(table.miss)
    for index in table.views(table.tells_range):
        seen = expand_target(robot, table, index, layout, required_of, side, curved)
        points = measured[index] & _telling(seen, layout)
        rows.append(_intervals(table, index[~points], layout, seen.at(~points)))
        rows.append(_points(robot, table, index[points], layout, seen.at(points)))
    rows += measured_rows(robot, table.beside, table.epochs, layout)
    return tuple(part for part in rows if len(part))


def _telling(seen: TargetExpansion, layout: Layout) -> BoolArray:
    """Which measured misses tell a speed: not those so near the path's peak that a little angle changes everything."""
    steepest = np.abs(seen.miss.unit_slope * layout.prior.shape).max(axis=1)
    steep = (np.abs(seen.miss.by_miss) <= 1e-9) | ~(steepest < _STEEPEST)
    return np.asarray(_placed(seen.center, seen.miss) & ~steep)


def coefficients(table: ShotTable, index: IntArray, layout: Layout, at: Expansion) -> FloatArray:
    """Rows (n, F) of needed minus real log exit speed over the layout's features."""
    out = np.zeros((len(index), layout.feature_count))
    out[:, : layout.gains] = -table.columns(layout.prior.basis)[index]
    out[:, layout.tracking_at] = -table.tracked[index].astype(float)
    out[:, layout.offset_features] = -layout.members[table.epoch[index]]
    labelled = np.flatnonzero(table.batch[index] >= 0)
    out[labelled, layout.offset_features.start + layout.first_batch + table.batch[index][labelled]] = -1.0
    out[:, layout.offset_features.stop] = table.before_last[index]
    start = layout.shape_features_at
    out[:, start : start + SHAPES] = at.slope
    for row, (i, k) in enumerate(PAIRS, start=start + SHAPES):
        out[:, row] = at.bend[:, i, k] * (0.5 if i == k else 1.0)
    out[:, -1] = at.value - table.model[index]
    return out


def loads(seen: TargetExpansion) -> FloatArray:
    """How the variances of log speed and of angle act on the log exit speed (n, 2)."""
    return np.column_stack([np.ones(len(seen.endless)), seen.center.slope[:, 0] ** 2])


def extra_variance(table: ShotTable, index: IntArray, layout: Layout) -> FloatArray:
    """Variance of the log exit speed from how the drive follows its command, where it was not measured (n,)."""
    return np.asarray(table.tracked[index] * layout.prior.jitter**2 + _LEAST_VARIANCE)


def _intervals(table: ShotTable, index: IntArray, layout: Layout, seen: TargetExpansion) -> Rows:
    """in, short and long as intervals of the log exit speed: short ends at the near edge, long starts at the far."""
    miss = np.nan_to_num(table.miss[index])
    short = np.where(miss == 0, table.is_result("short")[index], miss < 0)
    long = np.where(miss == 0, table.is_result("long")[index], miss > 0)
    # A far edge that no speed reaches has no beyond: "long" then tells nothing about the speed.
    keep = _placed(seen.center, seen.low, seen.high) & ~(long & seen.endless)
    index, seen, short, long = index[keep], seen.at(keep), short[keep], long[keep]
    lower, upper = (coefficients(table, index, layout, edge) for edge in (seen.low, seen.high))
    return Rows(
        lower=np.where(long[:, None], upper, lower),
        upper=np.where(short[:, None], lower, upper),
        open_low=short,
        open_high=long | (seen.endless & ~short),
        loads=loads(seen),
        extra=extra_variance(table, index, layout),
        log_wild=np.full(len(index), _LOG_WILD_OUTCOME),
        log_unit=None,
        error=0.0,
        count=np.ones(len(index)),
        source=index,
    )


def _placed(center: Expansion, *edges: Expansion) -> BoolArray:
    """Which shots the model can place (m,): their edges have a needed speed, and slopes there and at the centre."""
    values = np.array([edge.value for edge in edges])
    slopes = np.array([view.slope for view in (center, *edges)])
    return np.asarray(np.isfinite(values).all(axis=0) & np.isfinite(slopes).all(axis=(0, 2)))


def _points(robot: Robot, table: ShotTable, index: IntArray, layout: Layout, seen: TargetExpansion) -> Rows:
    """Measured misses as values of the log exit speed."""
    unit = np.zeros((len(index), layout.feature_count))
    unit[:, layout.shape_features_at : layout.shape_features_at + SHAPES] = seen.miss.unit_slope
    unit[:, -1] = np.log(np.abs(seen.miss.by_miss))
    return Rows(
        lower=coefficients(table, index, layout, seen.miss),
        upper=None,
        open_low=np.zeros(len(index), dtype=bool),
        open_high=np.zeros(len(index), dtype=bool),
        loads=loads(seen),
        extra=extra_variance(table, index, layout),
        log_wild=np.full(len(index), _LOG_WILD_MISS),
        log_unit=unit,
        error=robot.uncertainty.miss**2,
        count=np.ones(len(index)),
        source=index,
    )
