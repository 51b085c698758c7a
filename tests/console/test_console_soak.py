"""A thousand lines a second for minutes, console open: none lost, memory flat. FIELDTUNE_SOAK_S sets how long."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest
from console_driver import drive, until
from textual.pilot import Pilot

from fieldtune import Session, load_robot
from fieldtune.console import ConsoleApp
from fieldtune.link.monitor import Monitor

_WARM_S = 20.0
_MOST_GROWTH_MB = 8.0

# A robot of its own process: 10 lines every 10 ms of a wheel that turns evenly, framed, the count of lines at the end.
_ROBOT = """
import os, sys, time, tty
master, slave = os.openpty()
tty.setraw(slave)
print(os.ttyname(slave), flush=True)
sys.stdin.readline()
start, sent = time.monotonic(), 0
while (now := time.monotonic() - start) < float(sys.argv[1]):
    lines = []
    while sent < now * 1000:
        body = f"t_ms={sent},wheel_counts={sent * 2},battery_mv=10100,setpoint=1400,fired=0"
        check = 0
        for byte in body.encode():
            check ^= byte
        lines.append(f"${body}*{check:02X}\\n")
        sent += 1
    data = "".join(lines).encode()
    while data:
        data = data[os.write(master, data):]
    time.sleep(0.01)
print(sent, flush=True)
sys.stdin.readline()
"""


def memory_mb() -> float:
    """Resident memory of this process."""
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


@pytest.mark.slow
@pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is read from /proc")
def test_a_thousand_lines_a_second_for_minutes(tmp_path: Path) -> None:
    seconds = float(os.environ.get("FIELDTUNE_SOAK_S", "600"))
    command = [sys.executable, "-c", _ROBOT, str(seconds)]
    robot = load_robot("heron")
    robot = replace(robot, encoder=replace(robot.encoder, counts_per_turn=100, on="wheel"))
    with (
        subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as sender,
        Session(robot, tmp_path / "log.db") as session,
    ):
        monitor = Monitor(robot, sender.stdout.readline().strip())
        found: dict[str, float] = {}

        async def watch(app: ConsoleApp, pilot: Pilot[None]) -> None:
            await until(app, pilot, "Before anything turns")
            await pilot.press("enter")
            sender.stdin.write("go\n")
            sender.stdin.flush()
            end = time.monotonic() + seconds
            await until(app, pilot, lambda: monitor.snapshot().state == "live", 30)
            while time.monotonic() < end:
                await pilot.pause(1.0)
                if "warm" not in found and time.monotonic() > end - seconds + min(_WARM_S, seconds / 2):
                    found["warm"] = memory_mb()
            found["sent"] = int(sender.stdout.readline())
            await until(app, pilot, lambda: monitor.snapshot().health.lines >= found["sent"], 30)
            found["end"] = memory_mb()

        drive(ConsoleApp(robot, session, monitor), watch)
        health = monitor.snapshot().health
        sender.stdin.write("stop\n")
        sender.stdin.flush()
    growth = found["end"] - found["warm"]
    print(f"\n{found['sent']} lines sent, {health.good} good, {health.dropped} dropped; memory {growth:+.1f} MB")
    assert health.good == found["sent"]
    assert not health.dropped
    assert growth < _MOST_GROWTH_MB
