"""Commands about the shot log: shot, undo, redo, correct, shots, exclude, include, swap, batteries, learned."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldtune.commands import arguments
from fieldtune.commands.aim import add_battery, add_hood, add_place, add_target, aim_words, hood_deg
from fieldtune.commands.printing import cell, give, heading, number, record, setpoint_words
from fieldtune.errors import FieldtuneError
from fieldtune.plain_text import columns, counted, csv_lines, local_time, printable, say, say_aside

if TYPE_CHECKING:
    from fieldtune.records import Shot
    from fieldtune.robot.model import Robot

_WORDS = {"in": "in", "short": "short", "long": "long", "left": "to the left", "right": "to the right"}


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the commands of this family."""
    shot = arguments.declare(commands, "shot", _shot, "confirms a shot and learns from it")
    arguments.add_robot(shot)
    add_place(shot)
    shot.add_argument("--setpoint", metavar="S", required=True, help='what the robot held, such as "2450 rpm"')
    words = "how it ended: %(choices)s"
    shot.add_argument("--result", metavar="R", type=str.lower, choices=arguments.Choices(_results), help=words)
    shot.add_argument("--speed", metavar="MEASURED", help="measured at release: wheel speed in rpm, or draw in mm")
    _add_misses(shot)
    add_battery(shot)
    add_target(shot)
    add_hood(shot, "exit angle at which the hood stood")
    shot.add_argument("--match", metavar="NAME", help="the match it was taken in, for 'fieldtune hits --by match'")
    shot.add_argument("--batch", metavar="NAME", help="the lot of elements it was taken with")

    correct = arguments.declare(
        commands, "correct", _correct, "corrects a shot's result; the first one stays in the log"
    )
    arguments.add_robot(correct)
    correct.add_argument("shot", metavar="SHOT", type=arguments.shot_number, help="the shot's number in the log")
    correct.add_argument("--result", metavar="R", type=str.lower, choices=arguments.Choices(_results), help=words)
    _add_misses(correct)

    undo = arguments.declare(commands, "undo", _undo, "undoes the last act: a shot, a correction, a battery change")
    arguments.add_robot(undo)
    redo = arguments.declare(commands, "redo", _redo, "does again what was undone last")
    arguments.add_robot(redo)
    shots = arguments.declare(commands, "shots", _shots, "the shot log")
    arguments.add_robot(shots)
    shots.add_argument("--format", choices=("text", "csv"), default="text", help="csv: what 'fieldtune import' reads")

    exclude = arguments.declare(commands, "exclude", _exclude, "leaves a shot out of learning")
    arguments.add_robot(exclude)
    _add_number(exclude)
    exclude.add_argument("--reason", metavar="TEXT", required=True, help="why; it stays in the log")
    include = arguments.declare(commands, "include", _include, "lets a shot that was left out count again")
    arguments.add_robot(include)
    _add_number(include)

    swap = arguments.declare(commands, "swap", _swap, "marks a battery change or repair: a new battery period")
    arguments.add_robot(swap)
    swap.add_argument("--label", metavar="TEXT", help="what the new battery is called")
    batteries = arguments.declare(commands, "batteries", _batteries, "what was measured of each battery")
    arguments.add_robot(batteries)
    learned = arguments.declare(commands, "learned", _learned, "what the shots have taught")
    arguments.add_robot(learned)


def _add_misses(parser: arguments.Parser) -> None:
    arguments.add_quantity(parser, "--miss", "M", "LENGTH", 'measured miss, positive long or high, such as "-12 cm"')
    arguments.add_quantity(parser, "--side", "M", "LENGTH", 'measured side miss, positive right, such as "5 cm"')


def _add_number(parser: argparse.ArgumentParser) -> None:
    words = "the shot's number in the log"
    parser.add_argument("--shot", metavar="N", type=arguments.shot_number, required=True, help=words)


def _results() -> tuple[str, ...]:
    from fieldtune.records import RESULTS

    return RESULTS


