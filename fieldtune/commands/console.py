"""Commands at the robot's end of the line: console, simulate, sender."""

from __future__ import annotations

import argparse
import gc
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune.commands import aim, arguments, line_options
from fieldtune.errors import FieldtuneError, InputError, LinkError
from fieldtune.plain_text import say
from fieldtune.port_names import scheme_of
from fieldtune.setup.wishes import NO_LINE, Opening, Wish

if TYPE_CHECKING:
    from fieldtune.console.line_opening import ConsoleLine
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session

_FASTEST_HZ = 2000.0


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the commands of this family."""
    console = arguments.declare(commands, "console", _console, "opens the console on a robot", json=False)
    arguments.add_robot(console, optional=True)
    line_options.add_port(console)
    console.add_argument("--no-record", action="store_true", help="keep no recording of the line this time")
    simulate = arguments.declare(commands, "simulate", _simulate, "a simulated robot on a pseudo-terminal", json=False)
    arguments.add_robot(simulate)
    simulate.add_argument("--seed", metavar="N", type=_seed, default=0, help="which hidden errors it is born with")
    simulate.add_argument("--rate", metavar="N", type=arguments.positive_number, default=100.0, help="lines a second")
    arguments.add_quantity(simulate, "--distance", "D", "LENGTH", "where it stands")
    aim.add_target(simulate)
    sender = arguments.declare(
        commands, "sender", _sender, "an example for the robot's side: code that prints the line", json=False
    )
    languages = ("c", "cpp", "java", "micropython")
    sender.add_argument("--lang", choices=languages, required=True, help="c: a bare 8-bit microcontroller")


def console_alone(args: argparse.Namespace) -> int:
    """The console on the robot used last: on its line if one is attached, otherwise simulated."""
    return _console(
        argparse.Namespace(
            robot=None, port=None, baud=None, record=None, no_record=False, force=False, profiles=args.profiles
        )
    )


def _console(args: argparse.Namespace) -> int:
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise LinkError("the console needs a terminal; 'fieldtune --help' lists the commands that print instead")
    wish: Wish | None = None
    robot = line_options.robot_for(args) if args.robot is not None else None
    opening = Opening(robot.path, args.port) if robot is not None and robot.path is not None else None
    if opening is None:
        opening, wish = _last_opening(args)
    while True:
        if opening is None:
            from fieldtune.console.start_app import choose
            from fieldtune.robot import profile_home
            from fieldtune.setup.preferences import read_preferences

            opening = choose(profile_home(args.profiles), read_preferences(), wish)
            if opening is None:
                return 0
        try:
            wish = _open(opening, args)
        except FieldtuneError as error:
            if robot is not None:  # asked for by name: whoever asked reads it in the shell
                raise
            wish = Wish("robots", opening.profile, str(error))
        if wish is None:
            return 0
        robot = None
        opening = opening if wish.what == "again" else None


def _last_opening(args: argparse.Namespace) -> tuple[Opening | None, Wish | None]:
    """The robot that was open last, of one's own; else the start screen, and what it says first."""
    from fieldtune.robot import find_profiles, load_robot
    from fieldtune.setup.preferences import read_preferences

    own = [entry.path for entry in find_profiles(args.profiles) if not entry.demo]
    if not own and args.port is None:
        return None, None
    last = read_preferences().last
    known = next((path for path in own if str(path.resolve()) == last), None)
    try:
        robot = load_robot(known) if known is not None else line_options.robot_for(args)
    except FieldtuneError as error:
        return None, Wish("robots", known, str(error))
    return (None if robot.path is None else Opening(robot.path, args.port)), None


def _open(opening: Opening, args: argparse.Namespace) -> Wish | None:
    """The console of one robot, until it is left; what for."""
    from fieldtune.console import UnopenedLine, run
    from fieldtune.robot import load_robot
    from fieldtune.session import Session

    asked = argparse.Namespace(**{**vars(args), "port": opening.port})
    robot = load_robot(opening.profile)
    with Session.beside_profile(robot, args.profiles) as session:
        line_options.agree_to_port(robot, asked, session)
        wish = run(robot, session, UnopenedLine(lambda: _console_line(robot, asked, session)))
    return None if wish is None else replace(wish, port=opening.port)


def _console_line(robot: Robot, args: argparse.Namespace, session: Session) -> ConsoleLine:
    """The line of a console that has just painted its first frame."""
    if NO_LINE in (args.port, robot.link.port):
        from fieldtune.console.line_opening import NoLine

        return NoLine()
    named = args.port or (
        None if line_options.attached(robot, line_options.kept_port(session)) else line_options.simulated(robot)
    )
    args.record = args.record or _session_recording(robot, named, args)
    monitor = line_options.monitor(robot, named, args, session)
    if args.record is None and _is_kept(robot, named, args):
        monitor.unrecorded = "the folder recordings beside the shot log can't be written"
    session.line = monitor
    return monitor


def _is_kept(robot: Robot, named: str | None, args: argparse.Namespace) -> bool:
    """Every session on a real line is kept, unless that was turned off."""
    return not args.no_record and scheme_of(named or robot.link.port) not in ("sim", "replay")


def _session_recording(robot: Robot, named: str | None, args: argparse.Namespace) -> Path | None:
    """Where the session is kept, beside the shot log; None where it isn't, or can't be written there."""
    if not _is_kept(robot, named, args):
        return None
    from datetime import datetime

    from fieldtune.link.recordings.recording import session_recording
    from fieldtune.robot import store_path

    return session_recording(store_path(robot, args.profiles).parent / "recordings", robot.name, datetime.now())


def _seed(text: str) -> int:
    if not text.isdecimal() or len(text) > 18:
        raise arguments.refused(text, "a whole number, such as 7")
    return int(text)


def _simulate(args: argparse.Namespace) -> None:
    from fieldtune import shot_entry

    robot = line_options.robot_for(args)
    robot.target(args.target)
    if args.distance is not None:
        shot_entry.check_distance(args.distance)
    if args.rate > _FASTEST_HZ:
        raise InputError(f"--rate {args.rate:g}: expected at most {_FASTEST_HZ:g} lines a second")
    try:
        from fieldtune.link.sim.terminal import serve
    except ImportError as error:
        raise LinkError(
            f"this system has no pseudo-terminals; use --port {line_options.simulated(robot)} instead"
        ) from error
    gc.enable()  # this may last
    serve(robot, args.seed, args.rate, args.distance, args.target, say=say)


def _sender(args: argparse.Namespace) -> None:
    from fieldtune.link.senders import sender_text

    say(sender_text(args.lang), end="")
