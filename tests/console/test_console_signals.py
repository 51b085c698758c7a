"""A console that is told to end, or has no terminal any more, ends in order and leaves the terminal as it was."""

from __future__ import annotations

import os
import pty
import select
import signal
import subprocess
import sys
import termios
import time
import tty
from pathlib import Path

import pytest

from fieldtune.link.recordings.recording_reader import RecordedLine

SIGNALS = [signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT]
STUCK = """
import asyncio, sys, termios, time, tty
from fieldtune.console.terminal import leaving_on_signals
async def stuck():
    print("\\x1b[?1049h\\x1b[?1000hready", file=sys.stderr, flush=True)
    attributes = termios.tcgetattr(0)
    attributes[3] &= ~termios.ECHO
    termios.tcsetattr(0, termios.TCSANOW, attributes)
    while True:
        time.sleep(0.05)
with leaving_on_signals(lambda: None):
    asyncio.run(stuck())
"""


class RawTerminal:
    """A program on a pseudo-terminal, with every byte that it wrote."""

    def __init__(self, words: list[str], home: Path) -> None:
        self.master, self.slave = pty.openpty()
        self.before = termios.tcgetattr(self.slave)
        env = {**os.environ, "TERM": "xterm-256color", "FIELDTUNE_PROFILES": str(home), "OPENBLAS_NUM_THREADS": "1"}
        self.process = subprocess.Popen(
            [sys.executable, *words], stdin=self.slave, stdout=self.slave, stderr=self.slave, env=env,
            start_new_session=True,
        )  # fmt: skip
        self.said = b""

    def read_until(self, wanted: bytes | None, seconds: float = 60.0) -> None:
        end = time.monotonic() + seconds
        while wanted is None or wanted not in self.said:
            if select.select([self.master], [], [], 0.1)[0]:
                self.said += os.read(self.master, 65536)
            elif wanted is None and self.process.poll() is not None:
                return
            assert time.monotonic() < end, self.said[-500:]

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.wait(10)
        os.close(self.master)
        os.close(self.slave)


def last_of(said: bytes, mode: int) -> bytes:
    """Whether a private mode was set (h) or reset (l) last."""
    on, off = said.rfind(b"\x1b[?%dh" % mode), said.rfind(b"\x1b[?%dl" % mode)
    return b"h" if on > off else b"l"


@pytest.mark.parametrize("number", SIGNALS)
def test_the_terminal_is_as_it_was(number: signal.Signals, tmp_path: Path) -> None:
    terminal = RawTerminal(["-m", "fieldtune", "console", "heron", "--port", "sim://heron"], tmp_path)
    try:
        terminal.read_until(b"understood")
        assert last_of(terminal.said, 1049) == last_of(terminal.said, 1000) == b"h"
        terminal.process.send_signal(number)
        terminal.read_until(None)
        assert terminal.process.wait(10) == 128 + number
        assert last_of(terminal.said, 1049) == last_of(terminal.said, 1000) == b"l"
        assert last_of(terminal.said, 25) == b"h"
        assert termios.tcgetattr(terminal.slave) == terminal.before
        assert b"Traceback" not in terminal.said
    finally:
        terminal.close()


def test_a_stuck_loop_is_left_all_the_same(tmp_path: Path) -> None:
    terminal = RawTerminal(["-c", STUCK], tmp_path)
    try:
        terminal.read_until(b"ready")
        time.sleep(0.3)
        assert termios.tcgetattr(terminal.slave) != terminal.before
        terminal.process.send_signal(signal.SIGTERM)
        assert terminal.process.wait(20) == 128 + signal.SIGTERM
        terminal.read_until(None)
        assert last_of(terminal.said, 1049) == last_of(terminal.said, 1000) == b"l"
        assert termios.tcgetattr(terminal.slave) == terminal.before
    finally:
        terminal.close()


def test_a_terminal_that_goes_away_without_a_signal_ends_the_console_in_order(tmp_path: Path) -> None:
    """The system sends SIGHUP only where the terminal controls the session; here it controls none."""
    robot_end, port = os.openpty()
    tty.setraw(port)
    kept = tmp_path / "kept.rec"
    words = ["-m", "fieldtune", "console", "heron", "--port", os.ttyname(port), "--record", str(kept)]
    terminal = RawTerminal(words, tmp_path)
    try:
        terminal.read_until(b"understood")
        os.write(terminal.master, b"\r")
        for i in range(60):
            os.write(robot_end, b"t_ms=%d,wheel_counts=%d\n" % (1000 + 20 * i, 40 * i))
            time.sleep(0.02)
            if select.select([terminal.master], [], [], 0)[0]:
                terminal.said += os.read(terminal.master, 65536)
        os.close(terminal.slave)
        os.close(terminal.master)
        gone = time.monotonic()
        assert terminal.process.wait(10) == 128 + signal.SIGHUP
        assert time.monotonic() - gone < 3
        chunks = list(RecordedLine(kept).chunks())
        assert b"t_ms=2180," in b"".join(chunk.data for chunk in chunks)
        assert {chunk.why for chunk in chunks} == {"reconnected"}  # not cut off
        assert not list(tmp_path.rglob("*-wal"))  # SQLite takes it away when the log is closed
    finally:
        if terminal.process.poll() is None:
            terminal.process.kill()
        terminal.process.wait(10)
        os.close(robot_end)
        os.close(port)
