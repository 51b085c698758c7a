"""The command that validates a profile and prints what follows from it: check."""

from __future__ import annotations

import argparse
import math
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune.commands import arguments
from fieldtune.commands.printing import give, number, setpoint_words
from fieldtune.plain_text import pairs, printable, say_aside

if TYPE_CHECKING:
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
        say_aside(f"{path}: {errors} error{'' if errors == 1 else 's'}, listed above")
        return 2
    from fieldtune.sizing.cautions import cautions

    robot = load_profile(path)
    scores, harm = _scores(robot), cautions(robot)
    problems = (*problems, *_out_of_reach(scores))
    words = [
        f"{robot.name}: {printable(robot.title)}",
        *_problem_words(problems),
        *pairs(_derived_words(robot, scores)),
    ]
    found.update(problems=problems, derived=_derived(robot, scores), cautions=harm)
    words += [f"  caution: {line}" for line in harm]
    if args.log:
        found["log"], log_words = _log(robot, args.profiles)
        words += log_words
    give(args, found, words)
    return 0


def _log(robot: Robot, home: str | None) -> tuple[dict[str, object], list[str]]:
    """What the robot's log holds and what of it was damaged, as JSON keys and as lines."""
    from fieldtune.robot.home import store_path
    from fieldtune.store import Store

    store = Store(store_path(robot, home))
    try:
        shots, damaged = store.shots(), store.damaged()
    finally:
        store.close()
    count = f"{len(shots)} shot{'' if len(shots) == 1 else 's'}"
    words = [f"log: {count}, nothing damaged"]
    if damaged:
        words = [f"log: {count} sound; damaged and left out:", *(f"  {printable(line)}" for line in damaged)]
        words.append("  enter again what you know of them, or put an older copy from the folder backups in its place")
    return {"shots": len(shots), "damaged": damaged}, words


_MOST_TOLD = 100
"""Problems that a person reads before mending the first."""


def _problem_words(problems: tuple[Problem, ...]) -> list[str]:
    told = [printable(f"{problem.severity}: {problem.key}: {problem.message}") for problem in problems[:_MOST_TOLD]]
    more = len(problems) - len(told)
    return [*told, *([f"and {more} more"] if more else [])]


def _scores(robot: Robot) -> Scores:
    from fieldtune.aim.hood import reach_of_all
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


def _derived(robot: Robot, scores: Scores) -> dict[str, object]:
    """Figures that follow from a profile: what a person can hold against the real robot."""
    from fieldtune.battery.ceiling import ceiling
    from fieldtune.robot.derived import no_load_wheel_rpm

    slow, fast = _exit_speeds(robot)
    return {
        "setpoint": robot.setpoint, "exit_speed_low_mps": slow, "exit_speed_high_mps": fast,
        "reduction": robot.drive.reduction if robot.drive else None, "no_load_rpm": no_load_wheel_rpm(robot),
        "ceiling": ceiling(robot), "targets": list(scores), "scores_m": scores,
    }  # fmt: skip


def _exit_speeds(robot: Robot) -> tuple[float, float]:
    """Exit speeds (m/s) at the lowest and the highest setpoint."""
    from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

    ends = (robot.setpoint.low, robot.setpoint.high)
    slow, fast = (math.exp(float(model_log_speed(robot, drive_quantity(robot, end)))) for end in ends)
    return slow, fast


def _derived_words(robot: Robot, scores: Scores) -> list[tuple[str, str | None]]:
    from fieldtune.battery.ceiling import ceiling
    from fieldtune.robot import derived_lines

    (slow, fast), highest, accepted = _exit_speeds(robot), ceiling(robot), robot.setpoint
    rows: list[tuple[str, str | None]] = [
        ("setpoint", f"{setpoint_words(robot, accepted.low)} to {setpoint_words(robot, accepted.high)}"),
        ("exit speed there", f"{number(slow)} to {number(fast, 2, 'm/s')}"),
        ("battery holds", None if highest is None else f"{setpoint_words(robot, highest)} at most, half charged"),
    ]
    for name, span in scores.items():
        at = f"scores at {name}" if len(scores) > 1 else "scores from"
        rows.append((at, "no distance" if span is None else f"{span[0]:.2f} to {span[1]:.2f} m"))
    lines = (line.partition(": ") for line in derived_lines(robot))
    return [*rows, *((name, words) for name, _, words in lines)]
