"""Clocks in steps as coarse as the lines are apart, and programs that wait for such steps, whose clocks are right.

The truth is the test's own: a wheel that turns evenly at 1,800 rpm. Timers of 8 to 20 ms are common practice: the tick
of a small real-time system, or the time of a computer with a slow timer interrupt.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator

import pytest
from link_wheel import COUNTS_PER_TURN

from fieldtune import load_robot
from fieldtune.link.line import Line

RPM, SECONDS = 1800.0, 8.0


def heard(printed_s: Iterable[float], step_ms: int) -> Iterator[tuple[float, bytes]]:
    """When each line arrives by USB, and the line, of a clock in such steps."""
    rng = random.Random(step_ms)
    for true_s in printed_s:
        clock = int(1e3 * true_s) // step_ms * step_ms
        text = f"t_ms={clock},wheel_counts={int(RPM / 60 * true_s * COUNTS_PER_TURN)}\n"
        yield true_s + 0.001 + rng.uniform(0.0, 0.003), text.encode()


def shown(lines: Iterator[tuple[float, bytes]]) -> tuple[Line, list[float | None]]:
    """The line, and the speeds shown from the third second on."""
    line, seen = Line(load_robot("heron")), []
    for arrival_s, text in lines:
        line.feed(text, arrival_s)
        if arrival_s > 2:
            seen.append(line.live("live", "", None, arrival_s).wheel_rpm)
    return line, seen


@pytest.mark.parametrize(("step_ms", "hz"), [(8, 100), (10, 66), (16, 50), (20, 60), (20, 55)])
def test_a_clock_in_steps_about_as_long_as_lines_are_apart_costs_no_speed(step_ms: int, hz: float) -> None:
    line, seen = shown(heard((number / hz for number in range(int(SECONDS * hz))), step_ms))
    assert all(rpm == pytest.approx(RPM, rel=0.04) for rpm in seen)
    assert f"the robot's clock goes in steps of {step_ms} ms" in line.health().notices
    assert line.health().clock == "arrival"


def on_ticks(step_s: float) -> Iterator[float]:
    """When a loop prints that waits for the next tick of its timer, or for the one behind it where it is busy."""
    rng, tick = random.Random(4), 0
    while tick * step_s < SECONDS:
        yield tick * step_s + 1e-6
        tick += rng.choice((1, 2, 2, 3))


@pytest.mark.parametrize("step_ms", [8, 10, 20])
def test_a_clock_is_right_whose_program_waits_for_its_steps(step_ms: int) -> None:
    line, seen = shown(heard(on_ticks(step_ms / 1e3), step_ms))
    assert all(rpm == pytest.approx(RPM, rel=0.02) for rpm in seen)
    assert line.health().clock == "robot"
