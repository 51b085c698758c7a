"""Rows of the log's file as records, and the few small questions that all of the store asks it."""

from __future__ import annotations

import sqlite3
import uuid
from datetime import UTC, datetime, timedelta
from typing import Any

from fieldtune.errors import InputError
from fieldtune.records import Shot

SHOTS = """
SELECT s.*,
       EXISTS (SELECT 1 FROM marks m WHERE m.shot_uid = s.uid AND m.kind = 'undo') AS undone,
       (SELECT CASE m.kind WHEN 'exclude' THEN coalesce(m.reason, '') END FROM marks m
         WHERE m.shot_uid = s.uid AND m.kind <> 'undo' ORDER BY m.time DESC, m.uid DESC LIMIT 1) AS excluded
FROM shots s
"""


def stamp(moment: datetime) -> str:
    """A moment as the log writes it: UTC to the millisecond, so that later text is later in time."""
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def just_after(time: str) -> str:
    """The text of a time that sorts right after this one."""
    try:
        return stamp(datetime.fromisoformat(time) + timedelta(milliseconds=1))
    except (ValueError, OverflowError):  # a time that no clock gave; text that sorts after it
        return f"{time}+"


def new_uid() -> str:
    """An identity that no other copy of the log gives."""
    return str(uuid.uuid4())


def kept(db: sqlite3.Connection, key: str) -> str | None:
    """A small thing kept beside the shots; None where it never was."""
    row = db.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()
    return None if row is None else str(row["value"])


def keep(db: sqlite3.Connection, key: str, value: str) -> None:
    """Keeps a small thing; the last value stands."""
    sql = "INSERT INTO meta (key, value) VALUES (:key, :value) ON CONFLICT (key) DO UPDATE SET value = :value"
    db.execute(sql, {"key": key, "value": value})


def find_shot(db: sqlite3.Connection, number: int) -> Shot:
    """The shot of that number; raises ``InputError`` when there is none."""
    known = number.bit_length() < 64  # SQLite holds no longer integers
    row = db.execute(SHOTS + "WHERE s.shot = ?", (number,)).fetchone() if known else None
    if row is None:
        raise InputError(f"there is no shot {number} in the log; 'fieldtune shots' lists those there are")
    return shot_of(row)


def shot_of(row: sqlite3.Row) -> Shot:
    """A row of ``SHOTS`` as a record."""
    values: dict[str, Any] = dict(row)
    values["undone"] = bool(values["undone"])
    return Shot(**values)
