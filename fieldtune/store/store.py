"""One robot's shot log: shots only ever added, marks that undo, correct or leave them out, epochs, batteries."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Collection, Iterable
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path

from fieldtune.errors import InputError
from fieldtune.records import Act, BatteryReading, Epoch, Mark, MarkKind, Result, Shot, UnansweredShot
from fieldtune.store import acts, row_checks, rows
from fieldtune.store.backups import back_up, back_up_today
from fieldtune.store.log_file import LogFile
from fieldtune.store.merge import go_on_in, merge_rows
from fieldtune.store.open_file import NoRoom

Clock = Callable[[], datetime]


def utc_now() -> datetime:
    """The present moment, in UTC."""
    return datetime.now(UTC)


class Store:
    """The log at ``path``, or one in memory when ``path`` is None.

    The file is made by the first thing written, not by looking. Every write is one durable transaction, so several
    processes may share a file; a ``Store`` may be used from several threads. ``file`` says what became of the file
    while it was in use. ``before_writing`` is called before each write: a demonstration robot's profile is copied
    beside its log then. Raises ``StoreError``.
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
        self._made_by_shots_only = made_by_shots_only
        self._author: str | None = None
        self._arrival: acts.Arrival | None = None
        self._read: tuple[object, tuple[Shot, ...]] | None = None
        self.file = LogFile(self.path, before_writing, self._opened)
        self._reading, self._writing, self.close = self.file.reading, self.file.writing, self.file.close

    def version(self) -> object:
        """Something that differs after every change, also by another process, and when another file takes its place."""
        with self._reading() as db:
            return self.file.opens, db.total_changes, int(db.execute("PRAGMA data_version").fetchone()[0])

    def evidence(self, beside: Collection[str] = (), wait_s: float | None = None) -> str:
        """A digest of all that answers rest on; it changes with every shot, mark, battery period, reading, small thing.

        ``beside``: keys of small things that don't count. ``wait_s``: as for ``recall``.
        """
        with self._reading(wait_s) as db:
            return row_checks.digest(db, [acts.OPEN_CONSOLES, *(f"kept {key}" for key in beside)])

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
        hood_deg: float | None = None,
    ) -> Shot:
        """Adds a shot; when this returns, it is on the disk.

        ``epoch``, ``time``: the battery period and moment it left in, now where None. ``seen``: uid of the unanswered
        shot that this is the answer to. ``match``, ``batch``: labels. ``hood_deg``: exit angle at which the hood stood.
        """
        with self._writing() as db:
            known = self._read[1] if self._read is not None and self._read[0] == self.version() else None
            present = rows.present_epoch(db, self._now())  # begins the first
            number = epoch or present
            if db.execute("SELECT 1 FROM epochs WHERE epoch = ?", (number,)).fetchone() is None:
                raise InputError(f"there is no battery period {number} in the log")
            values = {
                "uid": rows.new_uid(), "time": time or self._now(), "distance_m": distance_m, "setpoint": setpoint,
                "result": result, "epoch": number, "miss_m": miss_m, "side_m": side_m, "speed": speed,
                "battery_v": battery_v, "target": target, "distance_from": distance_from, "seen": seen,
                "match": match, "batch": batch, "hood_deg": hood_deg,
            }  # fmt: skip
            added = rows.add(db, "shots", values)
            acts.note(db, str(values["uid"]), "shot", self._author)
            shot, state = rows.find_shot(db, added), self.version()
        if known is not None:  # else a long log would be read whole again after every shot
            self._read = state, (*known, shot)
        return shot

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
            return acts.mark(db, self._now(), self._author, uid, "discard")

    # -- undo and redo ------------------------------------------------------------------------------------------------

    def open_console(self, author: str) -> None:
        """From now on acts are this console's; it undoes none of consoles that are open beside it."""
        self.file.begin_rescues()
        with self._reading() as db:
            if self.path is not None and self.path.exists():
                back_up_today(db, self.path)
        try:
            self._arrive(author)
        except NoRoom as error:  # it can be read all the same
            self.file.said = str(error)
        self.file.look_for_rescue()

    def close_console(self) -> None:
        """This console ends: its acts may be undone by the next."""
        self.file.settle()
        with self._writing(make=False) as db:
            acts.leave(db, self._author)

    @property
    def console_beside(self) -> bool:
        """Whether another console has this log open."""
        with self._reading() as db:
            return acts.console_beside(db, self._clock(), self._author)

    def undo(self) -> Act | None:
        """Undoes the last act done here that still stands and says which; None where there is none."""
        with self._writing(make=False) as db:
            return acts.undo(db, self._now(), self._author, self._own(db))

    def undo_swap(self, epoch: int) -> Act | None:
        """Undoes the change that began that epoch, also behind shots: they move to the one before."""
        with self._writing(make=False) as db:
            return acts.undo_one(db, self._now(), self._author, rows.uid_of_epoch(db, epoch))

    def redo(self) -> Act | None:
        """Does the act again that was undone last and says which; None where something new was done since."""
        with self._writing(make=False) as db:
            return acts.redo(db, self._now(), self._author, self._own(db))

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
            before = rows.present_epoch(db, self._now())  # a swap before any shot still leaves epoch 1 in the log
            number = rows.begin_epoch(db, self._now(), label, before)
            acts.note(db, rows.uid_of_epoch(db, number), "swap", self._author)
            return number

    def label_battery(self, label: str) -> str:
        """Names the battery that is in now."""
        with self._writing() as db:
            uid = rows.uid_of_epoch(db, rows.present_epoch(db, self._now()))
            acts.mark(db, self._now(), self._author, uid, "label", label)
            return label

    def measure(self, words: str) -> str:
        """Keeps a measurement, as ``learn.measured`` writes it, in the present battery period; returns its uid."""
        with self._writing() as db:
            uid = rows.uid_of_epoch(db, rows.present_epoch(db, self._now()))
            return acts.mark(db, self._now(), self._author, uid, "measure", words)

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
            go_on_in(db, present)
            return new

    # -- batteries and other things kept ------------------------------------------------------------------------------

    def add_battery(
        self, label: str | None, resistance_ohm: float | None = None, rest_v: float | None = None
    ) -> BatteryReading:
        """Keeps what was found out about the battery of that label."""
        reading = BatteryReading(rows.new_uid(), self._now(), label, resistance_ohm, rest_v)
        with self._writing() as db:
            rows.add(db, "batteries", asdict(reading))
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

    def recall(self, key: str, wait_s: float | None = None) -> str | None:
        """A small thing kept beside the log (last good port, caution read), or None.

        ``wait_s``: how long to wait for another program that has the log locked, the usual time where None.
        """
        with self._reading(wait_s) as db:
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

    # -- within -------------------------------------------------------------------------------------------------------

    def _arrive(self, author: str) -> None:
        with self._writing(make=False) as db:
            self._arrival = acts.arrive(db, self._clock(), author)
        self._author = author

    def _opened(self, db: sqlite3.Connection, before: sqlite3.Connection | None) -> None:
        """Another connection: a console arrives at the log again, and what others did in it is none of its own."""
        if self._arrival is not None:
            last = acts.same_act(self._arrival.last, before or db, db)
            with rows.transaction(db):
                self._arrival = acts.arrive(db, self._clock(), self._arrival.author, last)

    def _own(self, db: sqlite3.Connection) -> acts.Own:
        return acts.own_of_commands(db, self._clock()) if self._arrival is None else self._arrival.own

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
            acts.mark(db, self._now(), self._author, shot.uid, kind, reason, result, miss_m, side_m)
            return rows.find_shot(db, number)

    def _now(self) -> str:
        return rows.stamp(self._clock())
