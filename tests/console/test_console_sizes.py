"""The sizes view: whatever the profile has or lacks, every what-if can be stepped up and down and says what it does."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from console_driver import ScriptedLine, drive, screen_text, until
from console_world import slider, thrower
from textual.pilot import Pilot
from thorough import thorough

from fieldtune.console import ConsoleApp
from fieldtune.console.screens.sizes import SizesScreen, choices, compared
from fieldtune.console.variations import changes_for
from fieldtune.robot.model import Battery, Robot, SetpointRange
from fieldtune.session import Session
from fieldtune.sizing.size import size

DRIVE = thrower().drive
assert DRIVE is not None
ROBOTS = {
    "as it is": thrower(),
    "direct drive": thrower(drive=replace(DRIVE, gears=())),
    "three stages": thrower(drive=replace(DRIVE, gears=((12, 24), (20, 24), (20, 22)))),
    "many teeth": thrower(drive=replace(DRIVE, teeth_available=tuple(range(12, 50)))),
    "no drive": thrower(drive=None),
    "no battery": thrower(battery=None),
    "unknown chemistry": thrower(battery=Battery(None, 8, 0.09)),
    "open loop": thrower(drive=replace(DRIVE, control="power"), setpoint=SetpointRange("%", 10, 100, 1)),
    "striker": slider(),
    "striker without drive": replace(slider(), drive=None),
}
OFTEN = ("as it is", "open loop", "striker")


def console(robot: Robot, folder: Path) -> ConsoleApp:
    kept = Session(robot, folder / f"{robot.name}.db")
    kept.log.remember("caution understood", "yes")
    return ConsoleApp(robot, kept, ScriptedLine())  # type: ignore[arg-type]


@pytest.mark.parametrize("name", [*OFTEN, *thorough(*(name for name in ROBOTS if name not in OFTEN))])
def test_every_what_if_of_any_robot(name: str, tmp_path: Path) -> None:
    robot = ROBOTS[name]

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("z")
        await until(app, pilot, "as built")
        view = app.screen
        assert isinstance(view, SizesScreen)
        for change in view.changes:
            before = change.reading(view.varied)
            await pilot.press("plus", "plus", "minus")
            await until(app, pilot, "what if")
            assert change.reading(view.varied) != before, change.name
            await pilot.press("down")
        await pilot.press("backspace")
        await until(app, pilot, lambda: "what if  " not in screen_text(app))
        assert app.controller.news.text == "", app.controller.news.text

    drive(console(robot, tmp_path), script)


def test_a_direct_drive_gets_a_pair_of_gears_and_loses_it_again() -> None:
    robot = ROBOTS["direct drive"]
    gear = changes_for(robot)[0]
    assert gear.reading(robot) == "none, direct"
    slower = gear.stepped(gear.stepped(robot, 1), 1)
    assert slower.drive is not None
    assert slower.drive.reduction == pytest.approx(26 / 24)
    assert gear.stepped(gear.stepped(slower, -1), -1).drive == robot.drive


def test_what_can_hurt_stands_beside_the_figures(tmp_path: Path) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("z")
        text = await until(app, pilot, "supervision decide")
        assert "guards on wheels" in " ".join(text.split())
        assert "Energy in the wheels" in text

    drive(console(thrower(), tmp_path), script)


def test_a_wheel_beyond_its_limit_is_said_on_a_small_screen_too(tmp_path: Path) -> None:
    wheel = thrower().launcher.mechanism
    assert wheel is not None
    limited = replace(wheel, wheel_top_speed=2000 * math.pi / 30)
    robot = thrower(launcher=replace(thrower().launcher, mechanism=limited))

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("z")
        text = await until(app, pilot, "beyond what is stated")
        assert "worth a look" not in text

    drive(console(robot, tmp_path), script, (80, 30))


def test_figures_line_up_and_only_a_change_that_shows_has_an_arrow() -> None:
    built = size(thrower())
    other = size(thrower(drive=replace(DRIVE, gears=((20, 31),))), sweep=False)
    text = "".join(part if isinstance(part, str) else part[0] for part in compared(built, other))
    rows = [row for row in text.splitlines() if row and not row.startswith("!")]
    assert {len(row.rstrip(" ▲▼")) for row in rows[1:]} <= {60}
    for row in rows[1:]:
        was, now = row[28:44].strip(), row[44:60].strip()
        assert ("▲" in row or "▼" in row) == (was != now), row
    listed = "".join(part if isinstance(part, str) else part[0] for part in choices(built))
    assert listed.count("◆ built") == 1
    assert listed.count("● best") == 1
