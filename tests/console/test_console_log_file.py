"""The log under a running console: deleted, moved, put back, locked by another program, written to from elsewhere."""

from __future__ import annotations

import shutil
import sqlite3
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from console_driver import ScriptedLine, drive, screen_text, until
from console_world import thrower
from fixed_answers import FixedAnswers
from textual.pilot import Pilot

from fieldtune.console import ConsoleApp
from fieldtune.session import Session

ROBOT = thrower()


@pytest.fixture
def session(tmp_path: Path) -> FixedAnswers:
    kept = FixedAnswers(ROBOT, tmp_path / "heron.db")
    kept.log.remember("caution understood", "yes")
    kept.confirm(2.0, 2450.0, "in")
    return kept


def quick() -> Callable[[], float]:
    """A clock on which the console's pauses between two looks at the log are short."""
    return lambda: 5 * time.monotonic()


@pytest.mark.parametrize("size", [(40, 12), (80, 24)])
def test_a_log_deleted_under_the_console_is_said_and_put_back_by_one_key(
    session: FixedAnswers, size: tuple[int, int]
) -> None:
    path = session.log.path
    assert path is not None

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        def said(*wanted: str) -> Callable[[], bool]:
            return lambda: all(words in " ".join(screen_text(app).split()) for words in wanted)

        await until(app, pilot, "Set the wheel to")
        await until(app, pilot, lambda: len(app.controller.recorder.shots) == 1)
        path.unlink()
        await until(app, pilot, said("the log heron.db is gone"))
        await until(app, pilot, said("y puts heron.db back: it is gone"))
        await pilot.press("s")
        await until(app, pilot, said("confirmed: shot 2, short"))
        await pilot.press("y")
        await until(app, pilot, said("heron.db is back where it was"))
        await until(app, pilot, lambda: app.controller.shooting.offer is None)
        await pilot.press("u")
        await until(app, pilot, said("undone: shot 2"))

    drive(ConsoleApp(ROBOT, session, ScriptedLine(), clock=quick()), script, size)
    assert [(shot.result, shot.undone) for shot in session.log.shots()] == [("in", False), ("short", True)]


def test_a_log_that_was_moved_away_and_back_takes_in_what_was_confirmed_meanwhile(session: FixedAnswers) -> None:
    path = session.log.path
    assert path is not None

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Set the wheel to")
        await until(app, pilot, lambda: len(app.controller.recorder.shots) == 1)
        path.rename(path.with_name("away.db"))
        await pilot.press("s")
        await until(app, pilot, "confirmed: shot 2, short")
        await until(app, pilot, lambda: len(app.controller.recorder.shots) == 2)
        path.with_name("away.db").rename(path)
        await until(app, pilot, "y takes in 1 entry")
        await until(app, pilot, lambda: len(app.controller.recorder.shots) == 1)
        await pilot.press("h", "y")
        await until(app, pilot, "taken in from heron-rescue.db: 1 entry")
        await until(app, pilot, "▼ short")

    drive(ConsoleApp(ROBOT, session, ScriptedLine(), clock=quick()), script)
    assert [shot.result for shot in session.log.shots()] == ["in", "short"]
    assert not path.with_name("heron-rescue.db").exists()


def test_an_older_copy_written_over_the_log_is_said(session: FixedAnswers) -> None:
    path = session.log.path
    assert path is not None
    older = path.with_name("older")
    shutil.copy(path, older)
    session.confirm(2.2, 2450.0, "long")

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, lambda: len(app.controller.recorder.shots) == 2)
        shutil.copyfile(older, path)  # in place: the file is the same one
        await until(app, pilot, "put back to an older state: 1 shot that it had is not in it now")
        await pilot.press("s")
        await until(app, pilot, "confirmed: shot 2, short")

    drive(ConsoleApp(ROBOT, session, ScriptedLine(), clock=quick()), script)
    assert [shot.result for shot in session.log.shots()] == ["in", "short"]


def test_a_lock_held_elsewhere_holds_up_neither_the_first_frame_nor_the_advice_nor_a_result(tmp_path: Path) -> None:
    path = tmp_path / "heron.db"
    with FixedAnswers(ROBOT, path) as before:
        before.confirm(2.0, 2450.0, "in")
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("PRAGMA locking_mode = EXCLUSIVE")
    other.execute("BEGIN EXCLUSIVE")
    start = time.monotonic()
    session = FixedAnswers(ROBOT, path)
    app = ConsoleApp(ROBOT, session, ScriptedLine(), clock=quick())

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Before anything turns")  # whether it was read, the log would tell: so it is shown
        took = time.monotonic() - start
        await pilot.press("enter")
        await until(app, pilot, "another program keeps heron.db locked")
        told = time.monotonic() - start
        await until(app, pilot, "Set the wheel to")
        await until(app, pilot, lambda: len(app.controller.recorder.shots) == 1)  # what it held before is there
        pressed = time.monotonic()
        await pilot.press("s")
        await until(app, pilot, "confirmed: shot 2, short")
        kept = time.monotonic() - pressed
        await until(app, pilot, "another program keeps heron.db locked")  # as long as that lasts
        other.execute("COMMIT")
        other.close()
        await until(app, pilot, "heron.db is no longer locked: 1 entry written to it")
        await pilot.press("l")
        await until(app, pilot, "confirmed: shot 3, long")
        print(
            f"\nlocked log: first frame after {took:.2f} s, told after {told:.2f} s, a result kept {kept:.2f} s later"
        )
        assert took < 3.0

    drive(app, script)
    assert [shot.result for shot in Session(ROBOT, path).log.shots()] == ["in", "short", "long"]
    assert not list(path.parent.glob("heron-waiting-*"))


def test_what_another_process_adds_is_seen_in_every_view(tmp_path: Path) -> None:
    """The real session: what a command confirms changes the setpoint, the list and what was learned, without a key."""
    path = tmp_path / "heron.db"
    session = Session(ROBOT, path)
    session.log.remember("caution understood", "yes")
    session.confirm(2.0, 2450.0, "in")
    other = Session(ROBOT, path)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, lambda: app.controller.shooting.aim_holds and bool(app.controller.recorder.shots))
        before = app.controller.shooting.recommended
        await pilot.press("k")
        await until(app, pilot, "1 shot counts")
        for number in range(6):
            other.confirm(1.8, 2450.0, "short", miss_m=-0.4 - 0.01 * number)
        start = time.monotonic()
        await until(app, pilot, "7 shots count")
        seen = time.monotonic() - start
        await pilot.press("h")
        await until(app, pilot, "short -45 cm")
        await pilot.press("escape")
        await until(app, pilot, lambda: app.controller.shooting.aim_holds and app.controller.advisor.settled)
        assert app.controller.shooting.recommended != before
        aim = app.controller.shooting.aim
        assert aim is not None
        assert aim.shots_used == 7
        assert aim.setpoint == other.aim(aim.distance_m, app.controller.shooting.battery_v).setpoint
        print(f"\nsix shots of another process are in the view of what was learned after {seen:.1f} s")

    drive(ConsoleApp(ROBOT, session, ScriptedLine()), script)
