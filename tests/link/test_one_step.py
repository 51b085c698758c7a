"""Own rpm that goes in steps of a count, of which every second one is printed.

Wheel and program are the test's own: it counts over 10 ms and prints 50 lines/s, as is common practice.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import pytest
from link_wheel import COUNTS_PER_TURN

from fieldtune import load_robot
from fieldtune.link.line import Line

Course = Callable[[float], float]


def counted(rpm: Course, seconds: float) -> Iterator[tuple[float, bytes]]:
    """Lines of own rpm, counted over the last 10 ms, every 20 ms: when they come, and what they say."""
    turns, before, step_s = 0.0, 0, 0.001
    for ms in range(int(seconds * 1000)):
        turns += rpm(ms * step_s) / 60 * step_s
        if ms % 10:
            continue
        counts = math.floor(turns * COUNTS_PER_TURN)
        said, before = (counts - before) * 6000 / COUNTS_PER_TURN, counts
        if ms % 20 == 0:
            yield ms * step_s + 0.004, f"t_ms={ms},wheel_rpm={said:.1f}\n".encode()


def shots_of(lines: Iterator[tuple[float, bytes]]) -> list[float]:
    line = Line(load_robot("heron"))
    for heard_s, text in lines:
        line.feed(text, heard_s)
    return [float(shot.arrival_s) for shot in line.shots]


def spun_up(to_rpm: float, seconds: float) -> float:
    return to_rpm * (1 - math.exp(-seconds / 0.25))


def test_a_count_less_for_a_while_is_no_shot() -> None:
    """An even wheel, but for half a percent of its own: lines and counts beat."""
    assert shots_of(counted(lambda t: spun_up(744, t) * (1 + 0.005 * math.sin(2.1 * t)), 5)) == []


def test_a_shot_of_more_than_a_count_is_one() -> None:
    def rpm(t: float) -> float:
        since = t - 4.0
        dip = 0.12 * math.exp(-since / 0.15) if since >= 0 else 0.0
        return spun_up(1101, t) * (1 + 0.003 * math.sin(2.1 * t) - dip)

    assert shots_of(counted(rpm, 5.2)) == pytest.approx([4.0], abs=0.05)
