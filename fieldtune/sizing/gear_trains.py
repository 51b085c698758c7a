"""All gear trains of one and two stages that a set of gears allows, as arrays; and the best trade-offs among many."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fieldtune.errors import InputError

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray, IntArray
    from fieldtune.robot.model import Drive


def best_tradeoffs(costs: FloatArray) -> NDArray[np.bool_]:
    """Which rows of ``costs`` (n, m; smaller is better) no other row beats in all columns (Pareto's front).

    Equal rows stay together. Rows with anything not finite never belong. The loop runs over the front only.
    """
    alive = np.flatnonzero(np.isfinite(costs).all(axis=1))
    front = np.zeros(len(costs), dtype=bool)
    rest = alive[np.argsort(costs[alive].sum(axis=1))] if alive.size else alive
    while rest.size:
        first = costs[rest[0]]
        front[rest[0]] = True
        equal = (costs[rest] == first).all(axis=1)
        front[rest[equal]] = True
        beaten = (costs[rest] >= first).all(axis=1)
        rest = rest[~beaten]
    return front


COMMON_TEETH = (12, 15, 16, 18, 20, 24, 30, 36, 40, 48, 60, 72)
"""Tooth numbers that gear sets for small robots usually hold: common practice, no source."""

MOST_KINDS = 32
"""Different gears that are tried in all combinations: some half a million trains, two seconds' work."""

PRESENT = 0
"""Row of the drive's own gear train among the trains of ``with_present``."""


@dataclass(frozen=True, slots=True)
class Gears:
    """n gear trains: ``teeth`` (n, most stages, 2), driving and driven, 1 and 1 where a train has fewer stages."""

    teeth: IntArray
    stages: IntArray

    @property
    def reduction(self) -> FloatArray:
        """Motor turns per turn of the output (n,)."""
        return np.asarray((self.teeth[:, :, 1] / self.teeth[:, :, 0]).prod(axis=1), dtype=float)

    def pairs(self, row: int) -> tuple[tuple[int, int], ...]:
        """One train as (driving, driven) a stage."""
        return tuple((int(a), int(b)) for a, b in self.teeth[row][: int(self.stages[row])])

    def __len__(self) -> int:
        return len(self.teeth)


def teeth_to_choose_from(drive: Drive, teeth: tuple[int, ...] | None) -> tuple[int, ...]:
    """The teeth asked for, else the profile's, else a common set."""
    return teeth or drive.teeth_available or COMMON_TEETH


def tried_teeth(teeth: tuple[int, ...]) -> tuple[int, ...]:
    """The tooth numbers to combine: all of them, or ``MOST_KINDS`` spread evenly over a longer list."""
    kinds = sorted({int(t) for t in teeth if t >= 1})
    if len(kinds) <= MOST_KINDS:
        return tuple(kinds)
    return tuple(kinds[round(k * (len(kinds) - 1) / (MOST_KINDS - 1))] for k in range(MOST_KINDS))


def gear_trains(teeth: tuple[int, ...], stages: int = 2) -> Gears:
    """Every train of one up to ``stages`` (1 or 2) stages of ``tried_teeth``; stages in either order count once.

    Raises ``InputError`` where there is no gear to choose from.
    """
    kinds = tried_teeth(teeth)
    if not kinds:
        raise InputError("no gears to choose from: list tooth numbers in [drive] teeth_available, such as [12, 36, 60]")
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


def with_present(trains: Gears, drive: Drive) -> Gears:
    """The trains with the drive's own one in row ``PRESENT``, however many stages it has; none for a direct drive."""
    wide = max(trains.teeth.shape[1], len(drive.gears))
    teeth = np.ones((len(trains) + 1, wide, 2), dtype=np.int64)
    teeth[1:, : trains.teeth.shape[1]] = trains.teeth
    if drive.gears:
        teeth[0, : len(drive.gears)] = drive.gears
    return Gears(teeth, np.concatenate([[len(drive.gears)], trains.stages]).astype(np.int64))


def chunks(total: int, size: int) -> Iterator[slice]:
    """Slices of at most ``size`` that cover ``total``."""
    for start in range(0, total, size):
        yield slice(start, min(start + size, total))
