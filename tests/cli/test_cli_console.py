"""``fieldtune`` alone in a real terminal: the console opens on the simulated robot and is left with a key."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import signal
import struct
import sys
import termios
import time
from pathlib import Path

from fieldtune.console.book import CAUTION_KEY
from fieldtune.robot import demo_home
from fieldtune.store import Store

QUIT = b"\x11"  # Ctrl-Q, which ends any Textual program
LIMIT_S = 60.0


def test_the_console_opens_without_a_robot_and_is_left_cleanly(tmp_path: Path) -> None:
    (tmp_path / "heron.toml").write_bytes((demo_home() / "heron.toml").read_bytes())
    Store(tmp_path / "heron.db").set_meta(CAUTION_KEY, "yes")
    pid, terminal = pty.fork()
    if pid == 0:
        os.environ.update(TERM="xterm-256color", FIELDTUNE_PROFILES=str(tmp_path))
        os.execv(sys.executable, [sys.executable, "-m", "fieldtune"])
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    try:
        shown = _read_until(terminal, b"sim://heron")
        assert b"\x1b[?1049h" in shown  # the screen was taken over
        os.write(terminal, QUIT)
        rest = _read_until(terminal, b"\x1b[?1049l")  # and given back
        assert b"Traceback" not in shown + rest
        assert os.waitstatus_to_exitcode(_wait(pid)) == 0
        pid = 0
    finally:
        if pid:
            os.kill(pid, signal.SIGKILL)
            os.waitpid(pid, 0)
        os.close(terminal)


def _read_until(terminal: int, wanted: bytes) -> bytes:
    shown, end = b"", time.monotonic() + LIMIT_S
    while wanted not in shown:
        assert time.monotonic() < end, shown[-2000:]
        if select.select([terminal], [], [], 0.2)[0]:
            shown += os.read(terminal, 65536)
    return shown


def _wait(pid: int) -> int:
    end = time.monotonic() + LIMIT_S
    while time.monotonic() < end:
        done, status = os.waitpid(pid, os.WNOHANG)
        if done:
            return status
        time.sleep(0.05)
    raise AssertionError("the console did not end")
