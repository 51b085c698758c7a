"""A recording in the console: its shots are not the log's until a person says that they shall count as of now."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from console_driver import Pilot, drive, until
from console_world import live, thrower

from fieldtune import Session, load_robot
from fieldtune.console import ConsoleApp
from fieldtune.console.shooting_state import ShootingState
from fieldtune.link import Monitor

RECORDING = Path(__file__).parents[1] / "recordings" / "heron-three-shots.rec"


@pytest.mark.parametrize("url", ["replay:///runs/line.rec?speed=4", "REPLAY://line.rec"])
def test_a_result_for_a_recording_waits_for_a_word(url: str) -> None:
    state = ShootingState(thrower(), live(), lambda: 0.0)
    shot = replace(state.shot_now(), distance_m=2.0, setpoint=1500.0)
    assert not [odd for odd in state.doubts(shot, "in", None, None)[0] if "recording" in odd]
    state.live = replace(state.live, port=url)
    assert "the line is a recording: this would count as shot now" in state.doubts(shot, "in", None, None)[0]


@pytest.mark.slow
def test_a_shot_of_a_recording_counts_as_of_now_only_when_that_is_said(tmp_path: Path) -> None:
    robot = load_robot("heron")
    with (
        Session(robot, store=tmp_path / "heron.db") as session,
        Monitor(robot, f"replay://{RECORDING}?speed=0") as line,
    ):
        session.log.remember("caution understood", "yes")

        async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
            await until(app, pilot, lambda: len(app.controller.shooting.unanswered) == 3)
            await app.controller.recorder.all_written()
            assert session.log.unanswered() == ()
            for word, confirmed in (("x", 0), ("y", 1)):
                await pilot.press("i")
                await until(app, pilot, "would count as shot now")
                assert session.log.shots() == ()
                await pilot.press(word)
                await app.controller.recorder.all_written()
                assert len(session.log.shots()) == confirmed

        drive(ConsoleApp(robot, session, line), script)
        assert session.log.unanswered() == ()
