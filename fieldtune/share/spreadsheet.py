"""Shots from a spreadsheet: a CSV file, a column map, and units in headings or cells."""

from __future__ import annotations

import csv
import io
import math
import re
import uuid
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from fieldtune import units
from fieldtune.errors import FieldtuneError, InputError, UnitError
from fieldtune.files import read_whole
from fieldtune.frozen import frozen
from fieldtune.records import Epoch, Result, Shot
from fieldtune.robot.setpoints import SCALES
from fieldtune.shot_entry import Entry, check_entry, check_words, speed_unit
from fieldtune.store.rows import stamp
from fieldtune.units import closest, shown

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session

COLUMNS = (
    "distance", "setpoint", "result", "miss", "side", "speed", "battery", "target", "time", "epoch", "match", "batch",
    "hood",
)  # fmt: skip
"""What a column can hold; distance and setpoint have to be there, and result or miss."""

_LARGEST = 20_000_000
_OURS = uuid.UUID("5bb0b8f2-4b0e-4b7c-9a53-2d5f3c1c7e10")
_UNIT = re.compile(
    r"^(?P<name>.*?)\s*(?:[(\[](?P<unit>[^()\[\]]+)[)\]]|_(?P<short>m|cm|mm|in|ft|rpm|pct|v|mv))?\s*$", re.I
)
_RESULTS: dict[str, Result] = {
    "in": "in", "hit": "in", "made": "in", "score": "in", "scored": "in", "yes": "in", "y": "in", "1": "in",
    "true": "in", "short": "short", "low": "short", "long": "long", "high": "long", "left": "left", "right": "right",
}  # fmt: skip
_NO_MORE = ("no", "n", "0", "false", "miss", "missed", "out")


@frozen
class Sheet:
    """A CSV file read: shots ready for the log with their epochs, and (line, reason) of what could not be read."""

    shots: tuple[Shot, ...]
    epochs: tuple[Epoch, ...]
    bad: tuple[tuple[int, str], ...]


@frozen
class Imported:
    """``new``: shots added; ``known``: shots that were in the log already; ``skipped``: (line, reason)."""

    robot: str
    new: int
    known: int
    skipped: tuple[tuple[int, str], ...]


@frozen
class _Column:
    place: int
    unit: str | None


def import_file(
    session: Session, path: Path | str, columns: str | None = None, skip_bad: bool = False, target: str | None = None
) -> Imported:
    """Adds the shots of a CSV file, all or (``skip_bad``) all that can be read; the same shots never twice.

    ``columns``: a map such as ``distance=Dist (m),result=Outcome``. ``target``: for rows that name none. Raises
    ``InputError`` naming the line.
    """
    path = Path(path)
    sheet = read_sheet(session, path, columns, target)
    if sheet.bad and not skip_bad:
        (line, why), more = sheet.bad[0], len(sheet.bad) - 1
        rest = ", ".join(str(number) for number, _ in sheet.bad[1:9]) + (", …" if more > 8 else "")
        others = f"; {more} more line{'s' if more > 1 else ''} too ({rest})" if more else ""
        raise InputError(f"{path}: line {line}: {why}{others}; nothing was imported (--skip-bad leaves bad lines out)")
    here = {shot.uid for shot in session.log.shots()}
    fresh = [shot for shot in sheet.shots if shot.uid not in here]
    used = {shot.epoch for shot in fresh}
    new = 0
    if fresh:
        new, _ = session.log.merge(fresh, (), [epoch for epoch in sheet.epochs if epoch.epoch in used], path.name[:60])
    return Imported(session.robot.name, new, len(sheet.shots) - new, sheet.bad)


def read_sheet(session: Session, path: Path, columns: str | None = None, target: str | None = None) -> Sheet:
    """Reads and checks a CSV file without keeping anything; raises ``InputError`` where it is no table at all."""
    robot = session.robot
    robot.target(target)
    lines = _lines(path)
    (_, head), rows = lines[0], lines[1:]
    found = _columns(path, head, columns)
    shots: list[Shot] = []
    bad: list[tuple[int, str]] = []
    seen: Counter[str] = Counter()
    epochs: dict[str, Epoch] = {}
    for line, cells in rows:
        if not any(cell.strip() for cell in cells):
            continue
        row = {name: cells[c.place].strip() for name, c in found.items() if c.place < len(cells)}
        try:
            hood = _hood(robot, row.get("hood", ""), found)
            entry, aimed_at = _entry(robot.with_exit_angle(hood), row, found, target)
            time = _time(row.get("time", ""), session)
            label, match, batch = (check_words(n, row[n]) if row.get(n) else "" for n in ("epoch", "match", "batch"))
        except FieldtuneError as error:
            bad.append((line, str(error)))
            continue
        # Same content, same uid: a row that stands twice in the file is two shots, the file read twice is not.
        content = f"{robot.name} {entry} {aimed_at} {row.get('time', '')} {label}"
        epoch = epochs.setdefault(label, _epoch(path, label, len(epochs) + 1, time, content))
        seen[content] += 1
        uid = str(uuid.uuid5(_OURS, f"{content} {seen[content]}"))
        shot = _shot(len(shots) + 1, uid, time, entry, aimed_at, epoch.epoch)
        shots.append(replace(shot, match=match or None, batch=batch or None, hood_deg=hood))
    if not shots and not bad:
        raise InputError(f"{path}: no rows below the headings; expected one shot a row")
    return Sheet(tuple(shots), tuple(epochs.values()), tuple(bad))


