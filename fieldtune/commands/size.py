"""Commands about the mechanism: size, compare."""

from __future__ import annotations

import argparse
import sys
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from fieldtune.commands import aim, arguments
from fieldtune.commands.printing import give, progress_bar, record
from fieldtune.errors import InputError
from fieldtune.person_units import amount
from fieldtune.plain_text import printable

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session
    from fieldtune.sizing.spring_choice import SpringNeed, SpringPick

_MOST_TEETH = 60
"""Different gears to choose from; more than any box of them."""


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the commands of this family."""
    size = arguments.declare(commands, "size", _size, "drive, gearing, spring and safety figures")
    arguments.add_robot(size)
    aim.add_target(size)
    size.add_argument("--teeth", metavar="N,N,…", type=_teeth, help="gears to choose from, by their numbers of teeth")
    size.add_argument(
        "--if", metavar="KEY=VALUE", dest="changes", action="append", type=_change,
        help='what another part buys, such as --if launcher.wheel_diameter="110 mm"',
    )  # fmt: skip
    size.add_argument(
        "--recording", metavar="FILE", help="recording of the wheel at some setpoints, to learn what turning takes"
    )
    size.add_argument(
        "--spring", choices=("compression", "extension"), help="also choose such a spring from load and travel"
    )
    of_spring = size.add_argument_group("with --spring; as far as not given, what the farthest spot needs")
    arguments.add_quantity(of_spring, "--travel", "D", "LENGTH", "travel from rest to the greatest load")
    arguments.add_quantity(of_spring, "--load", "F", "FORCE", "force after that travel")
    arguments.add_quantity(of_spring, "--energy", "E", "ENERGY", "energy over that travel, instead of the load")
    arguments.add_quantity(of_spring, "--preload", "F", "FORCE", "force at rest")
    of_spring.add_argument("--wire", metavar="NAME", type=_wire, help="its wire, such as A228 or music wire")
    compare = arguments.declare(commands, "compare", _compare, "mechanisms side by side, and a weighted decision")
    compare.add_argument("robots", metavar="ROBOT", nargs="+", help="two robots or more, by name or path")
    compare.add_argument(
        "--weight", metavar="NAME=N", action="append", type=_weight, help="how much a criterion counts"
    )
    arguments.add_quantity(
        compare, "--distance", "D", "LENGTH", "a distance to judge at; may be given several times", action="append"
    )


def _teeth(text: str) -> tuple[int, ...]:
    words = text.replace(",", " ").split()
    known = 0 < len(words) <= _MOST_TEETH and all(word.isdecimal() and len(word) < 4 for word in words)
    if not known or not all(4 <= int(word) <= 400 for word in words):
        raise arguments.refused(text, f"up to {_MOST_TEETH} numbers of teeth, such as 18,20,24,30")
    return tuple(int(word) for word in words)


def _change(text: str) -> tuple[str, str]:
    key, found, value = text.partition("=")
    if not found or not key.strip():
        raise arguments.refused(text, 'KEY=VALUE, such as launcher.wheel_diameter="110 mm"')
    return key.strip(), value.strip()


def _weight(text: str) -> tuple[str, float]:
    name, _, value = text.partition("=")
    try:
        return name.strip(), float(value)
    except ValueError:
        raise arguments.refused(text, "NAME=NUMBER, such as reach_m=0.5") from None


def _wire(text: str) -> str:
    from fieldtune.robot.spring import wire_named, wires_known

    designation = wire_named(text)
    if designation is None:
        raise arguments.refused(text, wires_known())
    return designation


def _no_load_torque(session: Session, recording: str) -> float:
    """What a recording tells of the torque that turns the empty wheel, N m."""
    found = session.response(recording)
    if found.no_load_torque_nm is None:
        why = found.notes[0] if found.notes else "the no-load torque needs [drive] in the profile"
        raise InputError(f"--recording {recording}: {why}")
    return max(found.no_load_torque_nm, 0.0)


def _with_drag(robot: Robot, no_load_torque: float | None) -> Robot:
    if robot.drive is None or no_load_torque is None:
        return robot
    return replace(robot, drive=replace(robot.drive, no_load_torque=no_load_torque))


_OF_SPRING = ("travel", "load", "energy", "preload", "wire")


def _stated_of_spring(args: argparse.Namespace) -> dict[str, Any]:
    """What the options beside --spring state; raises ``InputError`` where they don't go together."""
    given = {name: getattr(args, name) for name in _OF_SPRING if getattr(args, name) is not None}
    if given and args.spring is None:
        raise InputError(f"--{next(iter(given))} goes with --spring compression or --spring extension")
    if "load" in given and "energy" in given:
        raise InputError("give --load or --energy, not both")
    return given


