"""Whether a row of the log is as it was written: a checksum beside each, and values that can be true.

A damaged row is set aside, kept as text and named, and the others serve. The checksums are made inside the database, by
triggers, so that nothing can be written without one.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Collection
from typing import Any, get_args

from fieldtune.frozen import frozen
from fieldtune.records import RESULTS, MarkKind

CHECKED: dict[str, tuple[str, ...]] = {
    "epochs": ("uid", "epoch", "time", "label", "origin", "previous"),
    "shots": ("uid", "shot", "time", "distance_m", "setpoint", "result", "epoch", "miss_m", "side_m", "speed",
              "battery_v", "target", "origin", "distance_from", "seen", "match", "batch", "hood_deg"),
    "marks": ("uid", "mark", "subject", "kind", "time", "reason", "result", "miss_m", "side_m"),
    "unanswered": ("uid", "time", "author", "distance_m", "distance_from", "setpoint", "speed", "battery_v", "target",
                   "epoch", "robot_distance_m", "hint", "hood_deg"),
    "batteries": ("uid", "reading", "time", "label", "resistance_ohm", "rest_v"),
    "acts": ("uid", "act", "kind", "author"),
    "meta": ("key", "value"),
}  # fmt: skip
"""What a row's checksum covers; the first column is its identity."""
_LATER = frozenset({"hood_deg"})
"""Columns that came when rows had checksums already: they count where they hold something, so that older sums stay."""

_CHANGED = ("unanswered", "meta")
"""Tables whose rows are ever changed; to the others rows are only added."""
_NO_EVIDENCE = ("acts", "unanswered")
"""Tables that no answer rests on."""
_NAMES = {"epochs": "a battery period", "shots": "a shot", "marks": "a mark", "unanswered": "a shot without a result",
          "batteries": "a battery reading", "acts": "a step of undo", "meta": "a small thing kept"}  # fmt: skip
_RESULTS, _KINDS = (", ".join(f"'{word}'" for word in words) for words in (RESULTS, get_args(MarkKind)))


def _not_a_number(*names: str) -> tuple[str, ...]:
    return tuple(f"typeof({name}) NOT IN ('real', 'integer', 'null') OR abs({name}) > 1e300" for name in names)


_IMPOSSIBLE = {
    "shots": (*_not_a_number("distance_m", "setpoint", "miss_m", "side_m", "speed", "battery_v", "hood_deg"),
              "NOT distance_m > 0", f"result NOT IN ({_RESULTS})",
              "typeof(time) <> 'text'", "typeof(epoch) <> 'integer'"),
    "marks": (*_not_a_number("miss_m", "side_m"), f"result NOT IN ({_RESULTS})", "typeof(time) <> 'text'",
              f"kind NOT IN ({_KINDS})"),
    "batteries": (*_not_a_number("resistance_ohm", "rest_v"), "typeof(time) <> 'text'"),
}  # fmt: skip
"""What no program of ours writes, as a change by hand leaves it."""

TABLES = """
CREATE TABLE sums (of TEXT PRIMARY KEY, sum TEXT NOT NULL) WITHOUT ROWID;
CREATE TABLE set_aside (number INTEGER PRIMARY KEY, words TEXT NOT NULL, content TEXT NOT NULL);
"""


def add_function(db: sqlite3.Connection) -> None:
    """Makes ``row_sum`` known to a connection; without it nothing can be written to a log."""
    db.create_function("row_sum", -1, _sum, deterministic=True)


def _sum(table: str, *cells: object) -> str:
    named = list(zip(CHECKED[table], cells, strict=False))
    later = [(name, cell) for name, cell in named if name in _LATER and cell is not None]
    values = (table, *(cell for name, cell in named if name not in _LATER), *later)
    import hashlib

    return hashlib.blake2b(repr(values).encode(), digest_size=8).hexdigest()


def _said(db: sqlite3.Connection, table: str, row: str) -> str:
    """Arguments of ``row_sum``: text as its bytes, since damaged text may be no text at all."""
    there = {column[1] for column in db.execute(f"PRAGMA table_info({table})")}
    values = (
        f"CASE typeof({value}) WHEN 'text' THEN CAST({value} AS BLOB) WHEN 'blob' THEN 'blob' ELSE {value} END"
        for value in (f'{row}."{column}"' for column in CHECKED[table] if column in there)
    )
    return f"'{table}', {', '.join(values)}"


_PUT, _AGAIN = "INSERT INTO sums (of, sum)", "ON CONFLICT (of) DO UPDATE SET sum = excluded.sum"


def add_triggers(db: sqlite3.Connection) -> None:
    """Makes the triggers that make the checksums of rows to come."""
    for table, (identity, *_) in CHECKED.items():
        for act in ("INSERT", "UPDATE") if table in _CHANGED else ("INSERT",):
            name = f"{table}_summed_on_{act.lower()}"
            db.execute(f"DROP TRIGGER IF EXISTS {name}")
            db.execute(
                f"CREATE TRIGGER {name} AFTER {act} ON {table} BEGIN"
                f" {_PUT} VALUES ('{table} ' || NEW.{identity}, row_sum({_said(db, table, 'NEW')})) {_AGAIN}; END"
            )


def add_sums(db: sqlite3.Connection) -> None:
    """Makes the checksums of all rows."""
    for table, (identity, *_) in CHECKED.items():
        made = f"row_sum({_said(db, table, 'r')}) FROM {table} r WHERE true"
        db.execute(f"{_PUT} SELECT '{table} ' || r.{identity}, {made} {_AGAIN}")


