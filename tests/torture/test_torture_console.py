"""The real console on a pseudo-terminal: killed while results are typed, closed under a result, its views switched."""

from __future__ import annotations

import os
import random
import re
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "console"))
from terminal import Terminal
from test_console_monkey import resident_mb

from fieldtune import Session, load_robot
from fieldtune.console import keys
from fieldtune.robot.home import claim_profile
from fieldtune.store import Store

pytestmark = [
    pytest.mark.torture,
    pytest.mark.skipif(not Path("/proc/self/statm").exists(), reason="memory is read from /proc"),
]
SEED = int(os.environ.get("FIELDTUNE_SEED", "20261128"))
KILLS = int(os.environ.get("FIELDTUNE_CONSOLE_KILLS", "60"))
SWITCHES = int(os.environ.get("FIELDTUNE_SWITCHES", "2000"))
MOST_GROWTH_MB = 12.0


@pytest.fixture
def home(tmp_path: Path) -> Path:
    robot = load_robot("heron")
    claim_profile(robot, tmp_path)
    with Session(robot, tmp_path / "heron.db") as session:
        session.log.remember("caution understood", "yes")
    return tmp_path


def console(home: Path) -> Terminal:
    return Terminal("console", "heron", "--port", "sim://heron", profiles=home, columns=100, rows=30)


@contextmanager
def busy(processes: int) -> Iterator[None]:
    """The machine has so much else to do."""
    spinning = [subprocess.Popen([sys.executable, "-c", "while True: pass"]) for _ in range(processes)]
    try:
        yield
    finally:
        for process in spinning:
            process.kill()
            process.wait()


def test_consoles_killed_while_results_are_typed_lose_and_double_nothing(home: Path) -> None:
    chance, pressed, said, kept = random.Random(SEED), 0, 0, 0
    for _ in range(KILLS):
        with console(home) as terminal:
            terminal.wait("Good range")
            for key in chance.sample("isl", chance.randrange(1, 4)):
                terminal.press(key)
                pressed += 1
                time.sleep(chance.uniform(0, 0.15))
            time.sleep(chance.choice([0.0, chance.uniform(0, 0.3)]))
            terminal.kill()
            told = [int(number) for number in re.findall(r"confirmed: shot (\d+)", terminal.settled())]
        shots = Store(home / "heron.db").shots()
        assert max(told, default=0) <= len(shots), "said to be confirmed, and not there"
        assert kept <= len(shots) <= pressed
        assert len({shot.uid for shot in shots}) == len(shots)
        said, kept = said + bool(told), len(shots)
    assert Store(home / "heron.db").damaged() == ()
    print(f"\nseed {SEED}: {KILLS} consoles killed, {pressed} results typed, {kept} in the log: 0 lost, 0 doubled")


@pytest.mark.parametrize("others", [0, 4])
@pytest.mark.parametrize("end", ["a signal", "the window closed"])
def test_a_result_key_and_the_end_at_once(home: Path, end: str, others: int) -> None:
    kept, doubled = 0, 0
    with busy(others):
        for number in range(20):
            with console(home) as terminal:
                terminal.wait("Good range")
                before = len(Store(home / "heron.db").shots())
                terminal.press("i")
                time.sleep(0.01 * (number % 5))
                if end == "a signal":
                    terminal.process.terminate()
                else:
                    time.sleep(0.2)  # what the terminal itself hasn't handed on is lost with it
                    terminal.close_window()
                assert terminal.process.wait(60) > 128
            more = len(Store(home / "heron.db").shots()) - before
            kept, doubled = kept + (more == 1), doubled + (more > 1)
    print(f"\na result and {end} at once, {others} busy processes beside it: {kept} of 20 kept, {doubled} doubled")
    assert (kept, doubled) == (20, 0)


def test_views_switched_two_thousand_times_hold_no_memory(home: Path) -> None:
    views, memory = [binding.key for binding in keys.VIEWS], {}
    with console(home) as terminal:
        terminal.wait("Good range")
        for number in range(1, SWITCHES + 1):
            key = views[number % len(views)]
            terminal.press(key)
            time.sleep(0.02)
            if number % 25 == 0:
                terminal.press("?")  # the help page comes once all that was pressed before is acted on
                terminal.wait("After a shot, on every screen", 120)
                terminal.press("\x1b")
            if number % 100 == 0:
                memory[number] = resident_mb(terminal.process.pid)
        early, late = memory[SWITCHES // 4], sum(memory[SWITCHES - 100 * k] for k in range(3)) / 3
        print(f"\n{SWITCHES} views: resident {', '.join(f'{mb:.0f}' for mb in memory.values())} MB")
        terminal.press("q", "n")  # nothing is kept of a shot that waits for a result
        assert terminal.process.wait(120) == 0
    assert late - early < MOST_GROWTH_MB
