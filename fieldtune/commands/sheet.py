"""The command for the printed page: sheet."""

from __future__ import annotations

import argparse

from fieldtune.commands import aim, arguments
from fieldtune.commands.printing import give
from fieldtune.commands.table import add_out
from fieldtune.files import write_whole
from fieldtune.plain_text import printable


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the command."""
    sheet = arguments.declare(
        commands, "sheet", _sheet, "the printable pit sheet, both sides of a page, as an HTML file"
    )
    arguments.add_robot(sheet)
    add_out(sheet, required=True, words="HTML file to write; open it in a browser and print it")
    sheet.add_argument("--long", action="store_true", help="with residuals, shot log and decision table for a notebook")
    words = "with a page for teaching: the parabola against reality, and where the energy goes"
    sheet.add_argument("--why", action="store_true", help=words)
    sheet.add_argument("--with", metavar="ROBOT", nargs="*", default=[], dest="others", help="--long: whom to compare")
    aim.add_battery(sheet)
    aim.add_target(sheet)


def _sheet(args: argparse.Namespace) -> None:
    from contextlib import ExitStack

    from fieldtune.robot import load_robot
    from fieldtune.session import Session
    from fieldtune.share.sheet import sheet

    with ExitStack() as opened:
        robots = [load_robot(name, args.profiles) for name in args.others]
        others = [opened.enter_context(Session.beside_profile(robot, args.profiles)) for robot in robots]
        session = opened.enter_context(arguments.open_session(args))
        text, name = sheet(session, args.battery, args.target, args.long, others, args.why), session.robot.name
    write_whole(args.out, text, force=args.force)
    give(
        args, {"robot": name, "file": str(args.out)}, [printable(f"{args.out}: pit sheet of {name}; open and print it")]
    )
