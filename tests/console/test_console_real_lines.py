"""Lines on real pseudo-terminals before the real console: dips that may have been shots, several robots."""

from __future__ import annotations

import math
import os
import time
import tty
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from console_driver import drive, until
from printing_robot import PrintingRobot
from serial.tools import list_ports
from terminal import Terminal
from textual.pilot import Pilot

from fieldtune import Session
from fieldtune.console import ConsoleApp
from fieldtune.link import Monitor
from fieldtune.link.text.checksums import framed
from fieldtune.robot import load_robot
from fieldtune.robot.home import demo_home

COUNTS_PER_S = 1500 / 60 * 100.8  # heron's wheel at 1,500 rpm: 48 counts a motor turn, 2.1 motor turns a wheel's


class RobotProgram(PrintingRobot):
    """An even wheel, 100 lines a second, that dips when it is told to."""

    def __init__(self) -> None:
        self._dips: list[float] = []
        self._counts, self._began = 0.0, time.monotonic()
        super().__init__(self._said)

    def dip(self) -> None:
        """Loses 2.5 % of its speed at once, a fraction of what a shot takes, and is back after some tenths."""
        self._dips.append(time.monotonic())

    def _said(self, number: int) -> bytes:
        now_s = self._began + 0.01 * number
        lost = sum(0.025 * math.exp(-(now_s - at) / 0.2) for at in self._dips if now_s >= at)
        self._counts += COUNTS_PER_S * (1 - lost) * 0.01
        return framed(
            f"t_ms={10 * number},wheel_counts={int(self._counts)},battery_mv=9800,setpoint=1500,distance_mm=2600"
        )


def test_a_dip_that_may_have_been_a_shot_is_asked_about_and_answered_by_keys(heron_home: Path) -> None:
    with (
        RobotProgram() as robot,
        Terminal("console", "heron", "--port", robot.device, profiles=heron_home, columns=80, rows=24) as console,
    ):
        console.wait("Before anything turns")
        console.press("\r")
        console.wait(r"Ready at|Set the wheel")
        time.sleep(1.5)  # of an even wheel, before it dips
        robot.dip()
        asked = console.wait(r"Was that a shot, \d+ s ago\? y yes, or its result   x no shot")
        assert "Where did it go" not in asked
        console.press("x")
        console.wait(lambda text: "Was that a shot" not in text)
        robot.dip()
        console.wait("Was that a shot")
        console.press("y")
        console.wait("Where did it go")
        console.press("i")
        console.wait(r"confirmed: shot 1, in")
        robot.dip()
        console.wait("Was that a shot")
        console.press("h")  # on other screens it is asked above them
        console.wait(r"▶  Was that a shot")
        console.press("s")
        console.wait(r"confirmed: shot 2, short")
        console.press("q")
        assert console.process.wait(10) == 0


@dataclass
class Listed:
    """A USB port as the system lists it."""

    device: str
    serial_number: str
    vid: int = 1
    pid: int = 2
    hwid: str = "USB"
    description: str = ""


def test_of_several_robots_a_key_chooses_and_the_choice_stays(monkeypatch: pytest.MonkeyPatch) -> None:
    """Only the list of USB ports is made up; both robots speak on terminals of their own."""
    robot = load_robot("heron")
    with RobotProgram() as one, RobotProgram() as two, RobotProgram() as back, Session(robot) as session:
        first, then = sorted((one.device, two.device))
        listed = [Listed(first, "A"), Listed(then, "B")]
        monkeypatch.setattr(list_ports, "comports", lambda: list(listed))
        session.log.remember("caution understood", "yes")

        async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
            text = await until(app, pilot, f"2 robots may be plugged in, {first} is read: ^p (Ctrl+P) reads the next")
            assert f"also {then}: ^p reads it" in text
            await pilot.press("ctrl+p")
            text = await until(app, pilot, f"reading {then} at 115200 baud")
            assert f"also {first}: ^p reads it" in text
            live = app.controller.shooting.live
            assert live.wheel_rpm is None or live.wheel_rpm == pytest.approx(1500, rel=0.02)
            listed.pop()
            (one if one.device == then else two).pull()
            await until(app, pilot, f"{then} is not there")  # the first one still speaks
            listed.append(Listed(back.device, "B"))
            await until(app, pilot, f"reading {back.device} at 115200 baud")  # under another name

        with Monitor(robot, "auto") as line:
            drive(ConsoleApp(robot, session, line), script)


