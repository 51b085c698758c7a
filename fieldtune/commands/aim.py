"""Commands that answer: aim, stand, next."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldtune.commands import arguments
from fieldtune.commands.printing import cell, give, heading, number, percent, point_to_cautions, record, setpoint_words
from fieldtune.errors import InputError, UnitError
from fieldtune.figures import FIGURES
from fieldtune.person_units import amount, back, how_far, unit
from fieldtune.plain_text import columns, counted, pairs, say_aside

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim
    from fieldtune.aim.turn import Pose
    from fieldtune.robot.model import Robot


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the commands of this family."""
    aim = arguments.declare(commands, "aim", _aim, "recommended setpoint at a distance")
    arguments.add_robot(aim)
    place = add_place(aim)
    place.add_argument("--at", metavar="X,Y", help='place on the field in place of a distance, such as "1.2 m, 0.8 m"')
    words = 'with --at: heading, counter-clockwise from the x axis, such as "10 deg"'
    arguments.add_quantity(aim, "--facing", "A", "ANGLE", words)
    words = 'the robot\'s speed towards the target while it shoots, such as "0.8 m/s"'
    arguments.add_quantity(aim, "--moving", "V", "SPEED", words, default=0.0)
    words = 'its speed across, positive to the right, such as "-0.3 m/s"'
    arguments.add_quantity(aim, "--sideways", "V", "SPEED", words, default=0.0)
    add_hood(aim, "holds the hood at this exit angle")
    add_battery(aim)
    add_target(aim)
    stand = arguments.declare(commands, "stand", _stand, "distances from which a setpoint scores")
    arguments.add_robot(stand)
    stand.add_argument("--setpoint", metavar="S", required=True, help='such as "2450 rpm"')
    add_hood(stand, "exit angle at which the hood stands")
    add_battery(stand)
    add_target(stand)
    following = arguments.declare(commands, "next", _next, "the distance worth shooting from next, and why")
    arguments.add_robot(following)
    add_target(following)


def add_place(parser: argparse.ArgumentParser, required: bool = True) -> argparse._MutuallyExclusiveGroup:
    """Where from: a distance or a spot of the profile."""
    place = parser.add_mutually_exclusive_group(required=required)
    arguments.add_quantity(place, "--distance", "D", "LENGTH", 'distance to the target, such as "1.8 m" or "6 ft"')
    place.add_argument("--spot", metavar="NAME", help="a spot that the profile names")
    return place


def add_battery(parser: argparse.ArgumentParser) -> None:
    """The battery's voltage now."""
    arguments.add_quantity(parser, "--battery", "V", "VOLTAGE", 'battery voltage now, such as "12.4 V"')


def add_hood(parser: argparse.ArgumentParser, words: str) -> None:
    """The exit angle, of a robot with a hood."""
    arguments.add_quantity(parser, "--hood", "A", "ANGLE", f"{words}, such as '48 deg'")


def hood_deg(args: argparse.Namespace) -> float | None:
    """What --hood says, degrees; None without."""
    import math

    return None if args.hood is None else round(math.degrees(args.hood), 9)


def add_target(parser: argparse.ArgumentParser) -> None:
    """Which target, where the profile has several."""
    parser.add_argument("--target", metavar="NAME", help="one of the profile's targets")


def _aim(args: argparse.Namespace) -> int:
    with arguments.open_session(args) as session:
        pose = _pose(args)
        aim = session.aim(
            None if pose else arguments.distance(session.robot, args),
            args.battery,
            args.target,
            pose=pose,
            moving_mps=args.moving,
            sideways_mps=args.sideways,
            exit_angle_deg=hood_deg(args),
        )
    give(args, record(aim), aim_words(session.robot, aim))
    if aim.reachable:
        return 0
    say_aside(aim.cautions[0])  # the reason
    return 1


def _pose(args: argparse.Namespace) -> Pose | None:
    """The pose that --at and --facing give; None without."""
    import math

    from fieldtune.aim.turn import Pose
    from fieldtune.units import LENGTH, parse

    if args.at is None:
        if args.facing is not None:
            raise InputError("--facing needs the place too: --at 'X, Y' beside it")
        return None
    parts = args.at.split(",")
    if len(parts) != 2:
        raise InputError(f"--at {args.at}: expected x and y on the field with a comma between, such as '1.2 m, 0.8 m'")
    try:
        x, y = (parse(part.strip(), LENGTH) for part in parts)
    except UnitError as error:
        raise UnitError(f"--at: {error}") from error
    return Pose(x, y, None if args.facing is None else math.degrees(args.facing))


