"""Decoding speed as ratios in one run: against json.loads alone on the same content, and as a share of one core."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
import tty

import pytest

from fieldtune import load_robot
from fieldtune.link.checksums import framed
from fieldtune.link.line import Line
from fieldtune.link.monitor import Monitor

pytestmark = pytest.mark.bench

LINES = 40_000
RATE = 10_000


def _content(n):
    """A wheel at 2,400 rpm, sampled 10,000 times a second."""
    for i in range(n):
        yield {
            "t_us": 1_000_000 + 100 * i,
            "wheel_counts": 5000 + int(0.224 * i),
            "battery_mv": 12_345 + i % 7,
            "current_ma": 5000 + i % 11,
            "distance_mm": 2400 + i % 3,
            "setpoint": 2400,
            "fired": 0,
        }


def _cpu(work):
    start = time.process_time()
    work()
    return time.process_time() - start


def _chunks(data, size=65_536):
    return [data[at : at + size] for at in range(0, len(data), size)]


def _decoded(robot, data):
    line, lines = Line(robot), 0
    for chunk in _chunks(data):
        lines += chunk.count(b"\n")
        line.feed(chunk, lines / RATE)
    assert line.good == LINES
    assert line.health().dropped == {}


@pytest.mark.parametrize("layout", ["fields with checksum", "json"])
def test_lines_to_samples_against_json_loads_alone(layout, capsys):
    robot = load_robot("heron")
    texts = [json.dumps(c) for c in _content(LINES)]
    if layout == "json":
        data = "".join(t + "\n" for t in texts).encode()
    else:
        data = b"".join(framed(",".join(f"{k}={v}" for k, v in c.items())) for c in _content(LINES))
    ours, theirs = [], []
    for _ in range(5):
        ours.append(_cpu(lambda: _decoded(robot, data)))
        theirs.append(_cpu(lambda: [json.loads(t) for t in texts]))
    ratio = min(ours) / min(theirs)
    with capsys.disabled():
        print(
            f"\n{layout}: {min(ours) / LINES * 1e6:.1f} us a line to samples, "
            f"json.loads alone {min(theirs) / LINES * 1e6:.1f} us: ratio {ratio:.2f}"
        )
    assert ratio < 1.0


def test_share_of_a_core_at_ten_thousand_lines_a_second_through_a_pty(capsys):
    """Another process writes; the monitor's whole process is measured, reader thread and all."""
    robot = load_robot("heron")
    data = b"".join(framed(",".join(f"{k}={v}" for k, v in c.items())) for c in _content(LINES))
    master, slave = os.openpty()
    tty.setraw(slave)
    writer = (
        "import os,sys,time\n"
        "data=sys.stdin.buffer.read().splitlines(keepends=True)\n"
        "begin=time.monotonic()\n"
        f"for i in range(0,len(data),100):\n"
        f"    time.sleep(max(0,begin+i/{RATE}-time.monotonic()))\n"
        "    block=b''.join(data[i:i+100])\n"
        "    while block: block=block[os.write(1,block):]\n"
    )
    with Monitor(robot, os.ttyname(slave), baud=115200) as monitor:
        time.sleep(0.3)
        process = subprocess.Popen([sys.executable, "-c", writer], stdin=subprocess.PIPE, stdout=master)
        process.stdin.write(data)
        process.stdin.close()
        while monitor.snapshot().health.good < RATE // 2:
            time.sleep(0.05)
        cpu, wall, good = time.process_time(), time.monotonic(), monitor.snapshot().health.good
        time.sleep(2.0)
        cpu, wall = time.process_time() - cpu, time.monotonic() - wall
        lines = monitor.snapshot().health.good - good
        process.wait(timeout=20)
        health = monitor.snapshot().health
    os.close(master)
    os.close(slave)
    share = cpu / wall
    with capsys.disabled():
        print(f"\n{lines / wall:,.0f} lines/s through a pty: {100 * share:.1f} % of one core, dropped {health.dropped}")
    assert health.dropped == {}
    assert lines / wall > 0.8 * RATE
    assert share < 0.15