class Striker(PrintingRobot):
    """Says when it shoots, on lines that name no time, twenty a second, and is silent from half a second after it."""

    def __init__(self) -> None:
        self.shoots, self.shot = False, 0
        super().__init__(self._said, 0.05)

    def _said(self, number: int) -> bytes:
        if self.shoots and not self.shot:
            self.shot = number
        said = framed(f"setpoint=1500,wheel_rpm=1500,fired={int(number == self.shot)}")
        return said if number < self.shot + 10 or not self.shot else b""


async def soon(pilot: Pilot[None], holds: Callable[[], bool]) -> None:
    """Until something holds, without a look at the line."""
    for _ in range(1000):
        if holds():
            return
        await pilot.pause(0.01)
    raise AssertionError("never")


@pytest.mark.parametrize("shot_first", [False, True])
@pytest.mark.parametrize(
    ("pressed", "then", "now"),
    [
        (["t"], ("low", 2.0, "spot"), ("high", 2.0, "spot")),
        (["d", "1", ".", "5", "enter"], ("low", 2.0, "spot"), ("low", 1.5, "typed")),
        (["up"], ("low", 2.0, "spot"), ("low", 2.05, "step")),
    ],
    ids=["target", "distance", "step"],
)
def test_a_shot_between_two_looks_is_logged_as_it_was_when_it_left(
    pressed: list[str], then: tuple[object, ...], now: tuple[object, ...], shot_first: bool
) -> None:
    """Keys and a shot between two looks of the console at the line, either first."""
    robot = load_robot("heron")
    robot = replace(robot, targets=tuple(replace(robot.target(), name=name) for name in ("low", "high")))
    robot = replace(robot, spots=(replace(robot.spots[0], name="near", distance=2.0),))
    with Striker() as striker, Session(robot) as session, Monitor(robot, striker.device) as line:
        session.log.remember("caution understood", "yes")

        async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
            await until(app, pilot, lambda: app.controller.shooting.live.wheel_rpm is not None)
            look, app.controller.look = app.controller.look, lambda: None
            if not shot_first:
                await pilot.press(*pressed)
            striker.shoots = True
            await soon(pilot, lambda: striker.shot > 0)
            if shot_first:
                await pilot.press(*pressed)
            await soon(pilot, lambda: bool(line.snapshot().shots))
            await pilot.pause(0.5)
            app.controller.look = look
            app.look()
            (shot,) = app.controller.shooting.unanswered
            assert (shot.target, round(shot.distance_m or 0, 3), shot.distance_from) == (then if shot_first else now)

        drive(ConsoleApp(robot, session, line), script)


def test_a_baud_that_was_asked_for_and_is_wrong_is_named_on_the_line_view() -> None:
    """At twelve times the robot's speed each of its low bits is longer than a byte, and read as NUL."""
    robot = load_robot("heron")
    master, slave = os.openpty()
    tty.setraw(slave)
    with Session(robot) as session, Monitor(robot, os.ttyname(slave), baud=115200) as line:
        session.log.remember("caution understood", "yes")

        async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
            await until(app, pilot, "listening on")
            os.write(master, bytes(600))
            await until(app, pilot, "no text comes")
            await pilot.press("c")
            text = await until(app, pilot, "What to do")
            assert "115200 baud is" in text
            assert "then start with --baud N" not in text

        drive(ConsoleApp(robot, session, line), script)
    os.close(master)
    os.close(slave)


def test_a_session_that_can_not_be_recorded_says_so(tmp_path: Path) -> None:
    """A file stands where the folder of recordings would be: the session goes on, and nobody looks for one later."""
    (tmp_path / "heron.toml").write_bytes((demo_home() / "heron.toml").read_bytes())
    (tmp_path / "recordings").write_text("in the way")
    with RobotProgram() as robot, Terminal("console", "heron", "--port", robot.device, profiles=tmp_path) as console:
        console.wait("Before anything turns")
        console.press("\r")
        console.wait("reading /dev/")
        console.press("c")
        console.wait("no recording: the folder")
        console.press("q")
        assert console.process.wait(10) == 0
