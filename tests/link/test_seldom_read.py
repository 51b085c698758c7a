"""Programs that print oftener than they read the encoder, or too seldom, are told so; others are not.

The wheel runs as the tests' own simulator says. All figures are invented.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
import pytest
from link_wheel import COUNTS_PER_TURN
from wheel_controllers import session

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.troubleshooting.remedies import remedies

END_S = 18.5


def told(
    control: str, hz: float, reading_s: float, value: Callable[[Callable[[float], float], float], str]
) -> list[str]:
    """What is to be done, by lines at ``hz`` whose readings are made every ``reading_s``; 0: for each line."""
    wheel, robot, rng = session(control), load_robot("heron"), random.Random(9)
    line, at_s = Line(robot), 0.1

    def turns(seconds: float) -> float:
        return float(np.interp(seconds, wheel.t, wheel.turns))

    while at_s < END_S:
        read_s = at_s if not reading_s else int(at_s / reading_s) * reading_s
        text = f"t_ms={1e3 * at_s:.0f},{value(turns, read_s)},battery_mv=10900\n"
        line.feed(text.encode(), at_s + rng.uniform(0.001, 0.004))
        at_s += rng.uniform(0.99, 1.01) / hz
    said = remedies(line.health(), line.raw(60), None, robot)
    return [words for words in said if "anew" in words or "lines a second" in words]


def counts(turns: Callable[[float], float], read_s: float) -> str:
    return f"wheel_counts={int(turns(read_s) * COUNTS_PER_TURN)}"


def own_rpm(turns: Callable[[float], float], read_s: float) -> str:
    before_s = read_s - 0.02
    moved = int(turns(read_s) * COUNTS_PER_TURN) - int(turns(before_s) * COUNTS_PER_TURN)
    return f"wheel_rpm={moved / COUNTS_PER_TURN / 0.02 * 60:.0f}"


@pytest.mark.parametrize("control", ["PI soft", "on-off"])
@pytest.mark.parametrize(("hz", "reading_s"), [(200, 1 / 7), (100, 1 / 15), (100, 1 / 20), (51, 1 / 50)])
def test_a_counter_that_is_read_more_seldom_than_printed_is_told(control: str, hz: float, reading_s: float) -> None:
    (said,) = told(control, hz, reading_s, counts)
    assert said.startswith("wheel_counts")
    if reading_s > 0.05:
        assert float(said.split("every ")[1].split()[0]) == pytest.approx(1e3 * reading_s, rel=0.03)


@pytest.mark.parametrize("control", ["PI soft", "on-off"])
@pytest.mark.parametrize("reading_s", [0.1, 0.12])
def test_own_rpm_that_is_held_is_told(control: str, reading_s: float) -> None:
    (said,) = told(control, 50, reading_s, own_rpm)
    assert said.startswith("wheel_rpm is new only every")


@pytest.mark.parametrize("control", ["PI soft", "on-off"])
@pytest.mark.parametrize("value", [counts, own_rpm])
@pytest.mark.parametrize("hz", [20, 50, 100])
def test_one_that_reads_for_each_line_is_told_nothing(control: str, value, hz: float) -> None:
    assert not told(control, hz, 0.0, value)


@pytest.mark.parametrize("hz", [5, 8, 10])
@pytest.mark.parametrize("value", [counts, own_rpm])
def test_few_lines_a_second_are_told(value, hz: float) -> None:
    (said,) = told("PI soft", hz, 0.0, value)
    assert float(said.split()[1]) == pytest.approx(hz, rel=0.05)


@pytest.mark.parametrize("control", ["PI soft", "on-off"])
def test_rounded_rpm_is_not_taken_for_held(control: str) -> None:
    def rounded(turns: Callable[[float], float], read_s: float) -> str:
        rpm = (turns(read_s) - turns(read_s - 0.05)) / 0.05 * 60
        return f"wheel_rpm={round(rpm / 50) * 50}"

    assert not told(control, 50, 0.0, rounded)
