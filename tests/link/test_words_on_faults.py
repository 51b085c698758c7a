"""What is said of faults in time: the cause is the true one, and what is told can be done.

Each line is heard while its fault lasts, or just behind it; the lines themselves are right.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from link_wheel import COUNTS_PER_TURN

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.troubleshooting.remedies import remedies

HZ, RPM = 50.0, 1500.0


def told(text_at: Callable[[float], str], seconds: float = 10.0) -> tuple[str, ...]:
    """What is to be done, by lines of a wheel that turns evenly; a text of several lines comes together."""
    robot, rng = load_robot("heron"), random.Random(6)
    line = Line(robot)
    for number in range(int(seconds * HZ)):
        at_s = number / HZ * rng.uniform(0.9999, 1.0001)
        line.feed(text_at(at_s).encode(), at_s + rng.uniform(0.001, 0.004))
    return tuple(remedies(line.health(), line.raw(60), None, robot))


def counts(at_s: float) -> str:
    return f"wheel_counts={int(RPM / 60 * at_s * COUNTS_PER_TURN)},battery_mv=10900\n"


CLOCKS: dict[str, tuple[Callable[[float], float], str, str]] = {
    "microseconds": (lambda at_s: 1e6 * at_s, "a thousand times too fast", "millis()"),
    "ticks of 4 us": (lambda at_s: 2.5e5 * at_s, "times too fast", "millis()"),
    "steps": (lambda at_s: int(1e3 * at_s) // 16 * 16, "steps of 16 ms", "t_us"),
    "whole seconds": (lambda at_s: int(at_s) * 1000, "steps of 1000 ms", "t_us"),
    "a nominal loop": (lambda at_s: 0.9e3 * at_s, "10 % too slowly", "fixed loop time"),
    "far too slow": (lambda at_s: 0.7e3 * at_s, "30 % too slowly", "millis()"),
    "once for all": (lambda at_s: 777, "stands still", "for each line"),
}


@pytest.mark.parametrize("kind", CLOCKS)
def test_a_clock_that_is_no_use_is_named_with_what_to_send(kind: str) -> None:
    clock, cause, remedy = CLOCKS[kind]
    said = told(lambda at_s: f"t_ms={clock(at_s):.0f},{counts(at_s)}")
    assert len(said) == 1
    assert cause in said[0]
    assert remedy in said[0]


def test_whole_seconds_are_not_offered_as_the_clock() -> None:
    assert not told(lambda at_s: f"time={int(at_s)} {counts(at_s).replace(',', ' ')}")
    offered = told(lambda at_s: f"time={1000 * at_s:.0f} {counts(at_s).replace(',', ' ')}")
    assert offered[-1] == 't_ms = "time"'


def test_two_robots_are_named_while_they_talk_and_blamed_no_more_behind() -> None:
    def both(at_s: float) -> str:
        other = f"t_ms={777_000 + 1e3 * at_s:.0f},wheel_counts=42,battery_mv=9500\n" if 6.0 < at_s < 8.0 else ""
        return f"t_ms={1e3 * at_s:.0f},{counts(at_s)}{other}"

    (said,) = told(both, 7.0)
    assert said.startswith("Two robots")
    assert not told(both, 12.0)


def test_own_rpm_by_a_time_that_is_not_kept_says_that_it_may_be_too_high() -> None:
    rng, last = random.Random(8), [0.0]

    def own(at_s: float) -> str:
        if rng.random() < 0.3:
            return ""  # the loop took twice as long
        since_s, last[0] = at_s - last[0], at_s
        return f"t_ms={1e3 * at_s:.0f},wheel_rpm={RPM * since_s * HZ:.1f},battery_mv=10900\n"

    (said,) = told(own)
    assert "too high" in said
    assert "micros()" in said


def test_a_loop_that_is_uneven_is_told_to_send_its_clock_before_a_plug_is_blamed() -> None:
    robot, rng, at_s = load_robot("heron"), random.Random(0), 0.0
    line = Line(robot)
    while at_s < 12.0:
        at_s += rng.uniform(0.004, 0.036) + (0.12 if rng.random() < 0.03 else 0.0)
        line.feed(counts(at_s).encode(), at_s + rng.uniform(0.001, 0.004))
    (said,) = remedies(line.health(), line.raw(60), None, robot)
    assert said.startswith("Wheel readings jump")
    assert said.index("send t_ms") < said.index("plug")
