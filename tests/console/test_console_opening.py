"""The first frame and what follows behind it: keys count from the start, faults end in one line."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from console_driver import ScriptedLine, drive, until
from console_world import thrower
from terminal import Terminal
from textual.pilot import Pilot

from fieldtune.console import ConsoleApp, UnopenedLine
from fieldtune.errors import LinkError
from fieldtune.session import Session

SIZES = [(120, 40), (80, 24)]


@pytest.fixture
def session(tmp_path: Path) -> Session:
    kept = Session(thrower(), tmp_path / "heron.db")
    kept.log.remember("caution understood", "yes")
    return kept


class SlowLine:
    """Opens a scripted line when it is let go."""

    def __init__(self, line: ScriptedLine) -> None:
        self.go, self._line = threading.Event(), line

    def __call__(self) -> ScriptedLine:
        assert self.go.wait(30)
        return self._line


def test_the_first_frame_needs_nothing_that_computes() -> None:
    code = (
        "import sys\nfrom fieldtune.cli import main\nfrom fieldtune.console import ConsoleApp, UnopenedLine\n"
        "from fieldtune import Session, load_robot\nrobot = load_robot('heron')\n"
        "ConsoleApp(robot, Session(robot), UnopenedLine(lambda: None))\n"
        "print([name for name in ('numpy', 'scipy', 'serial', 'msgspec') if name in sys.modules])"
    )
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, timeout=60)
    assert said.stdout.strip() == "[]", said.stderr


@pytest.mark.parametrize("size", SIZES)
def test_keys_count_before_the_line_is_open(session: Session, size: tuple[int, int]) -> None:
    slow = SlowLine(ScriptedLine(setpoint=None))

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        text = await until(app, pilot, "From 1.80 m")
        for words in ("Heron, practice build", "line: opening", "can hurt", "i In", "q Quit"):
            assert words in text
        assert "SIMULATED" not in text
        await pilot.press("2")
        await until(app, pilot, "From 3.20 m  far line")
        await pilot.press("up")
        await until(app, pilot, "From 3.25 m  by steps")
        await pilot.press("f")
        await until(app, pilot, "still being opened")
        await pilot.press("i")
        await until(app, pilot, "setpoint of that shot isn't known")
        await pilot.press("w")
        await until(app, pilot, "not seen yet")
        await pilot.press("escape", "d", *"2.5")
        slow.go.set()
        await pilot.press("enter")
        await until(app, pilot, "From 2.50 m  typed")
        text = await until(app, pilot, lambda: app.controller.shooting.aim_holds)
        assert app.controller.shooting.aim is not None
        assert app.controller.shooting.aim.distance_m == 2.5
        assert "Opening" not in text
        assert "live on a test line" in text

    drive(ConsoleApp(session.robot, session, UnopenedLine(slow)), script, size)
    assert session.log.shots() == ()


def test_the_caution_may_be_read_and_answered_meanwhile(tmp_path: Path) -> None:
    session, slow = Session(thrower(), tmp_path / "heron.db"), SlowLine(ScriptedLine())

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Before anything turns")
        await pilot.press("enter")
        await until(app, pilot, "Opening the line")
        slow.go.set()
        await until(app, pilot, "Set the wheel to")

    drive(ConsoleApp(session.robot, session, UnopenedLine(slow)), script)


def test_the_middle_comes_in_behind_another_view(session: Session) -> None:
    slow = SlowLine(ScriptedLine(wheel_rpm=1234.0))

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        await until(app, pilot, "Opening the line")
        await pilot.press("c")
        await until(app, pilot, "Dropped, by cause")
        slow.go.set()
        await until(app, pilot, "live on a test line")
        await pilot.press("escape")
        text = await until(
            app, pilot, lambda: app.controller.shooting.aim_holds and app.controller.advisor.picture is not None
        )
        assert "Wheel now 1234 rpm" in text
        assert "Opening" not in text

    drive(ConsoleApp(session.robot, session, UnopenedLine(slow)), script)


def test_the_keys_of_the_simulated_robot_come_with_it(session: Session) -> None:
    line = ScriptedLine(simulated=True)
    slow = SlowLine(line)

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        assert "Fire" not in await until(app, pilot, "Opening the line")
        slow.go.set()
        await until(app, pilot, "f Fire (sim)")
        await pilot.press("f")
        await until(app, pilot, lambda: line.sent == ["fire"])

    drive(ConsoleApp(session.robot, session, UnopenedLine(slow)), script)


@pytest.mark.parametrize("fault", [LinkError("no such port"), ValueError("a fault")])
def test_what_fails_behind_the_first_frame_ends_the_console_and_is_kept_for_its_caller(
    session: Session, fault: Exception
) -> None:
    def failing() -> ScriptedLine:
        raise fault

    async def script(app: ConsoleApp, pilot: Pilot[None]) -> None:
        end = time.monotonic() + 20
        while app.is_running and time.monotonic() < end:
            await pilot.pause(0.01)
        assert not app.is_running
        assert app.failed is fault

    drive(ConsoleApp(session.robot, session, UnopenedLine(failing)), script)


def test_a_refused_line_ends_in_one_line_and_its_exit_code(tmp_path: Path) -> None:
    kept = tmp_path / "kept.rec"
    kept.write_text("a recording that is wanted")
    with Terminal("console", "heron", "--port", "sim://heron", "--record", str(kept), profiles=tmp_path) as terminal:
        assert terminal.process.wait(60) == 2
        # The terminal wraps within words, where the path's length has it.
        shown = "".join(terminal.settled().split())
    assert "is there already; give another name, or --force to write over it".replace(" ", "") in shown
    assert "Traceback" not in shown
    assert kept.read_text() == "a recording that is wanted"


def test_leaving_while_it_opens(tmp_path: Path) -> None:
    with Terminal("console", "heron", "--port", "sim://heron", profiles=tmp_path) as terminal:
        terminal.wait("Before anything turns")
        terminal.press("\x11")
        assert terminal.process.wait(60) == 0
        assert "Traceback" not in terminal.settled()
