"""The log's tables, the steps that bring an older file to the present version, and its rows as records."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from typing import Any

from fieldtune.errors import InputError
from fieldtune.records import Epoch, Mark, MarkKind, Result, Shot, UnansweredShot
from fieldtune.store import row_checks

APPLICATION_ID = 0x46544E45
"""Written into the file's header, so that another program's database isn't taken for a shot log."""

_SHOTS_AND_MARKS = """
CREATE TABLE epochs (
    epoch INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE, time TEXT NOT NULL, label TEXT, origin TEXT
);
CREATE TABLE shots (
    shot INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, time TEXT NOT NULL,
    distance_m REAL NOT NULL, setpoint REAL NOT NULL, result TEXT, epoch INTEGER NOT NULL REFERENCES epochs (epoch),
    miss_m REAL, side_m REAL, speed REAL, battery_v REAL, target TEXT, origin TEXT
);
CREATE TABLE marks (
    mark INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, shot_uid TEXT NOT NULL REFERENCES shots (uid),
    kind TEXT NOT NULL CHECK (kind IN ('undo', 'exclude', 'include')), time TEXT NOT NULL, reason TEXT
);
CREATE INDEX marks_of_shot ON marks (shot_uid);
CREATE TRIGGER shots_stay BEFORE DELETE ON shots BEGIN SELECT RAISE(ABORT, 'shots are only ever added'); END;
CREATE TRIGGER shots_keep BEFORE UPDATE ON shots BEGIN SELECT RAISE(ABORT, 'shots are only ever added'); END;
CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL);
"""

_BATTERIES = """
CREATE TABLE batteries (
    reading INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, time TEXT NOT NULL, label TEXT,
    resistance_ohm REAL, rest_v REAL
);
"""

_ACTS = """
CREATE TABLE marks_on_anything (
    mark INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, subject TEXT NOT NULL, kind TEXT NOT NULL,
    time TEXT NOT NULL, reason TEXT, result TEXT, miss_m REAL, side_m REAL
);
INSERT INTO marks_on_anything (mark, uid, subject, kind, time, reason)
    SELECT mark, uid, shot_uid, kind, time, reason FROM marks ORDER BY mark;
DROP TABLE marks;
ALTER TABLE marks_on_anything RENAME TO marks;
CREATE INDEX marks_of_subject ON marks (subject, kind);
CREATE VIEW undone AS
    SELECT m.subject AS uid FROM marks m WHERE m.kind = 'undo' AND NOT EXISTS (
        SELECT 1 FROM marks later WHERE later.subject = m.subject AND later.kind IN ('undo', 'redo')
            AND (later.time > m.time OR later.time = m.time AND later.uid > m.uid));
ALTER TABLE shots ADD COLUMN distance_from TEXT;
ALTER TABLE shots ADD COLUMN seen TEXT;
CREATE INDEX shots_seen ON shots (seen);
ALTER TABLE epochs ADD COLUMN previous TEXT;
UPDATE epochs SET previous = (
    SELECT e.uid FROM epochs e WHERE e.epoch < epochs.epoch AND e.origin IS epochs.origin
    ORDER BY e.epoch DESC LIMIT 1);
CREATE TABLE unanswered (
    uid TEXT PRIMARY KEY, time TEXT NOT NULL, author TEXT, distance_m REAL, distance_from TEXT, setpoint REAL,
    speed REAL, battery_v REAL, target TEXT, epoch INTEGER, robot_distance_m REAL, hint TEXT
);
CREATE TABLE acts (
    act INTEGER PRIMARY KEY AUTOINCREMENT, uid TEXT NOT NULL UNIQUE, kind TEXT NOT NULL, author TEXT
);
INSERT INTO acts (uid, kind)
    SELECT uid, kind FROM (
        SELECT uid, 'shot' AS kind, time FROM shots WHERE origin IS NULL
        UNION ALL SELECT uid, 'swap', time FROM epochs WHERE origin IS NULL AND previous IS NOT NULL
        UNION ALL SELECT uid, kind, time FROM marks
    ) ORDER BY time;
"""
"""Marks on shots, epochs and other marks, so that every act can be undone; ``acts`` is their order in this file."""

_LABELS = """
ALTER TABLE shots ADD COLUMN "match" TEXT;
ALTER TABLE shots ADD COLUMN batch TEXT;
"""

_HOOD = """
ALTER TABLE shots ADD COLUMN hood_deg REAL;
ALTER TABLE unanswered ADD COLUMN hood_deg REAL;
"""

STEPS: tuple[str, ...] = (_SHOTS_AND_MARKS, _BATTERIES, _ACTS, _LABELS, row_checks.TABLES, _HOOD)
"""Step i takes a file from version i to i + 1; a step that has been released is never edited."""

VERSION = len(STEPS)
SCHEMA = "94f9941388c70d49"
"""``row_checks.schema_digest`` of a new log: one with it need not be compared. A test says what it is after a step."""
SUMMED = STEPS.index(row_checks.TABLES) + 1
"""The version from which on each row has its checksum."""


