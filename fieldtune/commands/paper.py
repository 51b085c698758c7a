"""Commands for what leaves the tool: table."""

from __future__ import annotations

import argparse
import csv
import dataclasses
import io
import json
from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune.commands import aiming, parsing
from fieldtune.commands.output import columns, number, percent, plain, setpoint_words, write
from fieldtune.errors import InputError

if TYPE_CHECKING:
    from fieldtune.aim.results import TableRow
    from fieldtune.robot.model import Robot

_MOST_ROWS = 2000
_LANGUAGES = ("java", "cpp", "python")


def add(commands: argparse._SubParsersAction[parsing.Parser]) -> None:
    """Declares the commands of this family."""
    table = parsing.declare(commands, "table", _table, "distance-to-setpoint table or robot-program source")
    parsing.add_robot(table)
    parsing.add_quantity(table, "--from", "D", "LENGTH", "nearest distance", required=True, dest="nearest")
    parsing.add_quantity(table, "--to", "D", "LENGTH", "farthest distance", required=True, dest="farthest")
    parsing.add_quantity(table, "--step", "D", "LENGTH", "between one row and the next", required=True)
    table.add_argument("--format", choices=("text", "csv", "json", *_LANGUAGES), default="text", help="text otherwise")
    _add_out(table)
    aiming.add_battery(table)
    aiming.add_target(table)


def _add_out(parser: argparse.ArgumentParser, *, required: bool = False) -> None:
    parser.add_argument("--out", metavar="FILE", type=Path, required=required, help="the file to write")
    parser.add_argument("--force", action="store_true", help="write over a file of that name")


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
        if args.format in _LANGUAGES:
            from fieldtune.share.curve import curve
            from fieldtune.share.sources import source

            bent = curve(session, args.nearest, args.farthest, args.battery, args.target)
            _put(args, source(bent, args.format, date.today().isoformat()))
            return
        robot, rows = session.robot, session.table(distances, args.battery, args.target)
    if args.json or args.format == "json":
        found = {"robot": robot.name, "unit": robot.setpoint.unit, "rows": rows}
        _put(args, json.dumps(plain(found), allow_nan=False) + "\n")
    else:
        _put(args, _csv(rows) if args.format == "csv" else "\n".join(_text(robot, rows)) + "\n")


def _put(args: argparse.Namespace, text: str) -> None:
    """To standard output, or into the file that was asked for."""
    if args.out is None:
        print(text, end="")
    else:
        write(args.out, text, force=args.force)
        print(f"{args.out}: written")


def _text(robot: Robot, rows: Sequence[TableRow]) -> list[str]:
    shown = [
        (number(row.distance_m, 2), setpoint_words(robot, row.setpoint), setpoint_words(robot, row.low),
         setpoint_words(robot, row.high), percent(row.hit_probability))
        for row in rows
    ]  # fmt: skip
    return [f"{robot.name}:", *columns(("distance (m)", "setpoint", "from", "to", "scores"), shown)]


def _csv(rows: Sequence[TableRow]) -> str:
    """Rows as RFC 4180 text; unknown is empty."""
    page = io.StringIO()
    lines = csv.writer(page)
    lines.writerow(field.name for field in dataclasses.fields(rows[0]))
    lines.writerows(dataclasses.astuple(row) for row in rows)
    return page.getvalue()
