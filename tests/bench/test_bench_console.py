"""The console against the least that Textual can do on the same machine in the same run: ratios, not times.

Baselines are minimal Textual programs written here; both sides run on a real pseudo-terminal.
"""

from __future__ import annotations

import os
import statistics
import time

import numpy as np
import pytest
from bench_terminal import drain, program, robot_line, seconds_until

from fieldtune.aim.results import ArcPicture
from fieldtune.console import themes
from fieldtune.console.drawing import Drawing
from fieldtune.console.widgets.braille import INKS, KEEPS, draw
from fieldtune.console.widgets.tints import Palette, paint
from fieldtune.robot import load_robot
from fieldtune.scene import scene

pytestmark = pytest.mark.bench

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
session.log.remember("caution understood", "yes")
run(robot, session, Monitor(robot, {port!r}))
"""


def counted(number: int, _: float) -> str:
    """A line of a robot that sends counts."""
    return f"t_ms={number},wheel_counts={number * 2},battery_mv=12600,distance_mm=2000,setpoint=1400\n"


def key_times(code: str, ready: bytes, presses: int) -> list[float]:
    """Seconds from a key to its paint, at uneven moments."""
    uneven = np.random.default_rng(3)
    with program("-c", code) as running:
        master = running.master
        seconds_until(master, ready)
        drain(master, 3.0)
        taken = []
        for number in range(presses):
            drain(master, float(uneven.uniform(0.05, 0.2)))
            up = number % 2 == 0
            os.write(master, b"\x1b[A" if up else b"\x1b[B")
            taken.append(seconds_until(master, b"2.05 m" if up else b"2.00 m"))
        return taken


def test_key_to_paint_with_a_thousand_samples_a_second() -> None:
    plain, ours = [], []
    for _ in range(3):  # by turns, so that whatever else the machine does hits both
        plain += key_times(PLAIN_LABELS, b"From", 50)
        with robot_line(1000, counted) as port:
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
    palette = Palette(themes.PALETTES[themes.DARK], Drawing())
    taken = []
    for number in range(60):
        begun = time.process_time()
        drawn = draw(scene(robot, robot.target(), 2.6, picture, picture, flown=number / 60), 30, 100)
        strips = paint(drawn, INKS, KEEPS, palette)
        taken.append(time.process_time() - begun)
        assert len(strips) == 30
    print(f"\narc redraw at 100 x 30: {1000 * statistics.median(taken):.1f} ms of CPU")
    assert statistics.median(taken) < 0.016
