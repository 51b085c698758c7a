"""Lines without a clock behind a silence: they waited and come one upon the other, or the robot was silent; or it began
to count anew.

The truth is the test's own: a wheel that turns evenly at 1,500 rpm, printed 50 times a second. A line of 36 bytes takes
3 ms at 115,200 baud, ten bits a byte (8N1).
"""

from __future__ import annotations

import random
from collections.abc import Iterable

import pytest
from link_wheel import COUNTS_PER_TURN

from fieldtune import load_robot
from fieldtune.link.line import Line

RPM, HZ = 1500.0, 50.0


def counts_at(at_s: float) -> int:
    return int(RPM / 60 * at_s * COUNTS_PER_TURN)


def line_of(heard: Iterable[tuple[float, int]], from_s: float) -> tuple[Line, list[tuple[float, float | None]]]:
    """The line, and what is shown from then on, of counts that arrive then."""
    line, rng, seen, last_s = Line(load_robot("heron")), random.Random(4), [], 0.0
    for at_s, counts in heard:
        last_s = max(last_s + 0.003, at_s + rng.uniform(0.001, 0.004))
        line.feed(f"wheel_counts={counts},battery_mv=10900\n".encode(), last_s)
        if last_s > from_s:
            seen.append((last_s, line.live("live", "", None, last_s).wheel_rpm))
    return line, seen


@pytest.mark.parametrize("silent_s", [0.5, 1.0, 2.0])
def test_lines_that_waited_cost_no_speed_once_they_have_come(silent_s: float) -> None:
    times = [number / HZ for number in range(500)]
    heard = [(4.0 + silent_s if 4.0 <= at_s < 4.0 + silent_s else at_s, counts_at(at_s)) for at_s in times]
    line, seen = line_of(heard, 4.1 + silent_s)
    assert all(rpm == pytest.approx(RPM, rel=0.03) for _, rpm in seen)
    assert not line.health().dropped
    assert not line.shots


@pytest.mark.parametrize("silent_s", [0.5, 1.0, 2.0])
def test_a_robot_that_is_silent_for_a_while_shows_its_speed_at_once_again(silent_s: float) -> None:
    times = [at_s for at_s in (number / HZ for number in range(500)) if not 4.0 <= at_s < 4.0 + silent_s]
    line, seen = line_of([(at_s, counts_at(at_s)) for at_s in times], 4.15 + silent_s)
    assert all(rpm == pytest.approx(RPM, rel=0.03) for _, rpm in seen)
    assert not line.shots


def test_a_counter_that_begins_anew_has_overtaken_nobody() -> None:
    times = [number / HZ for number in range(500)]
    line, seen = line_of([(at_s, counts_at(at_s) - (counts_at(5.0) if at_s >= 5.0 else 0)) for at_s in times], 5.1)
    assert all(rpm == pytest.approx(RPM, rel=0.03) for _, rpm in seen)
    assert "overtaken" not in line.health().dropped
