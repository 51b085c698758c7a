"""What is not known about how far a robot throws, as standard normal numbers, and how they act.

Order of the unknowns u: level, slope, remainder weights (one a knot), tracking, angle, drag, distance, log speed
scatter, log angle scatter, log spread of epochs, wear, then one offset an epoch, one a battery that came back, one a
lot of elements with a label. Order of the features: gain (level, slope, remainder), tracking, offsets, wear, shape
(angle, drag, distance away from where required speeds were expanded), products of shape, and 1.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.draws import gain_basis
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.aim.draws import GainBasis
    from fieldtune.arrays import FloatArray
    from fieldtune.robot.model import Robot, Target

# Tukey's h: how heavy the tails of level, slope and offsets are; 0.12 puts as much beyond three and four standard
# deviations as a Student t with four to five degrees of freedom, so that a robot far from its profile is still found.
_TAIL = 0.12
# Change of the log speed correction a factor e of the drive quantity, and the smooth rest, as shares of the level.
_SLOPE_SHARE, _REMAINDER_SHARE = 0.7, 0.45
# The remainder bends over a factor exp(0.5) of the drive quantity, or over a share of its range if that is shorter.
_BEND, _BEND_SHARE = 0.5, 0.3
_SCATTER_SPREAD = 0.5
_EPOCH_SPREAD_SPREAD = 0.9
# Of the variance between battery periods so much belongs to the battery and is there again when it comes back.
_OF_BATTERY = 0.8
# Change of log exit speed a shot: next to nothing for most robots, and a quarter per cent in the heavy tail.
_WEAR = 0.0004
SHAPES = 3
PAIRS = ((0, 0), (0, 1), (0, 2), (1, 1), (1, 2), (2, 2))
_PAIR_BENDS = np.array([np.eye(SHAPES)[[i, k]].T @ np.eye(SHAPES)[[k, i]] for i, k in PAIRS])
"""Second derivatives (pairs, SHAPES, SHAPES) of each product of two."""


@frozen
class Prior:
    """Standard deviations of the unknowns of a robot; ``shape`` (3,) for angle (rad), log drag, distance (m).

    ``tracking_mean``/``tracking_sd``: log exit speed of the real drive over the commanded one, as far as measured
    speeds tell; ``jitter`` is its spread from shot to shot.
    """

    basis: GainBasis
    level: float
    slope: float
    remainder: float
    shape: FloatArray
    log_speed_scatter: float
    log_angle_scatter: float
    epoch_spread: float
    tracking_mean: float = 0.0
    tracking_sd: float = 0.0
    jitter: float = 0.0


def prior_of(robot: Robot, target: Target) -> Prior:
    """What the profile's uncertainties say before any shot."""
    given = robot.uncertainty
    level = robot.launcher.mechanism.level_spread(given)
    basis = working_basis(gain_basis(robot))
    span = math.log(basis.q_high / basis.q_low)
    return Prior(
        basis=basis,
        level=level,
        slope=_SLOPE_SHARE * level * span,
        remainder=_REMAINDER_SHARE * level if given.remainder is None else given.remainder,
        shape=np.maximum([given.exit_angle, getattr(given, target.resistance), given.distance], 1e-6),
        log_speed_scatter=math.log(max(given.exit_speed_scatter, 1e-4)),
        log_angle_scatter=math.log(max(given.exit_angle_scatter, 1e-5)),
        epoch_spread=max(given.battery, 1e-5),
    )


def working_basis(basis: GainBasis) -> GainBasis:
    """The basis with knots close enough for its bend, whatever stretch of the drive quantity the limits span."""
    length = min(_BEND / math.log(basis.q_high / basis.q_low), _BEND_SHARE)
    count = int(np.clip(math.ceil(1.1 / (0.9 * length)) + 1, 3, 9))
    return replace(basis, knots=tuple(np.linspace(-0.05, 1.05, count)), length=length)


def batteries_that_came_back(epochs: Sequence[int], labels: Mapping[int, str | None]) -> tuple[int, ...]:
    """See ``Layout.batteries``: for each epoch the number of its battery, -1 where its label stands only once."""
    named = [labels.get(epoch) for epoch in epochs]
    again = sorted({label for label in named if label is not None and named.count(label) > 1})
    return tuple(again.index(label) if label in again else -1 for label in named) if again else ()


def heavy_tailed(u: FloatArray) -> FloatArray:
    """Standard normal to Tukey's heavy-tailed h distribution."""
    return np.asarray(u * np.exp(np.minimum(_TAIL * u * u / 2, 20.0)))


