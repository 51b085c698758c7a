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
from datetime import datetime
from pathlib import Path

from fieldtune import load_robot
from fieldtune.caution import CAUTION_KEY
from fieldtune.link import decode
from fieldtune.link.recordings.recording import session_recording
from fieldtune.link.sim.terminal import PtyRobot
from fieldtune.robot import demo_home
from fieldtune.store import Store

QUIT = b"\x11"  # Ctrl-Q, which ends any Textual program
LIMIT_S = 60.0


def test_the_console_opens_without_a_robot_and_is_left_cleanly(tmp_path: Path) -> None:
    _open_and_leave(tmp_path, [], b"sim://heron")
    assert not (tmp_path / "recordings").exists()  # a simulated robot can be asked again


def test_a_session_on_a_real_line_is_recorded_unless_turned_off(tmp_path: Path) -> None:
    with PtyRobot(load_robot("heron"), seed=7) as robot:
        line = ["console", "heron", "--port", robot.path]
        _open_and_leave(tmp_path, [*line, "--no-record"], b"reading")
        assert not (tmp_path / "recordings").exists()
        _open_and_leave(tmp_path, line, b"reading")
    (recording,) = (tmp_path / "recordings").iterdir()
    decoded = decode(recording, load_robot("heron"))
    assert len(decoded.samples) > 20
    assert decoded.live.health.good == decoded.live.health.lines


def test_old_recordings_make_room(tmp_path: Path) -> None:
    for minute in range(45):
        path = session_recording(tmp_path, "heron", datetime(2026, 1, 1, 12, minute))
        assert path is not None
        path.write_text("x")
        os.utime(path, (minute, minute))
    (tmp_path / "heron-2-20260101-120000.rec").write_text("another robot's")
    assert len(list(tmp_path.glob("heron-2026*"))) == 40
    assert not (tmp_path / "heron-20260101-120000.rec").exists()
    blocked = tmp_path / "file"
    blocked.write_text("")
    assert session_recording(blocked, "heron", datetime(2026, 1, 1)) is None


def _open_and_leave(home: Path, argv: list[str], wanted: bytes) -> None:
    """Opens the console on a terminal of its own, waits for what it should show, leaves by the key."""
    (home / "heron.toml").write_bytes((demo_home() / "heron.toml").read_bytes())
    Store(home / "heron.db").remember(CAUTION_KEY, "yes")
    pid, terminal = pty.fork()
    if pid == 0:
        os.environ.update(TERM="xterm-256color", FIELDTUNE_PROFILES=str(home))
        os.execv(sys.executable, [sys.executable, "-m", "fieldtune", *argv])
    fcntl.ioctl(terminal, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 120, 0, 0))
    try:
        shown = _read_until(terminal, wanted)
        if argv:
            end = time.monotonic() + 2.0  # some lines to record; the screen is drawn on meanwhile
            while time.monotonic() < end:
                if select.select([terminal], [], [], 0.1)[0]:
                    os.read(terminal, 65536)
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
