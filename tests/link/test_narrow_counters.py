"""Counters of 8 bits, as small controllers have them, under a profile that says 32: they roll over some times a second.

The truth is the test's own: a wheel that spins up and turns evenly at 1,500 rpm, 2,520 counts a second.
"""

from __future__ import annotations

import random

import pytest
from link_wheel import COUNTS_PER_TURN

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.troubleshooting.remedies import remedies

RPM = 1500.0


def counts_at(time_s: float) -> int:
    """At rest for a second, up to speed in half a second."""
    up_s = min(max(time_s - 1.0, 0.0), 0.5)
    turns = RPM / 60 * (up_s * up_s + max(time_s - 1.5, 0.0))
    return int(turns * COUNTS_PER_TURN)


def heard(hz: float, lowest: int, clock: bool, seconds: float) -> tuple[Line, list[float | None]]:
    """The line after some seconds of 8-bit counts from ``lowest`` on, and the speeds shown after the fourth second."""
    line, rng, seen = Line(load_robot("heron")), random.Random(5), []
    for number in range(int(seconds * hz)):
        at_s = number / hz
        counts = (counts_at(at_s) - lowest) % 256 + lowest
        text = (f"t_ms={int(1e3 * at_s)}," if clock else "") + f"wheel_counts={counts},battery_mv=10900\n"
        line.feed(text.encode(), at_s + 0.002 + rng.uniform(0.0, 0.003))
        if at_s > 4:
            seen.append(line.live("live", "", None, at_s + 0.005).wheel_rpm)
    return line, seen


@pytest.mark.parametrize("lowest", [0, -128])
@pytest.mark.parametrize("clock", [True, False])
def test_a_counter_of_8_bits_costs_no_speed_where_lines_come_often(lowest: int, clock: bool) -> None:
    line, seen = heard(50, lowest, clock, 8.0)
    assert all(rpm == pytest.approx(RPM, rel=0.03) for rpm in seen)
    assert line.health().notices["counter of 8 bits"] == 1


@pytest.mark.parametrize("hz", [10, 13])
def test_one_that_goes_round_between_two_lines_says_no_speed_but_why(hz: float) -> None:
    line, _ = heard(hz, 0, True, 25.0)
    live = line.live("live", "", None, 25.0)
    assert live.wheel_rpm is None
    assert "8 bits" in live.words
    said = remedies(live.health, line.raw(60), None, load_robot("heron"))
    assert len(said) == 1
    assert "32 bits" in said[0]


def test_a_counter_that_goes_on_beyond_a_byte_has_more_bits() -> None:
    """Another program is written onto the controller, which counts in 32 bits."""
    line = Line(load_robot("heron"))
    for number in range(400):
        counts = 53 * number % 256 if number < 200 else 53 * (number - 200)
        line.feed(f"t_ms={20 * number},wheel_counts={counts}\n".encode(), 0.02 * number)
        if number == 199:
            assert line.health().notices["counter of 8 bits"] == 1
    assert line.live("live", "", None, 8.0).wheel_rpm == pytest.approx(53 * 50 / COUNTS_PER_TURN * 60, rel=0.01)