def aim_words(robot: Robot, aim: Aim) -> list[str]:
    """A recommendation as lines of text."""
    rests = f"battery period {aim.epoch}, {counted(aim.shots_used, 'shot')} used"
    at = f" at {aim.target}" if aim.target else ""
    head = f"{robot.name}{at} from {how_far(aim.distance_m)} ({rests})"
    choice, sure = aim.setpoint, aim.hit_probability_90
    nearly = None
    if choice.low is not None:
        nearly = f"{setpoint_words(robot, choice.low)} to {setpoint_words(robot, choice.high)}"
    hits = percent(aim.hit_probability)
    if sure is not None:
        hits += f", most likely between {percent(sure[0])} and {percent(sure[1])}"
    rows: list[tuple[str, str | None]] = [
        ("setpoint", setpoint_words(robot, choice.value) if choice.value is not None else "none works from here"),
        ("exit angle to set", hood_words(aim.exit_angle_setpoint_deg)),
        ("good range", nearly),
        ("turn", None if aim.turn_deg is None else _turn_words(aim.turn_deg)),
        ("hit chance", None if aim.hit_probability is None else hits),
        _known(aim, "exit_speed_mps", f", {number(aim.exit_angle_deg, 1, 'deg')} up"),
        ("energy", None if aim.exit_speed_mps is None else _energy_words(robot, aim.exit_speed_mps)),
        _known(aim, "entry_angle_deg", " below the horizontal"),
        _known(aim, "apex_m", " above the floor"),
        _known(aim, "time_s"),
        ("ceiling", None if aim.ceiling is None else setpoint_words(robot, aim.ceiling)),
        (
            "nearest that works",
            None if aim.reachable or aim.nearest_m is None else how_far(aim.nearest_m),
        ),
    ]
    if aim.sensitivity is not None:
        rows.append(("changes the miss", _sensitivity(robot, aim)))
    return [head, *pairs(rows), *(f"  caution: {words}" for words in aim.cautions)]


def hood_words(exit_angle_deg: float | None) -> str | None:
    """What to set the hood to, as one reads it; None without a hood."""
    return None if exit_angle_deg is None else f"{exit_angle_deg:g} deg"


def _turn_words(turn_deg: float) -> str:
    side = "right" if turn_deg > 0 else "left"
    return f"{abs(turn_deg):.1f} deg to the {side}" if abs(turn_deg) >= 0.05 else "none"


def _energy_words(robot: Robot, exit_speed_mps: float) -> str:
    joules = float(robot.element.energy(robot.launcher.mechanism.spin_ratio, exit_speed_mps))
    return f"{amount(joules, 'J')}: eye protection on, nobody in front of the exit or behind the target"


def _sensitivity(robot: Robot, aim: Aim) -> str | None:
    changes = aim.sensitivity
    if changes is None:
        return None
    step = f"one step of {robot.setpoint.step:g} {robot.setpoint.unit}"
    causes = [
        (step, changes.per_step_m), ("one degree", changes.per_degree_m), ("one volt", changes.per_volt_m),
        (f"1 {unit('cm')} of distance", None if changes.per_cm_m is None else back(1, "cm") * changes.per_cm_m),
        (f"{amount(10, '°C', 0)} warmer", changes.per_10_degC_m),
    ]  # fmt: skip
    return (
        ", ".join(f"{name} {amount(value * 100, 'cm', 1, signed=True)}" for name, value in causes if value is not None)
        or None
    )


def _stand(args: argparse.Namespace) -> None:
    from fieldtune.shot_entry import setpoint_caution

    with arguments.open_session(args) as session:
        robot = session.robot
        asked = arguments.setpoint(robot, "--setpoint", args.setpoint)
        spots = session.stand(asked, args.battery, args.target, hood_deg(args))
    rows = [
        (cell(s.distance_m, "m"), f"{cell(s.low_m, 'm')} to {cell(s.high_m, 'm')}", percent(s.hit_probability),
         "forgives most" if s.forgives_most and len(spots) > 1 else "")
        for s in spots
    ]  # fmt: skip
    head = f"{robot.name}: where {setpoint_words(robot, asked)} scores"
    table = columns((heading("distance", "m"), heading("good range", "m"), "hit chance", ""), rows)
    way = "higher" if asked < (robot.setpoint.low + robot.setpoint.high) / 2 else "lower"
    advice = setpoint_caution(robot, asked) or f"try a {way} setpoint"
    text = [head, *table] if rows else [f"{head}: from no distance with a chance of 1 % or more; {advice}"]
    give(args, {"robot": robot.name, "setpoint": asked, "spots": spots}, text)
    point_to_cautions(robot)


def _next(args: argparse.Namespace) -> None:
    with arguments.open_session(args) as session:
        robot, found = session.robot, session.next(args.target)
    hood = hood_words(found.exit_angle_setpoint_deg)
    how = setpoint_words(robot, found.setpoint) + ("" if hood is None else f", exit angle {hood}")
    text = [
        f"{robot.name}: shoot next from {how_far(found.distance_m)} at {how}",
        f"  {found.why}",
    ]
    give(args, {"robot": robot.name, **record(found)}, text)
    point_to_cautions(robot)


def _known(aim: Aim, key: str, more: str = "") -> tuple[str, str | None]:
    """Label and value of a figure; a row that is left out where it is unknown."""
    figure, value = FIGURES[key], getattr(aim, key)
    return figure.label, None if value is None else figure.said(value) + more
