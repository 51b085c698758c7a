"""Gear trains: all of one and two stages that a set of gears allows, swept at once for a wheel or a cocking drive.

The best trade-offs are marked.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fieldtune.battery.ceiling import BETWEEN_SHOTS_S, wheel_times
from fieldtune.battery.resistance import rest_voltage
from fieldtune.constants import RPM
from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.records import known
from fieldtune.robot.drawn import cock_time, draws_by_torque
from fieldtune.robot.drivetrain import Train, train
from fieldtune.robot.exit_speed import exit_speed, program_limit
from fieldtune.sizing.hazards import stated_top_rpm
from fieldtune.sizing.results import TORQUE_MARGIN, CockingChoice, GearChoice, Supply

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray, IntArray
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.drivetrain import Drive
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Robot
    from fieldtune.sizing.reach import ReachTable


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


@frozen
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


Progress = Callable[[int, int], None]

HEADROOM = 0.10
"""Share by which a low battery should still exceed what the farthest spot needs: common practice, no source."""

MOST_OVER = 2.5
"""Ceiling over the farthest spot's setpoint from which on a train is no pick while a lower one serves."""

_CHUNK = 10_000


@frozen
class GearSweep:
    """n gear trains, row ``PRESENT`` the drive's own: torque standing still (N m), reach (m), two times or margins."""

    gears: Gears
    torque: FloatArray
    ceiling: FloatArray
    farthest_m: FloatArray
    first: FloatArray
    second: FloatArray
    on_front: NDArray[np.bool_]
    best: int | None

    def rows(self, limit: int) -> list[int]:
        """The rows worth showing: the present train, the best, and the front thinned to ``limit``, by reduction."""
        front = np.flatnonzero(self.on_front)
        reductions = self.gears.reduction
        order = front[np.argsort(reductions[front], kind="stable")]
        _, distinct = np.unique(np.round(reductions[order], 6), return_index=True)
        order = order[distinct]
        room = max(limit - 2, 1)
        if len(order) > room:
            order = order[np.linspace(0, len(order) - 1, room).round().astype(int)]
        chosen = {int(r) for r in order} | {PRESENT} | ({self.best} if self.best is not None else set())
        return sorted(chosen, key=lambda r: (reductions[r], r))


def sweep_wheel(
    robot: Robot,
    wheel: Flywheel,
    supply: Supply,
    table: ReachTable,
    design_rpm: float,
    teeth: tuple[int, ...] | None = None,
    stages: int = 2,
    progress: Progress | None = None,
) -> GearSweep:
    """Every gear train for a wheel: ceiling (rpm), spin-up and recovery (s) at ``design_rpm``.

    Reach is that of the ceiling, or of the highest setpoint if the profile states one that is less.

    ``progress`` is called with (done, total) after every 10,000 trains. The wheel's inertia is taken as the profile's
    with any gears, since the motors' share of it is not known apart.
    """
    drive = _drive(robot)
    trains = _all_trains(drive, teeth, stages)

    def part(some: Train) -> tuple[FloatArray, ...]:
        torque = some.stall_torque(supply.low_v)
        top = wheel.ceiling(some, None, supply.low_v, BETWEEN_SHOTS_S, robot.element)
        times = wheel_times(robot, wheel, some, supply.usual_v, design_rpm)
        if times is None:
            return torque, top, np.full_like(top, np.nan), np.full_like(top, np.nan)
        return torque, top, times.spin_up_s, times.recovery_s

    torque, ceiling, spin_up, recovery = _in_chunks(drive, supply.resistance, trains, part, progress)
    limit = program_limit(robot)
    usable_rpm = np.minimum(ceiling, limit) if limit is not None and robot.setpoint.scale.is_speed else ceiling
    with np.errstate(divide="ignore"):
        farthest = table.farthest(np.log(exit_speed(robot, usable_rpm)))
    unknown_as_equal = (np.where(np.isnan(times), 0.0, times) for times in (spin_up, recovery))
    costs = np.column_stack([-np.nan_to_num(farthest), *unknown_as_equal])
    usable = (ceiling >= (1 + HEADROOM) * design_rpm) & np.isfinite(costs).all(axis=1)
    quickest = recovery if np.isfinite(recovery).any() else -ceiling
    sensible = usable & (ceiling <= MOST_OVER * design_rpm) & _within_stated(robot, wheel, supply, trains)
    best = _best(sensible if sensible.any() else usable, quickest, trains.stages, ceiling)
    return GearSweep(trains, torque, ceiling, farthest, spin_up, recovery, best_tradeoffs(costs), best)


