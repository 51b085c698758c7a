"""The console against the least that Textual can do on the same machine in the same run: ratios, not times.

Baselines are minimal Textual programs written here; both sides run on a real pseudo-terminal.
"""

from __future__ import annotations

import compileall
import os
import pty
import select
import shutil
import statistics
import subprocess
import sys
import threading
import time
import tty
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

import numpy as np
import pytest
from rich.style import Style

import fieldtune
from fieldtune.aim.results import ArcPicture
from fieldtune.console.arc import paint
from fieldtune.console.book import CAUTION_KEY
from fieldtune.console.scene import Scene, draw_flight
from fieldtune.robot import find_profile, load_robot
from fieldtune.store import Store

pytestmark = pytest.mark.bench

TITLE = b"Heron, practice build"
MINIMAL = """
from textual.app import App
from textual.widgets import Label
class Minimal(App):
    def compose(self):
        yield Label("Heron, practice build")
Minimal().run()
"""

# Plain labels refreshed twenty times a second while a thread takes in a thousand samples a second.
PLAIN_LABELS = """
import os
os.environ["TEXTUAL_FPS"] = "120"
import gc, threading, time
from collections import deque
from textual.app import App
from textual.widgets import Label
samples = deque(maxlen=1000)
def feed():
    number = 0
    while True:
        for _ in range(5):
            samples.append(b"$t_ms=%d,wheel_counts=%d" % (number, number))
            number += 1
        time.sleep(0.005)
class Plain(App):
    BINDINGS = [("up", "step(5)", "up"), ("down", "step(-5)", "down"), ("q", "quit", "quit")]
    at = 200
    def compose(self):
        yield Label("From 2.00 m", id="place")
        for number in range(8):
            yield Label("0", id=f"label{number}")
    def on_mount(self):
        threading.Thread(target=feed, daemon=True).start()
        self.set_interval(1 / 20, self.look)
        gc.collect(); gc.freeze()
    def look(self):
        for number in range(8):
            self.query_one(f"#label{number}", Label).update(f"{len(samples)} {time.monotonic():.2f}")
    def action_step(self, by):
        self.at += by
        self.query_one("#place", Label).update(f"From {self.at / 100:.2f} m")
Plain().run()
"""

CONSOLE = """
from fieldtune import Session, load_robot
from fieldtune.console import run
from fieldtune.link import Monitor
robot = load_robot("heron")
session = Session(robot, None)
session.remember("caution understood", "yes")
run(robot, session, Monitor(robot, {port!r}))
"""


@contextmanager
def thousand_lines_a_second() -> Iterator[str]:
    """A device on which a robot's line arrives a thousand times a second; gives its path."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)
    over = threading.Event()

    def feed() -> None:
        number = 0
        while not over.wait(0.005):
            for _ in range(5):
                number += 1
                line = f"t_ms={number},wheel_counts={number * 2},battery_mv=12600,distance_mm=2000,setpoint=1400\n"
                with suppress(BlockingIOError):
                    os.write(master, line.encode())

    threading.Thread(target=feed, daemon=True).start()
    try:
        yield os.ttyname(slave)
    finally:
        over.set()
        time.sleep(0.02)
        os.close(slave)
        os.close(master)


@contextmanager
def program(*words: str, **settings: str) -> Iterator[int]:
    """Runs Python with these words on a pseudo-terminal of 120 x 40; gives the terminal's other end."""
    master, slave = pty.openpty()
    size = {"TERM": "xterm-256color", "COLUMNS": "120", "LINES": "40"}
    env = {**os.environ, **size, "OPENBLAS_NUM_THREADS": "1", **settings}
    running = subprocess.Popen([sys.executable, *words], stdin=slave, stdout=slave, stderr=slave, env=env)
    os.close(slave)
    try:
        yield master
    finally:
        running.kill()
        running.wait(10)
        os.close(master)


def seconds_until(master: int, wanted: bytes, most: float = 60.0) -> float:
    """Time until the terminal was sent these bytes."""
    begun = time.perf_counter()
    heard = b""
    while wanted not in heard:
        left = most - (time.perf_counter() - begun)
        assert left > 0, f"never saw {wanted!r} in {heard[-2000:]!r}"
        if select.select([master], [], [], left)[0]:
            heard = heard[-4096:] + os.read(master, 65536)
    return time.perf_counter() - begun


