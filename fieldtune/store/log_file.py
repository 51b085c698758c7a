"""The log's file while it is in use: opened when needed, missed when it goes, taken up again when it is back.

A file may be deleted, moved, replaced by another copy or restored from a backup under a running console. What the
console confirms meanwhile goes, with all that the file held, to a rescue file; that is offered until it is taken in.
While another program has the file locked it goes to a waiting file, and by itself into the log once that is over.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from typing import TypeVar

from fieldtune.errors import StoreError
from fieldtune.store import rows
from fieldtune.store.open_file import LockedElsewhere, blank, open_file, set_wait, tells_of_a_lock, told_plainly
from fieldtune.store.rescue_files import (
    Offer,
    entries,
    file_beside,
    identity,
    is_locked,
    laid_by,
    locked_words,
    put_in_place,
    readable,
    remove,
    take_in_all,
    to_put_back,
    to_take_in,
    waiting_log,
)
from fieldtune.store.take_in import missing_in, take_in

T = TypeVar("T")
Opened = Callable[[sqlite3.Connection, sqlite3.Connection | None], None]
_CONSOLE_WAIT_S = 0.7
"""How long a console waits for another program's lock: somebody stands there and wants to shoot on."""
_AGAIN_S, _SETTLES_S = 0.5, 2.0
"""Between two looks whether that lock is gone, and how long it is looked for at the end."""