def _lines(path: Path) -> list[tuple[int, list[str]]]:
    """Rows with the number of the line each ends on; the headings first."""
    raw = read_whole(path, "a shot log, a CSV file", _LARGEST)
    if raw[:2] in (b"\xff\xfe", b"\xfe\xff"):
        text = raw.decode("utf-16", "replace")
    else:
        try:
            text = raw.decode("utf-8-sig")
        except UnicodeDecodeError:
            text = raw.decode("cp1252", "replace")  # what older spreadsheets write
    if "\0" in text:
        raise InputError(f"{path}: not text; save the sheet as CSV")
    first = next((line for line in text.splitlines() if line.strip()), "")
    delimiter = max(";\t,", key=first.count)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True)
    try:
        rows = [(reader.line_num, cells) for cells in reader]
    except csv.Error as error:
        raise InputError(f"{path}: line {reader.line_num}: not CSV ({error}); save the sheet as CSV") from error
    rows = rows[next((k for k, (_, cells) in enumerate(rows) if any(cell.strip() for cell in cells)), 0) :]
    if not rows:
        raise InputError(f"{path}: empty; expected headings and one shot a row")
    return rows


def _columns(path: Path, head: Sequence[str], told: str | None) -> dict[str, _Column]:
    """Place and unit of every column that is used."""
    headings = [" ".join(cell.split()) for cell in head]
    found: dict[str, _Column] = {}
    for name, heading in _told(told).items() if told is not None else ():
        places = [k for k, text in enumerate(headings) if text.casefold() == heading.casefold()]
        if len(places) != 1:
            what = "stands twice in" if places else "is not in"
            hint = closest(heading, headings) or f"; there are: {', '.join(map(shown, headings))}"
            raise InputError(f"--columns {name}={heading}: {what} the headings of {path}{'' if places else hint}")
        found[name] = _Column(places[0], _heading(headings[places[0]])[1])
    for place, heading in enumerate(headings):
        name, unit = _heading(heading)
        if name in COLUMNS and name not in found and (told is None or place not in {c.place for c in found.values()}):
            found[name] = _Column(place, unit)
    missing = [name for name in ("distance", "setpoint") if name not in found]
    if "result" not in found and "miss" not in found:
        missing.append("result")
    if missing:
        taken = {column.place for column in found.values()}
        free = [heading for place, heading in enumerate(headings) if heading and place not in taken]
        raise InputError(f"{path}: no column for {' and '.join(missing)}; {_proposal(missing, free)}")
    return found


def _proposal(missing: Sequence[str], free: Sequence[str]) -> str:
    """How to say which column holds what is missing, with the headings that aren't used yet."""
    if len(free) < len(missing):
        return "expected headings, and one shot a row below them"
    pairs = ",".join(f"{name}={heading}" for name, heading in zip(missing, free, strict=False))
    more = f"; not used yet: {', '.join(map(shown, free))}" if len(free) > len(missing) else ""
    return f'say which, such as --columns "{pairs}"{more}'


def _told(text: str) -> dict[str, str]:
    """``distance=Dist (m),result=Outcome``: headings may hold commas, so a comma counts before a known name only."""
    parts = re.split(rf"(?:^|,)\s*({'|'.join(COLUMNS)})\s*=", text)
    if parts[0].strip() or len(parts) < 3:
        word = re.split(r"[=,]", text)[0].strip()
        hint = closest(word, COLUMNS) or f"; known: {', '.join(COLUMNS)}"
        raise InputError(f'--columns {shown(text)}: expected pairs such as "distance=Dist (m),result=Outcome"{hint}')
    pairs = [(name, " ".join(heading.split())) for name, heading in zip(parts[1::2], parts[2::2], strict=True)]
    if len(dict(pairs)) < len(pairs):
        raise InputError(f"--columns {shown(text)}: one name stands twice")
    return dict(pairs)


