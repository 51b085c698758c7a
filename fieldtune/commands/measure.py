"""Command that takes measurements beside shots into learning: a phone clip, the floor's friction."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldtune.commands import arguments
from fieldtune.commands.aim import add_battery, add_hood, add_place, add_target, aim_words, hood_deg
from fieldtune.commands.printing import give, point_to_cautions, record
from fieldtune.errors import InputError

if TYPE_CHECKING:
    from fieldtune.learn.measured import Evidence
    from fieldtune.robot.model import Robot


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the command."""
    words = "takes a measured exit or floor friction as evidence; undo takes it back"
    measure = arguments.declare(commands, "measure", _measure, words)
    arguments.add_robot(measure)
    measure.add_argument("--points", metavar="XY", help='of a clip, in pixels from the exit on: "312,640 335,611 …"')
    measure.add_argument("--fps", metavar="N", type=arguments.positive_number, help="the clip's frames a second")
    arguments.add_quantity(measure, "--ruler", "L", "LENGTH", "length of the ruler in the picture, such as '50 cm'")
    measure.add_argument("--ruler-px", metavar="N", type=arguments.positive_number, help="its length in pixels")
    words = "frames from point to point; 1 if not given"
    measure.add_argument("--every", metavar="N", type=arguments.positive_number, default=1, help=words)
    measure.add_argument("--setpoint", metavar="S", help="what the robot held in the clip")
    add_hood(measure, "exit angle at which the hood stood in the clip")
    words = "tilt of the floor at which a pushed element just keeps sliding, such as '17 deg'"
    arguments.add_quantity(measure, "--tilt", "A", "ANGLE", words)
    arguments.add_quantity(measure, "--run-out", "D", "LENGTH", "how far it slid on the level, from --from-speed")
    arguments.add_quantity(measure, "--from-speed", "V", "SPEED", "the speed it had then, such as '2 m/s'")
    add_place(measure, required=False)
    add_battery(measure)
    add_target(measure)


def _measure(args: argparse.Namespace) -> None:
    with arguments.open_session(args) as session:
        robot = session.robot
        found = [session.measure(one) for one in _found(robot, args)]
        distance = arguments.distance_if_given(robot, args)
        if distance is None and robot.spots:
            distance = robot.spots[len(robot.spots) // 2].distance
        aim = None if distance is None else session.aim(distance, args.battery, args.target)
    text = [f"{robot.name}: {one.words}, kept as evidence" for one in found]
    give(
        args,
        {"evidence": found, "aim": None if aim is None else record(aim)},
        text + (aim_words(robot, aim) if aim else []),
    )
    point_to_cautions(robot)


def _found(robot: Robot, args: argparse.Namespace) -> list[Evidence]:
    """What the options say, one or two pieces of evidence; nothing is kept yet."""
    from fieldtune.aim.clip import friction_from_run_out, friction_from_tilt
    from fieldtune.learn.measured import Evidence, check

    ways = [way for way in ("points", "tilt", "run_out") if getattr(args, way) is not None]
    if len(ways) != 1:
        raise InputError("measure: expected one of --points (of a clip), --tilt, --run-out")
    if ways == ["points"]:
        return [check(robot, one) for one in _of_clip(robot, args)]
    if ways == ["tilt"]:
        if not 0 < args.tilt < 1.2:
            raise InputError("--tilt: expected an angle above the horizontal, such as '17 deg'")
        value, sd = friction_from_tilt(args.tilt)
    else:
        if args.from_speed is None or not (args.run_out > 0 and args.from_speed > 0):
            raise InputError("--run-out: needs --from-speed, the speed it had, both above zero")
        value, sd = friction_from_run_out(args.from_speed, args.run_out)
    return [check(robot, Evidence("friction", value, sd))]


def _of_clip(robot: Robot, args: argparse.Namespace) -> list[Evidence]:
    from fieldtune.aim.clip import Clip, exit_from_clip, read_points
    from fieldtune.learn.measured import Evidence
    from fieldtune.shot_entry import hood_then

    missing = [name for name in ("fps", "ruler", "ruler_px", "setpoint") if getattr(args, name) is None]
    if missing:
        raise InputError(f"--points: needs {', '.join('--' + name.replace('_', '-') for name in missing)} too")
    setpoint = arguments.setpoint(robot, "--setpoint", args.setpoint)
    seen = exit_from_clip(robot, Clip(read_points(args.points), args.fps, args.ruler, args.ruler_px, round(args.every)))
    return [
        Evidence("exit_speed", seen.speed_mps, seen.speed_sd, setpoint, args.battery),
        Evidence("exit_angle", seen.angle_deg, seen.angle_sd, hood_deg=hood_then(robot, hood_deg(args), None)),
    ]
