"""Cautions in words, each beside the figure that causes it, and what keeps a figure from being known.

No number here means that it is safe: event rules, local codes and qualified supervision decide.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.person_units import POUND, amount, converted, how_far, size, unit, us
from fieldtune.robot.chemistry import CHEMISTRIES
from fieldtune.robot.exit_speed import program_limit

if TYPE_CHECKING:
    from fieldtune.robot.drawn import Drawn, Stroke
    from fieldtune.robot.model import Drive, Robot
    from fieldtune.sizing.hazards import Hazards
    from fieldtune.sizing.reach import NearFar, ReachTable
    from fieldtune.sizing.results import CockingChoice, GearChoice, SpringChoice

NEAR_LIMIT = 0.8
"""Share of what is stated for a wheel from which on it is warned of: common practice, no source."""

WORTH_SAYING_J = 0.05
"""Energy from which on a spring at its stop is warned of: enough to throw it across a table (common practice)."""


def cautions(robot: Robot, setpoint: float | None = None, battery_v: float | None = None) -> tuple[str, ...]:
    """The cautions a robot calls for at a setpoint (its highest where None), the deciding ones last."""
    from fieldtune.sizing.hazards import hazards

    at = hazards(robot, setpoint, battery_v)
    lines = [*_element_lines(at), *_wheel_lines(at), *_spring_lines(robot, at)]
    lines.append("Event rules, local codes and qualified supervision decide; no number here means that it is safe.")
    return tuple(lines)


def strained(robot: Robot, setpoint: float | None = None, battery_v: float | None = None) -> tuple[str, ...]:
    """Only what is near or beyond what it is stated or calculated to stand, at a setpoint."""
    stated = robot.launcher.mechanism.by_motion(
        lambda wheel: wheel.wheel_strength is not None or wheel.wheel_top_speed is not None,
        lambda drawn: drawn.wire is not None,
    )
    if not stated:
        return ()
    from fieldtune.sizing.hazards import hazards

    at = hazards(robot, setpoint, battery_v)
    return (*_limit_lines(at), *_wire_lines(at))


def _element_lines(at: Hazards) -> list[str]:
    if at.element_energy_j is None or at.exit_speed_mps is None:
        return ["Energy of the element unknown at this setpoint: eye protection and a clear range all the same."]
    per_area = at.element_density_j_per_cm2
    density = f", {_figure(per_area, 'J/cm2')} on its smallest face" if per_area is not None else ""
    lines = [
        f"At {at.setpoint:.0f} {at.unit} the element leaves at {amount(at.exit_speed_mps, 'm/s', 1)} with "
        f"{_figure(at.element_energy_j, 'J')}{density}: eye protection for everyone near (look up ANSI Z87.1, EN 166)."
    ]
    if at.carry_m is not None:
        lines.append(
            f"It could carry {amount(at.carry_m, 'm', 1)}, drag left out: keep that range clear or put a backstop, "
            "with nobody in front of the exit or behind the target."
        )
    else:
        lines.append("It need not stop on this slope: put a backstop, and nobody in front of the exit.")
    return lines


def _wheel_lines(at: Hazards) -> list[str]:
    if at.rim_speed_mps is None:
        return []
    stored = f" and the wheels keep {_energy(at.wheel_energy_j)}" if at.wheel_energy_j is not None else ""
    lines = [
        f"Rims run at {amount(at.rim_speed_mps, 'm/s', 1)}{stored} after the power is off: guards on wheels and gears, "
        "hands off until they stand still."
    ]
    weaker = "cracks, printed layers and glued treads stand far less"
    if at.rim_stress_mpa is None and at.top_speed_share is None:
        lines.append(
            "Rim stress unknown: compare the speed with the wheel maker's highest (launcher.wheel_top_speed), or give "
            "launcher.wheel_density."
        )
    elif at.rim_stress_mpa is not None and at.rim_stress_share is None:
        lines.append(
            f"Rim stress {_figure(at.rim_stress_mpa, 'MPa')}: compare with the wheel maker's limit "
            f"(launcher.wheel_strength); {weaker}."
        )
    elif at.rim_stress_mpa is not None:
        lines.append(
            f"Rim stress {_figure(at.rim_stress_mpa, 'MPa')} is {_percent(at.rim_stress_share)} of the stated limit; "
            f"{weaker}."
        )
    return [*lines, *_limit_lines(at)]


def _limit_lines(at: Hazards) -> list[str]:
    """A wheel near what is stated for it, at the setpoint or, should the control fail, at full power."""
    here = max((s for s in (at.rim_stress_share, at.top_speed_share) if s is not None), default=None)
    if here is not None and here > 1:
        return [
            f"At {at.setpoint:.0f} {at.unit} the wheel runs beyond what is stated for it ({_percent(here)}): do not "
            "run it so; a burst wheel goes through thin guards."
        ]
    if here is not None and here > NEAR_LIMIT:
        return [
            f"At {at.setpoint:.0f} {at.unit} the wheel runs at {_percent(here)} of what is stated for it: go lower, "
            "and let nobody stand in line with its rim."
        ]
    if at.full_power_share is not None and at.full_power_share > NEAR_LIMIT:
        return [
            f"Should the speed control fail, a full battery takes the wheel to {at.full_power_rpm:.0f} rpm, "
            f"{_percent(at.full_power_share)} of what is stated for it: limit the power, and let nobody stand in line "
            "with its rim."
        ]
    return []


def _spring_lines(robot: Robot, at: Hazards) -> list[str]:
    if at.spring_energy_j is None:
        return []
    lines = []
    if at.kept_energy_j is not None:
        lines.append(
            f"Cocked, the spring holds {_energy(at.spring_energy_j)} and keeps it with the power off: "
            "hands off a cocked spring, let it down before you reach in."
        )
    else:
        lines.append(f"A stroke puts in {_energy(at.spring_energy_j)}: keep clear of the arm's swing.")
    if at.preload_energy_j is not None and at.preload_energy_j >= WORTH_SAYING_J:
        lines.append(
            f"Even at its stop the spring is loaded ({_figure(at.preload_energy_j, 'J')}): "
            "it jumps out when its stop or guide comes off."
        )
    if at.dry_fire_energy_j is not None and at.dry_fire_energy_j >= WORTH_SAYING_J:
        lines.append(
            f"Let go without an element the stop takes {_energy(at.dry_fire_energy_j)} instead of "
            f"{_figure(at.stop_energy_j, 'J')}: don't fire it empty."
        )
    lines += _wire_lines(at)
    return [*lines, *robot.launcher.mechanism.own_cautions]


def _wire_lines(at: Hazards) -> list[str]:
    from fieldtune.sizing.hazards import FEW_CYCLES, STRAINED

    if at.spring_stress_mpa is None or at.spring_safety is None:
        return []
    if at.spring_safety < STRAINED:
        where = "" if at.spring_weakest == "coils" else f" at the {at.spring_weakest}"
        return [
            f"The spring's wire sees {amount(at.spring_stress_mpa, 'MPa', 0)}{where} at the longest draw, "
            f"{_percent(1 / at.spring_safety)} of what its material is calculated to stand: expect it to set or break; "
            "draw less or take a thicker wire."
        ]
    if at.spring_life_cycles is None or at.spring_life_cycles >= FEW_CYCLES:
        return []
    return [
        f"Drawn as far as it goes, the spring may break after some {at.spring_life_cycles:,.0f} draws: change it "
        "before that, and look for cracks."
    ]


def _energy(joules: float | None) -> str:
    """An energy, and what strikes as hard: 1 kg falling from a height, 10 kg where 1 kg would fall from a roof."""
    if joules is None:
        return "an energy that is unknown"
    number, (mass, name) = 1 if joules < 30 else 10, (POUND, "lb") if us() else (1.0, "kg")
    height = joules / (number * mass * STANDARD_GRAVITY)
    fall = amount(100 * height, "cm", 0) if height < 1 else amount(height, "m", 1)
    same = f" (as {number} {name} falling {fall})" if height > 0.005 else ""
    return f"{_figure(joules, 'J')}{same}"


def _figure(value: float | None, metric_unit: str) -> str:
    """Three significant digits without an exponent, with its unit."""
    if value is None:
        return "unknown"
    if value == 0:
        return f"0 {unit(metric_unit)}"
    said = converted(value, metric_unit)
    digits = max(0, 2 - math.floor(math.log10(abs(said))))
    return f"{np.round(said, digits):.{min(digits, 6)}f} {unit(metric_unit)}"


def _percent(share: float | None) -> str:
    return "an unknown share" if share is None else f"{100 * share:.0f} %"


# What keeps a sizing figure from being known, or a mechanism from doing its job: one line each, with the remedy.


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
    from fieldtune.sizing.gear_trains import MOST_KINDS, teeth_to_choose_from

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
    return [f"farthest distances are calculated up to {amount(table.distance[-1], 'm', 1)}"]


def reach_notes(robot: Robot, table: ReachTable, places: NearFar) -> list[str]:
    """Whether the distances can be scored from at all."""
    if table.nearest is None:
        return ["no distance scores with this exit angle, element and target: run fieldtune check on the profile"]
    missed = [s.name for s in robot.spots if table.needed(s.distance) is None]
    notes = [f"nothing scores from: {', '.join(missed)} (too near, or farther than is calculated)"] if missed else []
    notes += [places.guess] if places.guess is not None else []
    limit = program_limit(robot)
    if places.far_m is None:
        return notes
    if places.far is None:
        notes.append(
            f"{how_far(places.far_m)} needs more than the longest draw gives: a stiffer spring or a longer draw"
        )
    elif limit is not None and places.far > limit:
        unit, _ = robot.launcher.mechanism.measured
        notes.append(f"{how_far(places.far_m)} needs {places.far:.0f} {unit}, setpoint.high allows {limit:.0f}")
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
        notes.append(f"drive.crank_radius not given: {size(crank * 1000, 0)} taken, half the longest draw")
    if crank is not None and 2 * crank < longest * (1 - 1e-9):
        notes.append(
            f"the crank draws {size(2000 * crank, 0)}, draw_max is {size(1000 * longest, 0)}: check drive.crank_radius"
        )
    from fieldtune.physics.springs import WIRES

    wire = mechanism.wire
    if wire is not None and wire.material in WIRES and not WIRES[wire.material].covers(wire.wire_diameter):
        known = WIRES[wire.material]
        notes.append(
            f"spring wire of {size(1e3 * wire.wire_diameter)}: strengths of {known.name} are tabled from "
            f"{size(1e3 * known.thinnest)} to {size(1e3 * known.strength[-1][0])}, "
            "so where it yields is a guess"
        )
    hardest = float(way.torque[way.worst])
    if torque is not None and torque < hardest:
        worst_mm = 1000 * float(way.draw[way.worst])
        notes.append(
            f"too weak to cock: the worst point, at {worst_mm:.0f} mm, asks {amount(hardest, 'N m', figures=2)}, "
            f"a low battery gives {amount(torque, 'N m', figures=2)}: more reduction, a softer spring, "
            f"or draw at most {low_mm or 0:.0f} mm"
        )
    held = float(way.torque[-1])
    if crank is None and mechanism.spring_rate is not None and held > 0:
        notes.append(
            f"drawn, the {mechanism.kind} pulls back with {amount(held, 'N m', figures=2)}: a latch or brake "
            "has to hold that"
        )
    return notes


def worn_notes(life: float | None, cycles: int | None) -> list[str]:
    """Whether a spring was drawn more than half as often as it may last; shots in the log count as full draws."""
    if life is None or cycles is None or cycles < life / 2:
        return []
    return [f"{cycles:,} draws so far, and the spring may break after some {life:,.0f}: change it"]