def _heading(text: str) -> tuple[str, str | None]:
    """A heading's name and the unit it gives."""
    match = _UNIT.match(text)
    if match is None:
        return text.casefold(), None
    unit = match["unit"] or match["short"]
    return match["name"].strip().casefold(), {"pct": "%"}.get((unit or "").casefold(), unit)


def _entry(
    robot: Robot, row: dict[str, str], found: dict[str, _Column], target: str | None
) -> tuple[Entry, str | None]:
    def number(name: str, own: str | None, dimension: units.Dimension, factor: float = 1.0) -> float | None:
        return _number(name, row.get(name, ""), found[name].unit if name in found else None, own, dimension, factor)

    aimed_at = robot.target(row.get("target") or target)
    unit, measured = robot.setpoint.unit, speed_unit(robot)
    distance = number("distance", None, units.LENGTH)
    setpoint = number("setpoint", unit, *_scale(unit))
    if distance is None or setpoint is None:
        raise InputError(f"{'distance' if distance is None else 'setpoint'}: is empty")
    miss = number("miss", None, units.LENGTH)
    side = number("side", None, units.LENGTH)
    speed = number("speed", measured, *_scale(measured))
    battery = number("battery", "V", units.VOLTAGE)
    result = _result(row.get("result", ""), miss is not None)
    return check_entry(robot, aimed_at, distance, setpoint, result, miss, side, speed, battery), aimed_at.name


def _hood(robot: Robot, cell: str, found: dict[str, _Column]) -> float | None:
    """Exit angle (degrees) at which the hood stood; None where the sheet does not say, or the robot has none."""
    if robot.hood is None or "hood" not in found:
        return None
    return _number("hood", cell, found["hood"].unit or "deg", "deg", units.ANGLE, 180 / math.pi)


def _scale(unit: str) -> tuple[units.Dimension, float]:
    """Dimension of a robot's unit, and how many of it one SI unit holds."""
    scale = SCALES[unit]
    return scale.dimension, scale.per_si


def _number(
    name: str, cell: str, unit: str | None, own: str | None, dimension: units.Dimension, factor: float
) -> float | None:
    """A cell with its unit, its heading's, or the unit this column has anyway (``own``); None where it is empty."""
    if cell in ("", "-", "–", "n/a", "N/A"):
        return None
    text = re.sub(r"^([+\-−]?\d+),(\d+)", r"\1.\2", cell)  # decimal comma
    if re.fullmatch(r"[+\-−]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", text):
        if unit is None and own is None:
            raise InputError(f'{name}: found {shown(cell)} without a unit; write it in the heading, as "{name} (m)"')
        if (unit or own) == own and own is not None and own != "V":
            return float(text.replace("−", "-"))
        text = f"{text} {unit or own}"
    try:
        return round(units.parse(text, dimension) * factor, 9)
    except UnitError as error:
        raise InputError(f"{name}: {error}") from error


def _result(cell: str, measured: bool) -> Result | None:
    word = cell.casefold()
    if word in _RESULTS:
        return _RESULTS[word]
    if measured and (not word or word in _NO_MORE):
        return None
    if word in _NO_MORE:
        raise InputError(f"result: found {shown(cell)}; a miss has to say where: short, long, left or right")
    raise InputError(f"result: found {shown(cell) if cell else 'nothing'}; expected in, short, long, left or right")


def _time(cell: str, session: Session) -> str:
    """When the shot was taken, as the log writes it; the present moment where the sheet does not say."""
    if not cell:
        return stamp(session.log.now())
    try:
        return stamp(datetime.fromisoformat(cell))
    except (ValueError, OverflowError, OSError) as error:
        raise InputError(f'time: found {shown(cell)}; expected a time such as "2026-03-14 15:09"') from error


def _epoch(path: Path, label: str, number: int, time: str, first: str) -> Epoch:
    """The epoch of all rows with one label; its uid follows from its first row, so that a sheet may grow."""
    stem = " ".join("".join(c if c.isprintable() else " " for c in path.stem).split())[:60] or "a sheet"
    return Epoch(number, time, label or f"imported from {stem}", str(uuid.uuid5(_OURS, f"epoch of {first}")))


def _shot(number: int, uid: str, time: str, entry: Entry, target: str | None, epoch: int) -> Shot:
    return Shot(
        number, uid, time, entry.distance_m, entry.setpoint, entry.result, epoch, entry.miss_m, entry.side_m,
        entry.speed, entry.battery_v, target,
    )  # fmt: skip
