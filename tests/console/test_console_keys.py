"""The console driven by keys, on a real session with a real log; only the line is scripted."""

from __future__ import annotations

import re
import sqlite3
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from console_driver import ScriptedLine, drive, screen_text, until
from console_world import live, seen, thrower
from textual.events import Key
from textual.pilot import Pilot

from fieldtune.console import ConsoleApp, keys
from fieldtune.errors import StoreError
from fieldtune.link.samples import Live
from fieldtune.robot.model import SetpointRange
from fieldtune.session import Session
from fieldtune.share.export_kinds import KINDS

ROBOT = thrower()


@pytest.fixture
def session(tmp_path: Path) -> Session:
    kept = Session(ROBOT, tmp_path / "heron.db")
    kept.log.remember("caution understood", "yes")
    return kept


def console(session: Session, line: ScriptedLine, sim: bool = False) -> ConsoleApp:
    line.simulated = sim
    return ConsoleApp(session.robot, session, line)


def test_a_seen_shot_is_confirmed_by_one_key_with_what_the_line_knew(session: Session) -> None:
    line = ScriptedLine(distance_m=2.6)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "robot's reading")
        line.now = ScriptedLine(distance_m=2.6, shots=(seen(1, distance_m=2.58),)).now
        text = await until(app, pilot, "Where did it go?")
        assert "2440 rpm" in text
        assert "9.7 V" in text
        await pilot.press("s")
        await until(app, pilot, "confirmed: shot 1, short")
        assert not app.controller.shooting.unanswered

    drive(console(session, line), script)
    (shot,) = session.log.shots()
    assert (shot.result, shot.distance_m, shot.setpoint) == ("short", 2.58, 2450.0)
    assert (shot.speed, shot.battery_v) == (2440.0, 9.7)


def test_each_result_key_and_taking_back(session: Session) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        for number, (key, word) in enumerate(
            [("i", "in"), ("s", "short"), ("l", "long"), ("left", "left"), ("right", "right")], 1
        ):
            await pilot.press(key)
            await until(app, pilot, f"confirmed: shot {number}, {word}")
        await pilot.press("u")
        await until(app, pilot, "undone: shot 5")
        await pilot.press("u")
        await until(app, pilot, "undone: shot 4")

    drive(console(session, ScriptedLine()), script)
    assert [shot.result for shot in session.log.shots() if shot.counts] == ["in", "short", "long"]


def test_a_result_key_that_falls_twice_keeps_one_shot(session: Session) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        now = app.controller.clock()
        app.controller.clock = lambda: now  # however long a busy machine takes
        await pilot.press("i")
        await until(app, pilot, "confirmed: shot 1, in")
        await pilot.press("i")
        await until(app, pilot, "confirmed once")
        await pilot.press("s")
        await until(app, pilot, "confirmed: shot 2, short")
        app.controller.clock = lambda: now + 2.0
        await pilot.press("s")
        await until(app, pilot, "confirmed: shot 3, short")

    drive(console(session, ScriptedLine()), script)
    assert [shot.result for shot in session.log.shots()] == ["in", "short", "short"]


def test_a_line_typed_faster_than_it_opens_loses_no_letter(session: Session) -> None:
    """All keys in one go, as from a keyboard's buffer on a slow laptop."""

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Set the wheel to")
        for key, letter in [("d", "d"), ("2", "2"), ("full_stop", "."), ("4", "4"), ("enter", "\r")]:
            app.post_message(Key(key, letter))
        await until(app, pilot, "From 2.40 m  typed")

    drive(console(session, ScriptedLine()), script)


def test_without_a_readback_nothing_is_called_ready(session: Session) -> None:
    """A port that isn't there: the setpoint is told, but not that the robot holds it."""
    line = ScriptedLine(state="lost", wheel_rpm=None, battery_v=None, setpoint=None, distance_m=None)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        text = await until(app, pilot, "shoot once the range is clear")
        assert "Ready at" not in text
        assert "▶  Set the wheel to" in text

    drive(console(session, line), script, (80, 24))


