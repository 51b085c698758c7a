"""Opening a store's file: new, older, newer, damaged, read-only, or in use by another process."""

from __future__ import annotations

import errno
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager, suppress
from functools import cache
from pathlib import Path

from fieldtune.errors import StoreError
from fieldtune.store import row_checks, rows
from fieldtune.store.backups import back_up, newest

try:
    import fcntl
except ImportError:  # Windows has other locks, and always has them
    fcntl = None  # type: ignore[assignment]

_WAIT_S = 10.0
"""How long to wait for another process's write before giving up."""
_NO_LOCKS = ("SQLITE_IOERR_LOCK", "SQLITE_IOERR_RDLOCK", "SQLITE_IOERR_UNLOCK", "SQLITE_IOERR_CHECKRESERVEDLOCK")
_NOT_WRITTEN = ("SQLITE_IOERR_WRITE", "SQLITE_IOERR_FSYNC", "SQLITE_IOERR_DIR_FSYNC", "SQLITE_IOERR_TRUNCATE")
_NOT_WRITTEN_WORDS = "disk or quota full (or failing): not kept; make room, try again"
_NO_LOCKS_WORDS = (
    "files can't be locked on this disk (a network share without locks?), so the shot log isn't safe there: nothing "
    "was written; use --profiles with a folder on this computer"
)


def blank() -> sqlite3.Connection:
    """An empty store in memory."""
    db = _connect(":memory:")
    rows.migrate(db)
    return db


class LockedElsewhere(StoreError):
    """Another program holds the log's lock."""


class NoRoom(StoreError):
    """The disk takes no more: a quota that is full, or one that fails."""


def set_wait(db: sqlite3.Connection, wait_s: float | None) -> None:
    """How long this connection waits for another program's lock; the usual time where None."""
    db.execute(f"PRAGMA busy_timeout = {round(1000 * (_WAIT_S if wait_s is None else wait_s))}")


def open_file(path: Path, wait_s: float | None = None) -> sqlite3.Connection:
    """Opens the store at ``path``, making it if it isn't there; raises ``StoreError`` naming the file and the remedy.

    A file that can't be written is opened for reading; writing to it then fails with a line of its own. ``wait_s``: how
    long to wait for another program's lock while opening, the usual time where None; then ``LockedElsewhere``.
    """
    if path.is_dir():
        raise StoreError(f"{path}: a folder stands where the shot log belongs; rename it")
    if path.exists() and not path.is_file():
        raise StoreError(f"{path}: a pipe or device stands where the shot log belongs; rename it")
    with told_plainly(path):
        writable = _can_write(path)
        wait = _WAIT_S if wait_s is None else wait_s
        uri = f"{path.absolute().as_uri()}?mode=ro"
        db = _connect(str(path), wait_s=wait) if writable else _connect(uri, uri=True, wait_s=wait)
        try:
            _check(db, path)
            version = rows.version_of(db)
            if version < rows.VERSION:
                if writable and version:
                    back_up(db, path)
                db = _brought_up(db, writable)
            if version >= rows.SUMMED and row_checks.damaged_rows(db):
                db = _without_damaged_rows(db, writable and back_up(db, path))
        except BaseException:
            db.close()
            raise
        set_wait(db, None)
        return db


@contextmanager
def told_plainly(path: Path | None) -> Iterator[None]:
    """Turns SQLite's errors into one line with place and remedy."""
    name = path or "the shot log in memory"
    try:
        yield
    except sqlite3.OperationalError as error:
        said = " ".join(str(error).split())
        if is_busy(error) and path is not None and not _can_lock(path.parent):
            raise StoreError(f"{name}: {_NO_LOCKS_WORDS}") from error
        kind = getattr(error, "sqlite_errorname", "")
        if kind in _NO_LOCKS:
            raise StoreError(f"{name}: {_NO_LOCKS_WORDS}") from error
        if kind in _NOT_WRITTEN:
            raise NoRoom(f"{name}: {_NOT_WRITTEN_WORDS}") from error
        raise (LockedElsewhere if is_busy(error) else StoreError)(_words(name, path, said)) from error
    except sqlite3.DatabaseError as error:
        raise StoreError(_damaged(name, " ".join(str(error).split()))) from error
    except UnicodeDecodeError as error:  # SQLite quotes what is damaged
        raise StoreError(_damaged(name, "its text is damaged")) from error


def tells_of_a_lock(error: StoreError | sqlite3.OperationalError, path: Path) -> bool:
    """Whether another program's lock on the log is the cause."""
    return isinstance(error, LockedElsewhere) or (is_busy(error) and _can_lock(path.parent))


def is_busy(error: Exception) -> bool:
    return isinstance(error, sqlite3.OperationalError) and any(word in str(error) for word in ("locked", "busy"))


