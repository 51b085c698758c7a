"""The log's file while it is in use: opened when needed, missed when it goes, taken up again when it is back.

A file may be deleted, moved, replaced by another copy or restored from a backup under a running console. What the
console confirms meanwhile goes, with all that the file held, to a rescue file; that is offered until it is taken in.
"""

from __future__ import annotations

import hashlib
import os
import sqlite3
import tempfile
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from fieldtune.errors import StoreError
from fieldtune.store import rows
from fieldtune.store.open_file import LockedElsewhere, blank, open_file, set_wait, told_plainly
from fieldtune.store.take_in import missing_in, take_in

Opened = Callable[[sqlite3.Connection, sqlite3.Connection | None], None]


@dataclass(frozen=True, slots=True)
class Offer:
    """What lies in a rescue file: ``words`` say what it is and what ``accept`` does."""

    words: str
    rescue: Path
    puts_back: bool
    """Whether the log's own file is gone and the rescue file takes its place; else its rows are taken in."""


class LogFile:
    """The connection to the log at ``path``; one in memory where that is None, and until the file is made.

    ``opened`` is called with each connection to a file while a console is at it, and with the one before. While
    ``rescues`` is False nothing may be written to a file that is gone: ``StoreError``.
    """

    def __init__(self, path: Path | None, before_writing: Callable[[], object] | None, opened: Opened) -> None:
        self.path, self._before_writing, self._opened = path, before_writing, opened
        self.rescues = False
        self.said: str | None = None
        self.offer: Offer | None = None
        self.opens = 0
        """How many connections there were."""
        self._lock = threading.RLock()
        self._db: sqlite3.Connection | None = None if path else blank()
        self._no_file: sqlite3.Connection | None = None
        self._identity: tuple[int, int] | None = None
        self._refused: tuple[int, int] | None = None
        self._away = False
        if path and path.exists():
            with suppress(LockedElsewhere):  # then the first use waits for it
                self._open(wait_s=0.05)

    # -- using it ----------------------------------------------------------------------------------------------------

    @contextmanager
    def reading(self, wait_s: float | None = None) -> Iterator[sqlite3.Connection]:
        """The connection; ``wait_s``: how long to wait for another program's lock, the usual time where None."""
        with self._lock, told_plainly(self.path):
            db = self._connection(make=False, wait_s=wait_s)
            if wait_s is not None:
                set_wait(db, wait_s)
            try:
                yield db
            finally:
                if wait_s is not None:
                    set_wait(db, None)

    @contextmanager
    def writing(self, *, make: bool = True) -> Iterator[sqlite3.Connection]:
        """A transaction; where there is no file and none is to be made, in memory until one is."""
        with self._lock, told_plainly(self.path):
            if make and self._before_writing is not None and not self._away:
                self._before_writing()
            db = self._connection(make=make)
            db.execute("BEGIN IMMEDIATE")  # takes the lock before reading, so that no two processes interleave
            try:
                yield db
                db.execute("COMMIT")
            except BaseException:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                raise
            self._follow(written=True)  # had the file gone just then, what was written is in the rescue file now

    def close(self) -> None:
        """Closes the file; it is opened again when used."""
        with self._lock:
            if self._db is not None and self.path is not None:
                self._db.close()
                self._db, self._away = None, False

    def _connection(self, *, make: bool, wait_s: float | None = None) -> sqlite3.Connection:
        self._follow()
        if self._db is None and self.path is not None and (make or self.path.exists()):
            db = self._open(wait_s=wait_s)
            if self._no_file is not None:
                memory, self._no_file = self._no_file, None
                rows.carry_over(memory, db)
                self._opened(db, memory)
        if self._db is not None:
            return self._db
        if self._no_file is None:
            self._no_file = blank()
        return self._no_file

    def _open(self, wait_s: float | None = None) -> sqlite3.Connection:
        assert self.path is not None
        self._db = open_file(self.path, wait_s)
        self._identity, self._away, self.opens = _identity(self.path), False, self.opens + 1
        return self._db

    # -- a file that goes and comes back -------------------------------------------------------------------------------

    def _follow(self, written: bool = False) -> None:
        """Looks whether the file is still the one that was opened; ``written``: after something was written to it."""
        if self._db is None or self.path is None:
            return
        now = _identity(self.path)
        if now == (None if self._away else self._identity) or (now is not None and now == self._refused):
            return
        if not self.rescues:
            self._db.close()
            self._db = None
            if now is None or written:
                raise StoreError(f"{self.path}: the shot log was moved or deleted while it was in use; put it back")
        elif now is None:
            self._go_away(self._db)
        else:
            self._take_up(self._db, now)

    def _go_away(self, before: sqlite3.Connection) -> None:
        """The file is gone: on with all it held in the rescue file."""
        assert self.path is not None
        rescue = self.rescue_file()
        db = open_file(rescue)
        with suppress(sqlite3.Error):  # a stick that was pulled out can't be read any more
            take_in(db, before)
        self._opened(db, before)
        before.close()
        self._db, self._away, self._refused, self.opens = db, True, None, self.opens + 1
        self.said = f"the log {self.path.name} is gone: moved, or deleted. Confirmed shots go to {rescue}"
        self._offer_to_put_back(rescue)

    def _take_up(self, before: sqlite3.Connection, now: tuple[int, int]) -> None:
        """Another file stands where the log was, or stands there again."""
        assert self.path is not None
        try:
            db = open_file(self.path)
        except StoreError as error:
            self._refused = now
            if not self._away:
                self._go_away(before)
            self.said = str(error)
            return
        self.offer = None
        back = "is back" if self._away else "was replaced"
        shots = f"{db.execute('SELECT count(*) FROM shots').fetchone()[0]} shots in it"
        self.said = f"the log {self.path.name} {back}: {shots}"
        rescue, count = self.rescue_file(), missing_in(db, before)
        if count:
            kept = open_file(rescue)  # there already, unless another console took it in meanwhile
            take_in(kept, before)
            kept.close()
            self._offer_to_take_in(rescue, count)
        self._opened(db, before)
        before.close()
        if not count and self._away:
            _remove(rescue)
        self._db, self._identity, self._away, self.opens = db, now, False, self.opens + 1

    def _offer_to_take_in(self, rescue: Path, count: int) -> None:
        what = f"{count} {'entry' if count == 1 else 'entries'}"
        self.offer = Offer(f"y takes in {what} missing here from {rescue.name}, x leaves them", rescue, False)

    def _offer_to_put_back(self, rescue: Path) -> None:
        assert self.path is not None
        self.offer = Offer(f"y puts {self.path.name} back: it is gone, all of it is in {rescue.name}", rescue, True)

    def look_for_rescue(self) -> None:
        """Offers what an earlier console left in a rescue file."""
        with self._lock:
            if self.path is None or self._away:
                return
            rescue = self.rescue_file()
            if not rescue.exists():
                return
            if self._db is None:
                self._offer_to_put_back(rescue)
                return
            with suppress(StoreError, sqlite3.Error):
                other = open_file(rescue)
                count = missing_in(self._db, other)
                other.close()
                if count:
                    self._offer_to_take_in(rescue, count)
                else:
                    _remove(rescue)

    def accept(self) -> str:
        """Does what is offered and says what was done."""
        with self._lock, told_plainly(self.path):
            offer = self.offer
            if offer is None or self.path is None:
                return "there is nothing to take in"
            self._follow()
            offer = self.offer or offer
            if offer.puts_back and not self.path.exists():
                return self._put_back(offer)
            db, other = self._connection(make=True), open_file(offer.rescue)
            count = missing_in(db, other)
            take_in(db, other)
            other.close()
            _remove(offer.rescue)
            self.offer = None
            return f"taken in from {offer.rescue.name}: {count} {'entry' if count == 1 else 'entries'}"

    def _put_back(self, offer: Offer) -> str:
        assert self.path is not None
        if self._db is not None:
            self._db.close()
            self._db = None
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            try:
                os.rename(offer.rescue, self.path)
            except OSError:  # another disk
                whole, other = open_file(self.path), open_file(offer.rescue)
                take_in(whole, other)
                whole.close()
                other.close()
                _remove(offer.rescue)
            db = self._open()
        except (OSError, StoreError) as error:
            self._db, self._away = open_file(offer.rescue), True
            raise StoreError(f"{self.path} can't be put back: {error}") from error
        self.offer, self._no_file = None, None
        self._opened(db, None)
        return f"{self.path.name} is back where it was"

    def decline(self) -> str:
        """Leaves the rescue file for later, under a name that isn't offered again."""
        with self._lock:
            offer, self.offer = self.offer, None
            if offer is None or offer.puts_back:
                return "the log stays where it is now"
            later = offer.rescue.with_name(f"{offer.rescue.stem}-{datetime.now(UTC):%Y%m%d-%H%M%S}.db")
            try:
                os.rename(offer.rescue, later)
            except OSError:
                return f"it stays in {offer.rescue}"
            return f"it stays in {later.name}"

    def rescue_file(self) -> Path:
        """Where things go while the log's own file is gone: beside it, else among temporary files."""
        assert self.path is not None
        beside = self.path.with_name(f"{self.path.stem}-rescue.db")
        if beside.exists() or os.access(self.path.parent, os.W_OK):
            return beside
        whose = hashlib.blake2b(os.fsencode(self.path.absolute()), digest_size=4).hexdigest()
        return Path(tempfile.gettempdir()) / f"fieldtune-{self.path.stem}-{whose}-rescue.db"


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _remove(path: Path) -> None:
    with suppress(OSError):
        path.unlink()