def version_of(db: sqlite3.Connection) -> int:
    """The schema version in the file's header; 0 for a new file."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def is_foreign(db: sqlite3.Connection) -> bool:
    """Whether the file is some other program's database."""
    # Tables first: another process that makes the log just now brings its mark with them.
    tables = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    marked = int(db.execute("PRAGMA application_id").fetchone()[0]) == APPLICATION_ID
    return tables > 0 and not marked


@contextmanager
def transaction(db: sqlite3.Connection, *, alone: bool = False) -> Iterator[None]:
    """All of what is done inside, or nothing; the writer's lock is taken first, so that no two processes interleave.

    ``alone``: readers are kept out too, so that none of them can stop it at the end.
    """
    with db:
        db.execute("BEGIN EXCLUSIVE" if alone else "BEGIN IMMEDIATE")
        yield


def migrate(db: sqlite3.Connection, upto: int = VERSION) -> None:
    """Brings the file to version ``upto`` in one transaction: all steps or none."""
    with transaction(db):
        for number in range(version_of(db), upto):  # read again inside: another process may have been first
            for statement in _statements(STEPS[number]):
                db.execute(statement)
            if number + 1 == SUMMED:  # later a checksum that doesn't fit tells of damage, and stays
                row_checks.add_sums(db)
            db.execute(f"PRAGMA user_version = {number + 1}")
        if upto >= SUMMED:  # once, for the columns that there are now: making them takes longer than all the steps
            row_checks.add_triggers(db)
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")


def _statements(script: str) -> list[str]:
    """The script's statements; ``executescript`` would commit the transaction they have to share."""
    found, part = [], ""
    for line in script.splitlines(keepends=True):
        part += line
        if sqlite3.complete_statement(part):
            found.append(part)
            part = ""
    return found


_LAST_STANDING = """
SELECT m.uid FROM marks m WHERE m.subject = {subject} AND m.kind {kinds} AND m.uid NOT IN (SELECT uid FROM undone)
ORDER BY m.time DESC, m.uid DESC LIMIT 1
"""
_SHOTS = f"""
SELECT s.shot, s.uid, s.time, s.distance_m, s.setpoint, s.epoch, s.speed, s.battery_v, s.target, s.distance_from,
       s.origin, s."match", s.batch, s.hood_deg, s.uid IN (SELECT uid FROM undone) AS undone,
       CASE left_out.kind WHEN 'exclude' THEN coalesce(left_out.reason, '') END AS excluded,
       correction.uid IS NOT NULL AS corrected,
       CASE WHEN correction.uid IS NULL THEN s.result ELSE correction.result END AS result,
       CASE WHEN correction.uid IS NULL THEN s.miss_m ELSE correction.miss_m END AS miss_m,
       CASE WHEN correction.uid IS NULL THEN s.side_m ELSE correction.side_m END AS side_m
FROM shots s
LEFT JOIN marks correction ON correction.uid = ({_LAST_STANDING.format(subject="s.uid", kinds="= 'correct'")})
LEFT JOIN marks left_out ON left_out.uid = ({_LAST_STANDING.format(subject="s.uid", kinds="IN ('exclude', 'include')")})
"""
_EPOCHS = f"""
SELECT e.epoch, e.time, e.uid, e.previous, e.origin, e.uid IN (SELECT uid FROM undone) AS undone,
       CASE WHEN name.uid IS NULL THEN e.label ELSE name.reason END AS label
FROM epochs e LEFT JOIN marks name ON name.uid = ({_LAST_STANDING.format(subject="e.uid", kinds="= 'label'")})
ORDER BY e.epoch
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
    import uuid

    return str(uuid.uuid4())


def kept(db: sqlite3.Connection, key: str) -> str | None:
    """A small thing kept beside the shots; None where it never was."""
    row = db.execute("SELECT value FROM meta WHERE key = ?", (key,)).fetchone()
    return None if row is None else str(row["value"])


def keep(db: sqlite3.Connection, key: str, value: str) -> None:
    """Keeps a small thing; the last value stands."""
    sql = "INSERT INTO meta (key, value) VALUES (:key, :value) ON CONFLICT (key) DO UPDATE SET value = :value"
    db.execute(sql, {"key": key, "value": value})


def all_shots(db: sqlite3.Connection) -> tuple[Shot, ...]:
    """All shots in the order confirmed, as marks have left them."""
    standing = standing_epochs(db)
    return tuple(_shot(row, standing) for row in db.execute(_SHOTS + "ORDER BY s.shot"))


def find_shot(db: sqlite3.Connection, number: int) -> Shot:
    """The shot of that number; raises ``InputError`` when there is none."""
    known = number.bit_length() < 64  # SQLite holds no longer integers
    row = db.execute(_SHOTS + "WHERE s.shot = ?", (number,)).fetchone() if known else None
    if row is None:
        raise InputError(f"there is no shot {number} in the log; 'fieldtune shots' lists those there are")
    return _shot(row, standing_epochs(db))


def _shot(row: sqlite3.Row, standing: dict[int, int]) -> Shot:
    values: dict[str, Any] = dict(row)
    for name in ("undone", "corrected"):
        values[name] = bool(values[name])
    values["epoch"] = standing[values["epoch"]]
    return Shot(**values)


def shots_as_confirmed(db: sqlite3.Connection) -> tuple[Shot, ...]:
    """All shots as they were confirmed, whatever marks say: what another copy needs together with the marks."""
    rows = db.execute(
        "SELECT shot, uid, time, distance_m, setpoint, result, epoch, miss_m, side_m, speed, battery_v, target,"
        ' distance_from, origin, "match", batch, hood_deg FROM shots ORDER BY shot'
    )
    return tuple(Shot(**dict(row)) for row in rows)


def all_epochs(db: sqlite3.Connection, *, undone: bool = True) -> tuple[Epoch, ...]:
    """All epochs by number, with or without those whose battery change was undone."""
    rows = [dict(row) for row in db.execute(_EPOCHS)]
    return tuple(Epoch(**row) for row in rows if not row.pop("undone") or undone)


def uid_of_epoch(db: sqlite3.Connection, number: int) -> str:
    """The identity of an epoch in every copy."""
    return str(db.execute("SELECT uid FROM epochs WHERE epoch = ?", (number,)).fetchone()["uid"])


def standing_epochs(db: sqlite3.Connection) -> dict[int, int]:
    """Each epoch's number, and the one that its shots belong to: the one before where the change was undone."""
    rows = db.execute("SELECT epoch, uid, previous, uid IN (SELECT uid FROM undone) AS undone FROM epochs").fetchall()
    by_uid = {row["uid"]: row for row in rows}
    found: dict[int, int] = {}
    for row in rows:
        at, seen = row, {row["uid"]}
        while at["undone"] and at["previous"] in by_uid and at["previous"] not in seen:
            at = by_uid[at["previous"]]
            seen.add(at["uid"])
        found[row["epoch"]] = at["epoch"]
    return found