def _can_lock(folder: Path) -> bool:
    """Whether files there can be locked, as far as that can be tried; SQLite tells "no" and "not now" alike.

    Tried on a file of its own: closing the log's file here would end this program's own locks on it (POSIX).
    """
    if fcntl is None:
        return True
    import tempfile

    with suppress(OSError), tempfile.TemporaryFile(dir=folder) as file:
        try:
            fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            return error.errno != errno.ENOLCK
    return True


def _words(name: Path | str, path: Path | None, error: str) -> str:
    if "locked" in error or "busy" in error:
        return f"{name}: another program keeps the shot log locked; close it and try again"
    if "readonly" in error:
        return f"{name}: the shot log can't be written; allow writing there, or use --profiles with another folder"
    if "full" in error:
        return f"{name}: the disk is full, so this was not kept; make room and do it again"
    if "unable to open" in error:
        folder = path.parent if path else name
        return f"{name}: can't be opened or made; check that the folder {folder} exists and can be written"
    if "malformed" in error or "disk I/O" in error:
        return _damaged(name, error)
    return f"{name}: the shot log can't be used ({error})"


def _damaged(name: Path | str, error: str) -> str:
    backup = newest(name) if isinstance(name, Path) else None
    instead = "move it to another folder to start afresh, or put a backup in its place"
    return f"{name}: not a readable shot log ({error}); it was left untouched: {instead}" + (
        f" (the newest is {backup})" if backup is not None else ""
    )


def _check(db: sqlite3.Connection, path: Path) -> None:
    if rows.is_foreign(db):
        raise StoreError(f"{path}: a database of some other program, not a shot log; move it to another folder")
    version = rows.version_of(db)
    if version > rows.VERSION:
        raise StoreError(
            f"{path}: written by a newer fieldtune (log version {version}, this one reads up to {rows.VERSION}); "
            "install the newer fieldtune"
        )
    if version < 0:
        raise StoreError(_damaged(path, f"log version {version}"))
    found = [str(row[0]) for row in db.execute(f"PRAGMA {_thorough(path)}(20)")]
    if found != ["ok"]:
        raise StoreError(_damaged(path, " ".join(found[0].split())))
    if version < rows.VERSION or row_checks.schema_digest(db) == rows.SCHEMA:
        return
    if wrong := row_checks.odd_schema(db, _good_schema()):
        raise StoreError(_damaged(path, f"{wrong} is not as it was written"))


@cache
def _good_schema() -> frozenset[tuple[str, str, str]]:
    with closing(blank()) as db:
        return row_checks.schema(db)


def _thorough(path: Path) -> str:
    """Which of SQLite's own checks: the one that looks at indexes too takes a second for each 100 MB."""
    try:
        return "integrity_check" if path.stat().st_size < 32e6 else "quick_check"
    except OSError:
        return "integrity_check"


def _brought_up(db: sqlite3.Connection, writable: bool) -> sqlite3.Connection:
    if not writable:  # an older file that can't be written is read through a copy in memory
        copy = _connect(":memory:")
        db.backup(copy)
        db.close()
        db = copy
    rows.migrate(db)
    if not writable:
        db.execute("PRAGMA query_only = ON")
    return db


def _without_damaged_rows(db: sqlite3.Connection, in_place: bool) -> sqlite3.Connection:
    """The log with its damaged rows set aside: in the file once that has been copied, else in a copy in memory."""
    if not in_place:
        copy = _connect(":memory:")
        db.backup(copy)
        db.close()
        db = copy
    db.execute("PRAGMA foreign_keys = OFF")
    with rows.transaction(db):
        row_checks.set_aside(db)
    db.execute("PRAGMA foreign_keys = ON")
    if not in_place:
        db.execute("PRAGMA query_only = ON")
    return db


def _can_write(path: Path) -> bool:
    """Tries, because permission bits alone don't tell (network shares, read-only mounts)."""
    if not path.exists():
        return True
    try:
        with path.open("r+b"):
            return True
    except OSError:
        return False


def _connect(name: str, *, uri: bool = False, wait_s: float = _WAIT_S) -> sqlite3.Connection:
    # Autocommit with explicit BEGIN IMMEDIATE; the store's own lock serialises threads.
    db = sqlite3.connect(name, timeout=wait_s, isolation_level=None, check_same_thread=False, uri=uri)
    db.row_factory = sqlite3.Row
    db.text_factory = lambda text: text.decode(errors="replace")  # a damaged row must not hide the others
    # A rollback journal keeps the log one file that can be copied at any moment, and works on sticks and shares where
    # write-ahead logs don't; EXTRA also syncs the folder, so that a committed shot outlives a power cut.
    if name == ":memory:" or not uri:
        db.execute("PRAGMA synchronous = EXTRA")
    db.execute("PRAGMA foreign_keys = ON")
    row_checks.add_function(db)
    return db
