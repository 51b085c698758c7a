"""A counter that is read nearly as often as lines are printed, by a loop of its own: now and then a line has no new
reading, or one more. That is no dip of the wheel, and hides none.

The wheel runs as the tests' own simulator says; both loops are a little uneven. All figures are invented.
"""

from __future__ import annotations

import random
from itertools import count

import numpy as np
import pytest
from link_wheel import COUNTS_PER_TURN
from wheel_controllers import WheelRun, shooting

from fieldtune import load_robot
from fieldtune.link.line import Line

SHOTS = 24
UNEVEN_S = 0.0006  # about the standard deviation of a line, and of a reading


def times(hz: float, end_s: float, rng: random.Random):
    """When a loop of its own runs."""
    first_s = 0.1 + rng.random() / hz
    for k in count():
        at_s = first_s + k / hz + abs(rng.gauss(0.0, UNEVEN_S))
        if at_s > end_s:
            return
        yield at_s


def heard(wheel: WheelRun, hz: float, reading_hz: float) -> Line:
    rng, line, counts = random.Random(4), Line(load_robot("heron")), 0
    end_s = wheel.t[-1]
    readings = times(reading_hz, end_s, rng)
    next_s = next(readings)
    for at_s in times(hz, end_s, rng):
        while next_s <= at_s:
            counts = int(np.interp(next_s, wheel.t, wheel.turns) * COUNTS_PER_TURN)
            next_s = next(readings, end_s + 1.0)
        line.feed(f"t_ms={1e3 * at_s:.0f},wheel_counts={counts},battery_mv=10900\n".encode(), at_s + 0.002)
    return line


@pytest.mark.parametrize("control", ["PI soft", "feed-forward"])
@pytest.mark.parametrize(
    ("hz", "reading_hz"), [(50, 50.3), (50.3, 50), (51, 50), (50, 51), (21, 20), (100, 101), (101, 100)]
)
def test_shots_are_found_and_none_made_up(control: str, hz: float, reading_hz: float) -> None:
    wheel = shooting(control, 0.12, SHOTS, seed=31)
    seen = [shot.arrival_s for shot in heard(wheel, hz, reading_hz).shots]
    found = [any(-0.1 < at_s - shot.time_s < 0.3 for at_s in seen) for shot in wheel.shots]
    assert sum(found) >= 0.9 * SHOTS
    assert len(seen) - sum(found) <= 4  # 7 to 27 before jumps of time were mended
