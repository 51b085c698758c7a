"""The command that validates a profile and prints what follows from it: check."""

from __future__ import annotations

import argparse
import contextlib
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldtune.commands import arguments
from fieldtune.commands.printing import give, number, setpoint_words
from fieldtune.person_units import from_to
from fieldtune.plain_text import counted, pairs, printable, say_aside

if TYPE_CHECKING:
    from fieldtune.records import BatteryReading, Shot
    from fieldtune.robot import Problem
    from fieldtune.robot.model import Robot

Scores = Mapping[str, tuple[float, float] | None]
"""Nearest and farthest distance (m) that scores, by target; None where there is none."""


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the command."""
    check = arguments.declare(commands, "check", _check, "validates a profile and prints derived figures")
    check.add_argument("file", metavar="FILE", help="a profile, by path or name")
    check.add_argument("--log", action="store_true", help="check the shot log too: what in it is damaged")


def _check(args: argparse.Namespace) -> int:
    from fieldtune.robot import check_profile, find_profile, load_profile
    from fieldtune.robot.profile import is_name

    named = is_name(args.file) and not Path(args.file).is_file()
    path = find_profile(args.file, args.profiles) if named else Path(args.file)
    problems = check_profile(path)
    errors = sum(problem.severity == "error" for problem in problems)
    found: dict[str, object] = {"ok": not errors, "problems": problems, "derived": None, "cautions": ()}
    if errors:
        give(args, found, _problem_words(problems))
        say_aside(f"{path}: {counted(errors, 'error')}, listed above")
        return 2
    from fieldtune.robot.home import store_path
    from fieldtune.sizing.cautions import cautions
    from fieldtune.store import Store

    robot = load_profile(path)
    scores, harm = _scores(robot), cautions(robot)
    derived = _derived(robot, scores)
    with contextlib.closing(Store(store_path(robot, args.profiles))) as store:
        shots, readings, damaged = store.shots(), store.batteries(), store.damaged()
    problems = (*problems, *_out_of_reach(scores), *_seen_voltages(robot, shots, readings))
    words = [
        f"{robot.name}: {printable(robot.title)}",
        *_problem_words(problems),
        *pairs(_derived_words(robot, derived)),
    ]
    found.update(problems=problems, derived=derived, cautions=harm)
    words += [f"  caution: {line}" for line in harm]
    if args.log:
        found["log"] = {"shots": len(shots), "damaged": damaged}
        words += _log_words(len(shots), damaged)
    give(args, found, words)
    return 0


def _log_words(shots: int, damaged: Sequence[str]) -> list[str]:
    """What the robot's log holds and what of it was damaged."""
    count = counted(shots, "shot")
    if not damaged:
        return [f"log: {count}, nothing damaged"]
    words = [f"log: {count} sound; damaged and left out:", *(f"  {printable(line)}" for line in damaged)]
    return [*words, "  enter again what you know of them, or put an older copy from the folder backups in its place"]


def _seen_voltages(robot: Robot, shots: Sequence[Shot], readings: Sequence[BatteryReading]) -> list[Problem]:
    """What the voltages of the robot's own log say against the chemistry of its profile."""
    from fieldtune.battery.resistance import odd_chemistry, odd_voltage
    from fieldtune.robot import Problem

    rests = [reading.rest_v for reading in readings if reading.rest_v is not None]
    loaded = [shot.battery_v for shot in shots if shot.counts and shot.battery_v is not None]
    said = [odd_voltage(robot, volts) for volts in (*loaded, *rests)] + [odd_chemistry(robot, volts) for volts in rests]
    # Under load a battery shows less than at rest: only what is too much tells of its chemistry.
    said += [odd_chemistry(robot, max(loaded))] if loaded and _above_usual(robot, max(loaded)) else []
    words = next((line for line in said if line is not None), None)
    return [] if words is None else [Problem("battery.chemistry", f"in the log, {words}", "warning")]


def _above_usual(robot: Robot, volts: float) -> bool:
    from fieldtune.battery.resistance import usual_voltage

    usual = usual_voltage(robot)
    return usual is not None and volts > usual


_MOST_TOLD = 100
"""Problems that a person reads before mending the first."""


def _problem_words(problems: tuple[Problem, ...]) -> list[str]:
    told = [printable(f"{problem.severity}: {problem.key}: {problem.message}") for problem in problems[:_MOST_TOLD]]
    more = len(problems) - len(told)
    return [*told, *([f"and {more} more"] if more else [])]


def _scores(robot: Robot) -> Scores:
    from fieldtune.aim.reach import reach_of_all
    from fieldtune.session import Session

    scores: dict[str, tuple[float, float] | None] = {}
    with Session(robot) as session:
        for target in robot.targets:
            seen = reach_of_all(robot, target, session.belief)
            nearest, farthest = seen.nearest, seen.farthest
            known = nearest is not None and farthest is not None
            scores[target.name or target.kind] = (nearest, farthest) if known else None  # type: ignore[assignment]
    return scores


def _out_of_reach(scores: Scores) -> list[Problem]:
    from fieldtune.robot import Problem

    words = "no setpoint that the robot accepts scores there from any distance; 'fieldtune aim' at one says why"
    return [
        Problem("target" if len(scores) == 1 else f"targets.{name}", words, "warning")
        for name, span in scores.items()
        if span is None
    ]


def _derived(robot: Robot, scores: Scores) -> dict[str, Any]:
    """Figures that follow from a profile: what a person can hold against the real robot."""
    from fieldtune.battery.ceiling import ceiling
    from fieldtune.robot.derived import no_load_wheel_rpm
    from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

    ends = (robot.setpoint.low, robot.setpoint.high)
    slow, fast = (math.exp(float(model_log_speed(robot, drive_quantity(robot, end)))) for end in ends)
    return {
        "setpoint": robot.setpoint, "exit_speed_low_mps": slow, "exit_speed_high_mps": fast,
        "reduction": robot.drive.reduction if robot.drive else None, "no_load_rpm": no_load_wheel_rpm(robot),
        "ceiling": ceiling(robot), "targets": list(scores), "scores_m": scores,
    }  # fmt: skip


def _derived_words(robot: Robot, derived: Mapping[str, Any]) -> list[tuple[str, str | None]]:
    from fieldtune.robot import derived_lines

    slow, fast = derived["exit_speed_low_mps"], derived["exit_speed_high_mps"]
    highest, accepted, scores = derived["ceiling"], robot.setpoint, derived["scores_m"]
    rows: list[tuple[str, str | None]] = [
        ("setpoint", f"{setpoint_words(robot, accepted.low)} to {setpoint_words(robot, accepted.high)}"),
        ("exit speed there", f"{number(slow)} to {number(fast, 2, 'm/s')}"),
        ("battery holds", None if highest is None else f"{setpoint_words(robot, highest)} at most, half charged"),
    ]
    for name, span in scores.items():
        at = f"scores at {name}" if len(scores) > 1 else "scores from"
        rows.append((at, "no distance" if span is None else from_to(span[0], span[1], "m", 2)))
    lines = (line.partition(": ") for line in derived_lines(robot))
    return [*rows, *((name, words) for name, _, words in lines)]
