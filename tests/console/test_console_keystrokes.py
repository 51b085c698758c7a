"""Keys and seconds that common tasks take, counted in the program as it is started, in a real terminal multiplexer.

Keys that stand for the robot's side (``g`` sets the simulated wheel, ``f`` fires it, ``p`` changes its battery) are the
robot's, and aren't counted.
"""

from __future__ import annotations

import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path
from types import TracebackType

import pytest
from terminal import Terminal

from fieldtune import Session, load_robot
from fieldtune.robot import claim_profile


class Tmux:
    """The console in a window of a tmux server of its own; counts the keys a person presses, and the time."""

    def __init__(self, folder: Path) -> None:
        self._server = ("tmux", "-f", "/dev/null", "-S", str(folder / "tmux.socket"))
        command = f"env -u COLUMNS -u LINES {sys.executable} -m fieldtune console heron --port sim://heron"
        env = ("-e", f"FIELDTUNE_PROFILES={folder}", "-e", "OPENBLAS_NUM_THREADS=1")
        self.keys, self.start = 0, time.monotonic()
        self._call("new-session", "-d", "-x", "100", "-y", "30", *env, command)

    def _call(self, *words: str) -> str:
        return subprocess.run((*self._server, *words), capture_output=True, text=True, check=True).stdout

    def begin(self) -> None:
        """A new task: no keys, no seconds yet."""
        self.keys, self.start = 0, time.monotonic()

    def robot(self, key: str) -> None:
        """Something that the robot or its program does."""
        self._call("send-keys", key)

    def ready(self) -> None:
        """The robot's program takes the recommended setpoint once there is one for here, and the wheel holds it."""
        end = time.monotonic() + 60
        while "Ready at" not in self.wait("press g|Ready at"):
            self.robot("g")
            time.sleep(1.0)
            assert time.monotonic() < end, "the wheel never holds its setpoint"

    def press(self, key: str) -> None:
        """A key of the person's."""
        self.keys += 1
        self._call("send-keys", key)

    def wait(self, wanted: str, seconds: float = 60.0) -> str:
        """Until the window shows that pattern."""
        end = time.monotonic() + seconds
        while True:
            text = self._call("capture-pane", "-p")
            if re.search(wanted, text):
                return text
            assert time.monotonic() < end, f"never saw {wanted!r} on\n{text}"
            time.sleep(0.05)

    def told(self, task: str, most: int) -> None:
        """Prints what the task took; fails where it took more keys than it may."""
        print(f"{task}: {self.keys} keys (at most {most}), {time.monotonic() - self.start:.1f} s")
        assert self.keys <= most

    def __enter__(self) -> Tmux:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        subprocess.run((*self._server, "kill-server"), capture_output=True, check=False)


@pytest.mark.slow
@pytest.mark.skipif(shutil.which("tmux") is None, reason="needs tmux")
def test_keys_and_seconds_of_common_tasks(tmp_path: Path) -> None:
    robot = load_robot("heron")
    claim_profile(robot, tmp_path)
    with Session(robot, tmp_path / "heron.db") as session:
        session.log.remember("caution understood", "yes")
        for result in ("in", "in", "in"):
            session.confirm(2.0, 1480.0, result)
    print()
    with Tmux(tmp_path) as console:
        console.wait(r"Wheel now \d+ rpm")
        console.told("live readback, from the start of the program", 0)
        console.wait("Ready at|press g")
        console.begin()
        console.press("2")
        console.wait(rf"From {robot.spots[1].distance:.2f} m")
        console.ready()
        console.robot("f")
        console.wait("Where did it go")
        console.press("l")
        console.wait("confirmed: shot 4, long")
        console.told("adjust at a spot, shoot and confirm", 2)
        console.wait("from 4 shots")
        console.begin()
        for key in ("h", "3", "s"):
            console.press(key)
        console.wait("corrected: shot 2 is short now")
        console.told("correct a wrong result two shots back", 4)
        console.robot("Escape")
        console.wait("Ready at|press g")
        console.begin()
        console.press("b")
        console.wait("one or two")
        console.robot("p")
        console.wait("Was the battery changed")
        console.press("Enter")
        console.wait("Spin up")
        console.robot("g")
        console.wait("Shot 1 of one or two")
        for number in (5, 6):
            console.ready()
            console.robot("f")
            console.wait("Where did it go")
            console.press("i")
            console.wait(f"confirmed: shot {number}, in")
        console.press("Enter")
        console.wait("back to the main screen")
        console.press("Enter")
        console.wait("Good range")
        console.told("recalibrate after a battery change, with two shots", 7)
    with Session(robot, tmp_path / "heron.db") as session:
        assert [shot.result for shot in session.log.shots()] == ["in", "short", "in", "long", "in", "in"]
        assert [shot.epoch for shot in session.log.shots()] == [1, 1, 1, 1, 2, 2]


@pytest.mark.slow
@pytest.mark.parametrize("end", ["q", "SIGHUP"])
def test_a_result_and_the_end_in_one_go_are_kept_twenty_times(tmp_path: Path, end: str) -> None:
    """A result key and quitting in one read, or the window closed right after it."""
    robot = load_robot("heron")
    claim_profile(robot, tmp_path)
    with Session(robot, tmp_path / "heron.db") as session:
        session.log.remember("caution understood", "yes")
    kept = 0
    for number in range(1, 21):
        with Terminal("console", "heron", "--port", "sim://heron", profiles=tmp_path, columns=80, rows=24) as terminal:
            terminal.wait("Ready at")
            terminal.press("iq" if end == "q" else "i")
            if end != "q":
                time.sleep(0.01 * (number % 5))
                terminal.process.send_signal(signal.SIGHUP)
            terminal.process.wait(30)
        with Session(robot, tmp_path / "heron.db") as session:
            kept += len(session.log.shots()) == kept + 1
    print(f"\na result and {end} at once: {kept} of 20 kept")
    assert kept == 20
