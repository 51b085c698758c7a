"""Commands about the mechanism: size, compare."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldtune.commands import aiming, parsing
from fieldtune.commands.output import columns, give, number, pairs

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot
    from fieldtune.sizing.records import CockingSize, FlywheelSize


def add(commands: argparse._SubParsersAction[parsing.Parser]) -> None:
    """Declares the commands of this family."""
    size = parsing.declare(commands, "size", _size, "drive, gearing, spring and safety figures")
    parsing.add_robot(size)
    aiming.add_target(size)
    size.add_argument("--teeth", metavar="N,N,…", type=_teeth, help="gears to choose from, by their numbers of teeth")


def _teeth(text: str) -> tuple[int, ...]:
    words = [word for word in text.replace(",", " ").split() if word]
    if not words or not all(word.isdecimal() and 4 <= int(word) <= 400 for word in words):
        raise argparse.ArgumentTypeError(f"{text!r}: expected numbers of teeth, such as 18,20,24,30")
    return tuple(int(word) for word in words)


def _size(args: argparse.Namespace) -> None:
    from fieldtune.sizing.records import FlywheelSize
    from fieldtune.sizing.safety import cautions
    from fieldtune.sizing.size import size

    with parsing.open_session(args) as session:
        robot, cycles = session.robot, len(session.shots())
    found = size(robot, robot.target(args.target), cycles=cycles, teeth=args.teeth)
    warned = cautions(robot)
    words = _wheel_words(robot, found) if isinstance(found, FlywheelSize) else _cocking_words(robot, found)
    notes = [f"  note: {note}" for note in found.notes] + [f"  caution: {line}" for line in warned]
    give(args, {"robot": robot.name, **found.as_json(), "cautions": warned}, [*words, *notes])


def _wheel_words(robot: Robot, found: FlywheelSize) -> list[str]:
    needed, headroom = found.needed_rpm, found.headroom_low
    rows = [
        ("gearing", _figure(found.reduction, 3, "motor turns a turn of the wheel")),
        ("without load", _figure(found.free_rpm, 0, "rpm at nominal voltage")),
        ("full battery holds", _figure(found.ceiling_rpm_full, 0, "rpm")),
        ("low battery holds", _figure(found.ceiling_rpm_low, 0, "rpm")),
        ("nearest needs", _needs(needed.near, found.near_m, "rpm")),
        ("farthest needs", _needs(needed.far, found.far_m, "rpm")),
        ("headroom, low battery", None if headroom is None else f"{100 * headroom:+.0f} %"),
        ("reaches, low battery", _figure(found.farthest_m, 2, "m")),
        ("spin-up", _figure(found.spin_up_s, 2, "s")),
        ("drop at a shot", _figure(found.drop_rpm, 0, "rpm")),
        ("recovery", _figure(found.recovery_s, 2, "s")),
        ("shots a minute", _figure(found.shots_per_minute, 0, "at most")),
        ("current", _current(found.peak_current_a, found.hold_current_a)),
        ("rim", _rim(found)),
        ("element's energy", _figure(found.element_energy_j, 2, "J")),
    ]
    choices = [
        (_gears(c.gears), number(c.reduction, 3), number(c.ceiling_rpm_low, 0), number(c.spin_up_s, 2),
         number(c.recovery_s, 2), number(c.farthest_m, 2), _standing(c.best, c.present))
        for c in found.choices
    ]  # fmt: skip
    head = ("gears", "reduction", "low battery holds (rpm)", "spin-up (s)", "recovery (s)", "reaches (m)", "")
    return [f"{robot.name}: flywheel", *pairs(rows), *_listed("gear trains worth a look", head, choices)]


def _cocking_words(robot: Robot, found: CockingSize) -> list[str]:
    needed = found.needed_mm
    rows = [
        ("gearing", _figure(found.reduction, 3, "motor turns a turn of the crank")),
        ("spring force", _figure(found.force_max_n, 1, "N at the longest draw")),
        ("spring energy", _figure(found.spring_energy_j, 2, "J")),
        ("spring stress", _stress(found)),
        ("exit speed", _figure(found.exit_speed_max_mps, 2, "m/s at most")),
        ("nearest needs", _needs(needed.near, found.near_m, "mm")),
        ("farthest needs", _needs(needed.far, found.far_m, "mm")),
        ("reaches, low battery", _figure(found.farthest_m, 2, "m")),
        ("crank needs", _figure(found.crank_torque_max_nm, 2, "N m")),
        ("drive gives, low battery", _figure(found.drive_torque_nm, 2, "N m")),
        ("torque margin", _figure(found.torque_margin, 2, "times what is needed")),
        ("cocking", _figure(found.cock_time_s, 2, "s")),
        ("cycles a minute", _figure(found.cycles_per_minute, 0, "at most")),
        ("stop takes", _figure(found.stop_energy_j, 2, f"J a cycle, {found.cycles or 0} shots in the log")),
    ]
    choices = [
        (_gears(c.gears), number(c.reduction, 2), number(c.torque_margin, 2), number(c.longest_draw_mm, 0),
         number(c.cock_time_s, 2), number(c.farthest_m, 2), _standing(c.best, c.present))
        for c in found.choices
    ]  # fmt: skip
    head = ("gears", "reduction", "torque margin", "longest draw (mm)", "cocking (s)", "reaches (m)", "")
    springs = [
        (number(s.spring_rate_n_per_mm, 3), number(s.draw_mm, 0), number(s.force_max_n, 1),
         number(s.exit_speed_max_mps, 2), number(s.farthest_m, 2), number(s.cock_time_s, 2),
         _standing(s.best, s.present))
        for s in found.springs
    ]  # fmt: skip
    spring_head = ("spring (N/mm)", "draw (mm)", "force (N)", "exit (m/s)", "reaches (m)", "cocking (s)", "")
    return [
        f"{robot.name}: {found.kind}",
        *pairs(rows),
        *_listed("gear trains worth a look", head, choices),
        *_listed("springs worth a look", spring_head, springs),
    ]


def _listed(title: str, head: tuple[str, ...], rows: list[tuple[str, ...]]) -> list[str]:
    return [f"  {title}:", *(f"    {line}" for line in columns(head, rows))] if rows else []


def _figure(value: float | None, digits: int, unit: str) -> str | None:
    return None if value is None else number(value, digits, unit)


def _needs(value: float | None, distance_m: float | None, unit: str) -> str | None:
    return None if value is None else f"{value:.0f} {unit} from {number(distance_m, 2, 'm')}"


def _current(peak: float | None, hold: float | None) -> str | None:
    if peak is None and hold is None:
        return None
    return f"{number(peak, 1, 'A')} at most, {number(hold, 1, 'A')} holding speed"


def _rim(found: FlywheelSize) -> str | None:
    if found.rim_speed_mps is None:
        return None
    stress = "" if found.rim_stress_mpa is None else f", {found.rim_stress_mpa:.2f} MPa"
    return f"{found.rim_speed_mps:.1f} m/s{stress} with a full battery"


def _stress(found: CockingSize) -> str | None:
    if found.spring_stress_mpa is None:
        return None
    return f"{found.spring_stress_mpa:.0f} MPa, {number(found.spring_safety, 2)} times below what the wire takes"


def _gears(stages: tuple[tuple[int, int], ...]) -> str:
    return " ".join(f"{driving}:{driven}" for driving, driven in stages)


def _standing(best: bool, present: bool) -> str:
    return ", ".join(word for word, holds in (("best", best), ("as built", present)) if holds)
