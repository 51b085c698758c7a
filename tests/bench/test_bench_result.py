"""Result key to new numbers, as painted on a real pseudo-terminal; alone, and with every core busy with other work."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
import pytest
from bench_slow_link import SlowTerminal, wandering
from bench_table import Table
from bench_terminal import robot_line

pytestmark = pytest.mark.bench

CONSOLE = """
import random
from fieldtune import Session, load_robot
from fieldtune.console import run
from fieldtune.link import Monitor
robot, rng = load_robot("heron"), random.Random(5)
session = Session(robot, {log!r})
session.log.remember("caution understood", "yes")
for number in range({shots} - len(session.log.shots())):
    distance = rng.uniform(1.6, 4.0)
    setpoint = 10 * round((1470 + (distance - 2) * 270) * (1 + 0.03 * rng.gauss(0, 1)) / 10)
    session.confirm(distance, setpoint, rng.choice(["in", "in", "short", "long"]))
run(robot, session, Monitor(robot, {port!r}))
"""


@contextmanager
def busy(cores: int) -> Iterator[None]:
    """So many processes that do nothing but compute."""
    running = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(cores)]
    try:
        yield
    finally:
        for one in running:
            one.kill()
            one.wait()


def result_times(log: str, shots: int, presses: int) -> list[float]:
    """Seconds from a result key until the numbers that rest on it are painted."""
    taken = []
    with (
        robot_line(100, wandering) as port,
        SlowTerminal("-c", CONSOLE.format(log=log, shots=shots, port=port)) as terminal,
    ):
        terminal.seconds_until(f"from {shots} shots")
        time.sleep(3.0)
        for number in range(presses):
            time.sleep(1.1 + 0.13 * (number % 4))  # the same key within a second would be one finger
            terminal.press("isl"[number % 3])
            taken.append(terminal.seconds_until(f"from {shots + number + 1} shots"))
    return taken


@pytest.mark.parametrize("shots", [20, 500])
@pytest.mark.parametrize(("cores", "goal"), [(0, 0.1), (os.cpu_count() or 2, 0.3)], ids=["alone", "busy"])
def test_result_key_to_new_numbers(waiting_table: Table, tmp_path, shots: int, cores: int, goal: float) -> None:
    with busy(cores):
        taken = result_times(str(tmp_path / "heron.db"), shots, 20)
    worst = float(np.quantile(taken, 0.95))
    load = "every core busy" if cores else f"alone (wants an idle machine; load {os.getloadavg()[0]:.1f})"
    what = f"result key to new numbers, {shots} shots, {load}"
    assert waiting_table.note(what, worst, goal, "s", f"95 %; median {np.median(taken):.3f} s"), waiting_table.text()