class LogFile:
    """The connection to the log at ``path``; one in memory where that is None, and until the file is made.

    ``opened`` is called with each connection to a file while a console is at it, and with the one before. Before
    ``begin_rescues`` nothing can be written to a file that is gone or locked: ``StoreError``.
    """

    def __init__(self, path: Path | None, before_writing: Callable[[], object] | None, opened: Opened) -> None:
        self.path, self._before_writing, self._opened = path, before_writing, opened
        self._wait_s: float | None = None
        self.said: str | None = None
        self.offer: Offer | None = None
        self.opens = 0
        """How many connections there were."""
        self._lock = threading.RLock()
        self._db: sqlite3.Connection | None = None if path else blank()
        self._no_file: sqlite3.Connection | None = None
        self._identity: tuple[int, int] | None = None
        self._refused: tuple[int, int] | None = None
        self._away = self._waiting = False
        self._again_at = 0.0
        if path and path.exists():
            with suppress(LockedElsewhere):  # then the first use waits for it
                self._open(wait_s=0.05)

    def begin_rescues(self) -> None:
        """A console is at the log: from now on what is confirmed is kept, whatever becomes of the file."""
        with self._lock:
            self._wait_s = _CONSOLE_WAIT_S
            if self._db is not None:
                set_wait(self._db, self._wait_s)

    @property
    def _rescues(self) -> bool:
        return self._wait_s is not None

    # -- using it ----------------------------------------------------------------------------------------------------

    @contextmanager
    def reading(self, wait_s: float | None = None) -> Iterator[sqlite3.Connection]:
        """The connection; ``wait_s``: how long to wait for another program's lock, the usual time where None."""
        with self._lock, told_plainly(self.path):
            db = self._connection(make=False, wait_s=wait_s)
            if wait_s is not None:
                set_wait(db, wait_s)
            elif db is self._db:
                db = self._unless_locked(readable)
            try:
                yield db
            finally:
                if wait_s is not None:
                    set_wait(db, self._wait_s)

    @contextmanager
    def writing(self, *, make: bool = True) -> Iterator[sqlite3.Connection]:
        """A transaction; where there is no file and none is to be made, in memory until one is."""
        with self._lock, told_plainly(self.path):
            if make and self._before_writing is not None and not self._away:
                self._before_writing()
            db = self._connection(make=make)
            with ExitStack() as whole:

                def begun(db: sqlite3.Connection) -> sqlite3.Connection:
                    whole.enter_context(rows.transaction(db, alone=True))
                    return db

                yield self._unless_locked(begun) if db is self._db else begun(db)
            self._follow(written=True)  # had the file gone just then, what was written is in the rescue file now

    def settle(self) -> None:
        """Waits a little for a lock to end, so that nothing is left in the waiting file when a console ends."""
        with self._lock:
            end = time.monotonic() + _SETTLES_S
            while self._waiting and time.monotonic() < end:
                self._again_at = 0.0
                self._follow()

    def close(self) -> None:
        """Closes the file; it is opened again when used."""
        with self._lock:
            if self._db is not None and self.path is not None:
                self._db.close()
                self._db, self._away, self._waiting = None, False, False

    def _connection(self, *, make: bool, wait_s: float | None = None) -> sqlite3.Connection:
        self._follow()
        if self._db is None and self.path is not None and (make or self.path.exists()):
            try:
                self._open(wait_s)
            except LockedElsewhere:
                if not self._rescues or wait_s is not None:
                    raise
                self._wait_beside()
        if self._db is None:
            self._no_file = self._no_file or blank()
            return self._no_file
        if self._no_file is not None and wait_s is None:
            self._unless_locked(self._take_in_memory)
        return self._db

    def _open(self, wait_s: float | None = None) -> sqlite3.Connection:
        assert self.path is not None
        db = open_file(self.path, self._wait_s if wait_s is None else wait_s)
        return self._use(db, identity(self.path))

    def _use(
        self, db: sqlite3.Connection, identity: tuple[int, int] | None, *, away: bool = False, waiting: bool = False
    ) -> sqlite3.Connection:
        """From now on that is the log."""
        set_wait(db, self._wait_s)
        self._db, self._identity, self._away, self._waiting, self.opens = db, identity, away, waiting, self.opens + 1
        return db

    def _take_in_memory(self, db: sqlite3.Connection) -> None:
        """What was kept in memory for want of a file goes into it."""
        memory = self._no_file
        if memory is not None:
            take_in(db, memory)
        self._opened(db, memory)
        if memory is not None:
            memory.close()
        self._no_file = None

    # -- a file that another program has locked ------------------------------------------------------------------------

    def _unless_locked(self, act: Callable[[sqlite3.Connection], T]) -> T:
        """That, done with the log; under a console with the waiting file, where another program has the log locked."""
        assert self._db is not None
        try:
            return act(self._db)
        except sqlite3.OperationalError as error:
            beside = self._away or self._waiting or not self._rescues
            if beside or self.path is None or not tells_of_a_lock(error, self.path):
                raise
        return act(self._wait_beside())

    def _wait_beside(self) -> sqlite3.Connection:
        """On with all that the log holds, and what waits for it already, in the waiting file."""
        assert self.path is not None
        before, waiting = self._db, file_beside(self.path, "waiting")
        db = waiting_log(self.path, waiting)
        if before is not None and self._waiting:
            take_in(db, before)
        self._opened(db, None)
        if before is not None:
            before.close()
        self._use(db, identity(self.path), waiting=True)
        self.said = self.waits
        return db

    @property
    def waits(self) -> str | None:
        """Where things wait while another program has the log locked, in words; None while it hasn't."""
        return locked_words(self.path) if self._waiting and self.path is not None else None

    def _end_waiting(self, before: sqlite3.Connection) -> None:
        """Into the log with what waited, once nobody has that locked; till then nothing."""
        assert self.path is not None
        waiting = file_beside(self.path, "waiting")
        if not waiting.exists():  # another console took it in
            self._again_at = 0.0
        if time.monotonic() < self._again_at:
            return
        self._again_at = time.monotonic() + _AGAIN_S
        if is_locked(self.path):
            if not waiting.exists():
                self._wait_beside()
            return
        with suppress(LockedElsewhere, sqlite3.OperationalError), ExitStack() as opened:
            db = open_file(self.path, self._wait_s)
            opened.callback(db.close)
            set_wait(db, self._wait_s)
            count = take_in_all(db, before, waiting, lambda: self._opened(db, before))
            opened.pop_all()
            self._use(db, identity(self.path))
            self.said = f"{self.path.name} is no longer locked: {entries(count)} written to it"
            self.look_for_rescue()

    # -- a file that goes and comes back -------------------------------------------------------------------------------

    def _follow(self, written: bool = False) -> None:
        """Looks whether the file is still the one that was opened; ``written``: after something was written to it."""
        if self._db is None or self.path is None:
            return
        now = identity(self.path)
        if self._waiting and now == self._identity:
            self._end_waiting(self._db)
            return
        if now == (None if self._away else self._identity) or (now is not None and now == self._refused):
            return
        waited, self._waiting = self._waiting, False
        if not self._rescues:
            self._db.close()
            self._db = None
            if now is None or written:
                raise StoreError(f"{self.path}: the shot log was moved or deleted while it was in use; put it back")
        elif now is None:
            self._go_away(self._db)
        else:
            self._take_up(self._db, now)
        if waited:
            remove(file_beside(self.path, "waiting"))

    def _go_away(self, before: sqlite3.Connection) -> None:
        """The file is gone: on with all it held in the rescue file."""
        assert self.path is not None
        rescue = file_beside(self.path, "rescue")
        db = open_file(rescue)
        with suppress(sqlite3.Error):  # a stick that was pulled out can't be read any more
            take_in(db, before)
        self._opened(db, before)
        before.close()
        self._use(db, None, away=True)
        self._refused = None
        self.said = f"the log {self.path.name} is gone: moved, or deleted. Confirmed shots go to {rescue}"
        self.offer = to_put_back(rescue, self.path)

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
        rescue, count = file_beside(self.path, "rescue"), missing_in(db, before)
        if count:
            kept = open_file(rescue)  # there already, unless another console took it in meanwhile
            take_in(kept, before)
            kept.close()
            self.offer = to_take_in(rescue, count)
        self._opened(db, before)
        before.close()
        if not count and self._away:
            remove(rescue)
        self._use(db, now)

    def look_for_rescue(self) -> None:
        """Takes in what an earlier console left in a waiting file, and offers what one left in a rescue file."""
        with self._lock:
            if self.path is None or self._away or self._waiting:
                return
            rescue, waiting = file_beside(self.path, "rescue"), file_beside(self.path, "waiting")
            if self._db is not None and waiting.exists():
                with suppress(StoreError, sqlite3.Error):
                    count = take_in_all(self._db, open_file(waiting), waiting)
                    self.said = f"{entries(count)} that waited in {waiting.name} went into the log" if count else None
            if not rescue.exists():
                return
            if self._db is None:
                self.offer = to_put_back(rescue, self.path)
                return
            with suppress(StoreError, sqlite3.Error):
                other = open_file(rescue)
                count = missing_in(self._db, other)
                other.close()
                if count:
                    self.offer = to_take_in(rescue, count)
                else:
                    remove(rescue)

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
            count = take_in_all(self._connection(make=True), open_file(offer.rescue), offer.rescue)
            self.offer = None
            return f"taken in from {offer.rescue.name}: {entries(count)}"

    def _put_back(self, offer: Offer) -> str:
        assert self.path is not None
        if self._db is not None:
            self._db.close()
            self._db = None
        try:
            put_in_place(offer.rescue, self.path)
            db = self._open()
        except (OSError, StoreError) as error:
            self._use(open_file(offer.rescue), None, away=True)
            raise StoreError(f"{self.path} can't be put back: {error}") from error
        self.offer = None
        self._take_in_memory(db)
        return f"{self.path.name} is back where it was"

    def decline(self) -> str:
        """Leaves the rescue file for later, under a name that isn't offered again."""
        with self._lock:
            offer, self.offer = self.offer, None
            if offer is None or offer.puts_back:
                return "the log stays where it is now"
            return f"it stays in {laid_by(offer.rescue)}"