def test_undo_with_nothing_kept_says_so(session: Session) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("u")
        await until(app, pilot, "nothing to undo")

    drive(console(session, ScriptedLine()), script)


def test_typed_miss_is_kept_in_metres_with_its_side(session: Session) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("m", *"what", "enter")
        await until(app, pilot, "miss can't be read")
        await pilot.press(*["backspace"] * 4, *"-8 right 5", "enter")
        await until(app, pilot, "confirmed: shot 1")

    drive(console(session, ScriptedLine()), script)
    (shot,) = session.log.shots()
    assert (shot.miss_m, shot.side_m) == (pytest.approx(-0.08), pytest.approx(0.05))


def test_distance_typed_badly_is_explained_and_may_be_corrected(session: Session) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("d", *"abc", "enter")
        text = await until(app, pilot, "can't be read")
        assert "3.2 m" in text
        assert "10 ft" in text
        await pilot.press(*["backspace"] * 3, *"10 ft", "enter")
        await until(app, pilot, "From 3.05 m")
        await pilot.press("d", *"9", "escape")
        await until(app, pilot, "From 3.05 m")

    drive(console(session, ScriptedLine()), script)


def test_spots_steps_and_the_robots_reading(session: Session) -> None:
    line = ScriptedLine(distance_m=2.2)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "From 2.20 m")
        await pilot.press("2")
        await until(app, pilot, "From 3.20 m  far line")
        await pilot.press("up")
        await until(app, pilot, "From 3.25 m")
        await pilot.press("0")
        await until(app, pilot, "From 2.20 m  robot's reading")
        await pilot.press("9")
        await until(app, pilot, "press d and type")

    drive(console(session, line), script)


def test_space_and_stray_keys_do_nothing(session: Session) -> None:
    line = ScriptedLine()

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "No shots confirmed yet")
        await pilot.press("space", "space", "enter", "f", "g", "tab", "space")
        await until(app, pilot, "No shots confirmed yet")

    drive(console(session, line), script)
    assert session.log.shots() == ()
    assert line.sent == []


@pytest.mark.parametrize("key", ["ctrl+c", "ctrl+z"])
def test_a_key_that_stops_other_programs_says_how_to_leave(session: Session, key: str) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "No shots confirmed yet")
        await pilot.press(key)
        await until(app, pilot, "q leaves; what was confirmed is kept")

    drive(console(session, ScriptedLine()), script)


def test_on_the_simulated_robot_keys_fire_set_and_move_it(session: Session) -> None:
    line = ScriptedLine()

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("2")
        await until(app, pilot, lambda: app.controller.shooting.recommended is not None)
        await pilot.press("g", "f")
        await until(app, pilot, lambda: "fire" in line.sent)
        assert line.sent == ["distance_m=3.200", f"setpoint={app.controller.shooting.recommended:g}", "fire"]
        await pilot.press("space")
        assert line.sent.count("fire") == 1

    drive(console(session, line, sim=True), script)


def test_what_is_confirmed_waits_and_is_said_to_while_the_log_is_locked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The log's file is held by another program for longer than the store waits."""
    monkeypatch.setattr("fieldtune.store.open_file._WAIT_S", 0.2)
    path = tmp_path / "heron.db"
    session = Session(ROBOT, path)
    session.log.remember("caution understood", "yes")
    other = sqlite3.connect(path, isolation_level=None)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        line.now = ScriptedLine(shots=(seen(1),)).now
        await until(app, pilot, "Where did it go?")
        other.execute("BEGIN EXCLUSIVE")
        await pilot.press("i")
        text = await until(app, pilot, "what is confirmed waits beside it")
        assert "confirmed:" not in text
        other.execute("ROLLBACK")
        await until(app, pilot, lambda: len(session.log.shots()) == 1)

    line = ScriptedLine()
    drive(console(session, line), script)
    assert len(session.log.shots()) == 1


