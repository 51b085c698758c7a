"""The battery view: a change that is noticed, offered, and guided through; only the line is scripted."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from console_driver import ScriptedLine, drive, screen_text, until
from console_world import seen, slider, thrower
from textual.pilot import Pilot

from fieldtune.console import ConsoleApp
from fieldtune.console.screens.battery import read_label
from fieldtune.console.screens.shots import read_reason
from fieldtune.console.widgets.text_block import TextBlock
from fieldtune.errors import InputError
from fieldtune.link.samples import Sample
from fieldtune.robot.model import Robot, SetpointRange
from fieldtune.session import Session

ROBOT = thrower()


def session_of(robot: Robot, folder: Path) -> Session:
    kept = Session(robot, folder / f"{robot.name}.db")
    kept.log.remember("caution understood", "yes")
    return kept


@pytest.fixture
def session(tmp_path: Path) -> Session:
    return session_of(ROBOT, tmp_path)


def console(session: Session, line: ScriptedLine) -> ConsoleApp:
    return ConsoleApp(session.robot, session, line)  # type: ignore[arg-type]


def spin_up(start_s: float, setpoint: float, rpm: float, rest_v: float = 10.1, ohm: float = 0.08) -> Iterator[Sample]:
    """A second still, a spin-up with its sag, four seconds held; invented, 50 lines a second."""
    for k in range(250):
        since = k * 0.02 - 1.0
        amps = 0.0 if since < 0 else 20.0 * math.exp(-since / 0.3) + 1.0
        yield Sample(
            time_s=start_s + k * 0.02,
            arrival_s=start_s + k * 0.02,
            wheel_rpm=0.0 if since < 0 else rpm * (1 - math.exp(-since / 0.3)),
            battery_v=rest_v - ohm * amps,
            current_a=amps,
            setpoint=0.0 if since < 0 else setpoint,
            power_pct=setpoint,
            fresh=k == 0,
        )


async def watching(app: ConsoleApp, pilot: Pilot[None]) -> None:
    await until(app, pilot, lambda: app.controller.battery.watch is not None)


async def change_all_the_same(app: ConsoleApp, pilot: Pilot[None]) -> None:
    """Enter, and once more where the voltage or the wheel speaks against a change."""
    before = app.controller.shooting.epoch
    await pilot.press("enter")
    await until(app, pilot, lambda: app.controller.shooting.epoch != before or "all the same" in screen_text(app))
    if app.controller.shooting.epoch == before:
        await pilot.press("enter")


def test_a_change_that_was_noticed_is_confirmed_by_one_key_and_guided(session: Session) -> None:
    line = ScriptedLine(wheel_rpm=0.0)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await watching(app, pilot)
        line.samples = list(spin_up(0.0, 2450.0, 2450.0, rest_v=9.5, ohm=0.12))
        await until(app, pilot, lambda: not line.samples)
        line.samples = list(spin_up(60.0, 0.0, 0.0, rest_v=10.7, ohm=0.08))
        await until(app, pilot, "press b")
        await pilot.press("b")
        text = await until(app, pilot, "Was the battery changed?")
        assert "rest voltage rose by" in text
        await pilot.press("enter")
        text = await until(app, pilot, "hold it a second")
        assert "Launcher empty" in text
        line.samples = list(spin_up(70.0, 2450.0, 2450.0, rest_v=10.7, ohm=0.08))
        text = await until(app, pilot, "Shot 1 of one or two")
        assert re.search(r"The wheel held 24[45]\d rpm, its setpoint\.", text)
        assert re.search(r"Resistance of battery and wiring: \d+ mΩ, 1\d\d before\.", " ".join(text.split()))
        line.now = ScriptedLine(wheel_rpm=2450.0, shots=(seen(1),)).now
        await until(app, pilot, "Where did it go?")
        await pilot.press("s")
        text = await until(app, pilot, "Shot 2 of one or two")
        assert "the setpoint was" in text
        assert "Chance" in text
        line.now = ScriptedLine(wheel_rpm=2450.0, shots=(seen(1), seen(2))).now
        await until(app, pilot, lambda: bool(app.controller.shooting.unanswered))
        await pilot.press("i")
        text = await until(app, pilot, "back to the main screen")
        assert "and is now" in text or "and stays there" in text

    drive(console(session, line), script)
    assert session.log.epoch == 2
    assert [shot.epoch for shot in session.log.shots()] == [2, 2]
    assert session.log.batteries()[-1].resistance_ohm == pytest.approx(0.08, rel=0.1)


def test_the_same_battery_is_one_key_too(session: Session) -> None:
    line = ScriptedLine(wheel_rpm=0.0)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await watching(app, pilot)
        line.samples = [*spin_up(0.0, 2450.0, 2450.0, rest_v=9.5), *spin_up(60.0, 0.0, 0.0, rest_v=10.7)]
        await pilot.press("b")
        await until(app, pilot, "Was the battery changed?")
        await pilot.press("backspace")
        text = await until(app, pilot, "Change of battery")
        assert "the same battery" in text
        assert app.controller.battery.offered is None

    drive(console(session, line), script)
    assert session.log.epoch == 1


def test_a_change_that_nothing_tells_of_is_named_and_marked(session: Session) -> None:
    line = ScriptedLine(wheel_rpm=0.0)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await watching(app, pilot)
        await pilot.press("b", "a", *"blue 3", "enter")
        await until(app, pilot, "blue 3")
        await until(app, pilot, lambda: app.screen._before is not None)
        await change_all_the_same(app, pilot)
        await until(app, pilot, "Spin up")
        await pilot.press("enter")
        await until(app, pilot, "One or two shots")
        await pilot.press("enter")
        text = await until(app, pilot, "back to the main screen")
        assert "the setpoint was" in text
        await pilot.press("enter")
        await until(app, pilot, "From 1.80 m")

    drive(console(session, line), script)
    assert (session.log.epoch, session.log.epochs()[-1].label) == (2, "blue 3")


def test_it_goes_on_where_it_was_when_the_view_is_opened_again(session: Session) -> None:
    line = ScriptedLine(wheel_rpm=0.0)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await watching(app, pilot)
        await pilot.press("b")
        await change_all_the_same(app, pilot)
        await until(app, pilot, "Spin up")
        await pilot.press("escape")
        line.samples = list(spin_up(10.0, 2450.0, 2450.0))
        await until(app, pilot, lambda: not line.samples)
        await pilot.press("b")
        await until(app, pilot, "One or two shots")

    drive(console(session, line), script)
    assert session.log.epoch == 2


def test_an_open_loop_robot_is_held_against_its_drive_and_compared_at_one_voltage(tmp_path: Path) -> None:
    drive_ = ROBOT.drive
    assert drive_ is not None
    robot = replace(ROBOT, drive=replace(drive_, control="power"), setpoint=SetpointRange("%", 10, 100, 1))
    session = session_of(robot, tmp_path)
    no_load_rpm = drive_.no_load_speed / drive_.reduction * 30 / math.pi
    line = ScriptedLine(wheel_rpm=0.0, setpoint=40.0, power_pct=40.0, battery_v=10.1)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await watching(app, pilot)
        await pilot.press("b")
        await change_all_the_same(app, pilot)
        await until(app, pilot, "bring the drive from standstill")
        line.samples = list(spin_up(10.0, 40.0, 0.4 * no_load_rpm * 10.0 / 9.6))
        await until(app, pilot, "One or two shots")
        text = app.screen.query_one("#battery-change", TextBlock).plain  # on the screen it is broken into lines
        assert "at 40 %, as the profile's drive should" in text
        assert "and 10.1 V" in text

    drive(console(session, line), script)


def test_a_striker_goes_straight_to_its_shots(tmp_path: Path) -> None:
    line = ScriptedLine(wheel_rpm=None, draw_mm=0.0, setpoint=40.0)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("b")
        await change_all_the_same(app, pilot)
        await until(app, pilot, "One or two shots")
        assert "Spin" not in screen_text(app)

    drive(console(session_of(slider(), tmp_path), line), script)


def test_the_simulated_robots_battery_is_changed_by_a_key_and_a_real_ones_never(session: Session) -> None:
    for simulated in (True, False):
        line = ScriptedLine(simulated=simulated)

        async def script(app: ConsoleApp, pilot: Pilot[None], line: ScriptedLine = line) -> None:
            await pilot.press("b", "p")
            await until(app, pilot, lambda: bool(line.sent) or not line.simulated)

        drive(console(session, line), script)
        assert line.sent == (["battery"] if simulated else [])


def test_two_loads_measure_the_resistance_and_it_is_kept(session: Session) -> None:
    """A striker's battery with a measured current: 0.5 A for ten seconds, then 6 A: 12.60 - 0.09 I volts (invented)."""
    line = ScriptedLine()

    def loads() -> Iterator[Sample]:
        for k in range(600):
            amps = 0.5 if k * 0.02 < 10.5 else 6.0
            yield Sample(
                time_s=k * 0.02, arrival_s=k * 0.02, wheel_rpm=600.0, battery_v=10.1 - 0.09 * amps, current_a=amps
            )

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await watching(app, pilot)
        await pilot.press("b", "o")
        text = await until(app, pilot, "Resistance of the battery")
        assert "Hold the wheel at its lowest setpoint for 10 s more" in " ".join(text.split())
        line.samples = list(loads())
        text = await until(app, pilot, "Resistance of battery and wiring: 90 mΩ")
        await until(app, pilot, "90 mΩ with wiring")
        await pilot.press("o")
        await until(app, pilot, "Change of battery")

    drive(console(session, line), script)
    assert session.log.batteries()[-1].resistance_ohm == pytest.approx(0.09, rel=0.02)


