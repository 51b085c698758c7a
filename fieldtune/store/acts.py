"""What was done to the log, in order and by whom, so that each console can undo and redo its own acts.

Nothing is ever taken out: undoing adds a mark on what it undoes, redoing another one.
"""

from __future__ import annotations

import json
import os
import platform
import sqlite3
from datetime import datetime, timedelta
from typing import Any

from fieldtune.records import Act
from fieldtune.store.rows import add_mark, keep, kept

Authors = frozenset[str | None] | None
"""Whose acts are meant: consoles by their id, None for commands and scripts; all acts where it is None as a whole."""


def note(db: sqlite3.Connection, uid: str, kind: str, author: str | None) -> None:
    """Writes an act down: the shot, epoch or mark of that uid was made now."""
    db.execute("INSERT INTO acts (uid, kind, author) VALUES (?, ?, ?)", (uid, kind, author))


def undo(db: sqlite3.Connection, now: str, author: str | None, whose: Authors) -> Act | None:
    """Undoes the last act that still stands; None where there is none."""
    done, _ = _stacks(db, whose)
    undone = _undone(db)
    uid = next((uid for uid in reversed(done) if uid not in undone), None)
    return None if uid is None else _turn(db, now, author, uid, "undo")


def redo(db: sqlite3.Connection, now: str, author: str | None, whose: Authors) -> Act | None:
    """Does the act again that was undone last, unless something new was done since; None where there is none."""
    _, taken_back = _stacks(db, whose)
    undone = _undone(db)
    uid = next((uid for uid in reversed(taken_back) if uid in undone), None)
    return None if uid is None else _turn(db, now, author, uid, "redo")


def _turn(db: sqlite3.Connection, now: str, author: str | None, uid: str, kind: Any) -> Act:
    note(db, add_mark(db, now, uid, kind), kind, author)
    return _act(db, uid)


def _undone(db: sqlite3.Connection) -> set[str]:
    return {row["uid"] for row in db.execute("SELECT uid FROM undone")}


def _stacks(db: sqlite3.Connection, whose: Authors) -> tuple[list[str], list[str]]:
    """Acts that can be undone, and those that can be redone, the next one last."""
    done: list[str] = []
    taken_back: list[str] = []
    rows = db.execute(
        "SELECT a.uid, a.kind, a.author, m.subject FROM acts a LEFT JOIN marks m ON m.uid = a.uid ORDER BY a.act"
    )
    for row in rows:
        if whose is not None and row["author"] not in whose:
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

_OPEN = "open consoles"


def arrive(db: sqlite3.Connection, now: datetime, author: str) -> frozenset[str | None]:
    """A console opens the log: whose acts it may undo, its own and those of consoles that aren't open any more.

    Shots without a result that such a console left become this one's.
    """
    there = [entry for entry in _open_consoles(db) if _lives(entry, now)]
    others = {entry["id"] for entry in there} - {author}
    _keep_open(db, [*(entry for entry in there if entry["id"] != author), _entry(author, now)])
    known = {row["author"] for row in db.execute("SELECT DISTINCT author FROM acts")}
    marks = ", ".join("?" for _ in others)
    db.execute(
        f"UPDATE unanswered SET author = ? WHERE author IS NULL OR author NOT IN ({marks})", (author, *sorted(others))
    )
    return frozenset((known | {author, None}) - others)


def leave(db: sqlite3.Connection, author: str | None) -> None:
    """A console closes the log."""
    _keep_open(db, [entry for entry in _open_consoles(db) if entry["id"] != author])


def _open_consoles(db: sqlite3.Connection) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = json.loads(kept(db, _OPEN) or "[]")
    return found


def _keep_open(db: sqlite3.Connection, entries: list[dict[str, Any]]) -> None:
    keep(db, _OPEN, json.dumps(entries))


def _entry(author: str, now: datetime) -> dict[str, Any]:
    return {"id": author, "host": platform.node(), "process": os.getpid(), "since": now.isoformat()}


def _lives(entry: dict[str, Any], now: datetime) -> bool:
    """Whether that console still runs; of another machine's nobody knows, and it is taken to run for a day."""
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
