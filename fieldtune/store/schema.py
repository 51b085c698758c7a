"""The store's tables, and the steps that bring an older file to the present version."""

from __future__ import annotations

import sqlite3

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

STEPS: tuple[str, ...] = (_SHOTS_AND_MARKS, _BATTERIES, _ACTS)
"""Step i takes a file from version i to i + 1; a step that has been released is never edited."""

VERSION = len(STEPS)


def version_of(db: sqlite3.Connection) -> int:
    """The schema version in the file's header; 0 for a new file."""
    return int(db.execute("PRAGMA user_version").fetchone()[0])


def is_foreign(db: sqlite3.Connection) -> bool:
    """Whether the file is some other program's database."""
    # Tables first: another process that makes the log just now brings its mark with them.
    tables = db.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    marked = int(db.execute("PRAGMA application_id").fetchone()[0]) == APPLICATION_ID
    return tables > 0 and not marked


def migrate(db: sqlite3.Connection, upto: int = VERSION) -> None:
    """Brings the file to version ``upto`` in one transaction: all steps or none."""
    db.execute("BEGIN IMMEDIATE")
    try:
        for number in range(version_of(db), upto):  # read again inside: another process may have been first
            for statement in _statements(STEPS[number]):
                db.execute(statement)
            db.execute(f"PRAGMA user_version = {number + 1}")
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:  # on a full disk SQLite has rolled back by itself
            db.execute("ROLLBACK")
        raise


def _statements(script: str) -> list[str]:
    """The script's statements; ``executescript`` would commit the transaction they have to share."""
    found, part = [], ""
    for line in script.splitlines(keepends=True):
        part += line
        if sqlite3.complete_statement(part):
            found.append(part)
            part = ""
    return found