def _shot(args: argparse.Namespace) -> None:
    from fieldtune.shot_entry import setpoint_caution

    with arguments.open_session(args) as session:
        robot = session.robot
        distance = arguments.distance(robot, args)
        setpoint = arguments.setpoint(robot, "--setpoint", args.setpoint)
        speed = None if args.speed is None else arguments.measured_speed(robot, "--speed", args.speed)
        shot = session.confirm(
            distance, setpoint, args.result, args.miss, args.side, speed, args.battery, args.target,
            match=args.match, batch=args.batch, exit_angle_deg=hood_deg(args),
        )  # fmt: skip
        # The shot is kept from here on: say so even if the answer that should follow fails.
        try:
            aim = session.aim(distance, args.battery, args.target)
        except FieldtuneError as error:
            raise type(error)(f"shot {shot.shot} is confirmed, but no recommendation follows: {error}") from error
    cautions = [*filter(None, [setpoint_caution(robot, setpoint)]), *_contradictions(robot, shot)]
    kept = f"shot {shot.shot} confirmed: {_WORDS.get(shot.result or '', '-')}, {setpoint_words(robot, shot.setpoint)}"
    text = [kept, *(f"  caution: {caution}" for caution in cautions), *aim_words(robot, aim)]
    answer = record(aim)
    answer["cautions"] = [*cautions, *aim.cautions]
    give(args, {"shot": shot.shot, "confirmed": shot, "aim": answer}, text)


def _correct(args: argparse.Namespace) -> None:
    with arguments.open_session(args) as session:
        was = session.log.shot(args.shot)
        shot = session.correct(args.shot, args.result, args.miss, args.side)
        robot, aim = session.robot, session.aim(shot.distance_m, shot.battery_v, shot.target)
        cautions = _contradictions(session.robot, shot)
    said = f"shot {shot.shot} corrected: {_WORDS.get(shot.result or '', '-')} (it was {was.result or 'unknown'})"
    text = [said, *(f"  caution: {caution}" for caution in cautions), *aim_words(robot, aim)]
    give(args, {"shot": shot.shot, "corrected": shot, "aim": record(aim)}, text)


def _contradictions(robot: Robot, shot: Shot) -> tuple[str, ...]:
    from fieldtune.shot_entry import contradictions

    return contradictions(
        robot,
        robot.target(shot.target),
        shot.distance_m,
        shot.setpoint,
        shot.result,
        shot.miss_m,
        shot.side_m,
        shot.speed,
    )


def _undo(args: argparse.Namespace) -> int:
    return _turn(args, "undo", "undone", "nothing to undo")


def _redo(args: argparse.Namespace) -> int:
    return _turn(args, "redo", "redone", "nothing to redo: nothing was undone last")


def _turn(args: argparse.Namespace, what: str, done: str, nothing: str) -> int:
    from fieldtune.shot_entry import act_words

    with arguments.open_session(args) as session:
        act = session.undo() if what == "undo" else session.redo()
        name = session.robot.name
        shot = None if act is None or act.shot is None else session.log.shot(act.shot)
        beside = act is None and session.log.console_beside
    if beside:
        nothing += "; what was done in a console that is open is for its keys u and r"
    if act is None:
        give(args, {done: None, "shot": None}, ())
        say_aside(f"{name}: {nothing}")
        return 1
    told = {"act": act.act, "shot": act.shot, "epoch": act.epoch}
    give(args, {done: told, "shot": act.shot}, [f"{done}: {act_words(act, shot)}"])
    return 0


def _shots(args: argparse.Namespace) -> None:
    with arguments.open_session(args) as session:
        shots, robot = session.log.shots(), session.robot
    if args.format == "csv":
        say(_csv(robot, shots), end="")
        return
    labels = [name for name in ("match", "batch") if any(getattr(shot, name) for shot in shots)]
    hood = ("exit angle",) if robot.hood is not None else ()
    head = ("shot", "time", heading("distance", "m"), f"setpoint ({robot.setpoint.unit})", *hood, "result",
            heading("miss", "m"), "speed", "battery (V)", "period", "target", *labels, "")  # fmt: skip
    rows = [_row(shot, labels, bool(hood)) for shot in shots]
    text = columns(head, rows) if shots else [f"{robot.name}: no shots yet"]
    give(args, {"robot": robot.name, "shots": shots}, text)


