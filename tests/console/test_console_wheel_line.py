"""Wheel and line view: the past moves on, no line is cut before its cause; and no row is painted stale."""

from __future__ import annotations

import asyncio
import random

import numpy as np
import pytest
from console_driver import ScriptedLine, drive, screen_text
from console_world import live, thrower
from textual.pilot import Pilot

from fieldtune.console import ConsoleApp
from fieldtune.console.screens.line import whole_lines
from fieldtune.console.screens.wheel import trace
from fieldtune.session import Session


def _heard(**changes):
    seconds = np.arange(0.0, 12.0, 0.01)
    return live(history_s=seconds, history_rpm=np.full_like(seconds, 1500.0), history_volt=seconds * 0, **changes)


def test_a_silent_line_lets_the_past_move_on() -> None:
    """Heard up to now: the curve ends at now. Silent for four seconds: it ends four seconds ago."""
    for age_s, ends_at in ((0.05, 0.0), (4.0, -4.0), (9.5, -9.5)):
        picture = trace(_heard(age_s=age_s, state="live" if age_s < 1 else "lost"), thrower())
        curve = picture.series[-1]
        assert curve.x[-1] == pytest.approx(ends_at, abs=0.02)
        assert curve.x[0] >= -10.0
    assert trace(_heard(age_s=60.0, state="lost"), thrower()) is not None  # nothing left of it, and nothing fails
    ended = trace(_heard(age_s=60.0, state="ended"), thrower())
    assert ended.series[-1].x[-1] == 0.0  # a replay that is over stays to be looked at


def test_lines_are_shown_whole_as_many_as_fit() -> None:
    lines = tuple(f"line {number} " + "x" * 90 + f" end{number}   [checksum]" for number in range(20))
    shown = whole_lines(lines, 7, 60)
    assert len(shown) == 6  # three lines of two rows; half a line is none
    assert shown[0].startswith("line 17 ")
    assert shown[-1].endswith("end19   [checksum]")
    assert all(len(row) <= 60 for row in shown)
    assert whole_lines((), 7, 60) == []
    assert len(whole_lines(("y" * 900,), 5, 60)) == 5  # one that is longer than the screen: its end


@pytest.mark.parametrize("size", [(120, 40), (80, 24)])
def test_what_stands_on_the_screen_is_what_would_be_painted_anew(size: tuple[int, int]) -> None:
    """Widgets hand out the rows they last painted; after any key these are the rows they would make now."""
    robot = thrower()
    session, port, chance = Session(robot, None), ScriptedLine(), random.Random(size[0])
    session.log.remember("caution understood", "yes")
    app = ConsoleApp(robot, session, port)  # type: ignore[arg-type]

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        for _ in range(24):
            port.now = live(wheel_rpm=chance.uniform(0, 3000), battery_v=chance.uniform(10, 13))
            await pilot.press(
                chance.choice(["up", "down", "v", "w", "c", "b", "k", "escape", "s", "u", "question_mark"])
            )
            if chance.random() < 0.1:
                await pilot.resize_terminal(chance.choice([80, 120, 140]), chance.choice([24, 30, 45]))
            await asyncio.sleep(0.02)
            await pilot.pause()
            kept = screen_text(app), app.screen._compositor.render_strips()
            for widget in (app.screen, *app.screen.query("*")):
                if hasattr(widget, "_kept"):
                    widget._kept = None
                widget._styles_cache.clear()
            anew = screen_text(app), app.screen._compositor.render_strips()
            assert kept == anew

    drive(app, script, size)
