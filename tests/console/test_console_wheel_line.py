"""Wheel and line view: the past moves on, no line is cut before its cause; and no row is painted stale."""

from __future__ import annotations

import asyncio
import random

import numpy as np
import pytest
from console_driver import ScriptedLine, drive, screen_text, until
from console_world import live, thrower
from textual.pilot import Pilot

from fieldtune.charts.chart import Chart, Line, Words
from fieldtune.console import ConsoleApp
from fieldtune.console.screens.line import whole_lines
from fieldtune.console.screens.wheel import Trace
from fieldtune.console.widgets.pictures import Pictures
from fieldtune.link.history import LineHistory
from fieldtune.link.samples import Sample
from fieldtune.session import Session


def _heard(**changes):
    seconds = np.arange(0.0, 12.0, 0.01)
    return live(history_s=seconds, history_rpm=np.full_like(seconds, 1500.0), **changes)


def test_a_silent_line_lets_the_past_move_on() -> None:
    """Heard up to now: the curve ends at now. Silent for four seconds: it ends four seconds ago."""
    robot = thrower()
    trace = Trace(ConsoleApp(robot, Session(robot), ScriptedLine()).controller)

    def curve(chart: Chart | None) -> Line:
        assert chart is not None
        return next(part for part in chart.shapes if isinstance(part, Line))

    for age_s, ends_at in ((0.05, 0.0), (4.0, -4.0), (9.5, -9.5)):
        drawn = curve(trace.chart(_heard(age_s=age_s, state="live" if age_s < 1 else "lost"), 10.0))
        assert drawn.x[-1] == pytest.approx(ends_at, abs=0.02)
        assert drawn.x[0] >= -10.0
    gone = trace.chart(_heard(age_s=60.0, state="lost"), 10.0)  # nothing left of it: that is said
    assert gone is not None
    assert any(isinstance(part, Words) and "nothing" in part.text for part in gone.shapes)
    ended = trace.chart(_heard(age_s=60.0, state="ended"), 10.0)
    assert curve(ended).x[-1] == pytest.approx(0.0, abs=0.02)  # a replay that is over stays to be looked at


def test_history_keeps_setpoints_drops_and_moments_long_past() -> None:
    """Five minutes at 100 samples a second with a drop of 30 ms in each: every one of them is still seen."""
    history = LineHistory(is_wheel=True)
    for minute in range(5):
        times = minute * 60 + np.arange(0, 60, 0.01)
        speed = np.where(np.abs(times - (minute * 60 + 30)) < 0.015, 1200.0, 1500.0 + minute)
        history.take(Sample(time_s=float(t), arrival_s=0.0, wheel_rpm=float(v), setpoint=1500.0 + 100 * minute)
                     for t, v in zip(times, speed, strict=True))  # fmt: skip
    assert 5000 <= len(history) <= 6000
    whole = history.stretch(0.0, 300.0).thinned(200)
    assert len(whole.time_s) <= 200
    assert sorted({int(t // 60) for t in whole.time_s[whole.low < 1300]}) == [0, 1, 2, 3, 4]
    part = history.stretch(70.0, 80.0)
    assert part.low.min() == pytest.approx(1501.0)
    assert set(part.setpoint) == {1600.0}  # the setpoint of then, not of now
    assert history.stretch(400.0, 410.0).thinned(10).time_s.size == 0


def test_the_picture_zooms_stands_still_and_goes_back() -> None:
    robot = thrower()
    session, port = Session(robot), ScriptedLine()
    session.log.remember("caution understood", "yes")
    port.samples = [
        Sample(time_s=t, arrival_s=t, wheel_rpm=1000.0 + t, setpoint=1500.0) for t in np.arange(0, 100, 0.05).tolist()
    ]

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("w")
        await until(app, pilot, "over 10 s, live")
        await pilot.press("minus")
        await until(app, pilot, "over 30 s, live")
        await pilot.press("plus", "plus", "p")
        await until(app, pilot, "over 5 s, frozen")
        await pilot.press("comma", "comma")
        chart = app.screen.query_one("#wheel-plot", Pictures).pictures[0]
        assert isinstance(chart, Chart)
        line = next(part for part in chart.shapes if isinstance(part, Line))
        assert np.nanmax(line.y) == pytest.approx(1094.9, abs=0.3)  # 5 s ago it was at 95 s
        await pilot.press("backspace")
        await until(app, pilot, "over 5 s, live")

    drive(ConsoleApp(robot, session, port), script, (120, 40))  # type: ignore[arg-type]


def test_lines_are_shown_whole_as_many_as_fit() -> None:
    lines = tuple(f"line {number} " + "x" * 90 + f" end{number}   [checksum]" for number in range(20))
    shown = whole_lines(lines, 7, 60)
    assert len(shown) == 6  # three lines of two rows; half a line is none
    assert shown[0].startswith("line 17 ")
    assert shown[-1].endswith("end19   [checksum]")
    assert all(len(row) <= 60 for row in shown)
    assert whole_lines((), 7, 60) == []
    long = whole_lines((f"Velocity: 2450{' ' * 900}[undecodable]",), 5, 60)  # longer than the screen: its beginning
    assert len(long) == 5
    assert long[0].startswith("Velocity: 2450")


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
