"""A damaged row of the log is named and left out while the others serve, and dated copies of the log lie beside it."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from fieldtune import Session, load_robot
from fieldtune.errors import StoreError
from fieldtune.robot.home import demo_home
from fieldtune.store import Store, row_checks, rows
from fieldtune.store.backups import KEPT

Run = Callable[..., Any]


def change(path: Path, *statements: str) -> None:
    """Changes a log as a hand or a faulty disk would, past its guards."""
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA foreign_keys = OFF")
    triggers = db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
    for name, _ in triggers:
        db.execute(f"DROP TRIGGER {name}")
    for statement in statements:
        db.execute(statement)
    for _, sql in triggers:
        db.execute(sql)
    db.close()


@pytest.fixture
def path(tmp_path: Path) -> Path:
    store = Store(tmp_path / "heron.db")
    for number in range(5):
        store.add(1.0 + number, 1300.0 + number, "in" if number % 2 else "short")
    store.exclude(2, "bounced")
    store.swap("red")
    store.add(2.5, 1333.0, None, miss_m=0.1)
    store.close()
    return tmp_path / "heron.db"


@pytest.mark.parametrize(
    ("statement", "named"),
    [
        ("UPDATE shots SET distance_m = 3.25 WHERE shot = 3", "shot 3 is damaged"),
        ("UPDATE shots SET result = 'inn' WHERE shot = 3", "shot 3 is damaged"),
        ("UPDATE shots SET uid = 'x' WHERE shot = 3", "shot 3 is damaged"),
        ("UPDATE shots SET result = CAST(x'ff00fe' AS TEXT) WHERE shot = 3", "shot 3 is damaged"),
        ("DELETE FROM shots WHERE shot = 3", "a shot is missing"),
    ],
)
def test_a_damaged_shot_is_named_and_the_others_serve(path: Path, statement: str, named: str) -> None:
    before = Store(path).shots()
    change(path, statement)
    store = Store(path)
    assert store.shots() == tuple(shot for shot in before if shot.shot != 3)
    (told,) = store.damaged()
    assert told.startswith(named)
    assert store.add(1.0, 1300.0, "in").shot == 7  # and the log goes on
    store.close()
    again = Store(path)
    assert again.damaged() == (told,)
    assert len(again.shots()) == 6


def test_values_that_cannot_be_are_damage_even_with_their_checksum(path: Path) -> None:
    change(path, "DELETE FROM sums", "UPDATE shots SET result = 'sideways' WHERE shot = 1")
    db = sqlite3.connect(path, isolation_level=None)
    db.execute("PRAGMA user_version = 4")  # as an older log, whose rows get their checksums when it is brought up
    for name in ("shots", "epochs", "marks", "unanswered", "batteries", "acts", "meta"):
        db.execute(f"DROP TRIGGER {name}_summed_on_insert")
    db.execute("DROP TRIGGER meta_summed_on_update")
    db.execute("DROP TRIGGER unanswered_summed_on_update")
    db.execute("DROP TABLE sums")
    db.execute("DROP TABLE set_aside")
    for name in ("shots", "unanswered"):
        db.execute(f"ALTER TABLE {name} DROP COLUMN hood_deg")
    db.close()
    Store(path).close()
    store = Store(path)
    assert [shot.shot for shot in store.shots()] == [2, 3, 4, 5, 6]
    assert "sideways" in store.damaged()[0]


def test_damage_in_a_log_from_before_hoods_is_named_when_it_is_brought_up(tmp_path: Path) -> None:
    """A log of version 5 has checksums, but no exit angles: they stay as they were, and tell of damage."""
    path = tmp_path / "heron.db"
    db = sqlite3.connect(path, isolation_level=None)
    row_checks.add_function(db)
    rows.migrate(db, upto=5)
    db.execute("INSERT INTO epochs (epoch, uid, time) VALUES (1, 'e', '2026-01-01T00:00:00.000Z')")
    for shot in (1, 2, 3):
        db.execute(
            "INSERT INTO shots (uid, time, distance_m, setpoint, result, epoch) VALUES (?, ?, 2.0, 1500, 'in', 1)",
            (f"s{shot}", f"2026-01-01T00:00:0{shot}.000Z"),
        )
    sums = dict(db.execute("SELECT of, sum FROM sums").fetchall())
    db.execute("DROP TRIGGER shots_keep")
    db.execute("UPDATE shots SET setpoint = 1900 WHERE shot = 2")
    db.execute(
        "CREATE TRIGGER shots_keep BEFORE UPDATE ON shots BEGIN SELECT RAISE(ABORT, 'shots are only ever added'); END"
    )
    db.close()
    store = Store(path)
    assert [(shot.shot, shot.hood_deg) for shot in store.shots()] == [(1, None), (3, None)]
    assert store.damaged()[0].startswith("shot 2 is damaged")
    assert store.add(2.0, 1500.0, "in", hood_deg=48.0).hood_deg == 48.0
    store.close()
    now = dict(sqlite3.connect(path).execute("SELECT of, sum FROM sums").fetchall())
    assert all(now[of] == sums[of] for of in ("shots s1", "shots s3"))
    assert len(Store(path).damaged()) == 1


def test_a_damaged_period_keeps_its_shots_and_a_lost_present_one_is_the_newest(path: Path) -> None:
    change(path, "UPDATE epochs SET label = 'rex' WHERE epoch = 2", "UPDATE meta SET value = '1' WHERE key = 'epoch'")
    store = Store(path)
    assert [shot.epoch for shot in store.shots()] == [1, 1, 1, 1, 1, 2]
    assert store.epoch == 2
    assert [told.split(":")[0] for told in store.damaged()] == [
        "battery period 2 is damaged",
        "a small thing kept is damaged",
    ]


def test_what_was_damaged_is_said_with_the_recommendation_and_by_check(run: Run, home: Path) -> None:
    run("shot", "heron", "--distance", "2 m", "--setpoint", "1300", "--result", "in")
    run("shot", "heron", "--distance", "2 m", "--setpoint", "1310", "--result", "in")
    assert "nothing damaged" in run("check", "heron", "--log").out
    change(home / "heron.db", "UPDATE shots SET setpoint = 2600 WHERE shot = 2")
    assert "an entry of the shot log was damaged and left out" in run("aim", "heron", "--distance", "2 m").out
    said = run("check", "heron", "--log").out
    assert "1 shot sound" in said
    assert "shot 2 is damaged" in said
    assert "2600" in said
    found = json.loads(run("check", "heron", "--log", "--json").out)["log"]
    assert (found["shots"], len(found["damaged"])) == (1, 1)


def test_a_changed_schema_or_an_impossible_version_is_refused(path: Path) -> None:
    for statement in ("DROP TRIGGER shots_keep", "DROP INDEX shots_seen", "PRAGMA user_version = -2"):
        copy = path.with_name("copy.db")
        copy.write_bytes(path.read_bytes())
        db = sqlite3.connect(copy, isolation_level=None)
        db.execute(statement)
        db.close()
        with pytest.raises(StoreError, match="not a readable shot log"):
            Store(copy)


def test_copies_lie_beside_the_log_and_stay_few(path: Path, tmp_path: Path) -> None:
    other = Store()
    other.add(1.0, 1300.0, "in")
    store = Store(path)
    for _ in range(KEPT + 2):
        store.merge(other.shots_as_confirmed(), other.marks(), other.epochs(), "pit")
    copies = sorted((tmp_path / "backups").iterdir())
    assert len(copies) == KEPT
    assert len(Store(copies[-1]).shots()) == 7  # the log as it was before the last merge
    assert all(copy.name.startswith("heron 20") for copy in copies)


def test_a_console_copies_the_log_once_a_day(tmp_path: Path) -> None:
    with Session(load_robot(demo_home() / "heron.toml"), tmp_path / "heron.db") as session:
        session.confirm(2.0, 1300.0, "in")
        for author in ("one", "two"):
            session.log.open_console(author)
    assert len(list((tmp_path / "backups").iterdir())) == 1


def test_a_refused_log_names_the_newest_copy(path: Path, tmp_path: Path) -> None:
    store = Store(path)
    store.open_console("one")
    store.close()
    (copy,) = (tmp_path / "backups").iterdir()
    path.write_bytes(b"SQLite format 3\0junk")
    with pytest.raises(StoreError, match=copy.name):
        Store(path)
    assert datetime.strptime(copy.stem[6:], "%Y-%m-%d %H%M%S.%f").replace(tzinfo=UTC) > datetime.now(UTC) - timedelta(1)
