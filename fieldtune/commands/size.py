"""Commands about the mechanism: size, compare."""

from __future__ import annotations

import argparse
import sys

from fieldtune.commands import aim, arguments
from fieldtune.commands.printing import give, progress_bar, record
from fieldtune.errors import InputError
from fieldtune.plain_text import printable

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


def _size(args: argparse.Namespace) -> None:
    from fieldtune.aim.recommend import speed_factor
    from fieldtune.sizing.cautions import cautions
    from fieldtune.sizing.feeding import feeding
    from fieldtune.sizing.size import size
    from fieldtune.sizing.text import size_text
    from fieldtune.sizing.what_if import momentum_factor, what_if, what_it_buys

    with arguments.open_session(args) as session:
        robot, cycles, factor = session.robot, len(session.log.shots()), speed_factor(session.robot, session.belief)
        far = max((spot.distance for spot in robot.spots), default=None)
        row = None if far is None else session.table([far], None, args.target)[0]
    changed = what_if(robot, dict(args.changes)) if args.changes else robot
    buys = what_it_buys(robot, changed, factor) if args.changes else ()
    factor *= momentum_factor(robot, changed)
    found = size(changed, changed.target(args.target), factor, cycles, args.teeth, progress_bar(sys.stderr))
    text = [printable(line) for line in size_text(changed, found).splitlines()]
    fed = None if row is None or row.setpoint is None else feeding(changed, row.setpoint, row.low)
    text += [] if fed is None else ["", f"feeding at {row.setpoint:.0f} rpm: {fed.words}"]  # type: ignore[union-attr]
    if buys:
        text = [*text, "", "what the change buys and costs:", *(f"  {printable(line)}" for line in buys)]
    answer = {
        "robot": robot.name,
        **found.as_json(),
        "cautions": cautions(changed),
        "speed_factor": factor,
        "feeding": record(fed) if fed else None,
    }
    give(args, {**answer, "buys": buys} if args.changes else answer, text)


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
            beliefs[robot.name] = session.belief
    distances = sorted(args.distance) if args.distance else None
    found = compare(robots, beliefs, dict(args.weight) if args.weight else None, distances)
    text = [printable(line) for line in compare_text(found).splitlines()]
    names = ", ".join(criterion.name for criterion in CRITERIA)
    give(args, found.as_json(), [*text, f"other weights: --weight NAME=N, with a name of {names}"])
