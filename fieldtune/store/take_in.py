"""Taking one log's rows into another of the same robot on the same computer: told apart by uid, none twice.

Unlike a merge, acts keep whose they are and can be undone, and shots without a result come along.
"""

from __future__ import annotations

import sqlite3

from fieldtune.store import rows

_PLAIN = (("batteries", "reading"), ("marks", "mark"), ("unanswered", None), ("acts", "act"))
"""Tables whose rows mean the same in every copy, and the column that numbers them in this one."""


def missing_in(db: sqlite3.Connection, other: sqlite3.Connection) -> int:
    """How many shots, battery periods and marks of the ``other`` log this one lacks."""
    return sum(len(_uids(other, table) - _uids(db, table)) for table in ("shots", "epochs", "marks"))


def _uids(db: sqlite3.Connection, table: str) -> set[str]:
    return {row[0] for row in db.execute(f"SELECT uid FROM {table}")}


def take_in(db: sqlite3.Connection, other: sqlite3.Connection) -> None:
    """Adds what the ``other`` log has and this one lacks, in one transaction; its present period becomes present."""
    with rows.transaction(db):
        numbers: dict[int, int] = {}
        known = {table: _uids(db, table) for table in ("epochs", "shots", *(table for table, _ in _PLAIN))}
        for row in other.execute("SELECT * FROM epochs ORDER BY epoch"):
            if row["uid"] not in known["epochs"]:
                rows.add(db, "epochs", _without(row, "epoch"))
            here = db.execute("SELECT epoch FROM epochs WHERE uid = ?", (row["uid"],)).fetchone()
            numbers[row["epoch"]] = int(here["epoch"])
        for row in other.execute("SELECT * FROM shots ORDER BY shot"):
            if row["uid"] not in known["shots"]:  # one that is ignored by the database would use up a number
                rows.add(db, "shots", {**_without(row, "shot"), "epoch": numbers[row["epoch"]]})
        for table, number in _PLAIN:
            for row in other.execute(f"SELECT * FROM {table} ORDER BY rowid"):
                if row["uid"] in known[table]:
                    continue
                values = _without(row, number)
                if table == "unanswered" and row["epoch"] in numbers:
                    values["epoch"] = numbers[row["epoch"]]
                rows.add(db, table, values)
        for row in other.execute("SELECT * FROM meta WHERE key <> 'epoch'"):
            rows.add(db, "meta", dict(row))
        present = rows.kept(other, "epoch")
        if present and int(present) in numbers:
            rows.keep(db, "epoch", str(numbers[int(present)]))


def _without(row: sqlite3.Row, column: str | None) -> dict[str, object]:
    return {key: value for key, value in dict(row).items() if key != column}
