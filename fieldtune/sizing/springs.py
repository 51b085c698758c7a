"""Springs: stress in the wire, what stays in the mechanism after the element has gone, and other springs compared."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fieldtune.physics.springs import WIRES, effective_mass, shear_stress, shear_yield, spring_energy
from fieldtune.physics.striker import push, strike
from fieldtune.robot.drivetrain import Train, train
from fieldtune.robot.model import Robot
from fieldtune.robot.wheel_energy import exit_speed
from fieldtune.sizing.cocking import cock_time, longest_draw, stroke, tip_force
from fieldtune.sizing.gear_sweep import TORQUE_MARGIN, Supply
from fieldtune.sizing.gear_trains import best_tradeoffs
from fieldtune.sizing.reach import ReachTable
from fieldtune.sizing.results import SpringChoice, known

_RATES = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0, 1.1, 1.25, 1.4, 1.6, 1.8, 2.0, 2.5)


@dataclass(frozen=True, slots=True)
class SpringStress:
    """Greatest shear stress in the wire, and the torsional yield it stands before it sets, both MPa."""

    stress_mpa: float
    limit_mpa: float

    @property
    def safety(self) -> float:
        """Limit over stress."""
        return self.limit_mpa / self.stress_mpa


def wire_stress(robot: Robot) -> SpringStress | None:
    """Stress at the longest draw, with the curvature factor; None without the wire's data or for a driving torque."""
    wire = robot.launcher.spring_wire
    force = force_max(robot)
    if wire is None or force is None or wire.material not in WIRES:
        return None
    stress = float(shear_stress(force, wire.wire_diameter, wire.coil_diameter))
    limit = float(shear_yield(wire.material, wire.wire_diameter))
    return SpringStress(stress / 1e6, limit / 1e6)


def force_max(robot: Robot) -> float | None:
    """Spring force at the longest draw, N; None where a torque drives the arm."""
    striker, arm = robot.launcher.striker, robot.launcher.arm
    if striker is None and (arm is None or arm.spring_rate is None):
        return None
    draw = striker.draw_max if striker is not None else arm.draw_max if arm is not None else 0.0
    return float(tip_force(robot, draw))


def stored_energy(robot: Robot, draw: float) -> float | None:
    """Energy (J) that a cocked spring holds at a draw (m), or an arm's torque puts in; None for a wheel."""
    striker, arm = robot.launcher.striker, robot.launcher.arm
    if striker is not None:
        return float(spring_energy(striker.spring_rate, draw, striker.preload))
    if arm is not None and arm.spring_rate is not None:
        return float(spring_energy(arm.spring_rate, draw, arm.preload))
    if arm is not None and arm.torque is not None:
        return arm.torque * draw / arm.arm_length
    return None


def stop_energy(robot: Robot, draw: float) -> float | None:
    """Energy (J) left in the striker or arm once the element has gone, which the stop takes, each cycle.

    A striker that hits keeps what the collision leaves it; one that pushes, and an arm, keep the element's speed.
    """
    striker, arm = robot.launcher.striker, robot.launcher.arm
    if arm is not None:
        speed = float(exit_speed(robot, draw * 1000))
        return 0.5 * arm.arm_inertia * (speed / arm.arm_length) ** 2
    if striker is None:
        return None
    moving = striker.striker_mass + float(effective_mass(striker.spring_mass))
    work = striker.efficiency * (stored_energy(robot, draw) or 0.0)
    if striker.contact == "push":
        return float(push(work, moving, robot.element.mass).energy_left)
    return float(strike(work, moving, robot.element.mass, striker.restitution).energy_left)


def spring_rate(robot: Robot) -> float:
    """Rate of the spring that drives the striker or arm, N/m; 0 where a torque does."""
    striker, arm = robot.launcher.striker, robot.launcher.arm
    if striker is not None:
        return striker.spring_rate
    return (arm.spring_rate or 0.0) if arm is not None else 0.0


def with_spring(robot: Robot, share: float) -> Robot:
    """The robot with its spring's rate and preload times ``share``."""
    launcher = robot.launcher
    if launcher.striker is not None:
        one = launcher.striker
        stiffer = replace(one, spring_rate=one.spring_rate * share, preload=one.preload * share)
        return replace(robot, launcher=replace(launcher, striker=stiffer))
    if launcher.arm is not None and launcher.arm.spring_rate is not None:
        arm = launcher.arm
        stiff = replace(arm, spring_rate=launcher.arm.spring_rate * share, preload=arm.preload * share)
        return replace(robot, launcher=replace(launcher, arm=stiff))
    return robot


def sweep_springs(robot: Robot, supply: Supply, table: ReachTable) -> tuple[SpringChoice, ...]:
    """Springs from 0.4 to 2.5 times the present one's rate and preload, each drawn as far as a low battery can cock.

    Best: the farthest reach among those with the torque margin; else the one with the greatest margin.
    """
    if robot.drive is None or force_max(robot) is None:
        return ()
    gears = train(robot.drive, supply.resistance)
    rows = [_choice(with_spring(robot, share), gears, supply, table, share) for share in _RATES]
    costs = np.array(
        [[-(r.farthest_m or 0.0), -min(r.torque_margin or 0.0, TORQUE_MARGIN), r.stop_energy_j or 0.0] for r in rows]
    )
    front = best_tradeoffs(costs)
    best = min(
        range(len(rows)),
        key=lambda i: (
            (rows[i].torque_margin or 0.0) < TORQUE_MARGIN,
            -(rows[i].farthest_m or 0.0) if (rows[i].torque_margin or 0.0) >= TORQUE_MARGIN else 0.0,
            -(rows[i].torque_margin or 0.0),
        ),
    )
    return tuple(replace(row, on_front=bool(front[i]), best=i == best) for i, row in enumerate(rows))


def _choice(robot: Robot, gears: Train, supply: Supply, table: ReachTable, share: float) -> SpringChoice:
    draw = longest_draw(robot, gears, supply.low_v) or 0.0
    way = stroke(robot)
    speed = float(exit_speed(robot, draw * 1000)) if draw > 0 else 0.0
    return SpringChoice(
        rate_share=share,
        spring_rate_n_per_mm=spring_rate(robot) / 1000,
        draw_mm=draw * 1000,
        force_max_n=float(tip_force(robot, draw)),
        spring_energy_j=stored_energy(robot, draw),
        exit_speed_max_mps=speed or None,
        farthest_m=known(table.farthest(np.log(speed))) if speed > 0 else None,
        torque_margin=float(gears.stall_torque(supply.low_v)) / float(way.torque[way.worst]),
        cock_time_s=known(cock_time(stroke(robot, draw), gears, supply.usual_v)),
        stop_energy_j=stop_energy(robot, draw) if draw > 0 else None,
        present=share == 1.0,
    )