def test_an_unreachable_distance_says_so_and_the_console_stays(session: Session) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("d", *"60 m", "enter")
        await until(app, pilot, "Not reachable from 60.00 m")
        await pilot.press("1")
        await until(app, pilot, lambda: app.controller.shooting.recommended is not None)

    drive(console(session, ScriptedLine()), script)


def test_a_lost_line_is_said_and_the_console_stays(session: Session) -> None:
    line = ScriptedLine()

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, lambda: app.controller.shooting.recommended is not None)
        line.now = ScriptedLine(
            state="lost", words="port gone: plug the cable in again", wheel_rpm=None, setpoint=None, battery_v=None
        ).now
        text = await until(app, pilot, "port gone")
        assert "no readback" in text
        await until(app, pilot, "Wheel turning fast, last read: hands off")
        await pilot.press("i")
        await until(app, pilot, "confirmed: shot 1")
        line.now = ScriptedLine(wheel_rpm=0.0).now
        await until(app, pilot, "A fast wheel can hurt")

    drive(console(session, line), script)


def test_a_shot_is_left_out_with_a_reason_and_taken_in_again(session: Session) -> None:
    session.confirm(2.0, 2400.0, "in")
    session.confirm(2.0, 2400.0, "long")

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, lambda: len(app.controller.recorder.shots) == 2)
        await pilot.press("h", "1", "o", "enter")
        await until(app, pilot, "write why")
        await pilot.press(*"bounced out", "enter")
        await until(app, pilot, "left out: bounced out")
        await pilot.press("k")
        await until(app, pilot, "1 shot counts")
        await pilot.press("h", "1", "o")
        await until(app, pilot, "shot 2 counts again")
        await pilot.press("k")
        await until(app, pilot, "2 shots count")

    drive(console(session, ScriptedLine()), script)
    assert all(shot.counts for shot in session.log.shots())


def test_text_from_outside_is_shown_and_never_obeyed(tmp_path: Path) -> None:
    robot = thrower(title="[bold red]Heron[/] \x1b[31m")
    session = Session(robot, None)
    session.confirm(2.0, 2400.0, "in")
    session.exclude(1, "[link='x']reason[/]")
    line = ScriptedLine(words="[@click=app.leave]live[/]\x07")
    line.lines = ("\x1b]0;owned\x07 [bold]raw[/bold]",)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("enter")
        text = await until(app, pilot, "[bold red]Heron[/]")
        assert "[@click=app.leave]live[/]" in text
        await pilot.press("c")
        text = await until(app, pilot, "[bold]raw[/bold]")
        assert "\x1b" not in text
        assert "\x07" not in text
        await pilot.press("h")
        await until(app, pilot, "[link='x']reason[/]")

    drive(console(session, line), script)


