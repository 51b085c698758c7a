"""Which robot a command is about, and which line it is heard on: what all commands at the line share."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldtune.commands import arguments
from fieldtune.errors import LinkError, OutputError, StoreError, UnknownRobotError
from fieldtune.plain_text import agreed
from fieldtune.port_names import LAST_PORT, PORT_FROM_ELSEWHERE, port_name, port_problem
from fieldtune.units import shown

if TYPE_CHECKING:
    from fieldtune.link import Monitor
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session

_PORT_HELP = "a serial device, or a URL: sim://ROBOT, replay://FILE, socket://HOST:PORT, udp://:PORT, file://FILE"


def add_port(parser: argparse.ArgumentParser) -> None:
    """Options that say which port to open, how fast, and where to keep what it says."""
    parser.add_argument("--port", metavar="URL", type=_port, help=_PORT_HELP)
    parser.add_argument("--baud", metavar="N", type=_baud, help="the line's speed; found by itself otherwise")
    parser.add_argument("--record", metavar="FILE", type=Path, help="keep the raw line in this file")
    parser.add_argument("--force", action="store_true", help="write over a recording of that name")


def _port(text: str) -> str:
    name = port_name(text)
    problem = port_problem(name)
    if problem is not None:
        raise argparse.ArgumentTypeError(f"{shown(text)}: {problem}")
    return name


def agree_to_port(robot: Robot, args: argparse.Namespace, session: Session) -> None:
    """Asks before a port is opened that came with another laptop's profile; to name it behind ``--port`` is to agree.

    Raises ``LinkError`` where nobody agrees, or can be asked.
    """
    if robot.link.port == "auto":
        return
    strange = session.log.recall(PORT_FROM_ELSEWHERE)
    if not strange or strange != robot.link.port or (args.port is not None and args.port != strange):
        return
    came = f"{robot.name}'s profile came with a pack and names the port {shown(strange)}"
    if args.port is None and not agreed(f"{came}. Open it?"):
        raise LinkError(f"{came}, not opened; if it is right here say so once with --port, or try --port auto")
    session.log.remember(PORT_FROM_ELSEWHERE, "")


def _baud(text: str) -> int:
    if not text.isdecimal() or len(text) > 9 or not 50 <= int(text) <= 20_000_000:
        raise arguments.refused(text, "the line's speed in baud, such as 115200")
    return int(text)


def attached(robot: Robot, kept: dict[str, Any]) -> bool:
    """Whether a robot seems to be there: a port that the profile names, the last good one, or any on USB."""
    from fieldtune.link import ports

    if robot.link.port != "auto":
        return True
    found = ports.candidates(kept)
    return any(c.identity.get("vid") is not None or c.device == kept.get("device") for c in found)


def simulated(robot: Robot) -> str:
    """The simulated robot's URL: by name where that finds the same profile, otherwise by path."""
    from fieldtune.robot import find_profiles

    by_name = any(entry.name == robot.name and entry.path == robot.path for entry in find_profiles())
    return f"sim://{robot.name if by_name or robot.path is None else robot.path}"


def kept_port(session: Session) -> dict[str, Any]:
    """The port that was good last, with what it was like; empty where none was."""
    try:
        kept = json.loads(session.log.recall(LAST_PORT, wait_s=0.5) or "{}")
    except (json.JSONDecodeError, StoreError):
        kept = {}  # only a hint where to look first
    return kept if isinstance(kept, dict) else {}


def monitor(robot: Robot, port: str | None, args: argparse.Namespace, session: Session) -> Monitor:
    """A monitor on that port, not yet started, which lets the session remember a good one."""
    from fieldtune.link import Monitor

    if args.record is not None and args.record.is_dir():
        raise OutputError(f"{args.record}: is a folder; give the name of a file in it")
    if args.record is not None and args.record.exists() and not args.force:
        raise OutputError(f"{args.record}: is there already; give another name, or --force to write over it")

    def keep(found: dict[str, Any]) -> None:
        try:
            session.log.remember(LAST_PORT, json.dumps(found))
        except StoreError:
            return  # called from the reader thread: a port that isn't remembered is searched for again

    return Monitor(robot, port, args.baud, args.record, remembered=kept_port(session), on_good=keep)


def robot_for(args: argparse.Namespace) -> Robot:
    """The robot named, or else the one used last, or the only one, or the first demonstration robot."""
    from fieldtune.robot import find_profiles, load_robot

    if args.robot is not None:
        return load_robot(args.robot, args.profiles)
    entries = find_profiles(args.profiles)
    if not entries:
        raise UnknownRobotError("there is no robot profile yet; start with 'fieldtune new NAME --kind flywheel'")
    used = [(log.stat().st_mtime, entry) for entry in entries if (log := entry.path.with_suffix(".db")).is_file()]
    if used:
        return load_robot(max(used, key=lambda pair: pair[0])[1].path)
    first = next((entry for entry in entries if entry.name == "heron"), entries[0])
    return load_robot(first.path)
