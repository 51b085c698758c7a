"""Undo and redo: every act, in order, over restarts, each console its own; nothing is ever taken out of the log."""

from __future__ import annotations

import os
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from fieldtune.records import Act, UnansweredShot
from fieldtune.store import Store, rows


@pytest.fixture(params=["file", "memory"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Store:
    return Store(tmp_path / "heron.db" if request.param == "file" else None)


def seen(uid: str, **values: float) -> UnansweredShot:
    return UnansweredShot(uid, "2026-03-01T09:00:00.000Z", 2.0, "robot", 1400.0, 1395.0, 9.8, None, 1, **values)


def content(store: Store) -> tuple[object, ...]:
    """Everything that a person sees of the log."""
    return store.shots(), store.epoch, store.battery_label, store.unanswered()


def test_every_act_is_undone_and_redone_in_order(store: Store) -> None:
    store.keep_unanswered(seen("x"))
    steps = [
        lambda: store.add(2.0, 1400.0, "in"),
        lambda: store.correct(1, "short", -0.2, None),
        lambda: store.exclude(1, "bounced"),
        lambda: store.include(1),
        lambda: store.correct(1, "long", None, None),
        lambda: store.swap("blue 3"),
        lambda: store.label_battery("blue 4"),
        lambda: store.add(2.2, 1450.0, "in", seen="x", epoch=1),
        lambda: store.discard("y"),
    ]
    store.keep_unanswered(seen("y"))
    before = [content(store)]
    for step in steps:
        step()
        before.append(content(store))
    kinds = ["shot", "correct", "exclude", "include", "correct", "swap", "label", "shot", "discard"]
    for number in range(len(steps), 0, -1):
        act = store.undo()
        assert act is not None
        assert act.act == kinds[number - 1]
        shots, *rest = content(store)
        wanted, *others = before[number - 1]
        assert [shot for shot in shots if not shot.undone] == [shot for shot in wanted if not shot.undone]
        assert rest == others
    assert store.undo() is None
    for number in range(1, len(steps) + 1):
        act = store.redo()
        assert act is not None
        assert act.act == kinds[number - 1]
    assert content(store) == before[-1]
    assert store.redo() is None


def test_something_new_ends_what_can_be_redone(store: Store) -> None:
    store.add(2.0, 1400.0, "in")
    store.undo()
    store.add(2.1, 1400.0, "in")
    assert store.redo() is None
    assert [shot.undone for shot in store.shots()] == [True, False]


def test_shots_of_an_undone_battery_change_belong_to_the_period_before(store: Store) -> None:
    store.add(2.0, 1400.0, "in")
    store.swap("B")
    other_hand = store.add(2.0, 1400.0, "in")
    assert other_hand.epoch == 2
    store.undo()
    store.undo()
    assert store.epoch == 1
    assert store.add(2.0, 1400.0, "in", epoch=2).epoch == 1
    assert store.swap("C") == 3
    assert store.epoch == 3
    store.undo()
    assert store.epoch == 1  # never to the one that was undone before


def test_a_battery_change_is_undone_also_behind_shots(store: Store) -> None:
    store.add(2.0, 1400.0, "in")
    store.swap("B")
    store.add(2.1, 1400.0, "in")
    undone = store.undo_swap(2)
    assert undone is not None
    assert (undone.act, undone.epoch) == ("swap", 2)
    assert [(shot.undone, shot.epoch) for shot in store.shots()] == [(False, 1), (False, 1)]
    assert store.undo_swap(2) is None
    assert store.undo_swap(1) is None  # no change began it
    redone = store.redo()
    assert redone is not None
    assert redone.act == "swap"
    assert [shot.epoch for shot in store.shots()] == [1, 2]


def test_a_correction_keeps_what_was_confirmed_first(store: Store) -> None:
    store.add(2.0, 1400.0, "in", miss_m=0.02)
    corrected = store.correct(1, "short", None, None)
    assert (corrected.result, corrected.miss_m, corrected.corrected) == ("short", None, True)
    (first,) = store.shots_as_confirmed()
    assert (first.result, first.miss_m) == ("in", 0.02)


def test_undo_and_redo_go_on_after_a_restart(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    with_shots = Store(path)
    with_shots.open_console("one")
    with_shots.add(2.0, 1400.0, "in")
    with_shots.add(2.1, 1400.0, "short")
    with_shots.undo()
    with_shots.close_console()
    with_shots.close()
    again = Store(path)
    again.open_console("two")
    redone = again.redo()
    assert redone is not None
    assert redone.shot == 2
    assert [act and act.shot for act in (again.undo(), again.undo(), again.undo())] == [2, 1, None]


def test_two_consoles_undo_their_own_and_see_each_others(tmp_path: Path) -> None:
    here, there = Store(tmp_path / "heron.db"), Store(tmp_path / "heron.db")
    here.open_console("here")
    there.open_console("there")
    here.add(1.0, 1400.0, "in")
    there.add(2.0, 1400.0, "in")
    here.add(3.0, 1400.0, "in")
    there.correct(1, "short", None, None)
    assert here.shots() == there.shots()
    assert [act and (act.act, act.shot) for act in (there.undo(), there.undo(), there.undo())] == [
        ("correct", 1), ("shot", 2), None
    ]  # fmt: skip
    assert [act and act.shot for act in (here.undo(), here.undo(), here.undo())] == [3, 1, None]
    redone = there.redo()
    assert redone is not None
    assert (redone.act, redone.shot) == ("shot", 2)


def test_two_consoles_and_commands_each_undo_only_what_they_did(tmp_path: Path) -> None:
    def command() -> Store:  # a process of its own each time
        return Store(tmp_path / "heron.db")

    def numbers(*done: Act | None) -> list[int | None]:
        return [act and act.shot for act in done]

    command().add(1.0, 1400.0, "in")  # before any console
    here, there = Store(tmp_path / "heron.db"), Store(tmp_path / "heron.db")
    here.open_console("here")
    command().add(2.0, 1400.0, "in")
    there.open_console("there")
    here.add(3.0, 1400.0, "in")
    command().add(4.0, 1400.0, "in")
    there.add(5.0, 1400.0, "in")
    assert numbers(here.undo()) == [3]
    assert numbers(command().undo()) == [4]
    assert numbers(command().redo(), there.redo(), here.redo()) == [4, None, 3]
    assert numbers(there.undo(), command().undo(), command().undo()) == [5, 4, 2]
    assert numbers(here.undo(), here.undo(), here.undo()) == [3, 1, None]
    there.close_console()
    assert numbers(command().redo(), here.redo()) == [2, 1]
    assert numbers(command().undo(), command().undo(), command().undo()) == [2, 1, None]  # 3 is an open console's
    assert command().console_beside
    here.redo()
    here.close_console()
    assert not command().console_beside
    assert numbers(command().undo()) == [3]


def test_a_command_that_made_the_log_of_a_running_console_keeps_its_acts(tmp_path: Path) -> None:
    console = Store(tmp_path / "heron.db", made_by_shots_only=True)
    console.open_console("here")
    assert console.shots() == ()
    Store(tmp_path / "heron.db").add(1.0, 1400.0, "in")
    assert len(console.shots()) == 1
    assert console.undo() is None


def test_what_a_console_left_when_it_was_killed_is_the_next_ones(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    code = (
        "import os, signal, sys\nfrom fieldtune.records import UnansweredShot\nfrom fieldtune.store import Store\n"
        "store = Store(sys.argv[1])\nstore.open_console('gone')\nstore.add(1.8, 1400.0, 'in')\n"
        "store.keep_unanswered(UnansweredShot('x', '2026-03-01T09:00:00.000Z', 2.0, None, 1400.0, None, None, None))\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    subprocess.run([sys.executable, "-c", code, str(path)], check=False)
    store = Store(path)
    assert store.unanswered() == ()
    store.open_console("next")
    assert [shot.uid for shot in store.unanswered()] == ["x"]
    act = store.undo()
    assert act is not None
    assert act.shot == 1


def test_undoing_an_answer_asks_again_with_all_that_was_known(store: Store) -> None:
    store.keep_unanswered(seen("x"))
    store.add(2.0, 1400.0, "in", speed=1395.0, seen="x")
    assert store.unanswered() == ()
    store.undo()
    assert [shot.speed for shot in store.unanswered()] == [1395.0]
    store.redo()
    assert store.unanswered() == ()


def test_a_shot_without_a_result_makes_no_file_but_outlives_its_making(tmp_path: Path) -> None:
    store = Store(tmp_path / "heron.db", made_by_shots_only=True)
    store.open_console("here")
    store.keep_unanswered(seen("x"))
    store.keep_unanswered(seen("y"))
    store.discard("y")
    store.remember("port", "p")
    assert list(tmp_path.iterdir()) == []
    store.add(2.0, 1400.0, "in")
    assert [shot.uid for shot in store.unanswered()] == ["x"]
    assert store.recall("port") == "p"
    assert [act and act.act for act in (store.undo(), store.undo(), store.undo())] == ["shot", "discard", None]
    assert [shot.uid for shot in store.unanswered()] == ["x", "y"]
    later = Store(tmp_path / "heron.db")
    later.open_console("there")
    assert later.undo() is None  # both were done by a console that is still open
    assert later.recall("port") == "p"


def test_undone_acts_travel_with_the_log(tmp_path: Path) -> None:
    here, there = Store(), Store()
    here.add(2.0, 1400.0, "in")
    here.correct(1, "short", None, None)
    here.swap("B")
    here.add(2.0, 1400.0, "long")
    here.undo()
    here.undo()
    here.undo()
    here.redo()
    here.keep_unanswered(seen("x"))
    here.discard("x")
    there.merge(here.shots_as_confirmed(), here.marks(), here.epochs(), "pit")
    plain = [(s.uid, s.result, s.undone, s.epoch) for s in here.shots()]
    assert [(s.uid, s.result, s.undone, s.epoch) for s in there.shots()] == plain
    assert plain[0][1] == "short"


@pytest.mark.skipif(os.name != "posix", reason="older logs were written there")
def test_an_older_log_can_be_undone(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    db = sqlite3.connect(path, isolation_level=None)
    rows.migrate(db, upto=2)
    for number in (1, 2):
        db.execute("INSERT INTO epochs (uid, time) VALUES (?, ?)", (f"e{number}", f"2026-01-0{number}T00:00:00.000Z"))
        db.execute(
            "INSERT INTO shots (uid, time, distance_m, setpoint, result, epoch) VALUES (?, ?, 1.8, 1400, 'in', ?)",
            (f"s{number}", f"2026-01-0{number}T00:01:00.000Z", number),
        )
    db.execute("INSERT INTO marks (uid, shot_uid, kind, time) VALUES ('m', 's2', 'undo', '2026-01-03T00:00:00.000Z')")
    db.execute("INSERT INTO meta (key, value) VALUES ('epoch', '2')")
    db.close()
    store = Store(path)
    assert [shot.undone for shot in store.shots()] == [False, True]
    acts = [store.undo(), store.undo(), store.undo()]
    assert [act and (act.act, act.shot, act.epoch) for act in acts] == [("swap", None, 2), ("shot", 1, 1), None]
    assert store.epoch == 1
