"""Over a slow link: bytes that the console sends, and key to paint in every view, beside a minimal app's labels."""

from __future__ import annotations

import statistics
import time

import numpy as np
import pytest
from bench_slow_link import SlowTerminal, wandering
from bench_table import Table
from bench_terminal import robot_line

pytestmark = pytest.mark.bench

VIEWS = {"main": "", "shots": "h", "wheel": "w", "learned": "k", "next": "n", "battery": "b", "line": "c",
         "sizes": "z", "export": "e", "help": "?"}  # fmt: skip

PLAIN_LABELS = """
from collections import deque
from time import monotonic
from textual.app import App
from textual.widgets import Label
class Plain(App):
    BINDINGS = [("x", "say('there is no shot without a result')", "x"), ("y", "say('nothing to say yes to')", "y")]
    def compose(self):
        for number in range(20):
            yield Label("0", id=f"label{number}")
        yield Label("ready", id="news")
    def on_mount(self):
        self.set_interval(1 / 20, self.look)
    def look(self):
        for number in range(20):
            self.query_one(f"#label{number}", Label).update(f"{number} {monotonic():.2f}")
    def action_say(self, text):
        self.query_one("#news", Label).update(text)
Plain().run()
"""

CONSOLE = """
from fieldtune import Session, load_robot
from fieldtune.console import run
from fieldtune.link import Monitor
robot = load_robot("heron")
session = Session(robot, None)
session.log.remember("caution understood", "yes")
for number in range(6):
    session.confirm(2.0, 1400, ("in", "short", "long")[number % 3])
run(robot, session, Monitor(robot, {port!r}))
"""


def key_times(terminal: SlowTerminal, presses: int) -> list[float]:
    """Seconds from a key to its paint, at uneven moments."""
    uneven, taken = np.random.default_rng(3), []
    for number in range(presses):
        time.sleep(float(uneven.uniform(0.3, 0.7)))
        key, said = (("x", "there is no shot without"), ("y", "nothing to say yes to"))[number % 2]
        terminal.press(key)
        taken.append(terminal.seconds_until(said))
    return taken


def opened(terminal: SlowTerminal, view: str) -> float:
    """Opens a view from the main screen; seconds until its title is there."""
    if not VIEWS[view]:
        return 0.0
    time.sleep(1.0)
    terminal.press(VIEWS[view])
    return terminal.seconds_until(view.capitalize() + "  basket")


def test_bytes_to_the_terminal(waiting_table: Table) -> None:
    rates: dict[str, float] = {}
    with SlowTerminal("-c", PLAIN_LABELS) as plain:
        plain.seconds_until("ready")
        time.sleep(1.0)
        rates["labels"] = plain.rate_over(4.0)
    waiting_table.tell("bytes to the terminal, 20 plain labels", f"{rates['labels'] / 1000:.1f} kB/s")
    good = True
    with robot_line(100, wandering) as port, SlowTerminal("-c", CONSOLE.format(port=port)) as terminal:
        terminal.seconds_until("samples/s")
        terminal.seconds_until("Good range")
        time.sleep(3.0)
        for view, key in VIEWS.items():
            if key:
                terminal.press(key)
                time.sleep(2.0)
            rate = terminal.rate_over(4.0) / 1000
            goal = 3.0 if view == "main" else 12.0
            good &= waiting_table.note(f"bytes to the terminal at 100 samples/s, {view}", rate, goal, "kB/s")
            if key:
                terminal.press("\x1b")
                time.sleep(0.5)
    assert good, waiting_table.text()


@pytest.mark.parametrize("answers", [True, False], ids=["answers", "silent"])
@pytest.mark.parametrize(("rate", "goal"), [(10_000, 0.4), (40_000, 0.15)])
def test_key_to_paint(waiting_table: Table, rate: int, goal: float, answers: bool) -> None:
    how = f"{rate // 1000} kB/s, terminal {'answers' if answers else 'silent'}"
    with SlowTerminal("-c", PLAIN_LABELS, rate=rate, answers=answers) as plain:
        plain.seconds_until("ready")
        time.sleep(3.0)
        taken = key_times(plain, 4)
    waiting_table.tell(f"key to paint, {how}, plain labels", f"median {statistics.median(taken):.2f} s")
    good = True
    with (
        robot_line(100, wandering) as port,
        SlowTerminal("-c", CONSOLE.format(port=port), rate=rate, answers=answers) as terminal,
    ):
        terminal.seconds_until("samples/s")
        terminal.seconds_until("Good range")
        time.sleep(3.0)
        for view in VIEWS:
            opening = opened(terminal, view)
            time.sleep(2.0)
            taken = key_times(terminal, 8)
            more = f"worst {max(taken):.2f}, view open after {opening:.2f}"
            median = statistics.median(taken)
            good &= waiting_table.note(f"key to paint, {how}, {view}", median, goal, "s", more)
            if view != "main":
                terminal.press("\x1b")
                time.sleep(1.0)
    assert good, waiting_table.text()
