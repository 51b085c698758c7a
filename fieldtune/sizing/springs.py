"""Other springs in place of the present one, compared."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.plain import known
from fieldtune.robot.cocking import cock_time, draws_by_torque
from fieldtune.robot.drivetrain import Train, train
from fieldtune.sizing.gear_trains import best_tradeoffs
from fieldtune.sizing.results import STRAINED, TORQUE_MARGIN, SpringChoice, Supply

if TYPE_CHECKING:
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.model import Robot
    from fieldtune.sizing.reach import ReachTable

SPARE_SPEED = 1.1
"""Exit speed over what the farthest spot needs that leaves something for a tired spring (common practice)."""

_RATES = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25, 1.4, 1.6, 1.8, 2.0, 2.5)


def sweep_springs(
    robot: Robot, mechanism: Drawn, supply: Supply, table: ReachTable, far_m: float | None = None
) -> tuple[SpringChoice, ...]:
    """Springs from 0.4 to 2.5 times the present one's rate and preload, each drawn as far as a low battery can cock.

    Best: of those with the torque margin whose wire isn't strained, the softest that reaches ``far_m`` (m) with some
    speed to spare, since more only loads stop, wire and drive; the farthest reach where none does. Without any such
    spring the one with the greatest torque margin.
    """
    rate = mechanism.spring_rate
    if robot.drive is None or rate is None:
        return ()
    gears = train(robot.drive, supply.resistance)
    springs = [(mechanism.with_spring(rate * share, mechanism.preload * share), share) for share in _RATES]
    rows = [_choice(robot, other, gears, supply, table, share) for other, share in springs]
    costs = np.array(
        [[-(r.farthest_m or 0.0), -min(r.torque_margin or 0.0, TORQUE_MARGIN), r.stop_energy_j or 0.0] for r in rows]
    )
    front = best_tradeoffs(costs)
    wanted = table.needed(far_m)
    strained = [spring.stress is not None and spring.stress.safety < STRAINED for spring, _ in springs]

    def rank(i: int) -> tuple[float, ...]:
        row = rows[i]
        margin, far = row.torque_margin or 0.0, row.farthest_m or 0.0
        if margin < TORQUE_MARGIN or strained[i]:
            return 2, -margin, 0.0
        enough = wanted is not None and (row.exit_speed_max_mps or 0.0) >= SPARE_SPEED * math.exp(wanted)
        return (0, row.stop_energy_j or 0.0, row.rate_share) if enough else (1, -far, row.rate_share)

    best = min(range(len(rows)), key=rank)
    return tuple(replace(row, on_front=bool(front[i]), best=i == best) for i, row in enumerate(rows))


def _choice(
    robot: Robot, mechanism: Drawn, gears: Train, supply: Supply, table: ReachTable, share: float
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
        present=share == 1.0,
    )