def start(wanted: Sequence[bytes], *words: str, **settings: str) -> list[float]:
    """Seconds from starting the interpreter until the terminal was sent each of these bytes."""
    taken = []
    with program(*words, **settings) as master:
        for one in wanted:
            taken.append(seconds_until(master, one) + (taken[-1] if taken else 0.0))
    return taken


def test_first_paint_against_the_least_app(tmp_path: Path) -> None:
    """The command as people start it, caution read before or not; the least app knows no arrays and no profile."""
    compileall.compile_dir(Path(fieldtune.__file__).parent, quiet=1)  # as installing does
    shutil.copy(find_profile("heron"), tmp_path)
    Store(tmp_path / "heron.db").set_meta(CAUTION_KEY, "yes")
    known, new = {"FIELDTUNE_PROFILES": str(tmp_path)}, {"FIELDTUNE_PROFILES": str(tmp_path / "new")}
    least, frame, whole, caution = [], [], [], []
    for _ in range(9):
        least += start([TITLE], "-c", MINIMAL)
        first, last = start([TITLE, b"Good:"], "-m", "fieldtune", "console", "heron", "--port", "sim://heron", **known)
        frame.append(first)
        whole.append(last)
        caution += start([b"Before anything turns"], "-m", "fieldtune", **new)
    print(f"\nminimal app {statistics.median(least):.3f} s")
    ratios = {}
    for name, taken in (("first frame", frame), ("caution", caution), ("recommendation", whole)):
        # In turns, so that whatever else the machine does hits both.
        ratios[name] = statistics.median(ours / theirs for ours, theirs in zip(taken, least, strict=True))
        print(f"{name} {statistics.median(taken):.3f} s, {ratios[name]:.2f}x")
    assert ratios["first frame"] <= 1.5
    assert ratios["caution"] <= 1.5
    assert ratios["recommendation"] <= 5.0  # scipy.special alone takes most of one


def key_times(code: str, ready: bytes, presses: int) -> list[float]:
    """Seconds from a key to its paint, at uneven moments."""
    uneven = np.random.default_rng(3)
    with program("-c", code) as master:
        seconds_until(master, ready)
        drain(master, 3.0)
        taken = []
        for number in range(presses):
            drain(master, float(uneven.uniform(0.05, 0.2)))
            up = number % 2 == 0
            os.write(master, b"\x1b[A" if up else b"\x1b[B")
            taken.append(seconds_until(master, b"2.05 m" if up else b"2.00 m"))
        return taken


def drain(master: int, seconds: float) -> None:
    """Read and forget what is sent for a while."""
    end = time.perf_counter() + seconds
    while (left := end - time.perf_counter()) > 0:
        if select.select([master], [], [], left)[0]:
            os.read(master, 65536)


def test_key_to_paint_with_a_thousand_samples_a_second() -> None:
    plain, ours = [], []
    for _ in range(3):  # by turns, so that whatever else the machine does hits both
        plain += key_times(PLAIN_LABELS, b"From", 50)
        with thousand_lines_a_second() as port:
            ours += key_times(CONSOLE.format(port=port), b"samples/s", 50)
    ratio = statistics.median(ours) / statistics.median(plain)
    worst, plain_worst = float(np.quantile(ours, 0.99)), float(np.quantile(plain, 0.99))
    print(
        f"\nkey to paint: median {1000 * statistics.median(ours):.1f} ms (plain labels "
        f"{1000 * statistics.median(plain):.1f} ms, {ratio:.2f}x), 99 % {1000 * worst:.0f} ms "
        f"(plain {1000 * plain_worst:.0f} ms)"
    )
    assert ratio <= 1.5
    assert worst < max(0.1, 1.5 * plain_worst)  # a machine too busy for plain labels can't tell


def test_arc_redraw() -> None:
    robot = load_robot("heron")
    x = np.linspace(0.0, 3.0, 120)
    y = 0.38 + 1.28 * x - 0.37 * x**2
    picture = ArcPicture(x, y, y * 0.95, y * 1.05, x, None, None)
    styles = {layer: Style(color=f"color({layer + 16})") for layer in range(8)}
    tints = {1: Style(bgcolor="color(23)"), 2: Style(bgcolor="color(236)")}
    taken = []
    for number in range(60):
        scene = Scene(robot, robot.target(), 2.6, picture, picture, flown=number / 60)
        begun = time.process_time()
        strips = paint(draw_flight(scene, 30, 100), styles, tints)
        taken.append(time.process_time() - begun)
        assert len(strips) == 30
    print(f"\narc redraw at 100 x 30: {1000 * statistics.median(taken):.1f} ms of CPU")
    assert statistics.median(taken) < 0.016
