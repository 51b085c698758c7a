"""One robot as one readable file for another laptop: profile, shots with all marks, battery periods and readings.

A file that someone else made is checked whole before any of it is used.
"""

from __future__ import annotations

import json
import platform
import re
import tomllib
from collections.abc import Callable, Iterable
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import msgspec

from fieldtune.errors import InputError, OutputError
from fieldtune.files import read_whole
from fieldtune.frozen import frozen
from fieldtune.records import FROM_MARKS, BatteryReading, Epoch, Mark, Result, Shot, TravellingMarkKind
from fieldtune.robot.profile import NAME_RULE, is_name, read_values
from fieldtune.share.pack_digest import by_line, opened, sealed
from fieldtune.units import shown

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot
    from fieldtune.session import Session

FORMAT = "fieldtune pack"
VERSION = 2


def pack(session: Session, by: str | None = None) -> str:
    """The robot and all of its log as JSON text, one record a line; ``by`` names the laptop (its own name if None)."""
    # Marks before shots before epochs: what another process adds meanwhile then never lacks what it belongs to.
    marks, shots, epochs = session.log.marks(), session.log.shots_as_confirmed(), session.log.epochs()
    number = session.log.epoch
    present = next((epoch.uid for epoch in epochs if epoch.epoch == number), None)
    head = {
        "format": FORMAT,
        "version": VERSION,
        "robot": session.robot.name,
        "made": session.log.now().astimezone().isoformat(timespec="seconds"),
        "by": plain_name(by if by is not None else platform.node()),
        "present_epoch": present,
    }
    parts: dict[str, object] = {
        "profile": _profile(session).split("\n"),
        "epochs": _records(epochs),
        "shots": _records(shots),
        "marks": _records(marks),
        "batteries": _records(session.log.batteries()),
    }
    whole = sealed({**head, **parts})
    lines = [f"{json.dumps(k)}: {_block(v) if isinstance(v, list) else _line(v)}" for k, v in whole.items()]
    return "{\n" + ",\n".join(lines) + "\n}\n"


def plain_name(name: str) -> str:
    """A laptop's name as it stands beside merged shots: one short printable line."""
    kept = "".join(c if c.isprintable() else " " for c in name.encode("utf-8", "replace").decode())
    return " ".join(kept.split())[:60] or "another laptop"


def _profile(session: Session) -> str:
    path = session.robot.path
    if path is None:
        raise OutputError(f"{session.robot.name}: has no profile file, so there is nothing to pack it from")
    try:
        return path.read_bytes().decode("utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise OutputError(f"{path}: can't be read any more ({error})") from error


def _records(records: Iterable[Shot | Mark | Epoch | BatteryReading]) -> list[dict[str, object]]:
    return [{key: value for key, value in asdict(record).items() if key not in FROM_MARKS} for record in records]


def _block(values: list[str] | list[dict[str, object]]) -> str:
    return "[\n" + ",\n".join(f" {_line(value)}" for value in values) + "\n]" if values else "[]"


def _line(value: object) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False)


_LARGEST = 100_000_000
_TIME = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z\+*")


@frozen
class Pack:
    """A pack that can be merged: the robot as its profile says, the profile's text, and the log."""

    robot: Robot
    profile: str
    by: str
    present: str | None
    epochs: tuple[Epoch, ...]
    shots: tuple[Shot, ...]
    marks: tuple[Mark, ...]
    batteries: tuple[BatteryReading, ...]
    left_out: int = 0


class _Entry(msgspec.Struct, forbid_unknown_fields=True, kw_only=True):
    uid: str
    time: str


class _Shot(_Entry):
    shot: int
    distance_m: float
    setpoint: float
    result: Result | None
    epoch: int
    miss_m: float | None = None
    side_m: float | None = None
    speed: float | None = None
    battery_v: float | None = None
    target: str | None = None
    distance_from: str | None = None
    origin: str | None = None
    match: str | None = None
    batch: str | None = None
    hood_deg: float | None = None


