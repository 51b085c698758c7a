"""Commands for what leaves the tool as a table: table, in text, CSV, JSON, source, or as one formula; its trim."""

from __future__ import annotations

import argparse
import json
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune.commands import aim, arguments
from fieldtune.commands.printing import cell, give, heading, percent, point_to_cautions, record, setpoint_words
from fieldtune.errors import InputError
from fieldtune.files import write_whole
from fieldtune.person_units import from_to, how_far
from fieldtune.plain_text import columns, csv_lines, printable, say, say_aside, say_json
from fieldtune.share.export_kinds import LANGUAGES, class_name_for

if TYPE_CHECKING:
    from fieldtune.aim.results import TableRow
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session
    from fieldtune.share.program_table import LengthUnit
    from fieldtune.share.table_curve import Curve, FormulaFit

_MOST_ROWS = 2000
_STEP_M = 0.1


def add(commands: argparse._SubParsersAction[arguments.Parser]) -> None:
    """Declares the commands of this family."""
    table = arguments.declare(commands, "table", _table, "distance-to-setpoint table or robot-program source")
    arguments.add_robot(table)
    arguments.add_quantity(table, "--from", "D", "LENGTH", "nearest distance", required=True, dest="nearest")
    arguments.add_quantity(table, "--to", "D", "LENGTH", "farthest distance", required=True, dest="farthest")
    arguments.add_quantity(table, "--step", "D", "LENGTH", "between one row and the next; 10 cm if not given")
    form = table.add_mutually_exclusive_group()
    form.add_argument(
        "--format", choices=("text", "csv", "json", *LANGUAGES), default="text", help=f"{', '.join(LANGUAGES)}: source"
    )
    form.add_argument(
        "--fit", choices=("quadratic", "cubic"), help="one formula instead of the table, and what it costs"
    )
    table.add_argument(
        "--by-voltage", action="store_true", help="setpoints over distance and battery voltage, for an open loop"
    )
    add_out(table, required=False)
    aim.add_battery(table)
    aim.add_target(table)

    trim = arguments.declare(
        commands, "trim", _trim, "the one number to edit in a robot program that has an older table"
    )
    arguments.add_robot(trim)
    trim.add_argument("file", metavar="FILE", type=Path, help="the program's source that 'fieldtune table' wrote")
    aim.add_target(trim)


def add_out(parser: argparse.ArgumentParser, *, required: bool, words: str = "file to write to") -> None:
    """Where a file goes, and whether one that is there may be lost."""
    parser.add_argument("--out", metavar="FILE", required=required, type=Path, help=words)
    parser.add_argument("--force", action="store_true", help="write over a file that is there")


def _distances(args: argparse.Namespace) -> list[float]:
    """From the nearest to the farthest, both included where the step meets them; kept to a tenth of a millimetre."""
    near, far, step = args.nearest, args.farthest, args.step if args.step is not None else _STEP_M
    if not (0 < near <= far <= 100):
        raise InputError(f"--from {near:g} m --to {far:g} m: expected 0 < from <= to <= 100 m")
    if step <= 0 or (far - near) / step > _MOST_ROWS:
        raise InputError(f"--step {step:g} m: expected a length above zero, and at most {_MOST_ROWS} rows")
    count = int((far - near) / step + 1e-9) + 1
    return [round(near + i * step, 4) for i in range(count)]


def _table(args: argparse.Namespace) -> int:
    distances = _distances(args)
    if args.format in LANGUAGES and args.json:
        raise InputError(f"--json: prints the rows, --format {args.format} a source; choose one")
    if args.by_voltage and (args.format in LANGUAGES or args.fit is not None):
        raise InputError("--by-voltage: for text, CSV or JSON; a source follows the battery's voltage by itself")
    with arguments.open_session(args) as session:
        answer = (
            _grid
            if args.by_voltage
            else _source
            if args.format in LANGUAGES
            else _formula
            if args.fit is not None
            else _rows
        )
        code = answer(session, args, distances)
        if code == 0:
            point_to_cautions(session.robot)
        return code


def _trim(args: argparse.Namespace) -> None:
    from fieldtune.share.table_curve import HARMLESS
    from fieldtune.share.trim import trim

    with arguments.open_session(args) as session:
        found, robot = trim(session, args.file, args.target), session.robot
    before, now = (setpoint_words(robot, error) for error in (found.worst_error_before, found.worst_error))
    reach = f"from {from_to(found.near_m, found.far_m, 'm', 2)}"
    text = [
        f"{printable(found.file)}: set the trim to {found.trim:.4f} (it is {found.was:g})",
        f"  {reach} it is then at most {now} off today's advice: {100 * found.worst_loss:.0f} hits in 100 lost",
        f"  as it is: at most {before}, {100 * found.worst_loss_before:.0f} hits in 100 lost",
    ]
    if found.worst_loss > HARMLESS:
        text.append("  one number doesn't bring this table up to date: make it anew")
    give(args, record(found), text)


def _deliver(args: argparse.Namespace, text: str) -> None:
    """Into the file that was asked for, or to standard output."""
    if _is_file(args.out):
        write_whole(args.out, text, force=args.force)
        say(f"{args.out}: written")
    else:
        say(text, end="")


def _deliver_json(args: argparse.Namespace, found: Mapping[str, object]) -> None:
    """As ``_deliver``, one JSON object on one line."""
    if _is_file(args.out):
        _deliver(args, json.dumps(found, allow_nan=False, ensure_ascii=False) + "\n")
    else:
        say_json(found)


def _is_file(out: Path | None) -> bool:
    """Whether ``--out`` names a file; ``-`` is standard output, as elsewhere."""
    return out is not None and str(out) != "-"


