"""Command that shows the hit chance over the exit angle."""

from __future__ import annotations

import argparse
import math
from typing import TYPE_CHECKING

from fieldtune.commands import arguments
from fieldtune.commands.aim import add_battery, add_target
from fieldtune.commands.printing import give, number, percent, point_to_cautions, record
from fieldtune.plain_text import columns

if TYPE_CHECKING:
    from fieldtune.aim.angle import AngleSweep


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the command."""
    angle = arguments.declare(commands, "angle", _angle, "hit chance over the exit angle, and the best fixed one")
    arguments.add_robot(angle)
    arguments.add_quantity(angle, "--from", "A", "ANGLE", 'flattest exit angle, such as "35 deg"', required=True)
    arguments.add_quantity(angle, "--to", "A", "ANGLE", 'steepest exit angle, such as "65 deg"', required=True)
    arguments.add_quantity(angle, "--step", "A", "ANGLE", "step between angles, one degree where left out")
    add_battery(angle)
    add_target(angle)


def _angle(args: argparse.Namespace) -> None:
    low, high = (round(math.degrees(getattr(args, name)), 9) for name in ("from", "to"))
    step = 1.0 if args.step is None else round(math.degrees(args.step), 9)
    with arguments.open_session(args) as session:
        found = session.angle(low, high, step, args.battery, args.target)
        shot_at = session.belief.shots_used > 0
    give(args, record(found), _words(found, shot_at))
    point_to_cautions(session.robot)


def _words(found: AngleSweep, shot_at: bool) -> list[str]:
    best = next(row for row in found.angles if row.exit_angle_deg == found.best)
    flat = f"{found.flat[0]:g} to {found.flat[1]:g} deg are within a point of it"
    if found.degree_costs is not None:
        flat += f"; one degree beside it costs {100 * found.degree_costs:.1f} points"
    if found.best in (found.angles[0].exit_angle_deg, found.angles[-1].exit_angle_deg):
        flat += "; it is at the end of what was tried, so the best may lie beyond"
    names = [spot.spot or number(spot.distance_m, 2, "m") for spot in best.spots]
    table = columns(
        ("angle (deg)", "mean", "worst", *names),
        [
            (f"{row.exit_angle_deg:g}", percent(row.mean), percent(row.worst),
             *(percent(spot.hit_probability) for spot in row.spots))
            for row in found.angles
        ],
    )  # fmt: skip
    favours = ["  shots favour the angle they were taken at: at others less is known yet"] if shot_at else []
    return [
        f"{found.robot}: best at {found.best:g} deg, hit chance {percent(best.mean)} (mean of {len(names)} spots)",
        f"  {flat}",
        f"  the worst spot scores most at {found.best_worst:g} deg",
        f"  with a hood, at the best angle for each spot: {percent(found.each_best)}",
        *favours,
        f"  now, at {found.now.exit_angle_deg:.3g} deg: {percent(found.now.mean)}, worst {percent(found.now.worst)}",
        "",
        *table,
    ]
