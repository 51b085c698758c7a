"""A log that another program has locked: a console says so, keeps all in a waiting file, and writes it later."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from fieldtune.errors import StoreError
from fieldtune.records import UnansweredShot
from fieldtune.store import Store, log_file, open_file

LOCKS = ["BEGIN IMMEDIATE", "BEGIN EXCLUSIVE", "BEGIN; SELECT * FROM shots"]
SAID_S = 5.0
"""On a machine that is busy elsewhere; what commands wait for a lock is twice that."""


@pytest.fixture(autouse=True)
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log_file, "_CONSOLE_WAIT_S", 0.2)
    monkeypatch.setattr(log_file, "_AGAIN_S", 0.0)
    monkeypatch.setattr(log_file, "_SETTLES_S", 0.2)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    Store(tmp_path / "heron.db").add(1.0, 1400.0, "in")
    return tmp_path / "heron.db"


@contextmanager
def locked(path: Path, how: str) -> Iterator[sqlite3.Connection]:
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA cache_size = 5")  # so that more than a few pages go to the file before the end
    cursor = None
    for statement in how.split("; "):
        cursor = other.execute(statement)
        cursor.fetchone()  # a reader amid its rows
    try:
        yield other
    finally:
        other.execute("ROLLBACK")
        other.close()


def console(path: Path, name: str = "here") -> Store:
    store = Store(path)
    store.open_console(name)
    return store


def distances(store: Store) -> list[float]:
    return [shot.distance_m for shot in store.shots() if not shot.undone]


def waiting(path: Path) -> Path:
    return path.with_name("heron-waiting.db")


def seen(uid: str) -> UnansweredShot:
    return UnansweredShot(uid, "2026-03-01T10:00:00.000Z", 2.0, None, 1400.0, None, None, None)


@pytest.mark.parametrize("how", LOCKS)
def test_what_is_confirmed_while_locked_is_said_kept_and_written_later(path: Path, how: str) -> None:
    store = console(path)
    with locked(path, how):
        start = time.monotonic()
        store.add(2.0, 1400.0, "short")
        assert time.monotonic() - start < SAID_S
        assert store.file.said == (
            "another program keeps heron.db locked: what is confirmed waits in heron-waiting.db and goes into the log "
            "when that ends"
        )
        store.correct(1, "long", None, None)
        assert distances(store) == [1.0, 2.0]
        assert distances(Store(waiting(path))) == [1.0, 2.0]  # on the disk
    assert distances(store) == [1.0, 2.0]
    assert store.file.said == "heron.db is no longer locked: 2 entries written to it"
    fresh = Store(path)
    assert distances(fresh) == [1.0, 2.0]
    assert fresh.shot(1).result == "long"
    assert len(fresh.epochs()) == 1
    assert store._arrival is not None
    assert store._arrival.last == 1  # what was done before this console came can be undone here too
    assert sorted(p.name for p in path.parent.iterdir()) == ["backups", "heron.db"]
    assert [act and act.act for act in (store.undo(), store.undo())] == ["correct", "shot"]


@pytest.mark.parametrize("how", LOCKS[:2])
def test_a_log_locked_from_the_start_can_be_shot_on_with_all_it_holds(path: Path, how: str) -> None:
    with locked(path, how):
        start = time.monotonic()
        store = console(path)
        assert distances(store) == [1.0]
        assert time.monotonic() - start < SAID_S
        store.add(2.0, 1400.0, "in")
    assert distances(store) == distances(Store(path)) == [1.0, 2.0]
    store.add(3.0, 1400.0, "in")
    assert distances(Store(path)) == [1.0, 2.0, 3.0]


def test_what_another_program_had_half_written_is_not_taken_for_the_log(path: Path) -> None:
    store = console(path)
    with locked(path, "BEGIN IMMEDIATE") as other:
        before = path.read_bytes()
        other.execute("CREATE TABLE filler (words TEXT)")
        for _ in range(200):
            other.execute("INSERT INTO filler VALUES (?)", ("x" * 1000,))
        assert path.read_bytes() != before
        store.add(2.0, 1400.0, "in")
        assert distances(store) == [1.0, 2.0]
        with store._reading() as db:
            assert db.execute("SELECT count(*) FROM sqlite_master WHERE name = 'filler'").fetchone()[0] == 0
    assert distances(store) == distances(Store(path)) == [1.0, 2.0]


def test_a_console_that_ends_while_locked_leaves_it_to_the_next(path: Path) -> None:
    store = console(path)
    with locked(path, "BEGIN EXCLUSIVE"):
        store.add(2.0, 1400.0, "in")
        store.keep_unanswered(seen("u"))
        store.close()
    assert distances(Store(path)) == [1.0]
    following = console(path, "next")
    assert following.file.said == "1 entry that waited in heron-waiting.db went into the log"
    assert distances(following) == distances(Store(path)) == [1.0, 2.0]
    assert not waiting(path).exists()
    with locked(path, "BEGIN EXCLUSIVE"):  # again, with another waiting file
        following.add(3.0, 1400.0, "in")
    assert distances(following) == [1.0, 2.0, 3.0]


def test_a_console_started_while_locked_goes_on_with_what_waits(path: Path) -> None:
    with locked(path, "BEGIN EXCLUSIVE"):
        store = console(path)
        store.add(2.0, 1400.0, "in")
        store.close()
        again = console(path)
        assert distances(again) == [1.0, 2.0]
        again.add(3.0, 1400.0, "in")
    assert distances(again) == distances(Store(path)) == [1.0, 2.0, 3.0]


def test_a_console_that_ends_waits_for_the_lock_to_go(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(log_file, "_SETTLES_S", 5.0)
    store = console(path)
    with locked(path, "BEGIN EXCLUSIVE"):
        store.add(2.0, 1400.0, "in")
    store.close_console()  # no look in between
    assert distances(Store(path)) == [1.0, 2.0]
    assert not waiting(path).exists()


def test_two_consoles_share_the_waiting_file_and_lose_nothing(path: Path) -> None:
    one, two = console(path, "one"), console(path, "two")
    with locked(path, "BEGIN IMMEDIATE"):
        one.add(2.0, 1400.0, "in")
        two.add(3.0, 1400.0, "in")
        assert distances(one) == distances(two) == [1.0, 2.0, 3.0]
    assert distances(one) == [1.0, 2.0, 3.0]
    two.add(4.0, 1400.0, "in")
    assert distances(two) == distances(one) == distances(Store(path)) == [1.0, 2.0, 3.0, 4.0]
    assert one.file.offer is two.file.offer is None
    assert [act and act.shot for act in (one.undo(), one.undo(), one.undo())] == [2, 1, None]


def test_a_log_that_goes_while_it_is_locked_is_in_the_rescue_file(path: Path) -> None:
    store = console(path)
    with locked(path, "BEGIN EXCLUSIVE"):
        store.add(2.0, 1400.0, "in")
        path.unlink()
        assert distances(store) == [1.0, 2.0]
    assert store.file.accept() == "heron.db is back where it was"
    assert distances(Store(path)) == [1.0, 2.0]
    assert not waiting(path).exists()


def test_a_command_says_that_the_log_is_locked_and_writes_nothing(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(open_file, "_WAIT_S", 0.3)
    store = Store(path)
    with locked(path, "BEGIN IMMEDIATE"), pytest.raises(StoreError, match="keeps the shot log locked"):
        store.add(2.0, 1400.0, "in")
    assert distances(store) == [1.0]
    assert not waiting(path).exists()


def test_shots_that_wait_in_memory_outlive_a_lock_and_a_rescue(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    store = console(path)
    store.keep_unanswered(seen("u"))  # no file yet
    Store(path).save()
    with locked(path, "BEGIN IMMEDIATE"):
        assert [shot.uid for shot in store.unanswered()] == ["u"]
    assert [shot.uid for shot in store.unanswered()] == ["u"]
    path.rename(tmp_path / "heron-rescue.db")
    other = console(path, "other")
    other.keep_unanswered(seen("v"))
    assert other.file.accept() == "heron.db is back where it was"
    assert "v" in [shot.uid for shot in other.unanswered()]
