"""Units on the screens one shoots from: switched by a key, kept, and nothing metric left on any view."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from console_driver import ScriptedLine, drive, until
from console_world import thrower
from fixed_answers import FixedAnswers, FixedLog
from textual.pilot import Pilot

from fieldtune.console import ConsoleApp
from fieldtune.setup.preferences import Preferences, read_preferences

METRIC = re.compile(r"\d (m|cm|m/s|J|N|N m)\b")


@pytest.fixture
def app(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> ConsoleApp:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    session = FixedAnswers(thrower(), FixedLog())
    session.log.remember("caution understood", "yes")
    return ConsoleApp(session.robot, session, ScriptedLine(), preferences=Preferences())


def test_every_view_speaks_the_persons_units(app: ConsoleApp) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("d", *"3", "enter")
        await until(app, pilot, "From 3.00 m")
        await pilot.press("ctrl+u")
        text = await until(app, pilot, "From 9 ft 10 in")
        assert "units: US customary" in text
        await pilot.press("d")
        await until(app, pilot, "ft if no unit")
        await pilot.press(*"10", "enter")
        await until(app, pilot, "From 10 ft 0 in")
        await pilot.press("up")
        await until(app, pilot, "From 10 ft 2 in")
        await pilot.press("d", *"400", "enter")
        await until(app, pilot, "did you mean 400 in")
        await pilot.press("enter")
        await until(app, pilot, "From 33 ft 4 in")
        await pilot.press("m")
        await until(app, pilot, "in: 5 is")
        await pilot.press("escape")
        views = (("h", "+1.2 in"), ("j", "Map"), ("k", "Learned"), ("n", "Next"), ("w", "Wheel"), ("b", "Battery"))
        for key, shown in views:
            await pilot.press(key)
            text = await until(app, pilot, shown)
            text = text.replace("no shot yet beyond 2.5 m", "")  # a sentence of the fixed answers
            metric = [line for line in text.splitlines() if METRIC.search(line)]
            assert not metric, (key, metric)
            await pilot.press("escape")

    drive(app, script)
    assert read_preferences().us
