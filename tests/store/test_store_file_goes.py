"""A log that is deleted, moved, replaced or put back while a console is at it: nothing that was confirmed is lost."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from fieldtune.errors import StoreError
from fieldtune.records import UnansweredShot
from fieldtune.store import Store
from fieldtune.store.rescue_files import file_beside


def console(path: Path, name: str = "here") -> Store:
    store = Store(path)
    store.open_console(name)
    return store


def distances(store: Store) -> list[float]:
    return [shot.distance_m for shot in store.shots() if not shot.undone]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    store = Store(tmp_path / "heron.db")
    store.add(1.0, 1400.0, "in")
    store.close()
    return tmp_path / "heron.db"


def rescue(path: Path) -> Path:
    return path.with_name("heron-rescue.db")


def test_a_deleted_log_goes_on_in_a_rescue_file_and_is_put_back(path: Path) -> None:
    store = console(path)
    store.add(2.0, 1400.0, "in")
    store.keep_unanswered(UnansweredShot("x", "2026-03-01T09:00:00.000Z", 2.0, "robot", 1400.0, None, None, None, 1))
    path.unlink()
    store.version()  # a look
    assert store.file.said is not None
    assert "heron.db is gone" in store.file.said
    assert store.file.offer is not None
    assert "y puts heron.db back" in store.file.offer.words
    store.add(3.0, 1400.0, "short")
    store.swap("blue")
    assert distances(store) == [1.0, 2.0, 3.0]
    assert [shot.uid for shot in store.unanswered()] == ["x"]
    assert distances(Store(rescue(path))) == [1.0, 2.0, 3.0]  # on the disk
    assert store.file.accept() == "heron.db is back where it was"
    assert store.file.offer is None
    assert not rescue(path).exists()
    assert (distances(store), store.epoch, store.battery_label) == ([1.0, 2.0, 3.0], 2, "blue")
    assert distances(Store(path)) == [1.0, 2.0, 3.0]
    acts = [store.undo(), store.undo(), store.undo(), store.undo(), store.undo()]
    assert [act and (act.act, act.shot) for act in acts] == [
        ("swap", None), ("shot", 3), ("shot", 2), ("shot", 1), None,
    ]  # fmt: skip


def test_a_log_that_was_moved_away_and_comes_back_is_taken_up_and_misses_nothing(path: Path) -> None:
    store = console(path)
    away = path.with_name("elsewhere.db")
    path.rename(away)
    store.add(2.0, 1400.0, "in")
    store.correct(1, "long", None, None)
    store.swap("blue")
    away.rename(path)
    assert distances(store) == [1.0]
    assert store.epoch == 1
    assert store.file.said == "the log heron.db is back: 1 shots in it"
    assert store.file.offer is not None
    assert "y takes in 3 entries" in store.file.offer.words
    assert store.file.accept() == "taken in from heron-rescue.db: 3 entries"
    assert (distances(store), store.epoch) == ([1.0, 2.0], 2)
    assert store.shot(1).result == "long"
    assert not rescue(path).exists()
    assert [act and act.act for act in (store.undo(), store.undo(), store.undo())] == ["swap", "correct", "shot"]


def test_nothing_confirmed_meanwhile_leaves_nothing_to_offer(path: Path) -> None:
    store = console(path)
    away = path.with_name("elsewhere.db")
    path.rename(away)
    assert distances(store) == [1.0]
    away.rename(path)
    assert distances(store) == [1.0]
    assert store.file.offer is None
    assert not rescue(path).exists()


@pytest.mark.parametrize("taken", [True, False])
def test_an_older_copy_in_its_place_is_said_and_what_it_lacks_is_offered(path: Path, taken: bool) -> None:
    older = path.with_name("older.db")
    shutil.copy(path, older)
    store = console(path)
    store.add(2.0, 1400.0, "in")
    store.add(3.0, 1400.0, "in")
    os.replace(older, path)
    assert distances(store) == [1.0]
    assert store.file.said == "the log heron.db was replaced: 1 shots in it"
    assert store.file.offer is not None
    store.add(4.0, 1400.0, "in")
    if taken:
        store.file.accept()
        assert distances(store) == [1.0, 4.0, 2.0, 3.0]
    else:
        said = store.file.decline()
        assert said.startswith("it stays in heron-rescue-")
        (kept,) = path.parent.glob("heron-rescue-*.db")
        assert distances(Store(kept)) == [1.0, 2.0, 3.0]
        assert distances(store) == [1.0, 4.0]
        store.close_console()
        again = console(path, "again")
        assert again.file.offer is None
    assert not rescue(path).exists()


def test_two_consoles_whose_log_goes_share_the_rescue_file(path: Path) -> None:
    here, there = console(path), console(path, "there")
    path.unlink()
    here.add(2.0, 1400.0, "in")
    there.add(3.0, 1400.0, "in")
    assert distances(here) == distances(there) == [1.0, 2.0, 3.0]
    here.file.accept()
    there.add(4.0, 1400.0, "in")
    here.add(5.0, 1400.0, "in")
    assert distances(here) == distances(there) == distances(Store(path)) == [1.0, 2.0, 3.0, 4.0, 5.0]
    assert there.file.offer is None
    assert [act and act.shot for act in (there.undo(), there.undo())] == [4, 3]
    assert [act and act.shot for act in (here.undo(), here.undo(), here.undo(), here.undo())] == [5, 2, 1, None]


def test_one_console_takes_in_what_both_confirmed(path: Path) -> None:
    here, there = console(path), console(path, "there")
    away = path.with_name("elsewhere.db")
    path.rename(away)
    here.add(2.0, 1400.0, "in")
    there.add(3.0, 1400.0, "in")
    away.rename(path)
    here.version()
    here.file.accept()
    there.version()
    if there.file.offer is not None:
        there.file.accept()
    assert sorted(distances(here)) == sorted(distances(there)) == [1.0, 2.0, 3.0]
    assert not rescue(path).exists()


def test_a_console_that_ended_meanwhile_leaves_it_to_the_next(path: Path) -> None:
    store = console(path)
    path.unlink()
    store.add(2.0, 1400.0, "in")
    store.close_console()
    store.close()
    later = console(path, "later")
    assert later.shots() == ()
    assert later.file.offer is not None
    later.add(3.0, 1400.0, "in")  # makes a new log
    assert later.file.accept() == "taken in from heron-rescue.db: 3 entries"  # two shots and their period
    assert distances(later) == [3.0, 1.0, 2.0]


def test_a_file_that_is_no_log_in_its_place_is_said_and_nothing_goes_into_it(path: Path) -> None:
    store = console(path)
    path.unlink()
    path.write_text("not a log")
    store.add(2.0, 1400.0, "in")
    assert store.file.said is not None
    assert "not a readable shot log" in store.file.said
    assert path.read_text() == "not a log"
    assert distances(store) == [1.0, 2.0]
    assert distances(Store(rescue(path))) == [1.0, 2.0]
    path.unlink()
    assert store.file.accept() == "heron.db is back where it was"


def test_a_whole_folder_that_goes_leaves_the_rescue_file_elsewhere(tmp_path: Path) -> None:
    home = tmp_path / "profiles"
    home.mkdir()
    store = console(home / "heron.db")
    store.add(1.0, 1400.0, "in")
    shutil.rmtree(home)
    store.add(2.0, 1400.0, "in")
    kept = file_beside(store.path, "rescue")
    assert home not in kept.parents
    try:
        assert distances(Store(kept)) == [1.0, 2.0]
        store.file.accept()
        assert distances(Store(home / "heron.db")) == [1.0, 2.0]
    finally:
        kept.unlink(missing_ok=True)


def test_a_command_says_that_its_log_is_gone_and_writes_nothing(path: Path) -> None:
    store = Store(path)
    away = path.with_name("elsewhere.db")
    path.rename(away)
    with pytest.raises(StoreError, match="moved or deleted while it was in use"):
        store.add(2.0, 1400.0, "in")
    assert list(path.parent.glob("*.db")) == [away]
    away.rename(path)
    store.add(2.0, 1400.0, "in")
    assert distances(store) == [1.0, 2.0]


def test_what_a_command_did_stays_its_own_over_a_rescue(path: Path) -> None:
    store = console(path)
    Store(path).add(2.0, 1400.0, "in")
    store.add(3.0, 1400.0, "in")
    path.unlink()
    store.version()
    store.file.accept()
    assert [act and act.shot for act in (store.undo(), store.undo(), store.undo())] == [3, 1, None]
