"""What keeps a sizing figure from being known, or a mechanism from doing its job: one line each, with the remedy."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldtune.physics.springs import WIRES
from fieldtune.robot.chemistry import CHEMISTRIES
from fieldtune.robot.exit_speed import program_limit
from fieldtune.sizing.gear_trains import MOST_KINDS, teeth_to_choose_from

if TYPE_CHECKING:
    from fieldtune.robot.cocking import Stroke
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.model import Drive, Robot
    from fieldtune.sizing.reach import NearFar, ReachTable
    from fieldtune.sizing.results import CockingChoice, GearChoice, SpringChoice


def supply_notes(robot: Robot) -> list[str]:
    """What is missing of drive and battery."""
    if robot.drive is None:
        return [
            "no [drive] table: ceiling, times and currents unknown; give motors, no_load_speed, stall_torque, gears"
        ]
    notes = []
    if robot.drive.no_load_current <= 0:
        notes.append("drive.no_load_current not given: the holding current is unknown")
    battery = robot.battery
    if battery is None:
        return [*notes, "no [battery] table: ceilings unknown; give chemistry, cells and resistance"]
    if battery.chemistry is None:
        notes.append(f"battery.chemistry unknown: full and low voltage unknown; give one of {', '.join(CHEMISTRIES)}")
    if battery.resistance is None:
        notes.append("battery.resistance unknown: give it, or let the console measure it while the wheel spins up")
    return notes


def sag_notes(robot: Robot, rest_v: float, peak_a: float) -> list[str]:
    """What the greatest current does to the battery's voltage, against the brown-out limit where there is one."""
    battery = robot.battery
    if battery is None or battery.resistance is None:
        return []
    taken = battery.resistance * peak_a
    said = f"{peak_a:.0f} A at spin-up take {taken:.1f} V from the battery and its wiring"
    if battery.brownout is None:
        return [said]
    left = rest_v - taken
    if left >= battery.brownout:
        return [f"{said}: {left:.1f} V stay, above the brown-out limit of {battery.brownout:g} V"]
    return [
        f"{said}: {left:.1f} V are left, below the brown-out limit of {battery.brownout:g} V; limit the power at "
        "spin-up, or lower the resistance"
    ]


def gear_notes(drive: Drive | None, teeth: tuple[int, ...] | None) -> list[str]:
    """Whether all gears were tried."""
    given = len(set(teeth_to_choose_from(drive, teeth))) if drive is not None else 0
    if given <= MOST_KINDS:
        return []
    return [f"{given} different gears are too many to try all: {MOST_KINDS} of them, evenly spread, were; list fewer"]


def cocking_gear_notes(choices: Sequence[CockingChoice]) -> list[str]:
    """Whether the gears to choose from make any train that can cock."""
    if not choices or any(not c.present and (c.torque_margin or 0.0) >= 1 for c in choices):
        return []
    return ["no one or two stages of the gears to choose from cock it: list larger gears in drive.teeth_available"]


def calculated_to(table: ReachTable, choices: Sequence[GearChoice | CockingChoice | SpringChoice]) -> list[str]:
    """Whether some choice reaches farther than the distances looked at."""
    if not table.distance.size or not any(c.farthest_m == table.distance[-1] for c in choices):
        return []
    return [f"farthest distances are calculated up to {table.distance[-1]:.1f} m"]


def reach_notes(robot: Robot, table: ReachTable, places: NearFar) -> list[str]:
    """Whether the distances can be scored from at all."""
    if table.nearest is None:
        return ["no distance scores with this exit angle, element and target: run fieldtune check on the profile"]
    missed = [s.name for s in robot.spots if table.needed(s.distance) is None]
    notes = [f"nothing scores from: {', '.join(missed)} (too near, or farther than is calculated)"] if missed else []
    limit = program_limit(robot)
    if places.far_m is not None and places.far is None:
        notes.append(f"{places.far_m:.2f} m needs more than the longest draw gives: a stiffer spring or a longer draw")
    elif places.far is not None and limit is not None and places.far > limit:
        unit, _ = robot.launcher.mechanism.measured
        notes.append(f"{places.far_m:.2f} m needs {places.far:.0f} {unit}, setpoint.high allows {limit:.0f}")
    return notes


def cocking_notes(
    robot: Robot,
    mechanism: Drawn,
    table: ReachTable,
    places: NearFar,
    way: Stroke,
    crank: float | None,
    torque: float | None,
    low_mm: float | None,
) -> list[str]:
    """What is missing or too weak for cocking."""
    notes = reach_notes(robot, table, places)
    longest = mechanism.draw_max
    if crank is not None and robot.drive is not None and robot.drive.crank_radius is None:
        notes.append(f"drive.crank_radius not given: {crank * 1000:.0f} mm taken, half the longest draw")
    if crank is not None and 2 * crank < longest * (1 - 1e-9):
        notes.append(
            f"the crank draws {2000 * crank:.0f} mm, draw_max is {1000 * longest:.0f} mm: check drive.crank_radius"
        )
    wire = mechanism.wire
    if wire is not None and wire.material in WIRES and not WIRES[wire.material].covers(wire.wire_diameter):
        known = WIRES[wire.material]
        notes.append(
            f"spring wire of {1e3 * wire.wire_diameter:.3g} mm: strengths of {known.name} are tabled from "
            f"{1e3 * known.thinnest:.3g} to {1e3 * known.strength[-1][0]:.3g} mm, so where it yields is a guess"
        )
    hardest = float(way.torque[way.worst])
    if torque is not None and torque < hardest:
        worst_mm = 1000 * float(way.draw[way.worst])
        notes.append(
            f"too weak to cock: the worst point, at {worst_mm:.0f} mm, asks {hardest:.2g} N m, a low battery gives "
            f"{torque:.2g}: more reduction, a softer spring, or draw at most {low_mm or 0:.0f} mm"
        )
    held = float(way.torque[-1])
    if crank is None and mechanism.spring_rate is not None and held > 0:
        notes.append(f"drawn, the {mechanism.kind} pulls back with {held:.2g} N m: a latch or brake has to hold that")
    return notes