def _rows(session: Session, args: argparse.Namespace, distances: list[float]) -> int:
    robot, rows = session.robot, session.table(distances, args.battery, args.target)
    if args.json or args.format == "json":
        found = {"robot": robot.name, "unit": robot.setpoint.unit, "rows": [record(row) for row in rows]}
        _deliver_json(args, found)
    elif args.format == "csv":
        from fieldtune.share.export import csv_text

        _deliver(args, csv_text(rows))
    else:
        from fieldtune.aim.hood import exit_angle_of

        hood = ("exit angle",) if robot.hood is not None else ()
        shown = [
            (cell(row.distance_m, "m"), setpoint_words(robot, row.setpoint),
             *(aim.hood_words(exit_angle_of(row)) or "-" for _ in hood),
             _nearly(robot, row), percent(row.hit_probability))
            for row in rows
        ]  # fmt: skip
        head = (heading("distance", "m"), "setpoint", *hood, "good range", "hit chance")
        text = [f"{robot.name}:", *columns(head, shown)]
        _deliver(args, "".join(f"{line}\n" for line in text))
    if any(row.setpoint is not None for row in rows):
        return 0
    say_aside(f"{robot.name} scores from none of these distances; 'fieldtune aim' says why")
    return 1


def _grid(session: Session, args: argparse.Namespace, distances: list[float]) -> int:
    from fieldtune.share.voltage_grid import voltage_grid

    robot, found = session.robot, voltage_grid(session, distances, None, args.target)
    head = ("distance (m)", *(f"{volts:g} V" for volts in found.volts))
    rows = list(zip(found.distances_m, found.setpoints, strict=True))
    if args.json or args.format == "json":
        _deliver_json(args, record(found))
    elif args.format == "csv":
        _deliver(args, csv_lines(head, [(d, *found_at) for d, found_at in rows]))
    else:
        head = (heading("distance", "m"), *head[1:])
        shown = columns(head, [(cell(d, "m"), *(setpoint_words(robot, s) for s in found_at)) for d, found_at in rows])
        _deliver(args, "".join(f"{line}\n" for line in [f"{robot.name}: setpoint at each battery voltage", *shown]))
    return 0


def _nearly(robot: Robot, row: TableRow) -> str:
    return "-" if row.low is None else f"{setpoint_words(robot, row.low)} to {setpoint_words(robot, row.high)}"


def _source(session: Session, args: argparse.Namespace, distances: list[float]) -> int:
    from fieldtune.share.program_source import source
    from fieldtune.share.program_table import program_table
    from fieldtune.share.templating import today

    named = class_name_for(LANGUAGES[args.format], args.out.stem) if _is_file(args.out) else None
    unit: LengthUnit = "in" if getattr(args, "units", None) == "us" else "m"  # only where asked: programs rest on it
    made = program_table(session, args.nearest, args.farthest, args.battery, args.target, unit)
    _deliver(args, source(made, args.format, today(session), named))
    for words in _shortcomings(made.curve, args):
        say_aside(words)
    return 0


def _shortcomings(made: Curve, args: argparse.Namespace) -> list[str]:
    """Where a curve is less than what was asked for; its own header says the same."""
    found = []
    near, far = float(made.distance_m[0]), float(made.distance_m[-1])
    if near > args.nearest + 0.01 or far < args.farthest - 0.01:
        found.append(f"the table covers {from_to(near, far, 'm', 2)} only: {made.robot} can't score from the rest")
    if made.worst_error > made.step / 2:
        found.append(
            f"the table is up to {made.worst_error:.2g} {made.unit} off the recommendation; ask for less range"
        )
    return found


def _formula(session: Session, args: argparse.Namespace, distances: list[float]) -> int:
    from fieldtune.share.table_curve import fit

    found = fit(session, args.fit, distances, args.battery, args.target)
    if args.json:
        _deliver_json(args, record(found))
    else:
        _deliver(args, "".join(f"{line}\n" for line in _formula_words(session, found)))
    return 0


def _formula_words(session: Session, found: FormulaFit) -> list[str]:
    robot, unit = session.robot, found.unit
    terms = [f"{c:+.8g}" + (" d" if k == 1 else f" d^{k}" if k else "") for k, c in enumerate(found.coefficients)]
    close = "nowhere: use the table instead"
    if found.harmless_m is not None:
        close = f"from {from_to(found.harmless_m[0], found.harmless_m[1], 'm', 2)}"
    lines = [
        f"{robot.name}: setpoint in {unit} = {' '.join(terms).lstrip('+')}",
        f"  d is the distance in metres, from {found.near_m:.2f} to {found.far_m:.2f}; wrong outside",
        f"  worst error      {setpoint_words(robot, found.worst_error)} at {how_far(found.worst_error_at_m)}",
        f"  worst loss       {100 * found.worst_loss:.1f} hits in 100 shots, at {how_far(found.worst_loss_at_m)}",
        f"  accurate enough  {close} (loses at most {100 * found.harmless_loss:.0f} hits in 100 shots)",
    ]
    if found.no_air_worst_error is not None:
        lines.append(f"  without air      a parabola is off by up to {setpoint_words(robot, found.no_air_worst_error)}")
    shown = [
        (cell(row.distance_m, "m"), setpoint_words(robot, row.setpoint), setpoint_words(robot, row.formula),
         percent(row.hit_probability), percent(row.formula_hit_probability), setpoint_words(robot, row.no_air))
        for row in found.rows
    ]  # fmt: skip
    head = (heading("distance", "m"), "setpoint", "formula", "hit chance", "by formula", "parabola")
    return [*lines, *(f"  {line}" for line in columns(head, shown))]
