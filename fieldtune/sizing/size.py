"""A robot's mechanism in figures: what it does with a full and a low battery, what other gears or springs buy."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fieldtune.battery.ceiling import BETWEEN_SHOTS_S, wheel_times
from fieldtune.battery.resistance import LOW_CHARGE, rest_voltage, usual_voltage
from fieldtune.constants import RPM
from fieldtune.frozen import frozen
from fieldtune.records import known
from fieldtune.robot.derived import grip_doubt
from fieldtune.robot.drawn import cock_time, draws_by_torque, return_time
from fieldtune.robot.drivetrain import Train, hold_current, train
from fieldtune.robot.exit_speed import drive_quantity, element_energy, exit_speed, program_limit
from fieldtune.sizing.cautions import (
    calculated_to,
    cocking_gear_notes,
    cocking_notes,
    gear_notes,
    reach_notes,
    sag_notes,
    supply_notes,
    worn_notes,
)
from fieldtune.sizing.gear_trains import (
    Progress,
    cocking_choices,
    sweep_cocking,
    sweep_wheel,
    wheel_choices,
)
from fieldtune.sizing.hazards import full_power_rpm, rim
from fieldtune.sizing.reach import ReachTable, as_taught, near_and_far, reach_table
from fieldtune.sizing.results import (
    CockingChoice,
    CockingSize,
    FlywheelSize,
    GearChoice,
    Needed,
    Size,
    SpringChoice,
    Supply,
)
from fieldtune.sizing.spring_sweep import sweep_springs

if TYPE_CHECKING:
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.drivetrain import Drive
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Robot
    from fieldtune.robot.targets import Target


def size(
    robot: Robot,
    target: Target | None = None,
    speed_factor: float = 1.0,
    cycles: int | None = None,
    teeth: tuple[int, ...] | None = None,
    progress: Progress | None = None,
    sweep: bool = True,
) -> Size:
    """Sizing figures of a robot for one target (its first where None).

    ``speed_factor``: real exit speed over the profile's model, as shots taught it. ``cycles``: strokes counted so far,
    for the energy that the stop has taken. ``teeth``: gears to choose from, else the profile's or a common set.
    ``sweep``: whether to look for other gears and springs at all.
    What can't be known from the profile is None and named in ``notes``.
    """
    taught, left = as_taught(robot, speed_factor)
    table, looking = reach_table(taught, target or taught.target(), left), _Looking(sweep, teeth, progress)

    def turning(wheel: Flywheel) -> Size:
        return _flywheel(taught, wheel, table, looking)

    def cocked(drawn: Drawn) -> Size:
        return _cocking(taught, drawn, table, cycles, looking)

    return taught.launcher.mechanism.by_motion(turning, cocked)


@frozen
class _Looking:
    """For which other parts to look, and whom to tell how far it is."""

    sweep: bool
    teeth: tuple[int, ...] | None
    progress: Progress | None


def supply_of(robot: Robot) -> Supply | None:
    """Low and usual voltage at rest and the resistance; None where the profile does not tell them."""
    low, usual = rest_voltage(robot, LOW_CHARGE), usual_voltage(robot)
    if robot.drive is None or robot.battery is None or robot.battery.resistance is None or low is None or usual is None:
        return None
    return Supply(low, usual, robot.battery.resistance)


def _flywheel(robot: Robot, wheel: Flywheel, table: ReachTable, looking: _Looking) -> FlywheelSize:
    drive, supply, places = robot.drive, supply_of(robot), near_and_far(robot, table)
    notes = [*supply_notes(robot), *reach_notes(robot, table, places), *wheel.unknown]
    doubt = grip_doubt(robot, wheel.grip)
    notes += [doubt] if doubt is not None else []
    if robot.speed_kept == 0.0:
        notes.append("a shot takes more than the wheels hold: heavier or faster wheels, or a lighter element")
    full_v = rest_voltage(robot, 1.0)
    full = low = usual = None
    gears = train(drive, supply.resistance) if drive is not None and supply is not None else None
    if gears is not None and supply is not None and full_v is not None:
        volts = np.array([full_v, supply.low_v, supply.usual_v])
        full, low, usual = (float(rpm) for rpm in wheel.ceiling(gears, None, volts, BETWEEN_SHOTS_S, robot.element))
    needs_drive = robot.setpoint.scale.follows_voltage
    highest = None if needs_drive and drive is None else float(drive_quantity(robot, robot.setpoint.high))
    limit = program_limit(robot)
    design = places.far if places.far is not None else _least(highest, usual)
    times = wheel_times(robot, wheel, gears, supply.usual_v, design) if gears and supply and design else None
    recovery = known(times.recovery_s) if times else None
    kept = robot.speed_kept
    rotors = drive.rotors if drive is not None else 0.0
    choices: tuple[GearChoice, ...] = ()
    if looking.sweep and drive is not None and supply is not None and design is not None:
        notes += gear_notes(drive, looking.teeth)
        choices = wheel_choices(
            sweep_wheel(robot, wheel, supply, table, design, looking.teeth, progress=looking.progress)
        )
    top = full_power_rpm(robot, wheel) or highest
    rim_speed, rim_stress = rim(wheel, top) if top is not None else (None, None)
    if low is not None and limit is not None and low > limit:
        notes.append(f"the setpoint's limit, {limit:.0f} rpm, bounds the reach here, not the battery")
    if low is not None and places.far is not None and low < places.far:
        notes.append(
            f"a low battery holds {low:.0f} rpm, the farthest distance needs {places.far:.0f}: "
            "change the gears, stand closer or swap batteries sooner"
        )
    notes += calculated_to(table, choices)
    if gears is not None and full_v is not None:
        notes += sag_notes(robot, full_v, float(gears.current(full_v, 0.0)))
    return FlywheelSize(
        kind=wheel.kind,
        reduction=drive.reduction if drive else None,
        no_load_rpm=drive.no_load_output / RPM if drive else None,
        ceiling_rpm_full=full,
        ceiling_rpm_low=low,
        needed_rpm=Needed(places.near, places.far),
        near_m=places.near_m,
        far_m=places.far_m,
        farthest_m=_farthest(robot, table, _least(limit, low)),
        headroom_low=low / places.far - 1 if low is not None and places.far else None,
        design_rpm=design,
        spin_up_s=known(times.spin_up_s) if times else None,
        drop_rpm=design * (1 - kept) if kept and design is not None else None,
        recovery_s=recovery,
        shots_per_minute=60 / recovery if recovery else None,
        peak_current_a=float(gears.current(full_v, 0.0)) if gears and full_v is not None else None,
        hold_current_a=_holding(drive, supply, design),
        rim_speed_mps=rim_speed,
        rim_stress_mpa=rim_stress,
        element_energy_j=known(element_energy(robot, design)) if design else None,
        shot_energy_j=known(wheel.shot_energy(design, robot.element, rotors)) if design else None,
        stored_energy_j=wheel.stored_energy(top) if top is not None else None,
        choices=choices,
        notes=tuple(notes),
    )


def _cocking(robot: Robot, mechanism: Drawn, table: ReachTable, cycles: int | None, looking: _Looking) -> CockingSize:
    drive, supply, places = robot.drive, supply_of(robot), near_and_far(robot, table)
    longest, given = mechanism.draw_max, drive.crank_radius if drive is not None else None
    way, stress = mechanism.stroke(given), mechanism.stress
    full_v = rest_voltage(robot, 1.0)
    hardest = float(way.torque[way.worst])
    gears = train(drive, supply.resistance) if drive is not None and supply is not None else None
    full = low = torque = seconds = cycle = None
    if gears is not None and supply is not None and full_v is not None:
        full, low = (float(draws_by_torque(way, gears.stall_torque(v))) * 1000 for v in (full_v, supply.low_v))
        torque = float(gears.stall_torque(supply.low_v))
        seconds = known(cock_time(way, gears, supply.usual_v))
        cycle = known(seconds + float(return_time(way, gears, supply.usual_v))) if seconds is not None else None
    left = known(mechanism.stop_energy(longest, robot.element))
    choices: tuple[CockingChoice, ...] = ()
    springs: tuple[SpringChoice, ...] = ()
    if looking.sweep and supply is not None and hardest > 0:
        choices = cocking_choices(
            sweep_cocking(robot, mechanism, supply, table, looking.teeth, progress=looking.progress)
        )
        springs = sweep_springs(robot, mechanism, supply, table, places.far_m)
    return CockingSize(
        kind=mechanism.kind,
        reduction=drive.reduction if drive else None,
        force_max_n=mechanism.force_max,
        spring_energy_j=mechanism.work(longest),
        spring_stress_mpa=stress.stress_mpa if stress else None,
        spring_safety=stress.safety if stress else None,
        spring_weakest=stress.place if stress else None,
        spring_life_cycles=mechanism.spring_life,
        exit_speed_max_mps=known(exit_speed(robot, longest * 1000)) or None,
        element_energy_j=known(element_energy(robot, longest * 1000)),
        needed_mm=Needed(places.near, places.far),
        near_m=places.near_m,
        far_m=places.far_m,
        farthest_m=_farthest(robot, table, _least(program_limit(robot), low)),
        ceiling_mm_full=full,
        ceiling_mm_low=low,
        crank_torque_max_nm=hardest,
        worst_draw_mm=float(way.draw[way.worst]) * 1000,
        holding_torque_nm=round(float(way.torque[-1]), 9),
        drive_torque_nm=torque,
        torque_margin=torque / hardest if torque is not None and hardest > 0 else None,
        cock_time_s=seconds,
        cycles_per_minute=60 / cycle if cycle else None,
        peak_current_a=_cocking_current(drive, gears, supply, hardest),
        stop_energy_j=left,
        dry_fire_energy_j=known(mechanism.dry_fire_energy(longest, robot.element)),
        cycles=cycles,
        stop_energy_total_j=left * cycles if left is not None and cycles is not None else None,
        choices=choices,
        springs=springs,
        notes=(
            *supply_notes(robot),
            *cocking_notes(robot, mechanism, table, places, way, mechanism.crank_radius(given), torque, low),
            *worn_notes(mechanism.spring_life, cycles),
            *(gear_notes(drive, looking.teeth) if choices else ()),
            *cocking_gear_notes(choices),
            *calculated_to(table, (*choices, *springs)),
        ),
    )


def _holding(drive: Drive | None, supply: Supply | None, rpm: float | None) -> float | None:
    """Battery current that holds the wheel; unknown where the profile gives no current without load."""
    if drive is None or supply is None or rpm is None or drive.no_load_current <= 0:
        return None
    return hold_current(drive, supply.usual_v, rpm * RPM)


def _cocking_current(drive: Drive | None, gears: Train | None, supply: Supply | None, torque: float) -> float | None:
    """Battery current at the hardest point of the stroke, at most what the standing drive draws."""
    if drive is None or gears is None or supply is None:
        return None
    return min(drive.motors * float(gears.motor_current(torque)), float(gears.current(supply.usual_v, 0.0)))


def _farthest(robot: Robot, table: ReachTable, quantity: float | None) -> float | None:
    if quantity is None or quantity <= 0:
        return None
    speed = float(exit_speed(robot, quantity))
    return known(table.farthest(np.log(speed))) if speed > 0 else None


def _least(first: float | None, second: float | None) -> float | None:
    values = [v for v in (first, second) if v is not None]
    return min(values) if values else None