def _spring(
    args: argparse.Namespace, robot: Robot, factor: float, given: dict[str, Any]
) -> tuple[SpringNeed, tuple[SpringPick, ...]]:
    """The need behind --spring and the springs that do it."""
    from fieldtune.sizing.reach import reach_table
    from fieldtune.sizing.spring_choice import choose_springs, needed_spring, stated_need

    table = reach_table(robot, robot.target(args.target), factor)
    need = stated_need(needed_spring(robot, table, args.spring), **given)
    return need, choose_springs(need)


def _size(args: argparse.Namespace) -> None:
    from fieldtune.aim.recommend import speed_factor
    from fieldtune.sizing.cautions import cautions
    from fieldtune.sizing.feeding import feeding
    from fieldtune.sizing.reach import as_taught
    from fieldtune.sizing.size import size
    from fieldtune.sizing.text import size_text, spring_text
    from fieldtune.sizing.what_if import momentum_factor, what_if, what_it_buys

    given = _stated_of_spring(args)
    with arguments.open_session(args) as session:
        robot, cycles, factor = session.robot, len(session.log.shots()), speed_factor(session.robot, session.belief)
        far = max((spot.distance for spot in robot.spots), default=None)
        row = None if far is None else session.table([far], None, args.target)[0]
        drag = _no_load_torque(session, args.recording) if args.recording is not None else None
    changed = what_if(robot, dict(args.changes)) if args.changes else robot
    robot, changed = _with_drag(robot, drag), _with_drag(changed, drag)
    buys = what_it_buys(robot, changed, factor) if args.changes else ()
    factor *= momentum_factor(robot, changed)
    found = size(changed, changed.target(args.target), factor, cycles, args.teeth, progress_bar(sys.stderr))
    taught, _ = as_taught(changed, factor)
    text = [printable(line) for line in size_text(taught, found).splitlines()]
    spring = None if args.spring is None else _spring(args, changed, factor, given)
    text += [] if spring is None else ["", *spring_text(*spring)]
    text += (
        []
        if drag is None
        else [
            "",
            f"turning the empty wheel takes {amount(drag, 'N m', 4)} beyond the motors' own, as recorded; "
            f'to keep it: no_load_torque = "{drag:.4f} N m" in [drive]',
        ]
    )
    fed = None if row is None or row.setpoint is None else feeding(changed, row.setpoint, row.low)
    text += [] if fed is None else ["", f"feeding at {row.setpoint:.0f} rpm: {fed.words}"]  # type: ignore[union-attr]
    if buys:
        text = [*text, "", "what the change buys and costs:", *(f"  {printable(line)}" for line in buys)]
    answer = {
        "robot": robot.name,
        **found.as_json(),
        "cautions": cautions(taught),
        "speed_factor": factor,
        "feeding": record(fed) if fed else None,
    }
    if drag is not None:
        answer["no_load_torque_nm"] = drag
    if args.changes:
        answer["buys"] = buys
    if spring is not None:
        answer["spring"] = {**record(spring[0]), "energy_j": spring[0].energy, "choices": spring[1]}
    give(args, answer, text)


def _compare(args: argparse.Namespace) -> None:
    from fieldtune.robot import load_robot
    from fieldtune.session import Session
    from fieldtune.shot_entry import check_distance
    from fieldtune.sizing.compare import compare
    from fieldtune.sizing.decision import CRITERIA
    from fieldtune.sizing.text import compare_text

    for distance in args.distance or ():
        check_distance(distance)
    if args.distance and len(set(args.distance)) < len(args.distance):
        raise InputError("--distance: each distance only once")
    robots = [load_robot(name, args.profiles) for name in args.robots]
    beliefs = {}
    for robot in robots:
        with Session.beside_profile(robot, args.profiles) as session:
            beliefs[robot.name] = session.launcher_belief
    distances = sorted(args.distance) if args.distance else None
    found = compare(robots, beliefs, dict(args.weight) if args.weight else None, distances)
    text = [printable(line) for line in compare_text(found).splitlines()]
    names = ", ".join(criterion.name for criterion in CRITERIA)
    give(args, found.as_json(), [*text, f"other weights: --weight NAME=N, with a name of {names}"])
