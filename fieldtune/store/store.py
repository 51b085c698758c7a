"""One robot's shot log: shots only ever added, marks that take them back or leave them out, epochs, batteries."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from fieldtune.records import BatteryReading, Epoch, Mark, Result, Shot
from fieldtune.store.merge import merge_rows
from fieldtune.store.open_file import blank, open_file, told_plainly
from fieldtune.store.rows import SHOTS, find_shot, just_after, keep, kept, new_uid, shot_of, stamp

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
        self._clock = clock
        self._before_writing, self._made_by_shots_only = before_writing, made_by_shots_only
        self._waiting: dict[str, str] = {}
        self._lock = threading.RLock()
        self._db: sqlite3.Connection | None = None if self.path else blank()
        self._empty: sqlite3.Connection | None = None
        self._read: tuple[sqlite3.Connection, tuple[int, int], tuple[Shot, ...]] | None = None
        if self.path and self.path.exists():
            self._db = open_file(self.path)

    def now(self) -> datetime:
        """The present moment by this log's clock."""
        return self._clock()

    # -- shots ------------------------------------------------------------------------------------------------

    def shots(self) -> tuple[Shot, ...]:
        """All shots in the order confirmed, those taken back or left out included."""
        with self._reading() as db:
            # Read again only after a change here (rows changed) or by another connection (data version).
            state = (db.total_changes, int(db.execute("PRAGMA data_version").fetchone()[0]))
            if self._read is None or self._read[0] is not db or self._read[1] != state:
                self._read = db, state, tuple(shot_of(row) for row in db.execute(SHOTS + "ORDER BY s.shot"))
            return self._read[2]

    def shot(self, number: int) -> Shot:
        """The shot of that number; raises ``InputError`` when there is none."""
        with self._reading() as db:
            return find_shot(db, number)

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
    ) -> Shot:
        """Adds a shot to the present epoch; when this returns, it is on the disk."""
        with self._writing() as db:
            cursor = db.execute(
                "INSERT INTO shots (uid, time, distance_m, setpoint, result, epoch, miss_m, side_m, speed, battery_v,"
                " target) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
                (new_uid(), self._now(), distance_m, setpoint, result, self._present_epoch(db), miss_m, side_m, speed,
                 battery_v, target),
            )  # fmt: skip
            return find_shot(db, int(cursor.lastrowid or 0))

    def undo_last(self) -> Shot | None:
        """Takes back the last shot confirmed here that still stands; None when there is none."""
        with self._writing() as db:
            row = db.execute(
                "SELECT shot FROM shots s WHERE origin IS NULL AND NOT EXISTS"
                " (SELECT 1 FROM marks m WHERE m.shot_uid = s.uid AND m.kind = 'undo') ORDER BY shot DESC LIMIT 1"
            ).fetchone()
            return None if row is None else self._mark(db, row["shot"], "undo", None)

    def exclude(self, number: int, reason: str) -> Shot:
        """Leaves a shot out of learning, for a reason that stays with it."""
        with self._writing() as db:
            return self._mark(db, number, "exclude", reason)

    def include(self, number: int, reason: str | None = None) -> Shot:
        """Lets a shot that was left out count again."""
        with self._writing() as db:
            return self._mark(db, number, "include", reason)

    def marks(self) -> tuple[Mark, ...]:
        """All marks, in the order made."""
        with self._reading() as db:
            rows = db.execute("SELECT uid, shot_uid, kind, time, reason FROM marks ORDER BY mark")
            return tuple(Mark(**dict(row)) for row in rows)

    # -- epochs -----------------------------------------------------------------------------------------------

    @property
    def epoch(self) -> int:
        """Number of the present epoch; 1 before the first swap."""
        with self._reading() as db:
            return int(kept(db, "epoch") or 1)

    def epochs(self) -> tuple[Epoch, ...]:
        """All epochs by number; empty before the first shot or swap."""
        with self._reading() as db:
            rows = db.execute("SELECT epoch, time, label, uid, origin FROM epochs ORDER BY epoch")
            return tuple(Epoch(**dict(row)) for row in rows)

    @property
    def battery_label(self) -> str | None:
        """Label of the battery that is in now, as given at the last swap."""
        present = self.epoch
        return next((epoch.label for epoch in self.epochs() if epoch.epoch == present), None)

    def swap(self, label: str | None = None) -> int:
        """Starts a new epoch (another battery, a repair) and returns its number."""
        with self._writing() as db:
            self._present_epoch(db)  # so that a swap before any shot still leaves epoch 1 in the log
            return self._begin_epoch(db, label)

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
        with self._writing() as db:
            new = merge_rows(db, shots, marks, epochs, origin, batteries)
            if not kept(db, "epoch"):
                row = db.execute("SELECT epoch FROM epochs ORDER BY uid = ? DESC, epoch DESC LIMIT 1", (present,))
                latest = row.fetchone()
                if latest is not None:
                    keep(db, "epoch", str(latest["epoch"]))
            return new

    # -- batteries and other things kept ------------------------------------------------------------------------

    def add_battery(
        self, label: str | None, resistance_ohm: float | None = None, rest_v: float | None = None
    ) -> BatteryReading:
        """Keeps what was found out about the battery of that label."""
        reading = BatteryReading(new_uid(), self._now(), label, resistance_ohm, rest_v)
        with self._writing() as db:
            db.execute(
                "INSERT INTO batteries (uid, time, label, resistance_ohm, rest_v) VALUES (?, ?, ?, ?, ?)",
                (reading.uid, reading.time, label, resistance_ohm, rest_v),
            )
        return reading

    def batteries(self, label: str | None = None) -> tuple[BatteryReading, ...]:
        """Readings in the order made: of one battery, or of all when ``label`` is None."""
        with self._reading() as db:
            rows = db.execute(
                "SELECT uid, time, label, resistance_ohm, rest_v FROM batteries"
                " WHERE :label IS NULL OR label = :label ORDER BY reading",
                {"label": label},
            )
            return tuple(BatteryReading(**dict(row)) for row in rows)

    def recall(self, key: str) -> str | None:
        """A small thing kept beside the log (last good port, caution read); None when it was never remembered."""
        with self._reading() as db:
            return self._waiting.get(key) or kept(db, f"kept {key}")

    def remember(self, key: str, value: str, *, make: bool = True) -> None:
        """Keeps a small thing; the last value stands.

        Where there is no file yet and it isn't to ``make`` one, it waits in memory for the first thing that does; a
        log that is ``made_by_shots_only`` (a demonstration robot's) is never made for a small thing.
        """
        with self._lock:
            self._waiting[key] = value
            if self.path is None or self.path.exists() or (make and not self._made_by_shots_only):
                with self._writing():
                    pass  # writes what waits

    def close(self) -> None:
        """Closes the file; a closed store opens it again when used."""
        with self._lock:
            if self._db is not None and self.path is not None:
                self._db.close()
                self._db = None

    def __enter__(self) -> Store:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    # -- within -----------------------------------------------------------------------------------------------

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with self._lock, told_plainly(self.path):
            yield self._connection(make=False)

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with self._lock, told_plainly(self.path):
            if self._before_writing is not None:
                self._before_writing()
            db = self._connection(make=True)
            db.execute("BEGIN IMMEDIATE")  # takes the write lock before reading, so that no two processes interleave
            try:
                for key, value in self._waiting.items():
                    keep(db, f"kept {key}", value)
                yield db
                db.execute("COMMIT")
                self._waiting.clear()
            except BaseException:
                if db.in_transaction:
                    db.execute("ROLLBACK")
                raise

    def _connection(self, *, make: bool) -> sqlite3.Connection:
        if self._db is None and self.path is not None and (make or self.path.exists()):
            self._db = open_file(self.path)
        if self._db is not None:
            return self._db
        if self._empty is None:
            self._empty = blank()
        return self._empty

    def _mark(
        self, db: sqlite3.Connection, number: int, kind: Literal["undo", "exclude", "include"], reason: str | None
    ) -> Shot:
        shot = find_shot(db, number)
        last = db.execute("SELECT max(time) AS time FROM marks WHERE shot_uid = ?", (shot.uid,)).fetchone()["time"]
        # Always after the mark it follows, even if the clock was set back: the last mark by time is the one that
        # holds, in this copy and in any it is merged into.
        time = self._now() if last is None else max(self._now(), just_after(last))
        db.execute(
            "INSERT INTO marks (uid, shot_uid, kind, time, reason) VALUES (?, ?, ?, ?, ?)",
            (new_uid(), shot.uid, kind, time, reason),
        )
        return find_shot(db, number)

    def _present_epoch(self, db: sqlite3.Connection) -> int:
        present = kept(db, "epoch")
        return int(present) if present else self._begin_epoch(db, None)

    def _begin_epoch(self, db: sqlite3.Connection, label: str | None) -> int:
        cursor = db.execute("INSERT INTO epochs (uid, time, label) VALUES (?, ?, ?)", (new_uid(), self._now(), label))
        keep(db, "epoch", str(cursor.lastrowid))
        return int(cursor.lastrowid or 0)

    def _now(self) -> str:
        return stamp(self._clock())
