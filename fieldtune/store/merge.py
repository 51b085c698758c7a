"""Taking in what another copy of the log holds: everything is told apart by its uid, so nothing comes in twice."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable

from fieldtune.errors import InputError
from fieldtune.records import Epoch, Mark, Shot


def take_in(
    db: sqlite3.Connection, shots: Iterable[Shot], marks: Iterable[Mark], epochs: Iterable[Epoch], origin: str
) -> tuple[int, int]:
    """Adds what isn't here yet, inside the caller's transaction; returns how many shots and marks were new.

    Epochs get numbers of their own here; the present epoch stays what it was. Raises ``InputError`` for a shot without
    its epoch or a mark without its shot.
    """
    numbers = {epoch.epoch: _epoch_number(db, epoch, origin) for epoch in epochs}
    new_shots = sum(_take_shot(db, shot, numbers, origin) for shot in shots)
    new_marks = sum(_take_mark(db, mark) for mark in marks)
    return new_shots, new_marks


def _epoch_number(db: sqlite3.Connection, epoch: Epoch, origin: str) -> int:
    row = db.execute("SELECT epoch FROM epochs WHERE uid = ?", (epoch.uid,)).fetchone()
    if row is not None:
        return int(row["epoch"])
    cursor = db.execute(
        "INSERT INTO epochs (uid, time, label, origin) VALUES (?, ?, ?, ?)",
        (epoch.uid, epoch.time, epoch.label, epoch.origin or origin),
    )
    return int(cursor.lastrowid or 0)


def _take_shot(db: sqlite3.Connection, shot: Shot, numbers: dict[int, int], origin: str) -> int:
    if shot.epoch not in numbers:
        raise InputError(f"{origin}: shot {shot.shot} belongs to epoch {shot.epoch}, which isn't in it; pack it again")
    return db.execute(
        "INSERT INTO shots (uid, time, distance_m, setpoint, result, epoch, miss_m, side_m, speed, battery_v, target,"
        " origin) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT (uid) DO NOTHING",
        (shot.uid, shot.time, shot.distance_m, shot.setpoint, shot.result, numbers[shot.epoch], shot.miss_m,
         shot.side_m, shot.speed, shot.battery_v, shot.target, shot.origin or origin),
    ).rowcount  # fmt: skip


def _take_mark(db: sqlite3.Connection, mark: Mark) -> int:
    if db.execute("SELECT 1 FROM shots WHERE uid = ?", (mark.shot_uid,)).fetchone() is None:
        raise InputError(f"a mark of {mark.time} belongs to a shot that isn't in the log; pack it again")
    return db.execute(
        "INSERT INTO marks (uid, shot_uid, kind, time, reason) VALUES (?, ?, ?, ?, ?) ON CONFLICT (uid) DO NOTHING",
        (mark.uid, mark.shot_uid, mark.kind, mark.time, mark.reason),
    ).rowcount
