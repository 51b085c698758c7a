"""Files beside a log for what can't be written to it: a rescue file while it is gone, a waiting one while locked."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from datetime import UTC, datetime
from itertools import count
from pathlib import Path

from fieldtune.errors import StoreError
from fieldtune.frozen import frozen
from fieldtune.store import rows
from fieldtune.store.open_file import is_busy, open_file
from fieldtune.store.take_in import missing_in, take_in

_TRIED_S = 0.2
"""How long a try lasts whether a log is locked still: others who write to it all the time leave gaps."""
_COPIES = 3
"""How often a locked log is copied at most, until nobody wrote to it meanwhile."""


@frozen
class Offer:
    """What lies in a rescue file: ``words`` say what it is and what ``accept`` does."""

    words: str
    rescue: Path
    puts_back: bool
    """Whether the log's own file is gone and the rescue file takes its place; else its rows are taken in."""


def to_take_in(rescue: Path, count: int) -> Offer:
    """The offer to take in what only the rescue file has."""
    words = f"y takes in {entries(count)} missing here from {rescue.name}, x leaves them"
    return Offer(words, rescue, False)


def to_put_back(rescue: Path, path: Path) -> Offer:
    """The offer to put the rescue file in the log's place."""
    return Offer(f"y puts {path.name} back: it is gone, all of it is in {rescue.name}", rescue, True)


def locked_words(path: Path) -> str:
    """That the log is locked, and that things wait."""
    return f"another program keeps {path.name} locked: what is confirmed waits beside it and goes in when that ends"


def entries(count: int) -> str:
    """How many, in words."""
    return f"{count} {'entry' if count == 1 else 'entries'}"


_OPEN: set[Path] = set()
_NUMBERS = count(1)


def waiting_file(path: Path) -> Path:
    """A waiting file for one console alone: nobody else writes to it or removes it while that runs."""
    return file_beside(path, f"waiting-{os.getpid()}-{next(_NUMBERS)}")


def left_waiting(path: Path) -> list[Path]:
    """Waiting files of consoles that have ended."""
    return [one for one in path.parent.glob(f"{path.stem}-waiting-*-*.db") if one not in _OPEN and _left(one)]


def waits_beside(path: Path) -> bool:
    """Whether a file lies beside a log whose entries go into it, or are offered, at the next start."""
    starts = (f"{path.stem}-waiting-", f"{path.stem}-rescue.db")
    return path.parent.is_dir() and any(name.startswith(starts) for name in os.listdir(path.parent))


def _left(waiting: Path) -> bool:
    process = waiting.stem.split("-")[-2]
    if os.name != "posix" or not process.isdecimal() or int(process) == os.getpid():
        return True
    try:
        os.kill(int(process), 0)
    except OSError as error:
        return isinstance(error, ProcessLookupError)
    return False


def no_longer_used(waiting: Path) -> None:
    """The console that wrote to it does so no more."""
    _OPEN.discard(waiting)


def file_beside(path: Path, what: str) -> Path:
    """Where things go that can't be written to the log: beside it, else among temporary files."""
    beside = path.with_name(f"{path.stem}-{what}.db")
    if beside.exists() or os.access(path.parent, os.W_OK):
        return beside
    import hashlib
    import tempfile

    whose = hashlib.blake2b(os.fsencode(path.absolute()), digest_size=4).hexdigest()
    return Path(tempfile.gettempdir()) / f"fieldtune-{path.stem}-{whose}-{what}.db"


def identity(path: Path) -> tuple[int, int] | None:
    """What tells one file from another that takes its name; None where there is none."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def remove(path: Path) -> bool:
    """Removes a file of these; whether it could be."""
    try:
        path.unlink()
    except OSError:
        return False
    return True


def take_in_all(
    db: sqlite3.Connection, other: sqlite3.Connection, path: Path, then: Callable[[], object] = lambda: None
) -> int:
    """Takes in all that the ``other`` holds, closes it and removes its file; how many entries were new.

    Meanwhile it is locked, so that what another console writes to it comes before, or meets a file that is gone.
    ``then`` is called before the file goes; where that fails, all stays as it was.
    """
    with rows.transaction(other, alone=True):
        new = missing_in(db, other)
        take_in(db, other)
        then()
        gone = remove(path)
    other.close()
    if not gone:  # Windows removes no open file
        remove(path)
    return new


def put_in_place(rescue: Path, path: Path) -> None:
    """Makes a rescue file the log; raises ``OSError`` or ``StoreError``."""
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.rename(rescue, path)
    except OSError:  # another disk
        with closing(open_file(path)) as whole:
            take_in_all(whole, open_file(rescue), rescue)


def laid_by(rescue: Path) -> str:
    """Gives a rescue file a name under which it isn't offered again; where it is now."""
    later = rescue.with_name(f"{rescue.stem}-{datetime.now(UTC):%Y%m%d-%H%M%S}.db")
    try:
        os.rename(rescue, later)
    except OSError:
        return str(rescue)
    return later.name


def waiting_log(path: Path, waiting: Path) -> sqlite3.Connection:
    """The waiting file of a locked log, with all that the log holds."""
    _OPEN.add(waiting)
    copy = waiting.with_suffix(".copy")
    if _copy_of_locked(path, copy):
        os.replace(copy, waiting)
    return open_file(waiting)


def readable(db: sqlite3.Connection) -> sqlite3.Connection:
    """The connection, once a reader's lock could be taken for a moment."""
    db.execute("PRAGMA schema_version").fetchone()
    return db


def is_locked(path: Path) -> bool:
    """Whether another program holds a lock now that keeps others from writing to the log."""
    with closing(sqlite3.connect(path, timeout=_TRIED_S, isolation_level=None)) as db:
        try:
            db.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            return is_busy(error)
        db.execute("ROLLBACK")
    return False


def _copy_of_locked(path: Path, copy: Path) -> bool:
    """Copies a log byte for byte, whoever has it locked; False where it is written to all the time.

    Its journal comes along, so that opening the copy undoes what the other program had half written.
    """
    import shutil  # with its archives it is slow to import, and this is rare

    journal, half = (Path(f"{at}{end}") for at, end in ((path, "-journal"), (copy, ".part")))
    for _ in range(_COPIES):
        before = _state(path), _state(journal)
        with suppress(OSError):
            Path(f"{half}-journal").unlink(missing_ok=True)
            if before[1] is not None:
                shutil.copyfile(journal, f"{half}-journal")
            shutil.copyfile(path, half)
            if (_state(path), _state(journal)) != before:
                continue
            with suppress(StoreError):
                open_file(half).close()
                os.replace(half, copy)
                remove(Path(f"{half}-journal"))  # one that wasn't needed
                return True
    remove(half)
    remove(Path(f"{half}-journal"))
    return False


def _state(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_size, found.st_mtime_ns