def test_the_simulated_robot_takes_the_two_loads_by_itself(session: Session) -> None:
    line = ScriptedLine(simulated=True)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await watching(app, pilot)
        await pilot.press("b", "o")
        await until(app, pilot, lambda: line.sent == ["setpoint=600"])
        line.samples = [
            Sample(time_s=k * 0.02, arrival_s=k * 0.02, wheel_rpm=600.0, battery_v=10.0, current_a=0.5)
            for k in range(520)
        ]
        await until(app, pilot, lambda: line.sent == ["setpoint=600", "setpoint=4200"])

    drive(console(session, line), script)


def test_a_turning_wheel_or_the_same_voltage_is_asked_about_and_each_step_leads_back(session: Session) -> None:
    line = ScriptedLine(wheel_rpm=2450.0)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await watching(app, pilot)
        await pilot.press("b", "enter")
        await until(app, pilot, "stop it before anyone touches")
        await pilot.press("backspace")
        await until(app, pilot, "Change of battery")
        line.now = ScriptedLine(wheel_rpm=0.0).now
        await until(app, pilot, lambda: app.controller.battery.status is not None)
        await pilot.press("enter")
        await until(app, pilot, "The voltage is as it was")
        await pilot.press("enter")
        await until(app, pilot, "Spin up")
        await until(app, pilot, lambda: app.controller.shooting.epoch == 2)
        await pilot.press("enter", "enter")
        await until(app, pilot, "Done")
        await pilot.press("backspace")
        await until(app, pilot, "One or two shots")
        await pilot.press("s")
        await until(app, pilot, "confirmed: shot 1, short")
        await pilot.press("backspace")
        await until(app, pilot, "Spin up")
        await pilot.press("backspace")
        await until(app, pilot, "undone: the battery change to period 2")
        await until(app, pilot, lambda: [shot.epoch for shot in app.controller.recorder.shots] == [1])
        await until(app, pilot, "Change of battery")
        await until(app, pilot, lambda: app.controller.shooting.epoch == 1)
        await pilot.press("r")
        await until(app, pilot, lambda: app.controller.shooting.epoch == 2)

    drive(console(session, line), script)
    assert session.log.epoch == 2