def _csv(robot: Robot, shots: tuple[Shot, ...]) -> str:
    """The shots that count as a sheet with units in its headings."""
    from fieldtune.shot_entry import speed_unit

    head = ("distance (m)", f"setpoint ({robot.setpoint.unit})", "result", "miss (m)", "side (m)",
            f"speed ({speed_unit(robot)})", "battery (V)", "target", "time", "epoch", "match", "batch",
            *(("hood (deg)",) if robot.hood is not None else ()))  # fmt: skip
    return csv_lines(
        head,
        [
            (s.distance_m, s.setpoint, s.result, s.miss_m, s.side_m, s.speed, s.battery_v, s.target, s.time,
             f"period {s.epoch}", s.match, s.batch, *((s.hood_deg,) if robot.hood is not None else ()))
            for s in shots if s.counts
        ],
    )  # fmt: skip


def _row(shot: Shot, labels: list[str], hood: bool) -> tuple[str, ...]:
    state = "undone" if shot.undone else f"left out: {shot.excluded}" if shot.excluded is not None else ""
    if shot.corrected and not shot.undone:
        state = f"corrected, {state}".rstrip(", ")
    if shot.origin is not None:
        state = f"{state}, from {shot.origin}".lstrip(", ")
    return (
        str(shot.shot), local_time(shot.time), cell(shot.distance_m, "m"), f"{shot.setpoint:g}",
        *(("-" if shot.hood_deg is None else f"{shot.hood_deg:g} deg",) if hood else ()),
        shot.result or "-", cell(shot.miss_m, "m", signed=True), number(shot.speed, 0),
        number(shot.battery_v, 1), str(shot.epoch), shot.target or "",
        *(getattr(shot, name) or "" for name in labels), state,
    )  # fmt: skip


def _exclude(args: argparse.Namespace) -> None:
    with arguments.open_session(args) as session:
        shot = session.exclude(args.shot, args.reason)
    give(args, {"shot": shot.shot, "excluded": shot.excluded}, [f"shot {shot.shot} left out: {shot.excluded}"])


def _include(args: argparse.Namespace) -> None:
    with arguments.open_session(args) as session:
        shot = session.include(args.shot)
    give(args, {"shot": shot.shot, "excluded": None}, [f"shot {shot.shot} counts again"])


def _swap(args: argparse.Namespace) -> None:
    with arguments.open_session(args) as session:
        epoch = session.swap(args.label)
        label, name = session.log.battery_label, session.robot.name
    named = f" ({label})" if label else ""
    text = [f"{name}: battery period {epoch}{named} begins; one or two shots will find the new level"]
    give(args, {"epoch": epoch, "label": label}, text)


def _batteries(args: argparse.Namespace) -> None:
    with arguments.open_session(args) as session:
        readings, name = session.log.batteries(), session.robot.name
    rows = [
        (r.label or "-", local_time(r.time),
         number(None if r.resistance_ohm is None else r.resistance_ohm * 1000, 0), number(r.rest_v, 2))
        for r in readings
    ]  # fmt: skip
    text = columns(("battery", "time", "resistance (mΩ)", "at rest (V)"), rows)
    give(args, {"batteries": readings}, text if rows else [f"{name}: no battery has been measured yet"])


def _learned(args: argparse.Namespace) -> None:
    with arguments.open_session(args) as session:
        learned, robot = session.learned(), session.robot
    used = f"{counted(learned.shots_used, 'shot')} used"
    head = f"{robot.name}: {used}, battery period {learned.epoch}"
    facts = [f"  {printable(fact.told)}" for fact in learned.facts]
    give(args, record(learned), [head, *facts, f"  drift: {learned.drift.words}"])
