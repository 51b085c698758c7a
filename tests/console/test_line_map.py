"""Whose name is whose, by keys: a unit that nothing tells is asked for and never guessed into the profile."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from printing_robot import PrintingRobot
from test_start_screen import drive, home, until  # noqa: F401
from textual.pilot import Pilot

from fieldtune.console.start_app import StartApp
from fieldtune.robot import load_robot
from fieldtune.setup.wishes import Opening, Wish

REDUCTION = 33 * 28 / (22 * 20)  # heron's motor turns so many times as fast as its wheel
LINE = "speed: {:.0f}, batt: 9.77, dist: 96.5\n"


@pytest.mark.slow
@pytest.mark.parametrize(("size", "unit"), [((80, 24), "which unit?"), ((40, 12), "s until it fits")])
def test_a_speed_in_no_unit_that_is_told_has_to_be_said(home: Path, size: tuple[int, int], unit: str) -> None:  # noqa: F811
    """2,450 rpm of the wheel, as the motor's: as degrees a second they would be 858 rpm, which this wheel holds too."""
    profile = home / "kite.toml"
    profile.write_text(load_robot("heron").path.read_text())
    with PrintingRobot(lambda n: LINE.format((2450 + n % 3) * REDUCTION).encode()) as robot:

        async def script(app: StartApp, pilot: Pilot[Opening]) -> None:
            await until(app, pilot, "kite")
            await pilot.press("end", "c")
            await until(app, pilot, "sends text")
            await pilot.press("enter")
            await until(app, pilot, unit)
            await pilot.press("down", "enter")
            text = await until(app, pilot, "✗ speed: which unit? s until it fits")
            assert "858" not in text
            await pilot.press("s", "s", "s", "s", "s")  # the name is marked again
            text = await until(app, pilot, "otor rpm" if size[0] == 80 else "Speed motor rpm")
            assert "✗" not in text
            await pilot.press("down", "down")
            await until(app, pilot, "dist: cm or in? d until it fits")
            await pilot.press("enter")
            await pilot.pause(0.2)

        opening = drive(home, script, size, Wish("robots", profile, port=robot.device))
    assert opening is not None
    link = tomllib.loads(profile.read_text())["link"]
    assert link["fields"]["wheel_rpm"] == "speed"
    assert link["scale"]["wheel_rpm"] == pytest.approx(1 / REDUCTION, rel=1e-4)


@pytest.mark.slow
def test_of_many_names_those_that_say_something_come_first(home: Path) -> None:  # noqa: F811
    profile = home / "kite.toml"
    profile.write_text(load_robot("heron").path.read_text())
    others = ",".join(f"n{i}={i}" for i in range(40))
    with PrintingRobot(lambda n: f"{others},RPM={2450 + n % 3},Batt=9.7\n".encode()) as robot:

        async def script(app: StartApp, pilot: Pilot[Opening]) -> None:
            await until(app, pilot, "kite")
            await pilot.press("end", "c")
            await until(app, pilot, "sends text")
            await pilot.press("enter")
            await until(app, pilot, "Speed rpm")
            await until(app, pilot, "Battery V")
            await pilot.press("down", "minus")  # it stays where it is while its key is pressed
            await until(app, pilot, "not used")
            text = await until(app, pilot, "n0")
            assert text.index("RPM") < text.index("Batt") < text.index("n0")

        drive(home, script, (40, 12), Wish("robots", profile, port=robot.device))
