"""What a small window says of a line that can't be read as it is: the words, and what to do."""

from __future__ import annotations

import os
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from terminal import Terminal

PERIOD_S = 0.01


@contextmanager
def printing(texts: Iterator[str]) -> Iterator[str]:
    """A pseudo-terminal on which these lines come, 100 a second; its name."""
    master, slave = os.openpty()
    tty.setraw(slave)
    over = threading.Event()

    def write() -> None:
        while not over.wait(PERIOD_S):
            os.write(master, next(texts).encode())

    thread = threading.Thread(target=write, daemon=True)
    thread.start()
    try:
        yield os.ttyname(slave)
    finally:
        over.set()
        thread.join(2)
        os.close(master)
        os.close(slave)


def two_robots() -> Iterator[str]:
    """Lines of two robots in turn."""
    for number in range(100_000):
        own, other = 10 * number, 700_000 + 10 * number
        yield f"t_ms={own},wheel_counts={25 * number},battery_mv=9800\n"
        yield f"t_ms={other},wheel_counts={900_000 + 9 * number},battery_mv=9100\n"


def counts_since_the_last_line() -> Iterator[str]:
    """Counts of a wheel that turns evenly, set back with each line."""
    for number in range(100_000):
        yield f"t_ms={10 * number},wheel_counts={25 + number % 3 % 2},battery_mv=9800\n"


def names_of_their_own() -> Iterator[str]:
    """Lines under names that the profile does not have."""
    for number in range(100_000):
        yield f"setRPM=1500 actRPM={1500 + number % 3} errRPM={-(number % 3)}\n"


def a_pulled_wire() -> Iterator[str]:
    """A counter that stops dead while the wheel turns."""
    for number in range(100_000):
        yield f"t_ms={10 * number},wheel_counts={25 * min(number, 300)},battery_mv=9800\n"


@pytest.mark.parametrize(
    ("texts", "main", "todo"),
    [
        (two_robots, r"two\s+robots\s+talk\s+on\s+this\s+line:\s+unplug\s+one", r"unplug one, or let each"),
        (counts_since_the_last_line, r"Wheel now unknown\s+○ c says why", r"never\s+set it\s+back"),
        (
            names_of_their_own,
            r"no\s+line\s+that\s+can\s+be\s+read,\s+\d+\s+lines\s+dropped:\s+press\s+c",
            r"Press \^o, c, Enter",
        ),
        (a_pulled_wire, r"Wheel now unknown\s+○ c says why", r"plug"),
    ],
)
def test_a_small_window_says_what_to_do(heron_home: Path, texts: object, main: str, todo: str) -> None:
    assert callable(texts)
    with (
        printing(texts()) as path,
        Terminal("console", "heron", "--port", path, profiles=heron_home, columns=44, rows=14) as console,
    ):
        console.wait("Before anything turns")
        console.press("\r")
        console.wait(main)
        console.press("c")
        console.wait(todo)
        console.press("q")
        assert console.process.wait(10) == 0


def radians_a_second() -> Iterator[str]:
    """Speeds in rad/s of a wheel that holds its setpoint, which is in rpm."""
    for number in range(100_000):
        yield f"t_ms={10 * number},wheel_rpm={157.1 + number % 3 / 10:.1f},setpoint=1500\n"


def test_a_small_window_takes_the_scale_that_fits(heron_home: Path) -> None:
    with (
        printing(radians_a_second()) as path,
        Terminal("console", "heron", "--port", path, profiles=heron_home, columns=44, rows=14) as console,
    ):
        console.wait("Before anything turns")
        console.press("\r")
        console.wait(r"wheel speed in doubt: press \^e")
        console.press("\x05")
        console.wait(r"t takes link.scale.wheel_rpm = 9.5493")
        console.press("t")
        console.wait(r"Wheel now 150\d rpm")
        console.press("q")
        assert console.process.wait(10) == 0
    assert "wheel_rpm = 9.5493" in (heron_home / "heron.toml").read_text()