class _Epoch(_Entry):
    epoch: int
    label: str | None = None
    previous: str | None = None
    origin: str | None = None


class _Mark(_Entry):
    subject: str
    kind: TravellingMarkKind
    reason: str | None = None
    result: Result | None = None
    miss_m: float | None = None
    side_m: float | None = None


class _Battery(_Entry):
    label: str | None = None
    resistance_ohm: float | None = None
    rest_v: float | None = None


class _File(msgspec.Struct, forbid_unknown_fields=True):
    format: str
    version: int
    robot: str
    profile: list[str]
    made: str = ""
    by: str = ""
    present_epoch: str | None = None
    epochs: list[_Epoch] = []
    shots: list[_Shot] = []
    marks: list[_Mark] = []
    batteries: list[_Battery] = []


def read_pack(path: Path | str, sound_only: bool = False) -> Pack:
    """The pack in a file; raises ``InputError`` with one line that names the file, the place in it and the remedy.

    ``sound_only``: of a damaged pack, what is as it was packed; ``left_out`` counts the rest.
    """
    path = Path(path)
    values = _json(path, sound_only)
    if not isinstance(values, dict) or values.get("format") != FORMAT:
        raise InputError(f'{path}: not a pack; expected a file that "fieldtune pack" wrote')
    version = values.get("version")
    if isinstance(version, int) and version > VERSION:
        raise InputError(
            f"{path}: written by a newer fieldtune (pack version {version}, this one reads up to {VERSION}); "
            "install the newer fieldtune"
        )
    values, left_out = opened(path, values, sound_only)
    try:
        file = msgspec.convert(values, _File)
    except (msgspec.ValidationError, OverflowError) as error:
        raise InputError(f"{path}: {_plain(str(error))}; pack the robot again") from error
    if version != VERSION:
        raise InputError(f"{path}: version: found {shown(version)}; expected {VERSION}")
    profile = "\n".join(file.profile)
    robot = _robot(path, file.robot, profile)
    _check(path, file)
    return Pack(
        robot,
        profile,
        plain_name(file.by),
        file.present_epoch,
        tuple(Epoch(**msgspec.structs.asdict(entry)) for entry in file.epochs),
        tuple(Shot(**msgspec.structs.asdict(entry)) for entry in file.shots),
        tuple(Mark(**msgspec.structs.asdict(entry)) for entry in file.marks),
        tuple(BatteryReading(**msgspec.structs.asdict(entry)) for entry in file.batteries),
        left_out,
    )


def _json(path: Path, sound_only: bool) -> Any:
    raw = read_whole(path, 'a pack, a file that "fieldtune pack" wrote', _LARGEST)
    try:
        text = raw.decode("utf-8-sig")
        values: Any = json.loads(text, object_pairs_hook=_once_each, parse_constant=_no_number)
        json.dumps(values, ensure_ascii=False).encode()  # raises for half of a pair of surrogates, which is no letter
        return values
    except (ValueError, RecursionError) as error:
        if sound_only:
            return by_line(raw)
        raise _told(path, error, raw) from error


def _told(path: Path, error: ValueError | RecursionError, raw: bytes) -> InputError:
    """Why a file is no JSON that a pack can be."""
    if isinstance(error, UnicodeEncodeError):
        return InputError(f"{path}: holds half a letter (\\ud800 to \\udfff without its other half)")
    if isinstance(error, UnicodeDecodeError):
        return InputError(f"{path}: not a pack: not UTF-8 text")
    if isinstance(error, json.JSONDecodeError):
        half = "" if raw.rstrip().endswith(b"}") else "; the file may be cut short: copy it again"
        return InputError(f"{path}: line {error.lineno}: not JSON ({error.msg}){half}")
    if isinstance(error, RecursionError):
        return InputError(f"{path}: not a pack: nested too deeply")
    return InputError(f"{path}: {error}")


