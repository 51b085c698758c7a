"""Commands for what leaves the tool: table."""

from __future__ import annotations

import argparse
import csv
import dataclasses
import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldtune.commands import aiming, parsing
from fieldtune.commands.output import columns, give, number, percent, setpoint_words
from fieldtune.errors import InputError

if TYPE_CHECKING:
    from fieldtune.aim.results import TableRow

_MOST_ROWS = 2000


def add(commands: argparse._SubParsersAction[parsing.Parser]) -> None:
    """Declares the commands of this family."""
    table = parsing.declare(commands, "table", _table, "distance-to-setpoint table or robot-program source")
    parsing.add_robot(table)
    parsing.add_quantity(table, "--from", "D", "LENGTH", "nearest distance", required=True, dest="nearest")
    parsing.add_quantity(table, "--to", "D", "LENGTH", "farthest distance", required=True, dest="farthest")
    parsing.add_quantity(table, "--step", "D", "LENGTH", "between one row and the next", required=True)
    table.add_argument("--format", choices=("text", "csv", "json", "java", "cpp", "python"), default="text")
    aiming.add_battery(table)
    aiming.add_target(table)


def _distances(args: argparse.Namespace) -> list[float]:
    """From the nearest to the farthest, both included where the step meets them; kept to a tenth of a millimetre."""
    near, far, step = args.nearest, args.farthest, args.step
    if not (0 < near <= far <= 100):
        raise InputError(f"--from {near:g} m --to {far:g} m: expected 0 < from <= to <= 100 m")
    if step <= 0 or (far - near) / step > _MOST_ROWS:
        raise InputError(f"--step {step:g} m: expected a length above zero, and at most {_MOST_ROWS} rows")
    count = int((far - near) / step + 1e-9) + 1
    return [round(near + i * step, 4) for i in range(count)]


def _table(args: argparse.Namespace) -> None:
    distances = _distances(args)
    with parsing.open_session(args) as session:
        robot, rows = session.robot, session.table(distances, args.battery, args.target)
    if args.format == "csv":
        print(_csv(rows), end="")
        return
    args.json = args.json or args.format == "json"
    shown = [
        (number(row.distance_m, 2), setpoint_words(robot, row.setpoint), setpoint_words(robot, row.low),
         setpoint_words(robot, row.high), percent(row.hit_probability))
        for row in rows
    ]  # fmt: skip
    text = [f"{robot.name}:", *columns(("distance (m)", "setpoint", "from", "to", "scores"), shown)]
    give(args, {"robot": robot.name, "unit": robot.setpoint.unit, "rows": rows}, text)


def _csv(rows: Sequence[TableRow]) -> str:
    """Rows as RFC 4180 text; unknown is empty."""
    page = io.StringIO()
    lines = csv.writer(page)
    lines.writerow(field.name for field in dataclasses.fields(rows[0]))
    lines.writerows(dataclasses.astuple(row) for row in rows)
    return page.getvalue()
