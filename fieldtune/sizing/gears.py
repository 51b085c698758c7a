"""All gear trains of one and two stages that a set of gears allows, as arrays."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldtune.errors import InputError
from fieldtune.robot.model import Drive
from fieldtune.sizing.drivetrain import FloatArray

COMMON_TEETH = (12, 15, 16, 18, 20, 24, 30, 36, 40, 48, 60, 72)
"""Tooth numbers that gear sets for small robots usually hold: common practice, no source."""

MOST_KINDS = 32
"""Different gears that are tried in all combinations: some half a million trains."""

IntArray = NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Gears:
    """n gear trains: ``teeth`` (n, stages, 2), driving and driven, 1 and 1 where a train has no second stage."""

    teeth: IntArray
    stages: IntArray

    @property
    def reduction(self) -> FloatArray:
        """Motor turns a turn of the output (n,)."""
        return np.asarray((self.teeth[:, :, 1] / self.teeth[:, :, 0]).prod(axis=1), dtype=float)

    def pairs(self, row: int) -> tuple[tuple[int, int], ...]:
        """One train as (driving, driven) a stage."""
        return tuple((int(a), int(b)) for a, b in self.teeth[row][: int(self.stages[row])])

    def __len__(self) -> int:
        return len(self.teeth)


def gear_trains(teeth: tuple[int, ...], stages: int = 2) -> Gears:
    """Every train of one up to ``stages`` (1 or 2) stages; stages in either order count once.

    Raises ``InputError`` where there is no gear to choose from, or more than ``MOST_KINDS``.
    """
    kinds = sorted({int(t) for t in teeth if t >= 1})
    if not kinds:
        raise InputError("no gears to choose from: list tooth numbers in [drive] teeth_available, such as [12, 36, 60]")
    if len(kinds) > MOST_KINDS:
        raise InputError(f"{len(kinds)} different gears: too many to try all; list at most {MOST_KINDS} tooth numbers")
    pairs = np.array([(a, b) for a in kinds for b in kinds], dtype=np.int64)
    one = np.ones((len(pairs), 1, 2), dtype=np.int64)
    single = np.concatenate([pairs[:, None, :], one], axis=1)
    if stages == 1:
        return Gears(single, np.ones(len(single), dtype=np.int64))
    turning = pairs[pairs[:, 0] != pairs[:, 1]]
    first, second = np.triu_indices(len(turning))
    double = np.stack([turning[first], turning[second]], axis=1)
    counts = np.concatenate([np.ones(len(single), dtype=np.int64), np.full(len(double), 2, dtype=np.int64)])
    return Gears(np.concatenate([single, double]), counts)


def with_present(trains: Gears, drive: Drive) -> tuple[Gears, int | None]:
    """The trains with the drive's own one put first, and its row; None where it has more than two stages."""
    if len(drive.gears) > 2 or not drive.gears:
        return trains, None
    own = np.ones((1, 2, 2), dtype=np.int64)
    own[0, : len(drive.gears)] = drive.gears
    own_stages = np.array([len(drive.gears)], dtype=np.int64)
    return Gears(np.concatenate([own, trains.teeth]), np.concatenate([own_stages, trains.stages])), 0


def chunks(total: int, size: int) -> Iterator[slice]:
    """Slices of at most ``size`` that cover ``total``."""
    for start in range(0, total, size):
        yield slice(start, min(start + size, total))
