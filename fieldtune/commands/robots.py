"""Commands about the profiles there are: robots, new."""

from __future__ import annotations

import argparse
from pathlib import Path

from fieldtune.commands import arguments
from fieldtune.commands.printing import give
from fieldtune.errors import FieldtuneError
from fieldtune.files import write_whole
from fieldtune.plain_text import columns, printable, say


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the commands of this family."""
    arguments.declare(commands, "robots", _robots, "lists profiles and what each has learned")
    new = arguments.declare(commands, "new", _new, "writes a commented profile to start from", json=False)
    new.add_argument("name", metavar="NAME", help="the robot's name: a-z, 0-9 and -")
    new.add_argument(
        "--kind", metavar="KIND", required=True, choices=arguments.Choices(_kinds), help="the launcher: %(choices)s"
    )
    new.add_argument("--force", action="store_true", help="write over a profile of that name")


def _kinds() -> tuple[str, ...]:
    from fieldtune.robot.kinds import LAUNCHERS

    return tuple(LAUNCHERS)


def _robots(args: argparse.Namespace) -> None:
    from fieldtune.robot import find_profiles, profile_home
    from fieldtune.robot.home import unusable_names

    home, entries = profile_home(args.profiles), find_profiles(args.profiles)
    rows = [_robot_row(entry.path, args) for entry in entries]
    shown = [
        (str(row["name"]), str(row["launcher"] or "-"), "-" if row["shots"] is None else str(row["shots"]),
         str(row["title"] or ""))
        for row in rows
    ]  # fmt: skip
    text = columns(("robot", "launcher", "shots", "title"), shown)
    text += [f"problem: {printable(str(row['problem']))}" for row in rows if row["problem"]]
    if any(entry.demo for entry in entries):
        text.append(f"These are demonstration robots. Your own will lie in {home}: fieldtune new NAME --kind flywheel")
    misnamed = unusable_names(home)
    text += [f"problem: {path}: is left out; a robot's name has 1 to 32 of a-z, 0-9 and -" for path in misnamed]
    give(args, {"robots": rows, "home": str(home), "left_out": [str(path) for path in misnamed]}, text)


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
            row["shots"] = sum(shot.counts for shot in session.log.shots())
    except FieldtuneError as error:
        row["problem"] = str(error)
    return row


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
    write_whole(path, text, force=args.force)
    say(f"{path}: written; fill it in, then run 'fieldtune check {args.name}'")
