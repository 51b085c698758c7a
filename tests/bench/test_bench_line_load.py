"""A thousand lines a second for three or thirty minutes into the real console: none lost, memory flat, share of a core.

CPU time is measured and not the clock on the wall, so that a machine that is busy elsewhere says the same.
"""

from __future__ import annotations

import os
import pty
import subprocess
import sys
import threading
import time
import tty

import pytest

from fieldtune import load_robot
from fieldtune.link import Line
from fieldtune.link.recordings.recording_reader import RecordedLine

RATE = 1000
_WRITER = """
import math, os, time
from fieldtune.link.text.checksums import framed
begin, i, turns = time.monotonic(), 0, 0.0
while i < {lines}:
    due = int((time.monotonic() - begin) * {rate})
    block = b""
    while i < min(due, {lines}):
        since = i / {rate} % 2.0
        turns += 0.04 * (1 - 0.1 * math.exp(-since / 0.3)) if i > 2000 else 0.04
        block += framed(f"t_ms={{i}},wheel_counts={{int(turns * 48)}},battery_mv={{9800 + i % 7}},setpoint=2400")
        i += 1
    while block:
        block = block[os.write(1, block):]
    time.sleep(0.008)
"""


def _stat(pid):
    """CPU seconds and resident megabytes of a process (Linux, proc(5))."""
    with open(f"/proc/{pid}/stat") as stat:
        fields = stat.read().rsplit(")", 1)[1].split()
    ticks = os.sysconf("SC_CLK_TCK")
    return (int(fields[11]) + int(fields[12])) / ticks, int(fields[21]) * os.sysconf("SC_PAGE_SIZE") / 1e6


@pytest.mark.parametrize(
    "seconds", [pytest.param(180, marks=pytest.mark.bench), pytest.param(1800, marks=pytest.mark.torture)]
)
def test_a_thousand_lines_a_second_for_minutes(tmp_path, capsys, seconds):
    robot_end, port = os.openpty()
    tty.setraw(port)
    pid, screen = pty.fork()
    if pid == 0:
        os.environ.update(TERM="xterm-256color", COLUMNS="120", LINES="40", FIELDTUNE_PROFILES=str(tmp_path))
        arguments = ["console", "heron", "--port", os.ttyname(port), "--record", str(tmp_path / "a.rec")]
        os.execv(sys.executable, [sys.executable, "-m", "fieldtune", *arguments])
    threading.Thread(target=_read_all, args=(screen,), daemon=True).start()
    time.sleep(8)
    os.write(screen, b"\r")
    time.sleep(4)
    writer = _WRITER.format(lines=RATE * seconds, rate=RATE)
    sender = subprocess.Popen([sys.executable, "-c", writer], stdout=robot_end)
    time.sleep(10)
    (cpu, _), began, mb = _stat(pid), time.monotonic(), []
    while sender.poll() is None:
        time.sleep(1)
        mb.append(_stat(pid)[1])
    share = (_stat(pid)[0] - cpu) / (time.monotonic() - began)
    time.sleep(2)
    for key in (b"q", b"y", b"\r"):
        os.write(screen, key)
        time.sleep(1)
    os.close(robot_end)
    live = _recorded(sorted(tmp_path.glob("a*.rec"), key=lambda part: part.stat().st_mtime))
    with capsys.disabled():
        print(f"\n{seconds} s at {RATE} lines/s: {live.health.lines} lines, {live.health.good} good, ", end="")
        print(f"dropped {live.health.dropped}; console {share:.1%} of a core; ", end="")
        print(f"memory {mb[len(mb) // 4]:.0f} to {mb[-1]:.0f} MB; {live.shots[-1].number if live.shots else 0} shots")
    assert live.health.lines == RATE * seconds
    assert share < 0.25
    assert mb[-1] - mb[len(mb) // 4] < 8


def _recorded(parts):
    """The line as it stood at the end of a recording in several files."""
    line = Line(load_robot("heron"))
    for part in parts:
        for chunk in RecordedLine(part).chunks():
            line.feed(chunk.data, chunk.arrival_us / 1e6)
    return line.live("ended", "", "", 0.0)


def _read_all(screen):
    try:
        while os.read(screen, 65_536):
            pass
    except OSError:
        return
