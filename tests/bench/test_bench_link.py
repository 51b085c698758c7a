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
from fieldtune.line_fields import BY_WIRE_NAME
from fieldtune.link.limits import Limits
from fieldtune.link.line import Line
from fieldtune.link.monitor import Monitor
from fieldtune.link.text.checksums import framed
from fieldtune.link.text.framing import Framer
from fieldtune.link.validation.decoder import LineDecoder

pytestmark = pytest.mark.bench

LINES = 40_000
RATE = 10_000


def _content(n, rate=RATE):
    """A wheel at 2,400 rpm, sampled so many times a second."""
    for i in range(n):
        yield {
            "t_us": 1_000_000 + 1_000_000 // rate * i,
            "wheel_counts": 5000 + int(2240 / rate * i),
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


def _decoded(robot, chunks, rate):
    line, lines = Line(robot), 0
    for chunk in chunks:
        lines += chunk.count(b"\n")
        line.feed(chunk, lines / rate)
    assert line.good == LINES
    assert line.health().dropped == {}


def _weighed(robot, chunks, rate):
    """Bytes to samples alone, without the detection of shots."""
    limits = Limits.of(robot)
    framer = Framer(robot.link, bounds={name: limits.surely(name) for name in BY_WIRE_NAME})
    decoder, lines = LineDecoder(robot), 0
    for chunk in chunks:
        lines += chunk.count(b"\n")
        read = framer.read(chunk)
        decoder.take_all(read, lines / rate, framer.numbers, framer.lines, noisy=False)
    assert decoder.good >= LINES - 2  # a line in words is believed from the third on


def _as_fields(content):
    return ",".join(f"{k}={v}" for k, v in content.items())


LAYOUTS = {
    "fields with checksum": lambda content: framed(_as_fields(content)),
    "json": lambda content: json.dumps(content).encode() + b"\n",
    "fields": lambda content: _as_fields(content).encode() + b"\n",
    "names and units": lambda content: (
        (
            ", ".join(f"{k}: {v}" + {"battery_mv": " mV", "distance_mm": " mm"}.get(k, "") for k, v in content.items())
        ).encode()
        + b"\n"
    ),
}


@pytest.mark.parametrize("layout", ["fields with checksum", "json"])
def test_lines_to_samples_against_json_loads_alone(layout, capsys):
    robot = load_robot("heron")
    texts = [json.dumps(c) for c in _content(LINES)]
    data = b"".join(LAYOUTS[layout](c) for c in _content(LINES))
    chunks, ours, whole, theirs = _chunks(data), [], [], []
    for _ in range(5):
        ours.append(_cpu(lambda: _weighed(robot, chunks, RATE)))
        whole.append(_cpu(lambda: _decoded(robot, chunks, RATE)))
        theirs.append(_cpu(lambda: [json.loads(t) for t in texts]))
    ratio, with_shots = min(ours) / min(theirs), min(whole) / min(theirs)
    with capsys.disabled():
        print(
            f"\n{layout}, in large chunks: {min(ours) / LINES * 1e6:.1f} us a line to samples, "
            f"{min(whole) / LINES * 1e6:.1f} us with speed and shots, "
            f"json.loads alone {min(theirs) / LINES * 1e6:.1f} us: ratios {ratio:.2f} and {with_shots:.2f}"
        )
    assert ratio < 0.8
    assert with_shots < 1.15


@pytest.mark.parametrize(
    ("layout", "at_a_time", "most"),
    [
        ("json", 1, 7.0),
        ("json", 10, 1.7),
        ("json", 30, 1.3),
        ("fields with checksum", 1, 9.0),
        ("fields with checksum", 10, 2.3),
        ("fields with checksum", 30, 1.7),
        ("names and units", 1, 10.0),
        ("names and units", 10, 2.4),
        ("names and units", 30, 1.8),
    ],
)
def test_lines_to_samples_some_at_a_time(layout, at_a_time, most, capsys):
    """A read brings some 30 lines at 1,000 lines a second, and one at 50: here what is done once a read counts."""
    robot = load_robot("heron")
    texts = [json.dumps(c) for c in _content(LINES, 1000)]
    lines = [LAYOUTS[layout](c) for c in _content(LINES, 1000)]
    reads = [b"".join(lines[at : at + at_a_time]) for at in range(0, LINES, at_a_time)]
    ours, theirs = [], []
    for _ in range(5):
        ours.append(_cpu(lambda: _weighed(robot, reads, 1000)))
        theirs.append(_cpu(lambda: [json.loads(t) for t in texts]))
    ratio = min(ours) / min(theirs)
    with capsys.disabled():
        print(
            f"\n{layout}, {at_a_time} at a time: {min(ours) / LINES * 1e6:.1f} us a line to samples (no shots), "
            f"json.loads alone {min(theirs) / LINES * 1e6:.1f} us: ratio {ratio:.2f}"
        )
    assert ratio < most


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
