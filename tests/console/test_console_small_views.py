"""Every view in the smallest windows shows what it is opened for, and a question that waits, and the caution."""

from __future__ import annotations

import pytest
from console_driver import ScriptedLine, drive, screen_text, until
from console_world import live, seen, thrower
from textual.pilot import Pilot
from thorough import thorough

from fieldtune.console import ConsoleApp
from fieldtune.session import Session

SMALL = [(40, 12), (48, 14), (60, 16), (79, 20)]
OWN = {
    "j": "Setpoint over distance",
    "n": "shot worth taking next",
    "k": "count",
    "w": "Steady error",
    "b": "Battery now",
    "z": "What if?",
    "c": "lines/s",
    "e": "1 distance-to-setpoint",
    "ctrl+e": "By the profile",
    "question_mark": "/ finds anything",
    "equals_sign": "On the screen you came from",
}
"""What each view has of its own, by the key that opens it."""


def session_with(shots: int) -> Session:
    session = Session(thrower())
    session.log.remember("caution understood", "yes")
    for number in range(shots):
        session.confirm(2.0 + 0.1 * number, 2400.0 + number, result="in")
    return session


@pytest.mark.parametrize("size", SMALL)
def test_the_newest_shots_stand_in_the_smallest_window_and_older_ones_are_reached(size: tuple[int, int]) -> None:
    session, line = session_with(14), ScriptedLine(wheel_rpm=2350.0)

    def shots(app: ConsoleApp) -> list[int]:
        return [int(setpoint) - 2400 + 1 for setpoint in _setpoints(screen_text(app))]

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("h")
        await until(app, pilot, lambda: len(shots(app)) >= 3)
        assert shots(app)[:3] == [14, 13, 12]
        for number in range(14, 0, -1):  # one after the other from the top
            await pilot.press("down")
            await until(app, pilot, f"Shot {number} was in")
            assert number in shots(app)
            assert len(shots(app)) >= 3
        await pilot.press("s")
        await until(app, pilot, lambda: app.controller.recorder.shots[0].result == "short")
        line.now = live(wheel_rpm=2350.0, shots=(seen(1),))
        text = await until(app, pilot, lambda: "? no result" in screen_text(app))
        assert "hands off" in " ".join(text.split())
        await pilot.press("escape", "h")
        await until(app, pilot, lambda: "Where did it go?" in " ".join(screen_text(app).split()))
        assert len(shots(app)) >= 2  # beside the one that is asked about

    drive(ConsoleApp(thrower(), session, line), script, size)  # type: ignore[arg-type]


def _setpoints(text: str) -> list[str]:
    words = text.replace("●", " ● ").split()
    return [words[i - 1] for i, word in enumerate(words) if word == "rpm" and words[i - 2] == "m"]


@pytest.mark.parametrize("size", [SMALL[0], *thorough(*((size,) for size in SMALL[1:]))])
def test_every_view_shows_what_it_is_opened_for(size: tuple[int, int]) -> None:
    session, line = session_with(4), ScriptedLine(wheel_rpm=2350.0)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        for key, own in OWN.items():
            line.now = live(wheel_rpm=2350.0)
            await pilot.press(key)
            text = await until(app, pilot, lambda own=own: own in " ".join(screen_text(app).split()))  # type: ignore[misc]
            assert "hands off, range clear, eye protection on" in " ".join(text.split())
            line.now = live(wheel_rpm=2350.0, shots=(seen(1),))
            await until(app, pilot, lambda: "Where did it go?" in " ".join(screen_text(app).split()))
            await pilot.press("x")
            await until(app, pilot, lambda own=own: own in " ".join(screen_text(app).split()))  # type: ignore[misc]
            line.now = live(wheel_rpm=2350.0)
            app.look()
            app.controller.shooting._last_seen = 0
            await pilot.press("escape")

    drive(ConsoleApp(thrower(), session, line), script, size)  # type: ignore[arg-type]
