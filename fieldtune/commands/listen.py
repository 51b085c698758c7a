"""Commands that hear the line and report its health: listen, replay."""

from __future__ import annotations

import argparse
import gc
import time
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune.commands import arguments, line_options
from fieldtune.commands.printing import give, how_far, number
from fieldtune.errors import LinkError
from fieldtune.plain_text import columns, pairs, printable
from fieldtune.port_names import has_speed

if TYPE_CHECKING:
    from fieldtune.link import Live, Monitor
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session
    from fieldtune.setup.encoder_check import Verdict

_LISTEN_S = 5.0
_HOPELESS_S, _ALL_SPEEDS_S = 2.0, 30.0
_RAW = 60  # raw lines that are looked through for a remedy
_RAW_FOR_SPEED = 400  # and for a speed that no wheel can have


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the commands of this family."""
    listen = arguments.declare(commands, "listen", _listen, "decodes the robot's line and reports its health")
    arguments.add_robot(listen, optional=True)
    line_options.add_port(listen)
    listen.add_argument(
        "--seconds", metavar="N", type=arguments.positive_number, default=_LISTEN_S, help="how long (5 s otherwise)"
    )
    replay = arguments.declare(commands, "replay", _replay, "decodes a recording of the line and reports its health")
    replay.add_argument("file", metavar="FILE", help="a recording, or any text captured from the robot")
    arguments.add_robot(replay, optional=True)


def _listen(args: argparse.Namespace) -> None:
    from fieldtune.session import Session
    from fieldtune.setup.encoder_watch import EncoderWatch

    robot = line_options.robot_for(args)
    with Session.beside_profile(robot, args.profiles) as session:
        line_options.agree_to_port(robot, args, session)
        _refuse_absent(robot, args, session)
        with line_options.monitor(robot, args.port, args, session) as monitor:
            live = _heard(monitor, args.seconds, named=(args.port or robot.link.port) != "auto")
            seen, raw = monitor.drain(), monitor.recent_lines(_RAW_FOR_SPEED)
            encoder = EncoderWatch(robot).see_all(seen) or EncoderWatch(robot).see_raw(raw)
    # The reader took lines until it stopped; a recording has them, so they count.
    last, raw = monitor.snapshot(), monitor.recent_lines(_RAW)
    live = replace(live, health=last.health, shots=last.shots)
    if live.health.lines == 0 and live.state != "ended":
        if "no text" in live.words:
            longer = "" if args.seconds >= _ALL_SPEEDS_S else f"; --seconds {_ALL_SPEEDS_S:.0f} tries all usual speeds"
            raise LinkError(f"no lines heard: {live.words}{longer}")
        raise LinkError(f"nothing heard: {live.words}")
    give(args, _report(robot, live, encoder), _report_words(robot, live, encoder, raw, args.baud or robot.link.baud))


def _refuse_absent(robot: Robot, args: argparse.Namespace, session: Session) -> None:
    """Says at once that there is no port, instead of after the whole time of listening."""
    from fieldtune.link import ports

    name = args.port or robot.link.port
    if name == "auto" and not ports.candidates(line_options.kept_port(session)):
        raise LinkError(f"no serial port found: connect the robot, or try --port {line_options.simulated(robot)}")
    if name.startswith("/") and not Path(name).exists():
        raise LinkError(f"{name} is not there; check the cable, or name another port")


def _heard(monitor: Monitor, seconds: float, *, named: bool) -> Live:
    """What the line said at the end of the time; earlier when it ended, or when a named port won't open."""
    gc.enable()  # this may last
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
    from fieldtune.link import RecordedLine, decode
    from fieldtune.setup.encoder_watch import EncoderWatch

    recorded = RecordedLine(args.file, how_far(f"reading {args.file}"))
    if args.robot is None:
        args.robot = _recorded_robot(recorded.header(), args)
    robot = line_options.robot_for(args)
    decoded = decode(recorded, robot)
    live = decoded.live
    encoder = EncoderWatch(robot).see_all(decoded.samples) or EncoderWatch(robot).see_raw(decoded.raw)
    give(args, _report(robot, live, encoder), _report_words(robot, live, encoder, decoded.raw, from_file=True))


def _recorded_robot(header: dict[str, str], args: argparse.Namespace) -> str | None:
    """The robot that the recording says it is of, if there is a profile of it here."""
    from fieldtune.robot import find_profiles

    named = header.get("robot")
    return named if named in {entry.name for entry in find_profiles(args.profiles)} else None


def _report(robot: Robot, live: Live, encoder: Verdict | None) -> dict[str, object]:
    health = live.health
    scale = None if encoder is None else {"settled": encoder.settled, "ratio": encoder.ratio, "words": encoder.words}
    return {
        "robot": robot.name, "port": live.port, "state": live.state, "lines": health.lines, "good": health.good,
        "dropped": health.dropped, "notices": health.notices, "rate_hz": health.rate_hz, "clock": health.clock,
        "wheel_rpm": live.wheel_rpm, "battery_v": live.battery_v, "distance_m": live.distance_m,
        "setpoint": live.setpoint, "draw_mm": live.draw_mm, "shots_seen": _shots_seen(live), "shots": live.shots,
        "wheel": live.wheel, "encoder": scale,
    }  # fmt: skip


def _shots_seen(live: Live) -> int:
    return max((shot.number for shot in live.shots), default=0)


def _report_words(
    robot: Robot,
    live: Live,
    encoder: Verdict | None,
    raw: tuple[str, ...],
    baud: int | None = None,
    *,
    from_file: bool = False,
) -> list[str]:
    from fieldtune.link import health_words
    from fieldtune.link.troubleshooting.remedies import remedies

    rows = [
        ("lines", f"{live.health.lines}, of which {live.health.good} good"),
        ("health", health_words(live.health)),
        ("wheel", None if live.wheel_rpm is None else number(live.wheel_rpm, 0, "rpm")),
        ("draw", None if live.draw_mm is None else number(live.draw_mm, 1, "mm")),
        ("battery", None if live.battery_v is None else number(live.battery_v, 2, "V")),
        ("distance", None if live.distance_m is None else number(live.distance_m, 2, "m")),
        ("shots seen", str(_shots_seen(live))),
    ]
    unit, field = robot.launcher.mechanism.measured
    shots = [
        (str(s.number), number(s.time_s, 2), number(getattr(s, field), 0),
         number(s.recovery_s, 2), number(s.battery_v, 2), "robot" if s.by == "fired" else "wheel's drop")
        for s in live.shots[-12:]
    ]  # fmt: skip
    head = ("shot", "time (s)", f"{field.partition('_')[0]} ({unit})", "recovery (s)", "battery (V)", "told by")
    listed = [f"    {line}" for line in columns(head, shots)] if shots else []
    last = [f"    {printable(line)}" for line in raw[-3:]]
    title = f"{robot.name} on {printable(live.port or 'no port')}: {live.words}"
    doubt = [] if encoder is None or encoder.settled else [f"  encoder: {encoder.words}"]
    wired = not from_file and has_speed(live.port)
    told = [f"  {words}" for words in remedies(live.health, raw, baud, robot, has_speed=wired)]
    if live.others:
        told.append(f"  other ports: {', '.join(live.others)}; --port chooses")
    return [title, *pairs(rows), *doubt, *told, *listed, *(["  last lines:", *last] if last else [])]
