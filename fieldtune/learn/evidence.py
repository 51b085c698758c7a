"""Evidence: shots as arrays, then as rows of a likelihood of the log exit speed and the drive's response.

A shot with a measured speed teaches about the launcher at that speed; a recommendation is a setpoint, so what the drive
makes of it counts too (``tracked_prior``). Both are normal and conjugate, with a prior worth a few shots on the spread.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.arrays import distinct
from fieldtune.learn.log_posterior import WILD_SHARE, Rows
from fieldtune.learn.measured import Evidence, measured_rows
from fieldtune.learn.parameters import PAIRS, SHAPES, Layout, Prior
from fieldtune.learn.target_expansion import (
    Expansion,
    RequiredSpeedOf,
    SideEstimate,
    TargetExpansion,
    expand,
    expand_target,
)
from fieldtune.records import in_order
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

if TYPE_CHECKING:
    from fieldtune.aim.draws import GainBasis
    from fieldtune.arrays import BoolArray, FloatArray, IntArray
    from fieldtune.records import Shot
    from fieldtune.robot.model import Robot, Target

# Prior spread of the constant part: a closed loop or a draw stop, and an open loop by the motor's unloaded line.
_CLOSED, _OPEN = 0.02, 0.12
_JITTER, _JITTER_WORTH = 0.004, 4.0


def tracked_prior(robot: Robot, prior: Prior, table: ShotTable) -> Prior:
    """The prior with what pairs of commanded and measured speed say. Without pairs the level covers it all."""
    pairs = table.pairs
    if not len(pairs):
        return prior
    middle = float(np.median(pairs))
    # A reading error must not pass for jitter of the drive: far ones count as three typical deviations.
    reach = 3 * max(1.4826 * float(np.median(np.abs(pairs - middle))), _JITTER)
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
    judged = table.is_result("in", "short", "long") & ~measured
    for place in distinct(table.target):
        index = np.flatnonzero((table.target == place) & (judged | measured))
        if not len(index):
            continue
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


# Confirmed shots as arrays, with what does not depend on the unknowns worked out once.


_RESULTS = (None, "in", "short", "long", "left", "right")
# A measured speed this far (natural log) from the commanded one is a reading error, not a wheel.
_BELIEVABLE = 0.7


@dataclass(frozen=True, slots=True)
class ShotTable:
    """n shots that count, in order.

    ``reading`` (n,) is the distance as read, ``result`` codes into in/short/long/left/right, ``miss`` and ``side`` are
    nan where not measured. ``model`` (n,) is the model's log exit speed at ``quantity``, the measured speed where there
    is one; ``tracked`` says that it is the commanded one. ``pairs`` holds log exit speeds of measured over commanded.
    ``before_last`` (n,): how many shots before the last of its epoch, counted or not. ``batch`` (n,): number of the lot
    of elements among ``batches``, -1 without a label; where all shots are of one lot there is nothing to tell apart.
    """

    shots: tuple[Shot, ...]
    targets: tuple[Target, ...]
    target: IntArray
    reading: FloatArray
    result: IntArray
    miss: FloatArray
    side: FloatArray
    epoch: IntArray
    quantity: FloatArray
    model: FloatArray
    tracked: BoolArray
    pairs: FloatArray
    before_last: FloatArray
    batch: IntArray
    batches: tuple[str, ...]
    epochs: tuple[int, ...]
    beside: tuple[Evidence, ...]

    def __len__(self) -> int:
        return len(self.shots)

    def is_result(self, *names: str) -> BoolArray:
        """Which shots have one of these results (n,)."""
        return np.isin(self.result, [_RESULTS.index(name) for name in names])

    def columns(self, basis: GainBasis) -> FloatArray:
        """The gain's basis at the shots' drive quantities (n, size)."""
        return basis.at(self.quantity) if len(self) else np.zeros((0, basis.size))


def shot_table(robot: Robot, shots: Sequence[Shot], epoch: int, beside: Sequence[Evidence] = ()) -> ShotTable:
    """Table of the shots that count and that the model can place, with what was measured ``beside`` them."""
    in_time = in_order(shots)
    usable = _thinned(_of_few_epochs([shot for shot in in_time if shot.counts and _is_usable(shot)], epoch))
    throws = np.isfinite(model_log_speed(robot, _quantities(robot, usable)))
    usable = [shot for shot, leaves in zip(usable, throws, strict=True) if leaves]
    epochs = sorted({*(s.epoch for s in usable), epoch, *(one.epoch for one in beside if one.of == "exit_speed")})
    places = {number: place for place, number in enumerate(epochs)}
    names = {target.name: place for place, target in enumerate(robot.targets)}
    labels = {shot.batch for shot in usable}
    batches = tuple(sorted(label for label in labels if label is not None)) if len(labels) > 1 else ()
    commanded = _quantities(robot, usable)
    measured = np.array([_number(shot.speed) for shot in usable])
    model = model_log_speed(robot, commanded)
    measured_model = model_log_speed(robot, np.where(measured > 0, measured, 1.0))
    believed = (measured > 0) & np.isfinite(measured_model) & (np.abs(measured_model - model) < _BELIEVABLE)
    quantity = np.where(believed, measured, commanded)
    quantity_model = np.where(believed, measured_model, model)
    return ShotTable(
        shots=tuple(usable),
        targets=robot.targets,
        target=np.array([names.get(shot.target, 0) for shot in usable], dtype=np.intp),
        reading=np.array([shot.distance_m for shot in usable], dtype=float),
        result=np.array([_RESULTS.index(shot.result) for shot in usable], dtype=np.intp),
        miss=np.array([_number(shot.miss_m) for shot in usable]),
        side=np.array([_number(shot.side_m) for shot in usable]),
        epoch=np.array([places[shot.epoch] for shot in usable], dtype=np.intp),
        quantity=quantity,
        model=quantity_model,
        tracked=~believed,
        pairs=(measured_model - model)[believed],
        before_last=_before_last(in_time, usable),
        batch=np.array([batches.index(s.batch) if s.batch in batches else -1 for s in usable], dtype=np.intp),
        batches=batches,
        epochs=tuple(epochs),
        beside=tuple(beside),
    )


# No robot is exactly as the model has it. Beyond about two thousand shots the evidence for what the model leaves out
# outweighs the profile, and angle or drag may be pulled far from anything that can be; a thousand tell setpoints to
# a fraction of a step. The newest all stay, so that drift is seen.
_MOST_SHOTS, _NEWEST_SHOTS = 1000, 500


# Each battery period has a level of its own, and the time to find them grows faster than their number squared. The
# newest are kept; of the earlier ones those with the most shots tell most of angle and drag.
_NEWEST_EPOCHS, _FULLEST_EPOCHS = 10, 6


def _of_few_epochs(usable: list[Shot], present: int) -> list[Shot]:
    """The shots of the present epoch, of the newest ones, and of those before them that have the most."""
    counts = Counter(shot.epoch for shot in usable)
    newest = list(dict.fromkeys([present, *(shot.epoch for shot in reversed(usable))]))[:_NEWEST_EPOCHS]
    earlier = sorted(counts.keys() - set(newest), key=lambda epoch: (-counts[epoch], -epoch))
    return [shot for shot in usable if shot.epoch in {*newest, *earlier[:_FULLEST_EPOCHS]}]


def _thinned(usable: list[Shot]) -> list[Shot]:
    """All shots while they are few, else the newest and some evenly spaced through the earlier ones."""
    if len(usable) <= _MOST_SHOTS:
        return usable
    earlier = usable[:-_NEWEST_SHOTS]
    chosen = np.linspace(0, len(earlier) - 1, _MOST_SHOTS - _NEWEST_SHOTS).round().astype(int)
    return [*(earlier[place] for place in chosen), *usable[-_NEWEST_SHOTS:]]


def _before_last(fired: Sequence[Shot], usable: Sequence[Shot]) -> FloatArray:
    """Shots of the same epoch after each of the usable ones (n,), with those that teach nothing: they wear too."""
    after: dict[str, int] = {}
    epochs: dict[int, int] = {}
    for shot in reversed(fired):
        after[shot.uid] = epochs.get(shot.epoch, 0)
        epochs[shot.epoch] = after[shot.uid] + 1
    return np.array([after[shot.uid] for shot in usable], dtype=float)


def _quantities(robot: Robot, shots: Sequence[Shot]) -> FloatArray:
    """Commanded drive quantities (n,): one call a battery voltage."""
    quantity = np.zeros(len(shots))
    setpoints = np.array([shot.setpoint for shot in shots], dtype=float)
    if not robot.setpoint.scale.follows_voltage:
        return drive_quantity(robot, setpoints)
    volts = np.array([_number(shot.battery_v) for shot in shots])
    volts[~(volts > 0)] = np.nan
    for volt in distinct(volts[np.isfinite(volts)]):
        at = volts == volt
        quantity[at] = drive_quantity(robot, setpoints[at], float(volt))
    unknown = ~np.isfinite(volts)
    quantity[unknown] = drive_quantity(robot, setpoints[unknown])
    return quantity


def _is_usable(shot: Shot) -> bool:
    return all(math.isfinite(value) and value > 0 for value in (shot.distance_m, shot.setpoint))


def _number(value: float | None) -> float:
    return math.nan if value is None else float(value)
