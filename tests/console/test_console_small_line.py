"""What a small window says of a line that can't be read as it is: the words, and what to do."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from printing_robot import PrintingRobot
from terminal import Terminal


def printing(texts: Iterator[str]) -> PrintingRobot:
    """A robot that prints these lines, 100 a second."""
    return PrintingRobot(lambda _: next(texts).encode())


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


def a_pulled_wire_behind_a_shot() -> Iterator[str]:
    """The same behind a shot that waits for its result."""
    for number, text in enumerate(a_pulled_wire()):
        yield text.replace("\n", f",fired={int(number == 200)}\n")


def the_motors_speed() -> Iterator[str]:
    """A speed in no unit that is told, and nothing else."""
    for number in range(100_000):
        yield f"velocity: {5145 + number % 3}\n"


@contextmanager
def watching(texts: Iterator[str], profiles: Path, columns: int = 44, rows: int = 14) -> Iterator[Terminal]:
    """A console on the line of a robot that prints these lines, its cautions read; it is left by q."""
    with (
        printing(texts) as robot,
        Terminal("console", "heron", "--port", robot.device, profiles=profiles, columns=columns, rows=rows) as console,
    ):
        console.wait("Before anything turns")
        console.press("\r")
        yield console
        console.press("q")
        assert console.process.wait(10) == 0


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
        pytest.param(the_motors_speed, r"no\s+line\s+that\s+can\s+be\s+read", r"\^o, c, Enter", marks=pytest.mark.slow),
    ],
)
def test_a_small_window_says_what_to_do(
    heron_home: Path, texts: Callable[[], Iterator[str]], main: str, todo: str
) -> None:
    with watching(texts(), heron_home) as console:
        console.wait(main)
        console.press("c")
        console.wait(todo)


def test_it_says_so_over_the_question_of_a_shot(heron_home: Path) -> None:
    with watching(a_pulled_wire_behind_a_shot(), heron_home) as console:
        console.wait(r"c says why[\s\S]*Where\s+did\s+it\s+go\?")
        console.press("c")
        console.wait(r"plug pulled\?")
        console.press("x")


def radians_a_second() -> Iterator[str]:
    """Speeds in rad/s of a wheel that holds its setpoint, which is in rpm."""
    for number in range(100_000):
        yield f"t_ms={10 * number},wheel_rpm={157.1 + number % 3 / 10:.1f},setpoint=1500\n"


def test_a_small_window_takes_the_scale_that_fits(heron_home: Path) -> None:
    with watching(radians_a_second(), heron_home) as console:
        console.wait(r"wheel speed in doubt: press \^e")
        console.press("\x05")
        console.wait(r"t takes link.scale.wheel_rpm = 9.5493")
        console.press("t")
        console.wait(r"Wheel now 150\d rpm")
    assert "wheel_rpm = 9.5493" in (heron_home / "heron.toml").read_text()


def test_the_line_of_a_demonstration_robot_leads_to_one_of_your_own(tmp_path: Path) -> None:
    with watching(names_of_their_own(), tmp_path, 80, 24) as console:
        console.wait(r"press\s+c")
        console.press("c")
        console.wait(r"is a demonstration robot,[\s\S]*Press \^o, n\s[\s\S]*to set up one of your own")
        console.press("\x0f")
        console.wait("Set up my robot")
        console.press("c")
        console.wait("n sets one up")
        console.press("n")
        console.wait("^ *(New robot|Set up)")
        console.press("\x1b")
        console.wait("Try the simulated robot")