def test_a_battery_can_be_named_later_and_the_distance_from_before_comes_back(session: Session) -> None:
    line = ScriptedLine(wheel_rpm=0.0)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("d", *"2.9", "enter")
        await pilot.press("b")
        await until(app, pilot, lambda: app.screen._before is not None)
        await change_all_the_same(app, pilot)
        await until(app, pilot, "Spin up")
        await pilot.press("enter")
        await until(app, pilot, lambda: app.controller.shooting.distance.source == "asked")
        await pilot.press("escape")
        await until(app, pilot, "to learn what the new battery does")
        await pilot.press("b", "a", *"red 1", "enter")
        await until(app, pilot, "the battery is called red 1 now")
        await pilot.press("enter", "enter")
        await until(app, pilot, "From 2.90 m  typed")

    drive(console(session, line), script)
    assert (session.log.epoch, session.log.battery_label) == (2, "red 1")


def test_after_a_change_the_robots_own_reading_is_used(session: Session) -> None:
    line = ScriptedLine(wheel_rpm=0.0, distance_m=2.6)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("b")
        await until(app, pilot, lambda: app.screen._before is not None)
        await change_all_the_same(app, pilot)
        await until(app, pilot, "Spin up")
        await pilot.press("enter", "escape")
        text = await until(app, pilot, "robot's reading")
        assert "From 2.60 m" in text
        await until(app, pilot, r"Drive")

    drive(console(session, line), script)


@pytest.mark.parametrize("typed", ["blue\x1b[31m3", "blue\t3", "x" * 41, " "])
def test_a_label_or_reason_that_the_log_should_not_hold_is_refused_as_it_is_typed(typed: str) -> None:
    with pytest.raises(InputError):
        read_label(typed)
    with pytest.raises(InputError):
        read_reason(typed * 5)
    assert read_label(" blue 3 ") == "blue 3"


def test_batteries_are_switched_by_name_or_number_from_any_screen(session: Session) -> None:
    session.swap("blue 3")
    session.swap("red 1")

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await pilot.press("j", "ctrl+b")
        await until(app, pilot, "1 red 1, 2 blue 3; or a new name")
        await pilot.press("2", "enter")
        await until(app, pilot, "The wheel is still moving")  # the wheel of the scripted line is
        await pilot.press("enter")
        await until(app, pilot, "battery period 4 begins")

    drive(console(session, ScriptedLine()), script)
    assert session.log.battery_label == "blue 3"