@frozen
class Damaged:
    """One row that is not as it was written, or is gone: its table and row number, what it held, and words for it."""

    table: str
    row: int | None
    content: dict[str, Any]
    words: str


def damaged_rows(db: sqlite3.Connection) -> list[Damaged]:
    """Rows whose checksum doesn't fit, whose values can't be, or that are gone."""
    found: list[Damaged] = []
    for table, (identity, *_) in CHECKED.items():
        odd = " OR ".join(_IMPOSSIBLE.get(table, ()))
        wrong = db.execute(
            f"SELECT r.rowid AS row_number, r.* FROM {table} r LEFT JOIN sums ON sums.of = '{table} ' || r.{identity}"
            f" WHERE sums.sum IS NOT row_sum({_said(db, table, 'r')}){' OR ' + odd if odd else ''}"
        ).fetchall()
        for row in wrong:
            content = dict(row)
            found.append(Damaged(table, content.pop("row_number"), content, _words(table, content)))
        gone = db.execute(
            "SELECT substr(of, ?) AS identity FROM sums WHERE of >= ? AND of < ? AND NOT EXISTS"
            f" (SELECT 1 FROM {table} r WHERE r.{identity} = substr(sums.of, ?))",
            (len(table) + 2, f"{table} ", f"{table}!", len(table) + 2),
        ).fetchall()
        # A row whose identity is damaged leaves its checksum behind: it is one row, not two.
        for row in gone[len(wrong) :]:
            found.append(Damaged(table, None, dict(row), f"{_NAMES[table]} is missing"))
    return found


def _words(table: str, content: dict[str, Any]) -> str:
    if table == "shots":
        return f"shot {content['shot']} is damaged"
    if table == "epochs":
        return f"battery period {content['epoch']} is damaged"
    if table == "marks":
        return f"what was said later of a shot ({content['kind']}) is damaged"
    return f"{_NAMES[table]} is damaged"


def set_aside(db: sqlite3.Connection) -> None:
    """Takes damaged rows out of their tables, keeps them as text, and closes the gaps they leave.

    In the caller's transaction, in which references between tables aren't enforced.
    """
    guards = [
        row["sql"]
        for row in db.execute("SELECT sql FROM sqlite_master WHERE name IN ('shots_stay', 'shots_keep') ORDER BY name")
    ]
    db.execute("DROP TRIGGER IF EXISTS shots_stay")
    db.execute("DROP TRIGGER IF EXISTS shots_keep")
    import json

    for entry in damaged_rows(db):
        content = json.dumps(entry.content, default=repr)
        db.execute("INSERT INTO set_aside (words, content) VALUES (?, ?)", (entry.words, content))
        if entry.row is not None:
            db.execute(f"DELETE FROM {entry.table} WHERE rowid = ?", (entry.row,))
    _close_gaps(db)
    db.execute("DELETE FROM sums")
    add_sums(db)
    for sql in guards:
        db.execute(sql)


def _close_gaps(db: sqlite3.Connection) -> None:
    """Every shot keeps its battery period, whose label and order are gone; the newest period is the present one."""
    db.execute(
        "INSERT INTO epochs (epoch, uid, time) SELECT s.epoch, 'set aside ' || s.epoch, min(s.time) FROM shots s WHERE"
        " s.epoch NOT IN (SELECT epoch FROM epochs) GROUP BY s.epoch"
    )
    if db.execute("SELECT 1 FROM meta WHERE key = 'epoch'").fetchone() is None:
        db.execute("INSERT INTO meta (key, value) SELECT 'epoch', max(epoch) FROM epochs HAVING max(epoch) IS NOT NULL")


def digest(db: sqlite3.Connection, beside: Collection[str]) -> str:
    """One text for all rows that answers rest on, by their checksums; of ``meta`` all but the keys ``beside``."""
    import hashlib

    found = hashlib.blake2b(digest_size=32)
    for row in db.execute("SELECT of, sum FROM sums ORDER BY of"):
        table, _, identity = row["of"].partition(" ")
        if table not in _NO_EVIDENCE and not (table == "meta" and identity in beside):
            found.update(f"{row['of']} {row['sum']}\n".encode())
    found.update(repr(what_was_set_aside(db)).encode())
    return found.hexdigest()


def what_was_set_aside(db: sqlite3.Connection) -> tuple[str, ...]:
    """What was set aside in this log so far: words, and what the row held."""
    rows = db.execute("SELECT words, content FROM set_aside ORDER BY number")
    return tuple(f"{row['words']}: {row['content']}" for row in rows)


def odd_schema(db: sqlite3.Connection, good: frozenset[tuple[str, str, str]]) -> str | None:
    """Name of a table, index, view or trigger that isn't that of a new log, ``good``; None where all are."""
    return next((name for _, name, _ in sorted(good - schema(db))), None)


def schema_digest(db: sqlite3.Connection) -> str:
    """A digest of a schema."""
    import hashlib

    return hashlib.blake2b(repr(sorted(schema(db))).encode(), digest_size=8).hexdigest()


def schema(db: sqlite3.Connection) -> frozenset[tuple[str, str, str]]:
    """Type and name of everything in a schema, with the text of views and triggers and the columns of tables."""
    rows = db.execute("SELECT type, name, tbl_name, sql FROM sqlite_master WHERE name NOT LIKE 'sqlite_%'").fetchall()
    return frozenset(
        (
            str(row["type"]),
            str(row["name"]),
            f"{row['tbl_name']} {row['sql']}"
            if row["type"] in ("view", "trigger")
            else ", ".join(str(column["name"]) for column in db.execute(f"PRAGMA table_info('{row['name']}')")),
        )
        for row in rows
    )