def present_epoch(db: sqlite3.Connection, now: str) -> int:
    """Number of the present epoch, the first being begun where there is none."""
    present = kept(db, "epoch")
    return standing_epochs(db)[int(present)] if present else begin_epoch(db, now, None, None)


def begin_epoch(db: sqlite3.Connection, now: str, label: str | None, before: int | None) -> int:
    """Begins an epoch, the present one from now on, and returns its number."""
    previous = None if before is None else uid_of_epoch(db, before)
    number = add(db, "epochs", {"uid": new_uid(), "time": now, "label": label, "previous": previous})
    keep(db, "epoch", str(number))
    return number


def all_marks(db: sqlite3.Connection) -> tuple[Mark, ...]:
    """All marks in the order made, but for those about shots that got no result: they are this console's alone."""
    rows = db.execute(
        "SELECT uid, subject, kind, time, reason, result, miss_m, side_m FROM marks m WHERE m.kind <> 'discard'"
        " AND m.subject NOT IN (SELECT uid FROM marks WHERE kind = 'discard') ORDER BY mark"
    )
    return tuple(Mark(**dict(row)) for row in rows)


def add_mark(
    db: sqlite3.Connection,
    now: str,
    subject: str,
    kind: MarkKind,
    reason: str | None = None,
    result: Result | None = None,
    miss_m: float | None = None,
    side_m: float | None = None,
) -> str:
    """Adds a mark and returns its uid."""
    last = db.execute("SELECT max(time) AS time FROM marks WHERE subject = ?", (subject,)).fetchone()["time"]
    # Always after the mark it follows, even if the clock was set back: the last mark by time is the one that holds, in
    # this copy and in any it is merged into.
    time = now if last is None else max(now, just_after(last))
    mark = Mark(new_uid(), subject, kind, time, reason, result, miss_m, side_m)
    add(db, "marks", asdict(mark))
    return mark.uid


def unanswered(db: sqlite3.Connection, author: str | None) -> tuple[UnansweredShot, ...]:
    """One console's shots that were seen and have neither a result nor been discarded, oldest first."""
    found = db.execute(
        "SELECT uid, time, distance_m, distance_from, setpoint, speed, battery_v, target, epoch, robot_distance_m,"
        " hint, hood_deg FROM unanswered u WHERE author IS ? AND NOT EXISTS"
        "  (SELECT 1 FROM shots s WHERE s.seen = u.uid AND s.uid NOT IN (SELECT uid FROM undone))"
        " AND NOT EXISTS (SELECT 1 FROM marks m WHERE m.subject = u.uid AND m.kind = 'discard'"
        "  AND m.uid NOT IN (SELECT uid FROM undone)) ORDER BY time, rowid",
        (author,),
    )
    return tuple(UnansweredShot(**dict(row)) for row in found)


def add(db: sqlite3.Connection, table: str, values: Mapping[str, object]) -> int:
    """Adds a row and returns its number; 0 where one with its key is there."""
    names, marks = ", ".join(f'"{name}"' for name in values), ", ".join("?" for _ in values)
    sql = f"INSERT INTO {table} ({names}) VALUES ({marks}) ON CONFLICT DO NOTHING"
    cursor = db.execute(sql, tuple(values.values()))
    return int(cursor.lastrowid or 0) if cursor.rowcount else 0