def _within_stated(robot: Robot, wheel: Flywheel, supply: Supply, trains: Gears) -> NDArray[np.bool_]:
    """Which trains keep the wheel within what is stated for it, should the control fail on a full battery."""
    drive, full_v, top = _drive(robot), rest_voltage(robot, 1.0), stated_top_rpm(wheel)
    if full_v is None or top is None:
        return np.ones(len(trains), dtype=bool)
    free = train(drive, supply.resistance, trains.reduction, np.ones(len(trains))).no_load_speed(full_v)
    return np.asarray(free / wheel.fastest_driven(drive.motors) / RPM <= top)


def sweep_cocking(
    robot: Robot,
    mechanism: Drawn,
    supply: Supply,
    table: ReachTable,
    teeth: tuple[int, ...] | None = None,
    stages: int = 2,
    progress: Progress | None = None,
) -> GearSweep:
    """Every gear train for cocking: longest draw (mm) and torque margin at a low battery, time to cock (s)."""
    drive = _drive(robot)
    trains = _all_trains(drive, teeth, stages)
    way = mechanism.stroke(drive.crank_radius)
    hardest = float(way.torque[way.worst])

    def part(some: Train) -> tuple[FloatArray, ...]:
        torque = some.stall_torque(supply.low_v)
        return torque, draws_by_torque(way, torque) * 1000, cock_time(way, some, supply.usual_v)

    torque, draw, seconds = _in_chunks(drive, supply.resistance, trains, part, progress)
    margin = torque / hardest
    with np.errstate(divide="ignore"):
        farthest = table.farthest(np.log(exit_speed(robot, draw)))
    costs = np.column_stack([-np.nan_to_num(farthest), -np.minimum(margin, TORQUE_MARGIN), seconds])
    best = _best(margin >= TORQUE_MARGIN, seconds, trains.stages, margin)
    return GearSweep(trains, torque, draw, farthest, margin, seconds, best_tradeoffs(costs), best)


def wheel_choices(sweep: GearSweep, limit: int = 14) -> tuple[GearChoice, ...]:
    """The rows worth showing, as records."""
    return tuple(
        GearChoice(
            gears=sweep.gears.pairs(row),
            reduction=float(sweep.gears.reduction[row]),
            stall_torque_nm=known(sweep.torque[row]),
            ceiling_rpm_low=known(sweep.ceiling[row]),
            spin_up_s=known(sweep.first[row]),
            recovery_s=known(sweep.second[row]),
            farthest_m=known(sweep.farthest_m[row]),
            best=row == sweep.best,
            on_front=bool(sweep.on_front[row]),
            present=row == PRESENT,
        )
        for row in sweep.rows(limit)
    )


def cocking_choices(sweep: GearSweep, limit: int = 14) -> tuple[CockingChoice, ...]:
    """The rows worth showing, as records."""
    return tuple(
        CockingChoice(
            gears=sweep.gears.pairs(row),
            reduction=float(sweep.gears.reduction[row]),
            torque_margin=known(sweep.first[row]),
            longest_draw_mm=known(sweep.ceiling[row]),
            cock_time_s=known(sweep.second[row]),
            farthest_m=known(sweep.farthest_m[row]),
            best=row == sweep.best,
            on_front=bool(sweep.on_front[row]),
            present=row == PRESENT,
        )
        for row in sweep.rows(limit)
    )


def _drive(robot: Robot) -> Drive:
    if robot.drive is None:
        raise InputError(f"robot {robot.name}: gears can't be compared without the [drive] table")
    return robot.drive


def _all_trains(drive: Drive, teeth: tuple[int, ...] | None, stages: int) -> Gears:
    return with_present(gear_trains(teeth_to_choose_from(drive, teeth), stages), drive)


def _in_chunks(
    drive: Drive,
    resistance: float,
    trains: Gears,
    part: Callable[[Train], tuple[FloatArray, ...]],
    progress: Progress | None,
) -> tuple[FloatArray, ...]:
    reduction, efficiency = trains.reduction, drive.stage_efficiency ** trains.stages.astype(float)
    results = []
    for piece in chunks(len(trains), _CHUNK):
        results.append(part(train(drive, resistance, reduction[piece], efficiency[piece])))
        if progress is not None:
            progress(piece.stop, len(trains))
    return tuple(np.concatenate(column) for column in zip(*results, strict=True))


def _best(usable: NDArray[np.bool_], cost: FloatArray, stages: IntArray, fallback: FloatArray) -> int | None:
    """The usable train of least cost, the strongest where none is usable.

    Within 1 % the present train stays, then fewer stages win.
    """
    if not usable.any():
        return int(np.nanargmax(fallback)) if np.isfinite(fallback).any() else None
    rows = np.flatnonzero(usable)
    close = rows[cost[rows] <= 1.01 * np.nanmin(cost[rows])] if np.nanmin(cost[rows]) > 0 else rows
    return int(min(close, key=lambda r: (r != PRESENT, stages[r], cost[r], r)))
