"""A few dated copies of a log beside it, in the folder ``backups``, from before it is changed as a whole."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from datetime import UTC, datetime
from pathlib import Path

KEPT = 5
"""Copies kept of one log; older ones go."""


def back_up(db: sqlite3.Connection, path: Path) -> bool:
    """Copies the log as it is now; False where that can't be done, for want of room or of a right to write."""
    folder = path.parent / "backups"
    moment = datetime.now(UTC).strftime("%Y-%m-%d %H%M%S.%f")
    whole, half = folder / f"{path.stem} {moment}.db", folder / f"{path.stem} {moment}.part"
    try:
        folder.mkdir(exist_ok=True)
        copy = sqlite3.connect(half)
        with contextlib.closing(copy):
            copy.execute("PRAGMA synchronous = EXTRA")
            db.backup(copy)
        os.replace(half, whole)
    except (OSError, sqlite3.Error):
        with contextlib.suppress(OSError):
            half.unlink(missing_ok=True)
        return False
    for old in _all(path)[:-KEPT]:
        with contextlib.suppress(OSError):
            old.unlink()
    return True


def back_up_today(db: sqlite3.Connection, path: Path) -> None:
    """Copies the log unless there is a copy of today, or the log is as the newest copy has it."""
    last = newest(path)
    today = f"{path.stem} {datetime.now(UTC):%Y-%m-%d}"
    with contextlib.suppress(OSError):
        if last is None or (not last.name.startswith(today) and last.stat().st_mtime < path.stat().st_mtime):
            back_up(db, path)


def newest(path: Path) -> Path | None:
    """The newest copy of a log, None where there is none."""
    return next(reversed(_all(path)), None)


def _all(path: Path) -> list[Path]:
    """Copies of a log, oldest first: their names begin with the log's and end with the moment, all of one length."""
    ending = len(" 2026-01-01 000000.000000.db")
    try:
        return sorted(p for p in (path.parent / "backups").glob("*.db") if p.name[:-ending] == path.stem)
    except OSError:
        return []
