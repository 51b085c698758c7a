"""Help where one is: what is found by name, what figures mean, what keys do here, and the tooltip of each key."""

from __future__ import annotations

from pathlib import Path

import pytest
from console_driver import ScriptedLine, drive, screen_text, until
from console_world import thrower
from fixed_answers import FixedAnswers, FixedLog
from textual.pilot import Pilot

from fieldtune.console import ConsoleApp, keys, screens
from fieldtune.console.screens.set_up import SetUpScreen
from fieldtune.console.start_app import StartApp
from fieldtune.console.widgets.text_block import KeyBar
from fieldtune.figures import FIGURES, meanings
from fieldtune.setup.preferences import Preferences


@pytest.fixture
def app() -> ConsoleApp:
    session = FixedAnswers(thrower(), FixedLog())
    session.log.remember("caution understood", "yes")
    return ConsoleApp(session.robot, session, ScriptedLine())


def test_every_act_view_and_figure_is_found_by_its_name(app: ConsoleApp) -> None:
    from fieldtune.console.find import Finder

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        found = {
            row.name.split("  ")[0].split(" (on")[0].removesuffix(": what is it?") for row in Finder(app.screen)._all()
        }
        wanted = {b.description for _, group in keys.GROUPS for b in group if b.action[:5] != "spot("} - {"Find"}
        wanted -= {b.description for b in keys.SIMULATED}
        wanted |= {b.description for name in screens.NAMES for b in screens.screen_class(name).OWN}
        wanted |= {name for name, _ in meanings()} | {figure.label for figure in FIGURES.values()}
        assert not wanted - found

    drive(app, script)


@pytest.mark.parametrize("size", [pytest.param((40, 12), marks=pytest.mark.slow), (120, 40)])
def test_an_act_is_done_and_a_figure_explained_from_the_palette(app: ConsoleApp, size: tuple[int, int]) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("slash")
        await until(app, pilot, "Part of a name")
        await pilot.press(*"grip")
        await until(app, pilot, "grip: what is it?")
        await pilot.press("enter")
        await until(app, pilot, "exit speed over the rims' speed")
        await pilot.press("h", "slash", *"leave out")
        await until(app, pilot, "Leave out")
        await pilot.press("escape", "escape", "slash", *"wheel view"[:5])
        await until(app, pilot, "ten seconds of readback")

    drive(app, script, size)


@pytest.mark.parametrize("size", [(40, 12), (120, 40)])
def test_keys_and_figures_are_explained_for_where_one_is(app: ConsoleApp, size: tuple[int, int]) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("h", "question_mark")
        text = await until(app, pilot, "On Shots" if size[0] > 80 else "Help")
        if size[0] > 80:
            assert text.index("On Shots") < text.index("After a shot")
            assert "Type the distance" not in text  # that is the main screen's
            await pilot.press("escape", "equals_sign")
            text = await until(app, pilot, "On the screen you came from")
            assert "nine times out of ten" in text  # the hit chance's range stands on the main screen

    drive(app, script, size)


def test_every_key_in_the_footer_says_what_it_does_under_the_mouse(app: ConsoleApp) -> None:
    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        bar, row = app.screen.query_one(KeyBar), screen_text(app).splitlines()[-1]
        for binding in bar._fitting(bar.rows[-1]):
            column = row.index(f"{binding.key_display or binding.key} {binding.description}")
            await pilot.hover(KeyBar, (column, len(bar.rows) - 1))
            assert bar.tooltip == binding.tooltip != ""
        await pilot.click(KeyBar, (row.index("j Map"), len(bar.rows) - 1))
        await until(app, pilot, "Read a point")

    drive(app, script)


def test_help_and_find_between_robots(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import asyncio

    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))

    async def main() -> None:
        app = StartApp(tmp_path, Preferences())
        async with app.run_test(size=(80, 24)) as pilot:
            await pilot.press("n")
            await pilot.pause(0.2)
            assert isinstance(app.screen, SetUpScreen)
            await pilot.press("f1")
            await pilot.pause(0.2)
            strips = app.screen._compositor.render_strips()
            text = "\n".join("".join(segment.text for segment in strip) for strip in strips)
            assert "Go on without: it becomes a wide uncertainty" in text
            await pilot.press("escape", "ctrl+f", *"counts a turn")
            await pilot.pause(0.5)
            strips = app.screen._compositor.render_strips()
            text = "\n".join("".join(segment.text for segment in strip) for strip in strips)
            assert "how many steps the encoder counts" in text

    asyncio.run(main())
