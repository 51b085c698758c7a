"""The shot log: only added to, marks, epochs, batteries, small things kept."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

import fieldtune.store
from fieldtune.errors import InputError
from fieldtune.store import Store


@pytest.fixture(params=["file", "memory"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Store:
    return Store(tmp_path / "heron.db" if request.param == "file" else None)


def test_a_shot_comes_back_as_it_was_given(store: Store) -> None:
    kept = store.add(1.8, 2450.0, "short", miss_m=-0.12, side_m=0.03, speed=2431.0, battery_v=12.4, target="low basket")
    assert store.shots() == (kept,)
    assert (kept.shot, kept.epoch, kept.undone, kept.excluded) == (1, 1, False, None)
    assert (kept.distance_m, kept.setpoint, kept.result, kept.miss_m) == (1.8, 2450.0, "short", -0.12)
    assert (kept.side_m, kept.speed, kept.battery_v, kept.target) == (0.03, 2431.0, 12.4, "low basket")


def test_what_was_not_given_stays_unknown(store: Store) -> None:
    kept = store.add(1.8, 2450.0, "in")
    assert (kept.miss_m, kept.side_m, kept.speed, kept.battery_v, kept.target) == (None,) * 5


def test_uids_differ_and_time_is_utc(tmp_path: Path) -> None:
    east = datetime(2026, 3, 1, 14, 0, 0, 250000, tzinfo=UTC) + timedelta(0)
    store = Store(tmp_path / "heron.db", clock=lambda: east)
    first, second = store.add(1.0, 2000.0, "in"), store.add(1.0, 2000.0, "in")
    assert first.uid != second.uid
    assert first.time == "2026-03-01T14:00:00.250Z"


def test_undo_takes_back_the_last_that_stands(store: Store) -> None:
    for distance in (1.0, 2.0, 3.0):
        store.add(distance, 2000.0, "in")
    undone = [store.undo() for _ in range(4)]
    assert [act and act.shot for act in undone] == [3, 2, 1, None]
    assert all(shot.undone for shot in store.shots())
    assert store.add(4.0, 2000.0, "in").shot == 4  # numbers are never used twice


def test_exclude_and_include_keep_their_reasons(store: Store) -> None:
    store.add(1.0, 2000.0, "in")
    out = store.exclude(1, "bounced off the rail")
    assert out.excluded == "bounced off the rail"
    assert not out.counts
    again = store.include(1)
    assert again.excluded is None
    assert again.counts
    assert [(mark.kind, mark.reason) for mark in store.marks()] == [
        ("exclude", "bounced off the rail"),
        ("include", None),
    ]


def test_marks_made_in_the_same_instant_keep_their_order(tmp_path: Path) -> None:
    store = Store(tmp_path / "heron.db", clock=lambda: datetime(2026, 3, 1, tzinfo=UTC))
    store.add(1.0, 2000.0, "in")
    store.exclude(1, "one")
    store.include(1)
    assert store.exclude(1, "two").excluded == "two"


def test_the_last_mark_holds_even_if_the_clock_was_set_back(tmp_path: Path) -> None:
    moments = [datetime(2026, 3, 1, tzinfo=UTC), datetime(2026, 3, 1, tzinfo=UTC), datetime(2001, 1, 1, tzinfo=UTC)]
    times = iter([*moments, moments[-1]])
    store = Store(tmp_path / "heron.db", clock=lambda: next(times))
    store.add(1.0, 2000.0, "in")
    store.exclude(1, "bounced")
    assert store.include(1).counts


def test_a_shot_that_is_not_there_is_named(store: Store) -> None:
    with pytest.raises(InputError, match="no shot 7"):
        store.exclude(7, "typo")


def test_a_shot_can_be_neither_deleted_nor_changed(tmp_path: Path) -> None:
    store = Store(tmp_path / "heron.db")
    store.add(1.0, 2000.0, "in")
    store.close()
    with sqlite3.connect(tmp_path / "heron.db") as db:
        for statement in ("DELETE FROM shots", "UPDATE shots SET setpoint = 1"):
            with pytest.raises(sqlite3.IntegrityError, match="only ever added"):
                db.execute(statement)


def test_swap_begins_a_numbered_epoch(store: Store) -> None:
    assert store.epoch == 1
    assert store.epochs() == ()
    assert store.swap("pack B") == 2
    assert store.epoch == 2
    assert store.add(1.0, 2000.0, "in").epoch == 2
    assert [(epoch.epoch, epoch.label) for epoch in store.epochs()] == [(1, None), (2, "pack B")]
    assert len({epoch.uid for epoch in store.epochs()}) == 2


def test_batteries_are_remembered_by_label(store: Store) -> None:
    store.add_battery("A", 0.09, 12.8)
    store.add_battery("B", 0.11, None)
    store.add_battery("A", 0.10, 12.6)
    assert [reading.resistance_ohm for reading in store.batteries("A")] == [0.09, 0.10]
    assert len(store.batteries()) == 3


def test_small_things_are_kept(store: Store) -> None:
    assert store.recall("port") is None
    store.remember("port", "/dev/ttyACM0")
    store.remember("port", "/dev/ttyACM1")
    assert store.recall("port") == "/dev/ttyACM1"


def test_a_small_thing_named_epoch_leaves_the_epoch_alone(store: Store) -> None:
    store.remember("epoch", "99")
    assert store.epoch == 1


def test_looking_makes_no_file(tmp_path: Path) -> None:
    store = Store(tmp_path / "heron.db")
    assert store.shots() == ()
    assert store.epoch == 1
    assert store.recall("port") is None
    assert list(tmp_path.iterdir()) == []


def test_one_file_remains_when_nothing_is_being_written(tmp_path: Path) -> None:
    store = Store(tmp_path / "heron.db")
    store.add(1.0, 2000.0, "in")
    assert [path.name for path in tmp_path.iterdir()] == ["heron.db"]  # so that a plain copy is a whole backup


def test_a_store_sees_at_once_what_another_one_wrote(tmp_path: Path) -> None:
    path = tmp_path / "heron.sqlite"
    with closing(Store(path)) as here, closing(Store(path)) as there:
        assert here.shots() == ()
        there.add(2.0, 1280.0, "in")
        assert [s.result for s in here.shots()] == ["in"]
        here.add(2.2, 1300.0, "short")
        there.undo()
        assert [s.undone for s in here.shots()] == [s.undone for s in there.shots()] == [False, True]
        assert here.shots() is here.shots()


def test_a_closed_store_opens_again(tmp_path: Path) -> None:
    with closing(Store(tmp_path / "heron.db")) as store:
        store.add(1.0, 2000.0, "in")
    assert len(store.shots()) == 1


def test_names_with_odd_signs_are_only_text(store: Store) -> None:
    label = "B'); DROP TABLE shots; -- \x1b[31m[bold]"
    store.swap(label)
    assert store.epochs()[1].label == label


def test_no_numbered_placeholders() -> None:
    """Python 3.14 refuses ``?1`` with a sequence (docs of sqlite3, Cursor.execute: changed in version 3.14)."""
    texts = {path.name: path.read_text("utf-8") for path in Path(fieldtune.store.__file__).parent.glob("*.py")}
    assert "store.py" in texts
    assert {name for name, text in texts.items() if re.search(r"\?\d", text)} == set()
