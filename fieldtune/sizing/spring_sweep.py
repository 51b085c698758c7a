"""Other springs in place of the present one, with what each buys and costs: the softest that does the job is best."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.records import known
from fieldtune.robot.drawn import cock_time, draws_by_torque
from fieldtune.robot.drivetrain import train
from fieldtune.sizing.gear_trains import best_tradeoffs
from fieldtune.sizing.hazards import FEW_CYCLES, STRAINED
from fieldtune.sizing.reach import ReachTable, near_and_far
from fieldtune.sizing.results import TORQUE_MARGIN, SpringChoice, Supply

if TYPE_CHECKING:
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.drivetrain import Train
    from fieldtune.robot.model import Robot

SPARE_SPEED = 1.1
"""Exit speed over what the farthest spot needs that leaves something for a tired spring (common practice)."""

_RATES = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25, 1.4, 1.6, 1.8, 2.0, 2.5)


def needed_share(robot: Robot, mechanism: Drawn, table: ReachTable, far_m: float | None) -> float | None:
    """By how much to scale rate and preload so that the longest draw scores from ``far_m`` (m) with speed to spare.

    None where that isn't known.
    """
    wanted, rate = table.needed(far_m), mechanism.spring_rate
    if wanted is None or rate is None:
        return None
    shares = np.geomspace(0.01, 100, 400)
    longest = 1000 * mechanism.draw_max
    springs = [mechanism.with_spring(rate * share, mechanism.preload * share) for share in shares]
    speeds = np.array([float(spring.exit_speed(longest, robot.element)) for spring in springs])
    spare = SPARE_SPEED * math.exp(wanted) * (1 + 1e-3)  # the table between two springs is not quite exact
    return float(np.interp(spare, speeds, shares)) if speeds[0] < spare < speeds[-1] else None


def sweep_springs(
    robot: Robot, mechanism: Drawn, supply: Supply, table: ReachTable, far_m: float | None = None
) -> tuple[SpringChoice, ...]:
    """Springs from 0.4 to 2.5 times the present one's rate and preload, each drawn as far as a low battery can cock.

    Among them the one that does no more than is needed.

    Best: of those with the torque margin whose wire isn't strained, the softest that reaches ``far_m`` (m) with some
    speed to spare, since more only loads stop, wire and drive and makes a step of the setpoint coarser; the farthest
    reach where none does. Without any such spring the one with the greatest torque margin.
    """
    rate = mechanism.spring_rate
    if robot.drive is None or rate is None:
        return ()
    gears = train(robot.drive, supply.resistance)
    needed = needed_share(robot, mechanism, table, far_m)
    rates = sorted({*_RATES, *([] if needed is None else [needed])})
    springs = [(mechanism.with_spring(rate * share, mechanism.preload * share), share) for share in rates]
    near_m = near_and_far(robot, table).near_m
    rows = [_choice(robot, other, gears, supply, table, share, near_m) for other, share in springs]
    costs = np.array(
        [[-(r.farthest_m or 0.0), -min(r.torque_margin or 0.0, TORQUE_MARGIN), r.stop_energy_j or 0.0] for r in rows]
    )
    front = best_tradeoffs(costs)
    wanted = table.needed(far_m)

    def rank(i: int) -> tuple[float, ...]:
        row = rows[i]
        margin, far = row.torque_margin or 0.0, row.farthest_m or 0.0
        if margin < TORQUE_MARGIN or row.strained:
            return 2, -margin, 0.0
        enough = wanted is not None and (row.exit_speed_max_mps or 0.0) >= SPARE_SPEED * math.exp(wanted)
        return (0, row.stop_energy_j or 0.0, row.rate_share) if enough else (1, -far, row.rate_share)

    best = min(range(len(rows)), key=rank)
    return tuple(replace(row, on_front=bool(front[i]), best=i == best) for i, row in enumerate(rows))


def _choice(
    robot: Robot,
    mechanism: Drawn,
    gears: Train,
    supply: Supply,
    table: ReachTable,
    share: float,
    near_m: float | None,
) -> SpringChoice:
    crank = robot.drive.crank_radius if robot.drive is not None else None
    way = mechanism.stroke(crank)
    draw = float(draws_by_torque(way, gears.stall_torque(supply.low_v)))
    speed = float(mechanism.exit_speed(draw * 1000, robot.element)) if draw > 0 else 0.0
    return SpringChoice(
        rate_share=share,
        spring_rate_n_per_mm=(mechanism.spring_rate or 0.0) / 1000,
        draw_mm=draw * 1000,
        force_max_n=float(mechanism.tip_force(draw)),
        spring_energy_j=mechanism.work(draw),
        exit_speed_max_mps=speed or None,
        farthest_m=known(table.farthest(np.log(speed))) if speed > 0 else None,
        torque_margin=float(gears.stall_torque(supply.low_v)) / float(way.torque[way.worst]),
        cock_time_s=known(cock_time(mechanism.stroke(crank, draw), gears, supply.usual_v)),
        stop_energy_j=mechanism.stop_energy(draw, robot.element) if draw > 0 else None,
        step_m=_step(robot, mechanism, table, near_m),
        strained=_strained(mechanism, float(mechanism.tip_force(draw))),
        present=share == 1.0,
    )


def _strained(mechanism: Drawn, force: float) -> bool:
    wire = mechanism.wire
    if wire is None:
        return False
    life = wire.life(mechanism.preload, force)
    return wire.stress(force).safety < STRAINED or (life is not None and life < FEW_CYCLES)


def _step(robot: Robot, mechanism: Drawn, table: ReachTable, near_m: float | None) -> float | None:
    """Metres by which one step of the setpoint moves the landing at the nearest distance."""
    wanted, slope = table.needed(near_m), table.slope(near_m)
    if wanted is None or slope is None:
        return None
    speeds = np.array([math.exp(wanted)])
    draw = float(mechanism.quantity_for(speeds, robot.element, robot.setpoint.high)[0])
    ends = mechanism.exit_speed(np.array([draw, draw + robot.setpoint.step]), robot.element)
    return known(float(np.log(ends[1] / ends[0])) / slope) if np.isfinite(draw) and ends[0] > 0 else None
