"""What keeps a sizing figure from being known, or a mechanism from doing its job: one line each, with the remedy."""

from __future__ import annotations

from fieldtune.robot.model import Robot
from fieldtune.sizing.cocking import Stroke, longest_stroke
from fieldtune.sizing.reach import NearFar, ReachTable


def supply_notes(robot: Robot) -> list[str]:
    """What is missing of drive and battery."""
    if robot.drive is None:
        return ["no [drive] table: ceiling, times and currents unknown; give motors, free_speed, stall_torque, gears"]
    battery = robot.battery
    if battery is None:
        return ["no [battery] table: ceilings unknown; give chemistry, cells and resistance"]
    notes = []
    if battery.chemistry is None:
        notes.append("battery.chemistry unknown: full and low voltage unknown; give nimh, lead-acid, li-ion or lifepo4")
    if battery.resistance is None:
        notes.append("battery.resistance unknown: give it, or let the console measure it while the wheel spins up")
    return notes


def reach_notes(table: ReachTable, places: NearFar, robot: Robot) -> list[str]:
    """Whether the distances can be scored from at all."""
    if table.nearest is None:
        return ["no distance scores with this exit angle, element and target: run fieldtune check on the profile"]
    missed = [s.name for s in robot.spots if table.needed(s.distance) is None]
    notes = [f"no setpoint up to the limit scores from: {', '.join(missed)}"] if missed else []
    if places.far_m is not None and places.far is None:
        notes.append(f"{places.far_m:.2f} m needs more than the longest draw gives: a stiffer spring or a longer draw")
    return notes


def wheel_notes(robot: Robot, table: ReachTable, places: NearFar) -> list[str]:
    """What is missing or out of reach for a wheel."""
    notes = reach_notes(table, places, robot)
    wheel = robot.launcher.flywheel
    if wheel is not None and wheel.wheel_inertia is None:
        notes.append("launcher.wheel_inertia unknown: no spin-up, drop or recovery; the ceiling counts holding only")
    if wheel is not None and wheel.wheel_density is None:
        notes.append("launcher.wheel_density not given: rim stress unknown")
    return notes


def cocking_notes(
    robot: Robot,
    table: ReachTable,
    places: NearFar,
    way: Stroke,
    crank: float | None,
    torque: float | None,
    low_mm: float | None,
) -> list[str]:
    """What is missing or too weak for cocking."""
    notes = reach_notes(table, places, robot)
    longest = longest_stroke(robot)
    if crank is not None and robot.drive is not None and robot.drive.crank_radius is None:
        notes.append(f"drive.crank_radius not given: {crank * 1000:.0f} mm taken, half the longest draw")
    if crank is not None and 2 * crank < longest * (1 - 1e-9):
        notes.append(
            f"the crank draws {2000 * crank:.0f} mm, draw_max is {1000 * longest:.0f} mm: check drive.crank_radius"
        )
    hardest = float(way.torque[way.worst])
    if torque is not None and torque < hardest:
        worst_mm = 1000 * float(way.draw[way.worst])
        notes.append(
            f"too weak to cock: the worst point, at {worst_mm:.0f} mm, asks {hardest:.2g} N m, a low battery gives "
            f"{torque:.2g}: more reduction, a softer spring, or draw at most {low_mm or 0:.0f} mm"
        )
    if robot.launcher.arm is not None and float(way.torque[-1]) > 0 and robot.launcher.arm.spring_rate is not None:
        held = float(way.torque[-1])
        notes.append(f"drawn, the arm pulls back with {held:.2g} N m: a latch or brake has to hold that")
    return notes
