"""Merging another copy of the log: everything is told apart by its uid, so nothing comes in twice."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable
from dataclasses import asdict

from fieldtune.errors import InputError
from fieldtune.records import FROM_MARKS, BatteryReading, Epoch, Mark, Shot
from fieldtune.store.rows import add, keep, kept

_MEASURED = ("distance_m", "setpoint", "result", "miss_m", "side_m", "speed", "battery_v", "target", "hood_deg")
"""What was confirmed of a shot, and so is the same in every copy."""


def merge_rows(
    db: sqlite3.Connection,
    shots: Iterable[Shot],
    marks: Iterable[Mark],
    epochs: Iterable[Epoch],
    origin: str,
    batteries: Iterable[BatteryReading] = (),
) -> tuple[int, int]:
    """Adds what isn't here yet, inside the caller's transaction; returns how many shots and marks were new.

    Epochs get numbers of their own here; the present epoch stays what it was. Raises ``InputError`` for a shot without
    its epoch, a mark without its shot, and a shot that is here with other figures.
    """
    numbers = {epoch.epoch: _epoch_number(db, epoch, origin) for epoch in epochs}
    new_shots = sum(_merge_shot(db, shot, numbers, origin) for shot in shots)
    new_marks = sum(_merge_mark(db, mark) for mark in marks)
    for reading in batteries:
        add(db, "batteries", asdict(reading))
    return new_shots, new_marks


def go_on_in(db: sqlite3.Connection, present: str | None) -> None:
    """A log in which nothing happened yet goes on in the epoch that the other copy stands in (uid ``present``).

    Of several copies it is the one begun last, so that the order in which they come is no matter.
    """
    own = "SELECT 1 FROM shots WHERE origin IS NULL UNION SELECT 1 FROM epochs WHERE origin IS NULL"
    if db.execute(own).fetchone() is not None:
        return
    sql = "SELECT epoch FROM epochs WHERE uid = ? OR epoch = ? ORDER BY time DESC, uid DESC LIMIT 1"
    latest = db.execute(sql, (present, kept(db, "epoch"))).fetchone()
    if latest is None:
        latest = db.execute("SELECT epoch FROM epochs ORDER BY epoch DESC LIMIT 1").fetchone()
    if latest is not None:
        keep(db, "epoch", str(latest["epoch"]))


def _epoch_number(db: sqlite3.Connection, epoch: Epoch, origin: str) -> int:
    row = db.execute("SELECT epoch FROM epochs WHERE uid = ?", (epoch.uid,)).fetchone()
    if row is not None:
        return int(row["epoch"])
    values = {**asdict(epoch), "origin": epoch.origin or origin}
    del values["epoch"]  # it gets another number here
    return add(db, "epochs", values)


def _merge_shot(db: sqlite3.Connection, shot: Shot, numbers: dict[int, int], origin: str) -> int:
    if shot.epoch not in numbers:
        raise InputError(f"{origin}: shot {shot.shot} belongs to epoch {shot.epoch}, which isn't in it; pack it again")
    here = db.execute(f"SELECT {', '.join(_MEASURED)} FROM shots WHERE uid = ?", (shot.uid,)).fetchone()
    if here is not None:
        if tuple(here) != tuple(getattr(shot, name) for name in _MEASURED):
            raise InputError(
                f"{origin}: shot {shot.shot} is in the log already with other figures; one of the two was edited: "
                "leave it out, or give it another uid"
            )
        return 0
    values = {name: value for name, value in asdict(shot).items() if name not in ("shot", *FROM_MARKS)}
    add(db, "shots", {**values, "epoch": numbers[shot.epoch], "origin": shot.origin or origin})
    return 1


def _merge_mark(db: sqlite3.Connection, mark: Mark) -> int:
    known = any(
        db.execute(f"SELECT 1 FROM {table} WHERE uid = ?", (mark.subject,)).fetchone()
        for table in ("shots", "marks", "epochs")
    )
    if not known:
        raise InputError(f"a mark of {mark.time} belongs to something that isn't in the log; pack it again")
    return 1 if add(db, "marks", asdict(mark)) else 0
