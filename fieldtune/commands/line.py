"""Commands at the robot's line: console, listen, replay, simulate."""

from __future__ import annotations

import argparse
import json
import sys
import time
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldtune.commands import aiming, parsing
from fieldtune.commands.output import clean, columns, give, number, pairs
from fieldtune.errors import InputError, LinkError, OutputError, StoreError, UnknownRobotError

if TYPE_CHECKING:
    from fieldtune.link import Live, Monitor
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session

_LISTEN_S = 5.0
_HOPELESS_S = 2.0
_FASTEST_HZ = 2000.0
_PORT_HELP = "a serial device, or a URL: sim://ROBOT, replay://FILE, socket://HOST:PORT"
_KEPT_PORT = "last good port"


def add(commands: argparse._SubParsersAction[parsing.Parser]) -> None:
    """Declares the commands of this family."""
    console = parsing.declare(commands, "console", _console, "opens the console on a robot", json=False)
    parsing.add_robot(console, optional=True)
    _add_port(console)
    console.add_argument("--no-record", action="store_true", help="keep no recording of the line this time")
    listen = parsing.declare(commands, "listen", _listen, "decodes the robot's line and reports its health")
    parsing.add_robot(listen, optional=True)
    _add_port(listen)
    listen.add_argument(
        "--seconds", metavar="N", type=parsing.positive_number, default=_LISTEN_S, help="how long (5 s otherwise)"
    )
    replay = parsing.declare(commands, "replay", _replay, "decodes a recording of the line and reports its health")
    replay.add_argument("file", metavar="FILE", help="a recording, or any text captured from the robot")
    parsing.add_robot(replay, optional=True)
    simulate = parsing.declare(commands, "simulate", _simulate, "a simulated robot on a pseudo-terminal", json=False)
    parsing.add_robot(simulate)
    simulate.add_argument("--seed", metavar="N", type=_seed, default=0, help="which hidden errors it is born with")
    simulate.add_argument("--rate", metavar="N", type=parsing.positive_number, default=100.0, help="lines a second")
    parsing.add_quantity(simulate, "--distance", "D", "LENGTH", "where it stands")
    aiming.add_target(simulate)
    sender = parsing.declare(
        commands, "sender", _sender, "an example for the robot's side: code that prints the line", json=False
    )
    sender.add_argument("--lang", choices=("c", "micropython"), required=True, help="c: a bare 8-bit microcontroller")


def _sender(args: argparse.Namespace) -> None:
    from fieldtune.link.senders import sender_text

    print(sender_text(args.lang), end="")


def _seed(text: str) -> int:
    if not text.isdecimal() or len(text) > 18:
        raise argparse.ArgumentTypeError(f"{text!r}: expected a whole number, such as 7")
    return int(text)


