"""Commands about profiles: robots, check, new."""

from __future__ import annotations

import argparse
import math
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune.commands import parsing
from fieldtune.commands.output import clean, columns, give, number, pairs, setpoint_words, write
from fieldtune.errors import FieldtuneError

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot


def add(commands: argparse._SubParsersAction[parsing.Parser]) -> None:
    """Declares the commands of this family."""
    parsing.declare(commands, "robots", _robots, "lists profiles and what each has learned")
    check = parsing.declare(commands, "check", _check, "validates a profile and prints derived figures")
    check.add_argument("file", metavar="FILE", help="a profile, by path or name")
    new = parsing.declare(commands, "new", _new, "writes a commented profile to start from", json=False)
    new.add_argument("name", metavar="NAME", help="the robot's name: a-z, 0-9 and -")
    new.add_argument("--kind", required=True, choices=("flywheel", "striker", "arm"), help="the launcher")
    new.add_argument("--force", action="store_true", help="write over a profile of that name")


def _robots(args: argparse.Namespace) -> None:
    from fieldtune.robot import find_profiles, profile_home

    rows = [_robot_row(entry.path, args) for entry in find_profiles(args.profiles)]
    shown = [
        (str(row["name"]), str(row["launcher"] or "-"), "-" if row["shots"] is None else str(row["shots"]),
         str(row["title"] or row["problem"] or ""))
        for row in rows
    ]  # fmt: skip
    text = columns(("robot", "launcher", "shots", "title"), shown)
    give(args, {"robots": rows, "home": str(profile_home(args.profiles))}, text)


def _robot_row(path: Path, args: argparse.Namespace) -> dict[str, object]:
    """One robot; a profile or log that can't be read is listed with its problem instead of hiding the others."""
    from fieldtune.robot import load_robot
    from fieldtune.session import Session

    row: dict[str, object] = dict.fromkeys(("name", "title", "launcher", "shots", "problem"))
    row["name"] = path.stem
    try:
        robot = load_robot(path)
        row.update(title=robot.title, launcher=robot.launcher.kind)
        with Session.beside_profile(robot, args.profiles) as session:
            row["shots"] = sum(shot.counts for shot in session.shots())
    except FieldtuneError as error:
        row["problem"] = str(error)
    return row


def _check(args: argparse.Namespace) -> int:
    from fieldtune.robot import check_profile, find_profile, load_profile
    from fieldtune.robot.profile import NAME

    named = NAME.fullmatch(args.file) is not None and not Path(args.file).is_file()
    path = find_profile(args.file, args.profiles) if named else Path(args.file)
    problems = check_profile(path)
    errors = sum(problem.severity == "error" for problem in problems)
    text = [clean(f"{problem.severity}: {problem.key}: {problem.message}") for problem in problems]
    derived: dict[str, object] | None = None
    harm: tuple[str, ...] = ()
    if not errors:
        from fieldtune.sizing.safety import cautions

        robot = load_profile(path)
        derived, harm = _derived(robot), cautions(robot)
        text = [f"{robot.name}: {clean(robot.title)}", *text, *pairs(_derived_words(robot, derived))]
        text += [f"  caution: {line}" for line in harm]
    give(args, {"ok": not errors, "problems": problems, "derived": derived, "cautions": harm}, text)
    if errors:
        print(f"fieldtune: {path}: {errors} error{'' if errors == 1 else 's'}, listed above", file=sys.stderr)
        return 2
    return 0


def _derived(robot: Robot) -> dict[str, object]:
    """Figures that follow from a profile: what a person can hold against the real robot."""
    from fieldtune.aim.exit import drive_quantity, model_log_speed
    from fieldtune.sizing.ceiling import ceiling

    ends = (robot.setpoint.low, robot.setpoint.high)
    slow, fast = (math.exp(float(model_log_speed(robot, drive_quantity(robot, end)))) for end in ends)
    drive = robot.drive
    reduction = drive.reduction if drive else None
    top = drive.free_speed / drive.reduction * 30 / math.pi if drive else None
    return {
        "setpoint": robot.setpoint, "exit_speed_low_mps": slow, "exit_speed_high_mps": fast, "reduction": reduction,
        "free_rpm": top, "ceiling": ceiling(robot), "targets": [target.name or target.kind for target in robot.targets],
    }  # fmt: skip


def _derived_words(robot: Robot, derived: dict[str, object]) -> list[tuple[str, str | None]]:
    def figure(key: str) -> float | None:
        value = derived[key]
        return float(value) if isinstance(value, int | float) and math.isfinite(value) else None

    reduction, top, highest = figure("reduction"), figure("free_rpm"), figure("ceiling")
    turned = "wheel" if robot.launcher.kind == "flywheel" else "crank"
    return [
        ("setpoint", f"{setpoint_words(robot, robot.setpoint.low)} to {setpoint_words(robot, robot.setpoint.high)}"),
        (
            "exit speed there",
            f"{number(figure('exit_speed_low_mps'))} to {number(figure('exit_speed_high_mps'), 2, 'm/s')}",
        ),
        ("gearing", None if reduction is None else f"{reduction:.3g} motor turns a turn of the {turned}"),
        (f"{turned} without load", None if top is None else number(top, 0, "rpm at nominal voltage")),
        ("battery holds", None if highest is None else f"{setpoint_words(robot, highest)} at most, half charged"),
        ("targets", ", ".join(target.name or target.kind for target in robot.targets)),
    ]


def _new(args: argparse.Namespace) -> None:
    from fieldtune.errors import OutputError
    from fieldtune.robot import new_profile_text, profile_home

    text = new_profile_text(args.name, args.kind)
    home = profile_home(args.profiles)
    try:
        home.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{home}: can't be made ({error.strerror or error}); name another with --profiles") from error
    path = home / f"{args.name}.toml"
    write(path, text, force=args.force)
    print(f"{path}: written; fill it in, then run 'fieldtune check {args.name}'")