def _once_each(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise ValueError(f"key {shown(twice)} stands twice in one object; leave one out")
    return found


def _no_number(name: str) -> float:
    raise ValueError(f"found {name}, which is no number")


def _robot(path: Path, name: str, profile: str) -> Robot:
    if not is_name(name):
        raise InputError(f"{path}: robot: found {shown(name)}; expected a robot's name, {NAME_RULE}")
    try:
        robot, problems = read_values(tomllib.loads(profile.replace("\r\n", "\n")), Path(f"{name}.toml"))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise InputError(f"{path}: profile: not TOML ({error}); pack the robot again") from error
    if robot is None:
        first = next(problem for problem in problems if problem.severity == "error")
        raise InputError(f"{path}: profile: {first.key}: {first.message}")
    return robot


def _check(path: Path, file: _File) -> None:
    """Raises ``InputError`` for the first entry that no log can hold."""
    for name, entries in (
        ("epochs", file.epochs), ("shots", file.shots), ("marks", file.marks), ("batteries", file.batteries)
    ):  # fmt: skip
        _each(path, name, entries)
    epochs = {entry.epoch for entry in file.epochs}
    uids = {entry.uid for entry in (*file.shots, *file.epochs, *file.marks)}
    if len(epochs) < len(file.epochs):
        raise InputError(f"{path}: epochs: two of them have one number")
    for shot in file.shots:
        if shot.epoch not in epochs:
            raise InputError(f"{path}: shot {shot.shot}: epoch {shot.epoch} isn't in the pack; pack the robot again")
    for mark in file.marks:
        if mark.subject not in uids:
            raise InputError(
                f"{path}: a mark of {mark.time} is on something that isn't in the pack; pack the robot again"
            )


def _each(path: Path, name: str, entries: Iterable[Any]) -> None:
    seen: set[str] = set()
    for place, entry in enumerate(entries):
        at = f"{path}: {name}[{place}]"
        for key, value in msgspec.structs.asdict(entry).items():
            if value is not None and not _RULES.get(key, _any)(value):
                raise InputError(f"{at}.{key}: found {shown(value)}, which no log has; pack the robot again")
        if entry.uid in seen:
            raise InputError(f"{at}.uid: stands twice; leave one of the two out")
        seen.add(entry.uid)


def _any(value: Any) -> bool:
    return True


def _words(most: int) -> Callable[[Any], bool]:
    return lambda text: len(text) <= most and text.isprintable()


def _between(low: float, high: float) -> Callable[[Any], bool]:
    return lambda number: low <= number <= high  # never true of what is no finite number


def _is_time(text: str) -> bool:
    if not _TIME.fullmatch(text):
        return False
    try:
        datetime.fromisoformat(text.rstrip("+"))
    except ValueError:
        return False
    return True


_TINY = 1e-9
_RULES: dict[str, Callable[[Any], bool]] = {
    **dict.fromkeys(("uid", "subject", "previous"), lambda t: 0 < len(t) <= 64 and t.isascii() and t.isprintable()),
    "time": _is_time,
    "shot": _between(1, 2**53),
    "epoch": _between(1, 2**53),
    "distance_m": _between(_TINY, 100.0),
    "setpoint": _between(_TINY, 1e6),
    "speed": _between(_TINY, 1e6),
    "miss_m": _between(-100.0, 100.0),
    "side_m": _between(-100.0, 100.0),
    "battery_v": _between(_TINY, 100.0),
    "hood_deg": _between(-90.0, 180.0),
    "resistance_ohm": _between(0.0, 1e3),
    "rest_v": _between(0.0, 1e3),
    **dict.fromkeys(("label", "reason", "target", "distance_from", "origin", "match", "batch"), _words(200)),
}


def _plain(message: str) -> str:
    """A type error in our words: the place first."""
    what, _, place = message.partition(" - at `$")
    return f"{place.rstrip('`').lstrip('.')}: {what[:1].lower()}{what[1:]}" if place else message
