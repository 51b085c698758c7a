"""Command that says where the misses come from."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from fieldtune.commands import arguments
from fieldtune.commands.aim import add_battery, add_place, add_target
from fieldtune.commands.printing import cell, give, heading, number, percent, point_to_cautions, record, setpoint_words
from fieldtune.person_units import how_far
from fieldtune.plain_text import columns, say_aside

if TYPE_CHECKING:
    from fieldtune.aim.error_budget import SpotBudget
    from fieldtune.robot.model import Robot


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the command."""
    budget = arguments.declare(commands, "budget", _budget, "where the misses come from, and what to mend first")
    arguments.add_robot(budget)
    add_place(budget, required=False)
    add_battery(budget)
    add_target(budget)
    words = "hold error of the wheel, one standard deviation, such as '0.8 %%' of the setpoint"
    arguments.add_quantity(budget, "--hold", "SHARE", "RATIO", words)


def _budget(args: argparse.Namespace) -> int:
    with arguments.open_session(args) as session:
        robot = session.robot
        distance = arguments.distance_if_given(robot, args)
        found = session.budget(distance, args.battery, args.target, args.hold)
    text = [f"{robot.name}: {found.advice}"]
    for spot in found.spots:
        text += ["", *_spot_words(robot, spot)]
    give(args, record(found), text)
    if all(spot.hit_probability is None for spot in found.spots):
        say_aside(found.spots[0].why_not or found.advice)
        return 1
    point_to_cautions(robot)
    return 0


def _spot_words(robot: Robot, spot: SpotBudget) -> list[str]:
    """The causes at one spot as a table."""
    head = f"{spot.spot}, {how_far(spot.distance_m)}" if spot.spot else how_far(spot.distance_m)
    if spot.hit_probability is None:
        return [f"{head}: {spot.why_not}"]
    head += f" at {setpoint_words(robot, spot.setpoint)}: hit chance {percent(spot.hit_probability)}"
    miss = None if spot.miss_m is None else 100 * spot.miss_m
    rows = [
        (cause.cause, "-" if cause.miss_m is None else cell(100 * cause.miss_m, "cm", 1), percent(cause.share),
         percent(cause.halved), percent(cause.without))
        for cause in spot.causes
    ]  # fmt: skip
    table = columns(("cause", heading("miss", "cm"), "share", "if halved", "if gone"), rows)
    helps = _unmeasured()
    unknown = [f"  {cause.cause} not measured: {helps[cause.cause]}" for cause in spot.causes if cause.miss_m is None]
    lines = [*(f"  {line}" for line in table), *unknown]
    return [f"{head}, misses {number(miss, 0, 'cm')} (root mean square)", *lines]


def _unmeasured() -> dict[str, str]:
    """What helps where a cause could not be measured; its names stand beside arrays, which ``--help`` does without."""
    from fieldtune.aim.error_causes import BATTERY, HOLD

    return {
        HOLD: "it is a part of the speed scatter until shots have a measured speed, or --hold says it",
        BATTERY: "give its voltage with --battery, or its chemistry in the profile",
    }
