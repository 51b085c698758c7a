"""The screens as text, from fixed records at fixed sizes. After a wanted change: FIELDTUNE_SCREENS=write, and look."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from console_driver import ScriptedLine, drive, screen_text, until
from console_world import live, seen, slider, thrower
from fixed_answers import FixedAnswers, FixedLog
from textual.pilot import Pilot

from fieldtune.console import ConsoleApp
from fieldtune.console.screens.wheel import figures
from fieldtune.robot.model import Robot

SCREENS = Path(__file__).parent / "screens"


def check(name: str, robot: Robot, size: tuple[int, int], keys: tuple[str, ...] = (), **line: Any) -> str:
    """The screen against the kept one, after the keys."""
    log = FixedLog()
    log.flying = robot.launcher.kind == "flywheel"
    session = FixedAnswers(robot, log)
    session.log.remember("caution understood", "yes")
    text = ""
    port = ScriptedLine(**{**line, "shots": ()})

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        nonlocal text
        app.controller.clock = lambda: 100.0
        await pilot.press("d", *"3.0", "enter")
        await until(app, pilot, "From 3.00 m" if size[0] >= 80 and size[1] > 20 else "2450 rpm")
        port.now = ScriptedLine(**line).now
        told = app.controller.shooting.live.setpoint
        await until(
            app, pilot, lambda: app.controller.advisor.picture is not None and len(app.controller.recorder.shots) == 4
        )
        await until(
            app,
            pilot,
            lambda: (
                told is None
                or app.controller.advisor.chance_now is not None
                or told == app.controller.shooting.recommended
            ),
        )
        app.controller.news.say("")
        for key in keys:
            await pilot.press(key)
        same = 0
        while same < 6:  # painting follows a look by a little; a screen counts once it has stayed as it is
            before, same = text, same + 1
            app.look()
            await pilot.pause(0.02)
            text = screen_text(app)
            same = same if text == before else 0

    drive(ConsoleApp(robot, session, port), script, size)
    path = SCREENS / f"{name}-{size[0]}x{size[1]}.txt"
    if os.environ.get("FIELDTUNE_SCREENS") == "write":
        SCREENS.mkdir(exist_ok=True)
        path.write_text(text + "\n", encoding="utf-8")
    assert same_age(path.read_text(encoding="utf-8")) == same_age(text + "\n")
    return text


def same_age(text: str) -> str:
    """A busy machine takes a second longer to show a shot."""
    return re.sub(r"\b\d s ago", "0 s ago", text)


SIZES = [(120, 40), (80, 24)]


@pytest.mark.parametrize("size", SIZES)
def test_the_main_screen(size: tuple[int, int]) -> None:
    text = check("throw", thrower(), size, wheel_rpm=2449.0)
    for word in (
        "From 3.00 m",
        "Good range 2410 to 2500 rpm",
        "on setpoint",
        "62 %",
        "41 to 80 %",
        "9.9 V",
        "3900 rpm",
    ):
        assert word in text
    assert "eye protection" in text


@pytest.mark.parametrize("size", SIZES)
def test_a_shot_that_waits(size: tuple[int, int]) -> None:
    text = check("waiting", thrower(), size, wheel_rpm=2410.0, shots=(seen(5),))
    assert "left at 2440 rpm" in text
    assert "i in  s short  l long" in text


@pytest.mark.parametrize("size", SIZES)
def test_a_slide(size: tuple[int, int]) -> None:
    text = check("slide", slider(), size, wheel_rpm=None, setpoint=31.5, draw_mm=31.5)
    assert "Draw the spring to" in text


@pytest.mark.parametrize("size", [(79, 20), (79, 40), (120, 20), (40, 10)])
def test_a_window_too_small_still_says_the_setpoint_in_one_clear_line(size: tuple[int, int]) -> None:
    text = check("small", thrower(), size, wheel_rpm=2410.0)
    line = " ".join(text.split())
    assert "2450 rpm" in line
    assert "below by 40 rpm" in line
    assert "chance 62 %" in line.lower()


@pytest.mark.parametrize("size", SIZES)
def test_keys_are_explained_for_where_one_is(size: tuple[int, int]) -> None:
    text = check("keys", thrower(), size, ("question_mark",), wheel_rpm=2449.0)
    for name in ("Robot's distance", "Undo", *(("Export", "Sun/dark", "Quit") if size[1] > 30 else ())):
        assert name in text


@pytest.mark.parametrize("size", SIZES)
def test_the_wheel(size: tuple[int, int]) -> None:
    seconds = np.arange(0.0, 12.0, 0.02)
    speed = 2450 - 210 * np.exp(-np.maximum(seconds - 7, 0) / 0.3) * (seconds > 7)
    text = check("wheel", thrower(), size, ("w",), history_s=seconds, history_rpm=speed, shots=(seen(1, time_s=7.0),))
    assert "▼" in text
    assert "not seen yet" in text


def test_a_spring_shows_no_figures_of_a_wheel() -> None:
    shot = seen(1, draw_mm=31.4)
    parts = figures(live(draw_mm=31.5, setpoint=31.5, shots=(shot,)), slider())
    text = "".join(part if isinstance(part, str) else part[0] for part in parts)
    assert "31.4 mm drawn" in text
    assert "Ripple" not in text
    assert "not seen yet" not in text


@pytest.mark.parametrize("size", SIZES)
def test_the_line(size: tuple[int, int]) -> None:
    text = check("line", thrower(), size, ("c",), wheel_rpm=2449.0)
    assert "the robot's own" in text


@pytest.mark.parametrize(("size", "lost"), [((40, 12), True), ((64, 24), False), ((79, 20), True)])
def test_the_state_of_the_line_is_whole_in_a_small_window(size: tuple[int, int], lost: bool) -> None:
    said = "/dev/ttyUSB0: unplugged; waiting for it to come back" if lost else "reading /dev/ttyUSB0 at 115200 baud"
    port = ScriptedLine(state="lost" if lost else "live", words=said)
    text = ""

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        nonlocal text
        await until(app, pilot, said[-5:] if lost else "● live")
        text = " ".join(screen_text(app).split())

    session = FixedAnswers(thrower(), FixedLog())
    session.log.remember("caution understood", "yes")
    drive(ConsoleApp(session.robot, session, port), script, size)
    assert (said if lost else "● live") in text
    assert "…" not in text.partition("▶")[0]