def heavy_tailed_slopes(u: FloatArray) -> tuple[FloatArray, FloatArray]:
    """First and second derivative of ``heavy_tailed``."""
    growth = np.exp(np.minimum(_TAIL * u * u / 2, 20.0))
    return (1 + _TAIL * u * u) * growth, _TAIL * u * (3 + _TAIL * u * u) * growth


@frozen
class Layout:
    """Unknowns of one robot with ``epochs`` epochs; ``origin`` (3,) is the shape that features are measured from.

    ``batteries`` holds for every epoch the number of its battery if that came back, -1 otherwise; empty if none did.
    ``batches`` lots of elements were shot, ``batch`` is the present one's number, -1 for one without a label.
    """

    prior: Prior
    epochs: int
    origin: FloatArray
    batteries: tuple[int, ...] = ()
    batches: int = 0
    batch: int = -1

    @property
    def gains(self) -> int:
        return self.prior.basis.size

    @property
    def tracking_at(self) -> int:
        return self.gains

    @property
    def shape_at(self) -> slice:
        return slice(self.gains + 1, self.gains + 1 + SHAPES)

    @property
    def scatter_at(self) -> tuple[int, int]:
        return self.gains + 4, self.gains + 5

    @property
    def spread_at(self) -> int:
        return self.gains + 6

    @property
    def wear_at(self) -> int:
        return self.gains + 7

    @property
    def offset_count(self) -> int:
        """Offsets of epochs, of batteries that came back, and of lots of elements."""
        return self.first_batch + self.batches

    @property
    def first_batch(self) -> int:
        """Number of the offset of the first lot of elements."""
        return self.epochs + max(self.batteries, default=-1) + 1

    @property
    def members(self) -> FloatArray:
        """Which offsets act in each epoch (epochs, offsets), 0 or 1."""
        out = np.eye(self.epochs, self.offset_count)
        for epoch, battery in enumerate(self.batteries):
            if battery >= 0:
                out[epoch, self.epochs + battery] = 1.0
        return out

    @property
    def shares(self) -> FloatArray:
        """Spread of each offset (offsets,) as a share of the spread of epochs."""
        out = np.ones(self.offset_count)
        out[self.epochs : self.first_batch] = math.sqrt(_OF_BATTERY)
        for epoch, battery in enumerate(self.batteries):
            if battery >= 0:
                out[epoch] = math.sqrt(1 - _OF_BATTERY)
        return out

    @property
    def offsets_at(self) -> slice:
        return slice(self.gains + 8, self.gains + 8 + self.offset_count)

    @property
    def size(self) -> int:
        """Number of unknowns P."""
        return self.gains + 8 + self.offset_count

    def gain(self, points: FloatArray) -> FloatArray:
        """Level, slope and remainder weights (K, gains)."""
        found = points[:, : self.gains] * self.prior.remainder
        found[:, 0] = self.prior.level * heavy_tailed(points[:, 0])
        found[:, 1] = self.prior.slope * heavy_tailed(points[:, 1])
        return found

    def tracking(self, points: FloatArray) -> FloatArray:
        """Log exit speed of the real drive over the commanded one (K,)."""
        return np.asarray(self.prior.tracking_mean + self.prior.tracking_sd * points[:, self.tracking_at])

    def shape(self, points: FloatArray) -> FloatArray:
        """Angle error, log drag, distance bias (K, 3)."""
        return np.asarray(points[:, self.shape_at] * self.prior.shape)

    def spread(self, points: FloatArray) -> FloatArray:
        """Spread of epochs in log speed (K,)."""
        return np.asarray(self.prior.epoch_spread * np.exp(_EPOCH_SPREAD_SPREAD * points[:, self.spread_at]))

    def offsets(self, points: FloatArray) -> FloatArray:
        """Offsets of epochs and of batteries in log speed (K, offsets)."""
        return np.asarray(self.spread(points)[:, None] * self.shares * heavy_tailed(points[:, self.offsets_at]))

    def acting(self, place: int) -> FloatArray:
        """Which offsets act now in an epoch (offsets,), 0 or 1: those of its battery and of the present elements."""
        out = np.array(self.members[place])
        if self.batch >= 0:
            out[self.first_batch + self.batch] = 1.0
        return out

    def present_offset(self, points: FloatArray, place: int) -> FloatArray:
        """What an epoch and the present elements add to the log exit speed (K,)."""
        return np.asarray(self.offsets(points) @ self.acting(place))

    def wear(self, points: FloatArray) -> FloatArray:
        """Change of the log exit speed a shot within a battery period (K,)."""
        return np.asarray(_WEAR * heavy_tailed(points[:, self.wear_at]))

    def features(self, points: FloatArray) -> FloatArray:
        """See ``log_posterior.Unknown``; (K, F)."""
        found, shape = np.empty((len(points), self.feature_count)), self.shape_features_at
        found[:, : self.gains] = self.gain(points)
        found[:, self.tracking_at] = self.tracking(points)
        found[:, self.offset_features] = self.offsets(points)
        found[:, shape - 1] = self.wear(points)
        away = found[:, shape : shape + SHAPES]
        away[:] = self.shape(points) - self.origin
        for place, (i, k) in enumerate(PAIRS, start=shape + SHAPES):
            np.multiply(away[:, i], away[:, k], out=found[:, place])
        found[:, -1] = 1.0
        return found

    @property
    def feature_count(self) -> int:
        return self.shape_features_at + SHAPES + len(PAIRS) + 1

    @property
    def offset_features(self) -> slice:
        """Where the offsets stand among the features; wear follows."""
        return slice(self.gains + 1, self.gains + 1 + self.offset_count)

    @property
    def shape_features_at(self) -> int:
        """Where the shape features begin; products follow, then the constant."""
        return self.gains + 2 + self.offset_count

    def jacobian(self, u: FloatArray) -> FloatArray:
        """See ``log_posterior.Unknown``; (F, P)."""
        slopes = np.zeros((self.feature_count, self.size))
        bent, _ = heavy_tailed_slopes(u)
        diagonal = np.arange(self.gains)
        slopes[diagonal, diagonal] = self.prior.remainder
        slopes[0, 0], slopes[1, 1] = self.prior.level * bent[0], self.prior.slope * bent[1]
        slopes[self.tracking_at, self.tracking_at] = self.prior.tracking_sd
        first, offsets = self.gains + 1, self.offsets_at
        each = np.arange(self.offset_count)
        spread = float(self.spread(u[None])[0]) * self.shares
        slopes[self.offset_features.stop, self.wear_at] = _WEAR * bent[self.wear_at]
        slopes[first + each, offsets.start + each] = spread * bent[offsets]
        slopes[first + each, self.spread_at] = _EPOCH_SPREAD_SPREAD * spread * heavy_tailed(u[offsets])
        away, place = self.shape(u[None])[0] - self.origin, self.shape_features_at
        slopes[place : place + SHAPES, self.shape_at] = np.diag(self.prior.shape)
        slopes[place + SHAPES : -1, self.shape_at] = (_PAIR_BENDS @ away) * self.prior.shape
        return slopes

    def curvature(self, u: FloatArray, pull: FloatArray) -> FloatArray:
        """See ``log_posterior.Unknown``; (P, P)."""
        bend = np.zeros((self.size, self.size))
        slope, curve = heavy_tailed_slopes(u)
        bend[0, 0], bend[1, 1] = pull[0] * self.prior.level * curve[0], pull[1] * self.prior.slope * curve[1]
        bend[self.wear_at, self.wear_at] = pull[self.offset_features.stop] * _WEAR * curve[self.wear_at]
        offsets, own = self.offsets_at, pull[self.offset_features]
        own = own * float(self.spread(u[None])[0]) * self.shares
        growth = _EPOCH_SPREAD_SPREAD
        each = np.arange(offsets.start, offsets.stop)
        bend[each, each] = own * curve[offsets]
        bend[each, self.spread_at] = bend[self.spread_at, each] = own * growth * slope[offsets]
        bend[self.spread_at, self.spread_at] = float(own @ heavy_tailed(u[offsets])) * growth**2
        of_pairs = np.tensordot(pull[self.shape_features_at + SHAPES : -1], _PAIR_BENDS, 1)
        bend[self.shape_at, self.shape_at] += of_pairs * np.outer(self.prior.shape, self.prior.shape)
        return bend

    def variances(self, points: FloatArray) -> FloatArray:
        """Variances of log speed and of angle (K, 2)."""
        speed, angle = self.scatter_at
        logs = np.column_stack(
            [
                self.prior.log_speed_scatter + _SCATTER_SPREAD * points[:, speed],
                self.prior.log_angle_scatter + _SCATTER_SPREAD * points[:, angle],
            ]
        )
        return np.asarray(np.exp(2 * np.minimum(np.maximum(logs, -20.0), 5.0)))

    def log_sd_columns(self) -> list[tuple[int, float]]:
        """See ``log_posterior.Unknown``."""
        return [(column, _SCATTER_SPREAD) for column in self.scatter_at]
