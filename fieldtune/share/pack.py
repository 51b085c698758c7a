"""One robot as one readable file: profile, shots with all marks, battery periods and readings, for another laptop."""

from __future__ import annotations

import json
import platform
from collections.abc import Iterable
from dataclasses import asdict
from typing import TYPE_CHECKING

from fieldtune.errors import OutputError
from fieldtune.share.pack_digest import sealed

if TYPE_CHECKING:
    from fieldtune.records import BatteryReading, Epoch, Mark, Shot
    from fieldtune.session import Session


def today(session: Session) -> str:
    """The session's date where the user is, ISO 8601."""
    return session.log.now().astimezone().date().isoformat()


FORMAT = "fieldtune pack"
VERSION = 2
DERIVED = ("undone", "excluded", "corrected")
"""Fields of a shot that follow from its marks, and so are not in a pack."""


def pack(session: Session, by: str | None = None) -> str:
    """The robot and all of its log as JSON text, one record a line; ``by`` names the laptop (its own name if None)."""
    # Marks before shots before epochs: what another process adds meanwhile then never lacks what it belongs to.
    marks, shots, epochs = session.log.marks(), session.log.shots_as_confirmed(), session.log.epochs()
    present = next((epoch.uid for epoch in epochs if epoch.epoch == session.log.epoch), None)
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
    return [{key: value for key, value in asdict(record).items() if key not in DERIVED} for record in records]


def _block(values: list[str] | list[dict[str, object]]) -> str:
    return "[\n" + ",\n".join(f" {_line(value)}" for value in values) + "\n]" if values else "[]"


def _line(value: object) -> str:
    return json.dumps(value, allow_nan=False, ensure_ascii=False)