def _add_port(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--port", metavar="URL", help=_PORT_HELP)
    parser.add_argument("--baud", metavar="N", type=_baud, help="the line's speed; found by itself otherwise")
    parser.add_argument("--record", metavar="FILE", type=Path, help="keep the raw line in this file")
    parser.add_argument("--force", action="store_true", help="write over a recording of that name")


def _baud(text: str) -> int:
    if not text.isdecimal() or not 50 <= int(text) <= 20_000_000:
        raise argparse.ArgumentTypeError(f"{text!r}: expected the line's speed in baud, such as 115200")
    return int(text)


# -- the console ----------------------------------------------------------------------------------------------------


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
    robot = _robot(args)
    from fieldtune.console import Unopened, run
    from fieldtune.session import Session

    with Session.beside_profile(robot, args.profiles) as session:
        run(robot, session, Unopened(lambda: _console_line(robot, args, session)))
    return 0


def _console_line(robot: Robot, args: argparse.Namespace, session: Session) -> Monitor:
    """The line of a console that has just painted its first frame."""
    port = args.port or (None if _attached(robot, _kept_port(session)) else _simulated(robot))
    args.record = args.record or _session_recording(robot, port, args)
    monitor = _monitor(robot, port, args, session)
    session.attach(monitor)
    return monitor


def _session_recording(robot: Robot, port: str | None, args: argparse.Namespace) -> Path | None:
    """Every session on a real line is kept beside the shot log, unless that was turned off."""
    if args.no_record or (port or robot.link.port).startswith(("sim://", "replay://")):
        return None
    from datetime import datetime

    from fieldtune.link.kept import session_recording
    from fieldtune.robot import store_path

    return session_recording(store_path(robot, args.profiles).parent / "recordings", robot.name, datetime.now())


def _attached(robot: Robot, kept: dict[str, Any]) -> bool:
    """Whether a robot seems to be there: a port that the profile names, the last good one, or any on USB."""
    from fieldtune.link import ports

    if robot.link.port != "auto":
        return True
    found = ports.candidates(kept)
    return any(c.identity.get("vid") is not None or c.device == kept.get("device") for c in found)


def _simulated(robot: Robot) -> str:
    """The simulated robot's URL: by name where that finds the same profile, otherwise by path."""
    from fieldtune.robot import find_profiles

    by_name = any(entry.name == robot.name and entry.path == robot.path for entry in find_profiles())
    return f"sim://{robot.name if by_name or robot.path is None else robot.path}"


def _kept_port(session: Session) -> dict[str, Any]:
    try:
        kept = json.loads(session.recall(_KEPT_PORT) or "{}")
    except json.JSONDecodeError:
        kept = {}  # only a hint where to look first
    return kept if isinstance(kept, dict) else {}


def _monitor(robot: Robot, port: str | None, args: argparse.Namespace, session: Session) -> Monitor:
    from fieldtune.link import Monitor

    if args.record is not None and args.record.exists() and not args.force:
        raise OutputError(f"{args.record}: is there already; give another name, or --force to write over it")

    def keep(found: dict[str, Any]) -> None:
        try:
            session.remember(_KEPT_PORT, json.dumps(found))
        except StoreError:
            return  # called from the reader thread: a port that isn't remembered is searched for again

    return Monitor(robot, port, args.baud, args.record, remembered=_kept_port(session), on_good=keep)


def _robot(args: argparse.Namespace) -> Robot:
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


# -- listening -------------------------------------------------------------------------------------------------------


def _listen(args: argparse.Namespace) -> None:
    from fieldtune.session import Session

    robot = _robot(args)
    with Session.beside_profile(robot, args.profiles) as session:
        _refuse_absent(robot, args, session)
        monitor = _monitor(robot, args.port, args, session)
        with monitor:
            live = _heard(monitor, args.seconds, named=(args.port or robot.link.port) != "auto")
            raw = monitor.recent_lines(3)
    if live.health.lines == 0 and live.state != "ended":
        raise LinkError(f"nothing heard: {live.words}")
    give(args, _report(robot, live), _report_words(robot, live, raw))


def _refuse_absent(robot: Robot, args: argparse.Namespace, session: Session) -> None:
    """Says at once that there is no port, instead of after the whole time of listening."""
    from fieldtune.link import ports

    name = args.port or robot.link.port
    if name == "auto" and not ports.candidates(_kept_port(session)):
        raise LinkError(f"no serial port found: connect the robot, or try --port {_simulated(robot)}")
    if name.startswith("/") and not Path(name).exists():
        raise LinkError(f"{name} is not there; check the cable, or name another port")


def _heard(monitor: Monitor, seconds: float, *, named: bool) -> Live:
    """What the line said at the end of the time; earlier when it ended, or when a named port won't open."""
    end = time.monotonic() + seconds
    opening_since: float | None = None
    while True:
        live, now = monitor.snapshot(), time.monotonic()
        opening = live.state == "searching" and not live.words.startswith(("listening", "looking"))
        opening_since = (opening_since or now) if opening else None
        hopeless = named and opening_since is not None and now - opening_since > _HOPELESS_S
        if now >= end or live.state == "ended" or hopeless:
            return live
        time.sleep(0.05)


def _replay(args: argparse.Namespace) -> None:
    from fieldtune.link import decode, read_header

    if args.robot is None:
        args.robot = _recorded_robot(read_header(args.file), args)
    robot = _robot(args)
    live = decode(args.file, robot).live
    give(args, _report(robot, live), _report_words(robot, live, ()))


def _recorded_robot(header: dict[str, str], args: argparse.Namespace) -> str | None:
    """The robot that the recording says it is of, if there is a profile of it here."""
    from fieldtune.robot import find_profiles

    named = header.get("robot")
    return named if named in {entry.name for entry in find_profiles(args.profiles)} else None


def _simulate(args: argparse.Namespace) -> None:
    from fieldtune import entries

    robot = _robot(args)
    robot.target(args.target)
    if args.distance is not None:
        entries.check_distance(args.distance)
    if args.rate > _FASTEST_HZ:
        raise InputError(f"--rate {args.rate:g}: expected at most {_FASTEST_HZ:g} lines a second")
    try:
        from fieldtune.link.sim import serve
    except ImportError as error:
        raise LinkError(f"this system has no pseudo-terminals; use --port {_simulated(robot)} instead") from error
    # Flushed, because a program that starts this one waits for the path.
    serve(robot, args.seed, args.rate, args.distance, args.target, say=lambda words: print(words, flush=True))


def _report(robot: Robot, live: Live) -> dict[str, object]:
    health = live.health
    return {
        "robot": robot.name, "port": live.port, "state": live.state, "lines": health.lines, "good": health.good,
        "dropped": health.dropped, "notices": health.notices, "rate_hz": health.rate_hz, "clock": health.clock,
        "wheel_rpm": live.wheel_rpm, "battery_v": live.battery_v, "distance_m": live.distance_m,
        "setpoint": live.setpoint, "draw_mm": live.draw_mm, "shots_seen": _shots_seen(live), "shots": live.shots,
        "wheel": live.wheel,
    }  # fmt: skip


def _shots_seen(live: Live) -> int:
    return live.shots[-1].number if live.shots else 0


def _report_words(robot: Robot, live: Live, raw: tuple[str, ...]) -> list[str]:
    from fieldtune.link import health_words

    rows = [
        ("lines", f"{live.health.lines}, of which {live.health.good} good"),
        ("health", health_words(live.health)),
        ("wheel", None if live.wheel_rpm is None else number(live.wheel_rpm, 0, "rpm")),
        ("draw", None if live.draw_mm is None else number(live.draw_mm, 1, "mm")),
        ("battery", None if live.battery_v is None else number(live.battery_v, 2, "V")),
        ("distance", None if live.distance_m is None else number(live.distance_m, 2, "m")),
        ("shots seen", str(_shots_seen(live))),
    ]
    wheel = robot.launcher.kind == "flywheel"
    shots = [
        (str(s.number), number(s.time_s, 2), number(s.speed_rpm if wheel else s.draw_mm, 0),
         number(s.recovery_s, 2), number(s.battery_v, 2), "robot" if s.by == "fired" else "wheel's drop")
        for s in live.shots[-12:]
    ]  # fmt: skip
    head = ("shot", "time (s)", "speed (rpm)" if wheel else "draw (mm)", "recovery (s)", "battery (V)", "told by")
    listed = [f"    {line}" for line in columns(head, shots)] if shots else []
    last = [f"    {clean(line)}" for line in raw]
    title = f"{robot.name} on {clean(live.port or 'no port')}: {live.words}"
    return [title, *pairs(rows), *listed, *(["  last lines:", *last] if last else [])]
