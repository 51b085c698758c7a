"""One robot's shot log: shots only ever added, marks that undo, correct or leave them out, epochs, batteries."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

from fieldtune.errors import InputError
from fieldtune.records import Act, BatteryReading, Epoch, Mark, MarkKind, Result, Shot, UnansweredShot
from fieldtune.store import acts, row_checks, rows
from fieldtune.store.backups import back_up, back_up_today
from fieldtune.store.merge import merge_rows
from fieldtune.store.open_file import blank, open_file, told_plainly

Clock = Callable[[], datetime]


def utc_now() -> datetime:
    """The present moment, in UTC."""
    return datetime.now(UTC)


class Store:
    """The log at ``path``, or one in memory when ``path`` is None.

    The file is made by the first thing written, not by looking. Every write is one durable transaction, so several
    processes may share a file; a ``Store`` may be used from several threads. ``before_writing`` is called before each
    write: a demonstration robot's profile is copied beside its log then. Raises ``StoreError``.
    """

    def __init__(
        self,
        path: Path | str | None = None,
        clock: Clock = utc_now,
        before_writing: Callable[[], object] | None = None,
        made_by_shots_only: bool = False,
    ) -> None:
        self.path = Path(path) if path is not None else None
        self.now = self._clock = clock
        self._before_writing, self._made_by_shots_only = before_writing, made_by_shots_only
        self._lock = threading.RLock()
        self._author: str | None = None
        self._whose: acts.Authors = None
        self._db: sqlite3.Connection | None = None if self.path else blank()
        self._no_file: sqlite3.Connection | None = None
        self._read: tuple[object, tuple[Shot, ...]] | None = None
        if self.path and self.path.exists():
            self._db = open_file(self.path)

    def version(self) -> object:
        """Something that differs after every change, also by another process."""
        with self._reading() as db:
            return id(db), db.total_changes, int(db.execute("PRAGMA data_version").fetchone()[0])

    # -- shots --------------------------------------------------------------------------------------------------------

    def shots(self) -> tuple[Shot, ...]:
        """All shots in the order confirmed, as marks have left them: those undone or left out included."""
        with self._reading() as db:
            state = self.version()
            if self._read is None or self._read[0] != state:
                self._read = state, rows.all_shots(db)
            return self._read[1]

    def shots_as_confirmed(self) -> tuple[Shot, ...]:
        """All shots as they were confirmed, for another copy that gets the marks too."""
        with self._reading() as db:
            return rows.shots_as_confirmed(db)

    def shot(self, number: int) -> Shot:
        """The shot of that number; raises ``InputError`` when there is none."""
        with self._reading() as db:
            return rows.find_shot(db, number)

    def add(
        self,
        distance_m: float,
        setpoint: float,
        result: Result | None = None,
        *,
        miss_m: float | None = None,
        side_m: float | None = None,
        speed: float | None = None,
        battery_v: float | None = None,
        target: str | None = None,
        distance_from: str | None = None,
        epoch: int | None = None,
        time: str | None = None,
        seen: str | None = None,
        match: str | None = None,
        batch: str | None = None,
    ) -> Shot:
        """Adds a shot; when this returns, it is on the disk.

        ``epoch``, ``time``: the battery period and moment it left in, now where None. ``seen``: uid of the unanswered
        shot that this is the answer to. ``match``, ``batch``: labels.
        """
        with self._writing() as db:
            present = rows.present_epoch(db, self._now())  # begins the first
            number = epoch or present
            if db.execute("SELECT 1 FROM epochs WHERE epoch = ?", (number,)).fetchone() is None:
                raise InputError(f"there is no battery period {number} in the log")
            uid = rows.new_uid()
            cursor = db.execute(
                "INSERT INTO shots (uid, time, distance_m, setpoint, result, epoch, miss_m, side_m, speed, battery_v,"
                ' target, distance_from, seen, "match", batch) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)',
                (uid, time or self._now(), distance_m, setpoint, result, number, miss_m, side_m, speed, battery_v,
                 target, distance_from, seen, match, batch),
            )  # fmt: skip
            acts.note(db, uid, "shot", self._author)
            return rows.find_shot(db, int(cursor.lastrowid or 0))

    def correct(self, number: int, result: Result | None, miss_m: float | None, side_m: float | None) -> Shot:
        """Gives a shot another result and misses; what was confirmed first stays in the log."""
        return self._mark(number, "correct", None, result, miss_m, side_m)

    def exclude(self, number: int, reason: str) -> Shot:
        """Leaves a shot out of learning, for a reason that stays with it."""
        return self._mark(number, "exclude", reason)

    def include(self, number: int) -> Shot:
        """Lets a shot that was left out count again."""
        return self._mark(number, "include", None)

    def marks(self) -> tuple[Mark, ...]:
        """All marks, in the order made."""
        with self._reading() as db:
            return rows.all_marks(db)

    # -- shots without a result ---------------------------------------------------------------------------------------

    def keep_unanswered(self, shot: UnansweredShot) -> UnansweredShot:
        """Keeps a shot that was seen and has no result yet, also over a restart."""
        with self._writing(make=False) as db:
            rows.add(db, "unanswered", {**asdict(shot), "author": self._author})
        return shot

    def unanswered(self) -> tuple[UnansweredShot, ...]:
        """This console's shots that were seen and have neither a result nor been discarded, oldest first."""
        with self._reading() as db:
            return rows.unanswered(db, self._author)

    def save(self) -> None:
        """Makes the file where there is none yet, for what waits in memory."""
        with self._writing():
            pass

    def discard(self, uid: str) -> str:
        """Nothing was launched: that shot needs no result; returns the uid of the mark that says so."""
        with self._writing(make=False) as db:
            mark = rows.add_mark(db, self._now(), uid, "discard")
            acts.note(db, mark, "discard", self._author)
            return mark

    # -- undo and redo ------------------------------------------------------------------------------------------------

    def open_console(self, author: str) -> None:
        """From now on acts are this console's; it undoes none of consoles that are open beside it."""
        with self._reading() as db:
            if self.path is not None and self.path.exists():
                back_up_today(db, self.path)
        with self._writing(make=False) as db:
            self._whose = acts.arrive(db, self._clock(), author)
        self._author = author

    def close_console(self) -> None:
        """This console ends: its acts may be undone by the next."""
        with self._writing(make=False) as db:
            acts.leave(db, self._author)

    def undo(self) -> Act | None:
        """Undoes the last act that still stands and says which; None where there is none."""
        with self._writing(make=False) as db:
            return acts.undo(db, self._now(), self._author, self._whose)

    def redo(self) -> Act | None:
        """Does the act again that was undone last and says which; None where something new was done since."""
        with self._writing(make=False) as db:
            return acts.redo(db, self._now(), self._author, self._whose)

    # -- epochs -------------------------------------------------------------------------------------------------------

    @property
    def epoch(self) -> int:
        """Number of the present epoch; 1 before the first swap."""
        with self._reading() as db:
            number = int(rows.kept(db, "epoch") or 1)
            return rows.standing_epochs(db).get(number, number)

    def epochs(self) -> tuple[Epoch, ...]:
        """All epochs by number, those of an undone swap included; empty before the first shot or swap."""
        with self._reading() as db:
            return rows.all_epochs(db)

    @property
    def battery_label(self) -> str | None:
        """Label of the battery that is in now."""
        present = self.epoch
        return next((epoch.label for epoch in self.epochs() if epoch.epoch == present), None)

    def swap(self, label: str | None = None) -> int:
        """Starts a new epoch (another battery, a repair) and returns its number."""
        with self._writing() as db:
            before = rows.present_epoch(
                db, self._now()
            )  # so that a swap before any shot still leaves epoch 1 in the log
            number = rows.begin_epoch(db, self._now(), label, before)
            acts.note(db, rows.uid_of_epoch(db, number), "swap", self._author)
            return number

    def label_battery(self, label: str) -> str:
        """Names the battery that is in now."""
        with self._writing() as db:
            uid = rows.uid_of_epoch(db, rows.present_epoch(db, self._now()))
            acts.note(db, rows.add_mark(db, self._now(), uid, "label", label), "label", self._author)
            return label

    def merge(
        self,
        shots: Iterable[Shot],
        marks: Iterable[Mark],
        epochs: Iterable[Epoch],
        origin: str,
        batteries: Iterable[BatteryReading] = (),
        present: str | None = None,
    ) -> tuple[int, int]:
        """Merges another copy's log into this one, all of it or nothing; returns how many shots and marks were new.

        ``present``: uid of the epoch the other copy stands in; a log in which nothing happened yet goes on there.
        """
        with self._reading() as db:
            if self.path is not None and self.path.exists():
                back_up(db, self.path)
        with self._writing() as db:
            new = merge_rows(db, shots, marks, epochs, origin, batteries)
            if not rows.kept(db, "epoch"):
                sql = "SELECT epoch FROM epochs ORDER BY uid = ? DESC, epoch DESC LIMIT 1"
                if (latest := db.execute(sql, (present,)).fetchone()) is not None:
                    rows.keep(db, "epoch", str(latest["epoch"]))
            return new

    # -- batteries and other things kept ------------------------------------------------------------------------------

    def add_battery(
        self, label: str | None, resistance_ohm: float | None = None, rest_v: float | None = None
    ) -> BatteryReading:
        """Keeps what was found out about the battery of that label."""
        reading = BatteryReading(rows.new_uid(), self._now(), label, resistance_ohm, rest_v)
        with self._writing() as db:
            db.execute(
                "INSERT INTO batteries (uid, time, label, resistance_ohm, rest_v) VALUES (?, ?, ?, ?, ?)",
                (reading.uid, reading.time, label, resistance_ohm, rest_v),
            )
        return reading

    def batteries(self, label: str | None = None) -> tuple[BatteryReading, ...]:
        """Readings in the order made: of one battery, or of all when ``label`` is None."""
        with self._reading() as db:
            found = db.execute(
                "SELECT uid, time, label, resistance_ohm, rest_v FROM batteries"
                " WHERE :label IS NULL OR label = :label ORDER BY reading",
                {"label": label},
            )
            return tuple(BatteryReading(**dict(row)) for row in found)

    def recall(self, key: str) -> str | None:
        """A small thing kept beside the log (last good port, caution read), or None."""
        with self._reading() as db:
            return rows.kept(db, f"kept {key}")

    def remember(self, key: str, value: str, *, make: bool = True) -> None:
        """Keeps a small thing, in memory as long as there is no file and it isn't to ``make`` one.

        A log that is ``made_by_shots_only`` (a demonstration robot's) is never made for a small thing.
        """
        with self._writing(make=make and not self._made_by_shots_only) as db:
            rows.keep(db, f"kept {key}", value)

    def damaged(self) -> tuple[str, ...]:
        """What of this log was found damaged and set aside, in words."""
        with self._reading() as db:
            return row_checks.what_was_set_aside(db)

    def close(self) -> None:
        """Closes the file; a closed store opens it again when used."""
        with self._lock:
            if self._db is not None and self.path is not None:
                self._db.close()
                self._db = None

    # -- within -------------------------------------------------------------------------------------------------------

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with self._lock, told_plainly(self.path):
            yield self._connection(make=False)

    @contextmanager
    def _writing(self, *, make: bool = True) -> Iterator[sqlite3.Connection]:
        """A transaction; where there is no file and none is to be made, in memory until one is."""
        with self._lock, told_plainly(self.path):
            if make and self._before_writing is not None:
                self._before_writing()
            (db := self._connection(make=make)).execute(
                "BEGIN IMMEDIATE"
            )  # takes the write lock before reading, so that no two processes interleave
            try:
                yield db
                db.execute("COMMIT")
            except BaseException:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                raise

    def _connection(self, *, make: bool) -> sqlite3.Connection:
        if self._db is None and self.path is not None and (make or self.path.exists()):
            self._db = open_file(self.path)
            if self._no_file is not None:
                rows.carry_over(self._no_file, self._db)
                self._no_file = None
                if self._author is not None:
                    self.open_console(self._author)
        if self._db is not None:
            return self._db
        if self._no_file is None:
            self._no_file = blank()
        return self._no_file

    def _mark(
        self,
        number: int,
        kind: MarkKind,
        reason: str | None,
        result: Result | None = None,
        miss_m: float | None = None,
        side_m: float | None = None,
    ) -> Shot:
        with self._writing() as db:
            shot = rows.find_shot(db, number)
            uid = rows.add_mark(db, self._now(), shot.uid, kind, reason, result, miss_m, side_m)
            acts.note(db, uid, kind, self._author)
            return rows.find_shot(db, number)

    def _now(self) -> str:
        return rows.stamp(self._clock())
