"""A robot's clock that is a little fast or slow, and one that only seemed so while lines were held back.

The truth is the test's own: a wheel that turns evenly at 1,800 rpm, printed by a program whose clock is off by a known
share. Programs that add the nominal time of a loop to their clock, though the loop takes longer, are common practice.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest
from link_wheel import COUNTS_PER_TURN

from fieldtune import load_robot
from fieldtune.link.line import Line

RPM, HZ = 1800.0, 20.0


def printed(seconds: float, pace: float, unit: str = "t_ms", start: int = 0) -> Iterator[tuple[float, bytes]]:
    """When each line was printed, true seconds, and the line."""
    per_s = {"t_ms": 1e3, "t_us": 1e6}[unit]
    for number in range(int(seconds * HZ)):
        true_s = number / HZ
        clock = (start + int(true_s * pace * per_s)) % 2**32
        yield true_s, f"{unit}={clock},wheel_counts={int(RPM / 60 * true_s * COUNTS_PER_TURN)}\n".encode()


def late(seed: int) -> Iterator[float]:
    """By how much a USB adapter is late, seconds."""
    rng = random.Random(seed)
    while True:
        yield 0.004 + min(rng.expovariate(300), 0.012)


def told(line: Line) -> list[str]:
    return [words for words in line.health().notices if "clock" in words]


@pytest.mark.parametrize("pace", [1.05, 0.94])
def test_a_clock_off_by_a_twentieth_makes_no_speed_as_wrong(pace: float) -> None:
    line = Line(load_robot("heron"))
    for (true_s, text), late_s in zip(printed(22, pace), late(1), strict=False):
        line.feed(text, true_s + late_s)
    live = line.live("live", "", None, 22.0)
    assert live.wheel_rpm == pytest.approx(RPM, rel=0.01)
    share, way = round(abs(pace - 1) * 100), "fast" if pace > 1 else "slowly"
    assert told(line) == [f"the robot's clock runs {share} % too {way}, taken so"]
    assert line.health().clock == "robot"


@pytest.mark.parametrize("pace", [1.12, 0.9])
def test_a_clock_off_by_a_tenth_is_put_right_within_five_seconds(pace: float) -> None:
    line = Line(load_robot("heron"))
    for (true_s, text), late_s in zip(printed(5, pace), late(1), strict=False):
        line.feed(text, true_s + late_s)
    assert line.live("live", "", None, 5.0).wheel_rpm == pytest.approx(RPM, rel=0.02)
    assert [words.endswith(", taken so") for words in told(line)] == [True]


def test_a_clock_put_right_rolls_over_as_before() -> None:
    """At 32 bits of microseconds, as small controllers count them, a few seconds behind what tells the pace."""
    line, seen = Line(load_robot("heron")), []
    start = 2**32 - int(20e6 * 1.05)
    for (true_s, text), late_s in zip(printed(26, 1.05, "t_us", start), late(2), strict=False):
        line.feed(text, true_s + late_s)
        if true_s > 18:
            seen.append(line.live("live", "", None, true_s + late_s).wheel_rpm)
    assert all(rpm == pytest.approx(RPM, rel=0.01) for rpm in seen)
    assert line.health().notices["clock roll-over"] == 1


def test_a_true_clock_stays_what_it_is() -> None:
    line, rng, heard_s = Line(load_robot("heron")), random.Random(3), 0.0
    for true_s, text in printed(25, 1.0):
        heard_s = max(heard_s, true_s + rng.expovariate(30))
        line.feed(text, heard_s)
    assert not told(line)
    assert line.health().clock == "robot"


def held_up(lines: Iterator[tuple[float, bytes]]) -> Iterator[tuple[float, bytes]]:
    """Lines of the third to the seventh second come over a slow bridge: late, then 2.5 times as fast."""
    for true_s, text in lines:
        yield 5.5 + (true_s - 3) / 2.5 if 3 <= true_s < 7.16 else true_s, text


def test_a_clock_is_trusted_again_that_seemed_fast_while_lines_were_held_back() -> None:
    """Time runs on all the while, else shots before would be taken for shots of the time behind it."""
    line, clocks, times = Line(load_robot("heron")), set(), []
    for heard_s, text in held_up(printed(28, 1.0)):
        times += [sample.time_s for sample in line.feed(text, heard_s)]
        clocks.add(line.health().clock)
    assert "arrival" in clocks  # it did seem fast
    assert line.health().clock == "robot"
    assert not told(line)
    assert times == sorted(times)
    assert times[-1] == pytest.approx(28, abs=3)