def test_a_table_is_written_and_replaced_only_after_a_question(
    session: Session, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("e")
        await until(app, pilot, "heron-table.csv")
        await pilot.press("1", "enter")
        await until(app, pilot, "written:")
        (tmp_path / "heron-table.csv").write_text("mine")
        await pilot.press("1", "enter")
        await until(app, pilot, "Replace it?")
        await pilot.press("n")
        await until(app, pilot, "nothing was written")
        assert (tmp_path / "heron-table.csv").read_text() == "mine"
        await pilot.press("1", "enter", "y")
        await until(app, pilot, lambda: (tmp_path / "heron-table.csv").read_text() != "mine")
        await pilot.press("1", *["backspace"] * 40, *"nowhere/table.csv", "enter")
        await until(app, pilot, "✗")

    drive(console(session, ScriptedLine()), script)
    lines = (tmp_path / "heron-table.csv").read_text().splitlines()
    assert lines[0].startswith("distance_m,setpoint")
    assert float(lines[1].split(",")[0]) == 1.8
    assert float(lines[-1].split(",")[0]) == 3.2


def test_what_if_changes_the_figures_and_leads_back(session: Session) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("z")
        await until(app, pilot, "as built", 60)
        await pilot.press("plus")
        text = await until(app, pilot, "what if", 60)
        assert "Last gear 22:34 (built: 22:33)" in text
        await pilot.press("down", "minus", "backspace")
        await until(app, pilot, lambda: "what if" not in screen_text(app))

    drive(console(session, ScriptedLine()), script)


def test_what_is_known_fits_a_small_window_and_a_log_row_keeps_to_its_line(session: Session) -> None:
    for result in ("in", "short"):
        session.confirm(2.6, 1480.0, result, speed=1482.0, battery_v=10.1)
    session.undo()
    session.exclude(1, "bounced off the rim, and somebody had pushed the robot just before")
    session.confirm(2.6, 1480.0, "in")

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("k", "shift+tab")
        text = await until(app, pilot, "Drift:")
        for fact in session.learned().facts:
            assert fact.words[:30] in text
        await pilot.press("h")
        text = await until(app, pilot, "undone")
        rows = {line.split()[0]: line for line in text.splitlines() if re.match(r" \d +\d [●▼▲◀▶]", line)}
        assert list(rows) == ["1", "2", "3"]
        assert rows["2"].rstrip().endswith("undone")
        assert "left out: bounced off the rim" in rows["3"]

    drive(console(session, ScriptedLine()), script, (80, 24))


def test_everything_that_can_be_exported_has_its_number(session: Session) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("e")
        text = await until(app, pilot, lambda: "heron-pack.json" in screen_text(app)) and screen_text(app)
        assert f"1–{len(KINDS)} Write" in text
        for number, name in ((2, "HeronSetpoint.java"), (3, "heron_setpoint.hpp"), (len(KINDS), "heron-pack.json")):
            assert re.search(rf"^ +{number}  .*{name}$", text, re.M), text
        await pilot.press("2")
        await until(app, pilot, "Table as Java source for the robot program: into which file?")

    drive(console(session, ScriptedLine()), script, (80, 24))


def test_next_shot_standing_and_another_setpoint(session: Session) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("n")
        await until(app, pilot, "Expected gain")
        await pilot.press("p", *"abc", "enter")
        await until(app, pilot, "can't be read")
        await pilot.press(*["backspace"] * 3, *"1300 rpm", "enter")
        await until(app, pilot, "Where 1300 rpm scores")
        await until(app, pilot, lambda: re.search(r"\d\.\d\d m to \d\.\d\d m", screen_text(app)) is not None)
        await pilot.press("enter")
        await until(app, pilot, "the shot worth taking next")

    drive(console(session, ScriptedLine()), script)


def test_the_next_shot_is_said_while_the_setpoint_changes_all_the_time(session: Session) -> None:
    class Turning(ScriptedLine):
        def snapshot(self) -> Live:
            self.now = replace(self.now, setpoint=1200.0 + (self.now.setpoint or 0.0) % 400 + 1)
            return self.now

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("n")
        await until(app, pilot, "Expected gain")

    drive(console(session, Turning()), script)


def test_where_nothing_scores_the_next_shot_is_none_and_that_is_said() -> None:
    robot = thrower(setpoint=SetpointRange("rpm", 10, 100, 10))

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("n")
        await until(app, pilot, "scores from no distance")
        assert app.controller.robot_map.next_shot is None

    session = Session(robot)
    session.log.remember("caution understood", "yes")
    drive(console(session, ScriptedLine()), script)


def test_every_view_opens_with_its_key_and_escape_leads_back(session: Session) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        for key, title in [
            ("h", "Shots"), ("w", "Wheel"), ("k", "Learned"), ("n", "Next"), ("b", "Battery"), ("c", "Line"),
            ("z", "Sizes"), ("e", "Export"), ("question_mark", "Help"),
        ]:  # fmt: skip
            await pilot.press(key)
            await until(app, pilot, lambda title=title: screen_text(app).startswith(title))
            await pilot.press("escape")
            await until(app, pilot, "Set the wheel to")
        assert app.controller.news.text == "", app.controller.news.text

    drive(console(session, ScriptedLine()), script)


def test_no_run_of_keys_brings_it_down(session: Session, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A hundred keys at random, on every screen, while shots arrive and the line comes and goes."""
    monkeypatch.chdir(tmp_path)
    rng = np.random.default_rng(1)
    known = [key for _, group in keys.GROUPS for binding in group for key in binding.key.split(",")]
    others = ["enter", "space", "tab", "o", "p", "a", "r", "y", "backspace", "5", "full_stop", "end", "pagedown"]
    pressed = [key for key in known + others if key not in ("q", "ctrl+q")]
    line = ScriptedLine()

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        for number in range(100):
            if number % 20 == 0:
                line.now = live(shots=(seen(number // 20 + 1),), distance_m=float(rng.uniform(1, 4)))
            if number % 50 == 10:
                line.now = live(state="lost", words="gone", wheel_rpm=None, battery_v=None, setpoint=None)
            await pilot.press(str(rng.choice(pressed)))
            if number % 10 == 0:
                await until(app, pilot, lambda: True)
        await pilot.press("escape", "escape", "escape")
        await until(app, pilot, "From ")

    drive(console(session, line, sim=True), script, (80, 24))


def test_the_first_start_shows_the_caution_once(tmp_path: Path) -> None:
    for first in (True, False):
        session = Session(ROBOT, tmp_path / "heron.db")

        async def script(app: ConsoleApp, pilot: Pilot[None], first: bool = first) -> None:
            if first:
                text = await until(app, pilot, "Before anything turns")
                for word in ("ANSI Z87.1", "EN 166", "Event rules", "local codes", "qualified"):
                    assert word in text
                await pilot.press("space")
                assert "Before anything turns" in screen_text(app)
                await pilot.press("enter")
            await until(app, pilot, "Set the wheel to")
            await pilot.press("i")
            await until(app, pilot, "confirmed: shot")

        drive(console(session, ScriptedLine()), script, (80, 24))
        session.log.close()


def test_store_errors_are_lines(session: Session) -> None:
    """The remedy that the store names reaches the screen as it is."""

    def broken(*_: object, **__: object) -> None:
        raise StoreError("shots.db: the disk is full; make room and confirm it again")

    session.confirm = broken  # type: ignore[method-assign, assignment]

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("i")
        await until(app, pilot, "the disk is full; make room")

    drive(console(session, ScriptedLine()), script)


def test_a_long_fault_is_told_to_its_remedy_in_a_usual_window(session: Session) -> None:
    """The end of the line is what to do."""
    said = (
        "profiles/heron.db: the shot log can't be written; allow writing there, or use --profiles with another folder"
    )

    def broken(*_: object, **__: object) -> None:
        raise StoreError(said)

    session.confirm = broken  # type: ignore[method-assign, assignment]

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("i")
        text = await until(app, pilot, "the shot log can't be written")
        assert said in " ".join(text.split())

    drive(console(session, ScriptedLine()), script, (80, 24))


def test_a_shot_is_kept_while_advice_is_still_being_worked_out(session: Session) -> None:
    """A recommendation that takes its time, as on an old laptop with a long log."""
    slow, asked = threading.Event(), session.aim

    def aim(*args: Any, **kwargs: Any) -> Any:
        slow.wait(30)
        return asked(*args, **kwargs)

    session.aim = aim  # type: ignore[method-assign]

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("s")
        await until(app, pilot, "confirmed: shot 1")
        slow.set()

    drive(console(session, ScriptedLine()), script)
    assert len(session.log.shots()) == 1
