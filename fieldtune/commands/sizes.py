"""Commands about the mechanism: size, compare."""

from __future__ import annotations

import argparse

from fieldtune.commands import aiming, parsing
from fieldtune.commands.output import clean, give


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
    from fieldtune.sizing.safety import cautions
    from fieldtune.sizing.size import size
    from fieldtune.sizing.text import size_text

    with parsing.open_session(args) as session:
        robot, cycles = session.robot, len(session.shots())
    found = size(robot, robot.target(args.target), cycles=cycles, teeth=args.teeth)
    text = [clean(line) for line in size_text(robot, found).splitlines()]
    give(args, {"robot": robot.name, **found.as_json(), "cautions": cautions(robot)}, text)
