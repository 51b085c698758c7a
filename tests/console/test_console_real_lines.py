"""Lines on real pseudo-terminals before the real console: dips that may have been shots, several robots."""

from __future__ import annotations

import math
import os
import shutil
import threading
import time
import tty
from pathlib import Path
from types import TracebackType

import pytest
from terminal import Terminal

from fieldtune.link.framing import framed
from fieldtune.robot import find_profile

COUNTS_PER_S = 1500 / 60 * 100.8  # heron's wheel at 1,500 rpm: 48 counts a motor turn, 2.1 motor turns a wheel's


class RobotProgram:
    """A robot program on a pseudo-terminal: an even wheel, 100 lines a second, that dips when it is told to."""

    def __init__(self) -> None:
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        self.path = os.ttyname(self.slave)
        self._dips: list[float] = []
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def dip(self) -> None:
        """Loses 2.5 % of its speed at once, a fraction of what a shot takes, and is back after some tenths."""
        self._dips.append(time.monotonic())

    def _run(self) -> None:
        began, counts, last = time.monotonic(), 0.0, 0.0
        for number in range(1, 1_000_000):
            if self._over.wait(max(began + 0.01 * number - time.monotonic(), 0)):
                return
            now = 0.01 * number
            lost = sum(0.025 * math.exp(-(began + now - at) / 0.2) for at in self._dips if began + now >= at)
            counts, last = counts + COUNTS_PER_S * (1 - lost) * (now - last), now
            line = framed(
                f"t_ms={10 * number},wheel_counts={int(counts)},battery_mv=9800,setpoint=1500,distance_mm=2600"
            )
            os.write(self.master, line)

    def __enter__(self) -> RobotProgram:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._over.set()
        self._thread.join(2)
        os.close(self.master)
        os.close(self.slave)


@pytest.fixture
def home(tmp_path: Path) -> Path:
    """Profiles of one robot."""
    home = tmp_path / "profiles"
    home.mkdir()
    shutil.copy(find_profile("heron"), home / "heron.toml")
    return home


def test_a_dip_that_may_have_been_a_shot_is_asked_about_and_answered_by_keys(home: Path) -> None:
    with (
        RobotProgram() as robot,
        Terminal("console", "heron", "--port", robot.path, profiles=home, columns=80, rows=24) as console,
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
