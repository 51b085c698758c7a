"""What was done to the log, in order and by whom, so that each console can undo and redo its own acts.

Nothing is ever taken out: undoing adds a mark on what it undoes, redoing another one.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

from fieldtune.frozen import frozen
from fieldtune.records import Act, MarkKind, Result
from fieldtune.store.rows import add, add_mark, keep, kept

Own = Callable[[int, str | None], bool]
"""Whether an act, by its number and author (a console's id; None: a command or script), is one's own to undo."""


@frozen
class Arrival:
    """A console that opened the log when ``last`` was the newest act and the ``others`` were open beside it.

    Its own are its acts, and those before it that no open console was the author of: so undo goes on over a restart.
    """

    author: str
    last: int
    others: frozenset[str]

    def own(self, act: int, author: str | None) -> bool:
        """Whether that act is this console's to undo."""
        return author == self.author or (act <= self.last and author not in self.others)


def note(db: sqlite3.Connection, uid: str, kind: str, author: str | None) -> None:
    """Writes an act down: the shot, epoch or mark of that uid was made now."""
    add(db, "acts", {"uid": uid, "kind": kind, "author": author})


def mark(
    db: sqlite3.Connection,
    now: str,
    author: str | None,
    subject: str,
    kind: MarkKind,
    reason: str | None = None,
    result: Result | None = None,
    miss_m: float | None = None,
    side_m: float | None = None,
) -> str:
    """Marks a shot, epoch or other mark, as an act that can be undone; returns the mark's uid."""
    uid = add_mark(db, now, subject, kind, reason, result, miss_m, side_m)
    note(db, uid, kind, author)
    return uid


def undo(db: sqlite3.Connection, now: str, author: str | None, own: Own) -> Act | None:
    """Undoes the last of one's own acts that still stands; None where there is none."""
    done, _ = _stacks(db, own)
    undone = _undone(db)
    uid = next((uid for uid in reversed(done) if uid not in undone), None)
    return None if uid is None else _turn(db, now, author, uid, "undo")


def undo_one(db: sqlite3.Connection, now: str, author: str | None, uid: str) -> Act | None:
    """Undoes that act, whatever was done since; None where it doesn't stand."""
    noted = db.execute("SELECT 1 FROM acts WHERE uid = ?", (uid,)).fetchone()
    return None if noted is None or uid in _undone(db) else _turn(db, now, author, uid, "undo")


def redo(db: sqlite3.Connection, now: str, author: str | None, own: Own) -> Act | None:
    """Does the own act again that was undone last, unless something new was done since; None where there is none."""
    _, taken_back = _stacks(db, own)
    undone = _undone(db)
    uid = next((uid for uid in reversed(taken_back) if uid in undone), None)
    return None if uid is None else _turn(db, now, author, uid, "redo")


def _turn(db: sqlite3.Connection, now: str, author: str | None, uid: str, kind: MarkKind) -> Act:
    mark(db, now, author, uid, kind)
    return _act(db, uid)


def _undone(db: sqlite3.Connection) -> set[str]:
    return {row["uid"] for row in db.execute("SELECT uid FROM undone")}


def _stacks(db: sqlite3.Connection, own: Own) -> tuple[list[str], list[str]]:
    """Acts that can be undone, and those that can be redone, the next one last."""
    done: list[str] = []
    taken_back: list[str] = []
    rows = db.execute(
        "SELECT a.act, a.uid, a.kind, a.author, m.subject FROM acts a LEFT JOIN marks m ON m.uid = a.uid ORDER BY a.act"
    )
    for row in rows:
        if not own(row["act"], row["author"]):
            continue
        if row["kind"] not in ("undo", "redo"):
            done.append(row["uid"])
            taken_back.clear()
            continue
        source, into = (done, taken_back) if row["kind"] == "undo" else (taken_back, done)
        if row["subject"] in source:
            source.remove(row["subject"])
            into.append(row["subject"])
    return done, taken_back


def _act(db: sqlite3.Connection, uid: str) -> Act:
    row = db.execute(
        "SELECT a.kind, coalesce(s.shot, on_shot.shot) AS shot,"
        " coalesce(e.epoch, on_epoch.epoch, s.epoch, on_shot.epoch) AS epoch FROM acts a"
        " LEFT JOIN shots s ON s.uid = a.uid LEFT JOIN epochs e ON e.uid = a.uid"
        " LEFT JOIN marks m ON m.uid = a.uid LEFT JOIN shots on_shot ON on_shot.uid = m.subject"
        " LEFT JOIN epochs on_epoch ON on_epoch.uid = m.subject WHERE a.uid = ?",
        (uid,),
    ).fetchone()
    return Act(row["kind"], row["shot"], row["epoch"], uid)


# -- who is there ------------------------------------------------------------------------------------------------------

OPEN_CONSOLES = "open consoles"


def arrive(db: sqlite3.Connection, now: datetime, author: str, last: int | None = None) -> Arrival:
    """A console opens the log, after the act ``last`` (None: the newest).

    Shots without a result that a console left which isn't open any more become this one's.
    """
    there = [entry for entry in _open_consoles(db) if _lives(entry, now) and entry["id"] != author]
    if last is None:
        last = int(db.execute("SELECT coalesce(max(act), 0) FROM acts").fetchone()[0])
    arrival = Arrival(author, last, frozenset(entry["id"] for entry in there))
    _keep_open(db, [*there, _entry(arrival, now)])
    marks = ", ".join("?" for _ in there)
    db.execute(
        f"UPDATE unanswered SET author = ? WHERE author IS NULL OR author NOT IN ({marks})",
        (author, *sorted(arrival.others)),
    )
    return arrival


def same_act(number: int, before: sqlite3.Connection, db: sqlite3.Connection) -> int:
    """What the number of an act in one copy of the log is in another; of the one before where that isn't in there."""
    try:
        done = before.execute("SELECT uid FROM acts WHERE act <= ? ORDER BY act DESC", (number,)).fetchall()
    except sqlite3.Error:  # a disk that is gone
        done = []
    for row in done:
        here = db.execute("SELECT act FROM acts WHERE uid = ?", (row["uid"],)).fetchone()
        if here is not None:
            return int(here["act"])
    return 0


def own_of_commands(db: sqlite3.Connection, now: datetime) -> Own:
    """What a command may undo: what commands did, and what consoles left that no open console goes on with."""
    there = [
        Arrival(entry["id"], entry.get("last", 0), frozenset(entry.get("others", ())))
        for entry in _open_consoles(db)
        if _lives(entry, now)
    ]
    return lambda act, author: author is None or not any(console.own(act, author) for console in there)


def console_beside(db: sqlite3.Connection, now: datetime, author: str | None) -> bool:
    """Whether another console than this one has the log open."""
    return any(_lives(entry, now) and entry["id"] != author for entry in _open_consoles(db))


def leave(db: sqlite3.Connection, author: str | None) -> None:
    """A console closes the log."""
    _keep_open(db, [entry for entry in _open_consoles(db) if entry["id"] != author])


def _open_consoles(db: sqlite3.Connection) -> list[dict[str, Any]]:
    import json

    found: list[dict[str, Any]] = json.loads(kept(db, OPEN_CONSOLES) or "[]")
    return found


def _keep_open(db: sqlite3.Connection, entries: list[dict[str, Any]]) -> None:
    import json

    keep(db, OPEN_CONSOLES, json.dumps(entries))


def _entry(console: Arrival, now: datetime) -> dict[str, Any]:
    import platform

    return {
        "id": console.author, "host": platform.node(), "process": os.getpid(), "since": now.isoformat(),
        "last": console.last, "others": sorted(console.others),
    }  # fmt: skip


def _lives(entry: dict[str, Any], now: datetime) -> bool:
    """Whether that console still runs; of another machine's nobody knows, and it is taken to run for a day."""
    import platform

    if entry["host"] != platform.node():
        return now - datetime.fromisoformat(entry["since"]) < timedelta(days=1)
    if os.name != "posix":  # elsewhere asking for a process by signal would end it
        return False
    try:
        os.kill(int(entry["process"]), 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True
