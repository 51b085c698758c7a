"""A counter that is read nearly as often as lines are printed: at times a line has no new reading, or two of them.

That is no dip of the wheel, and hides none. The wheel runs as the tests' own simulator says; counter and lines have
timers of their own. All figures are invented.
"""

from __future__ import annotations

import numpy as np
import pytest
from decode_lines import decode_lines, robot_for, wrong_and_blank
from link_wheel import lines_of_readings, shots_seen
from thorough import thorough
from wheel_controllers import session, shooting

SHOTS = 24
UNEVEN_S = 0.0006


def chunks_of(wheel, read_hz, line_hz, seed=1):
    rng = np.random.default_rng(seed)
    at = 0.3 + np.arange(0.0, 22.0, 1 / line_hz)
    phase = rng.uniform(0, 1 / read_hz)
    read = np.floor((at - phase) * read_hz) / read_hz + phase
    return lines_of_readings(wheel, at, read, rng, 0.003)


@pytest.mark.parametrize(
    ("read_hz", "line_hz"),
    [(50.0, 51.0), (50.0, 49.0), (20.0, 21.0), *thorough((40.0, 41.0), (100.0, 98.0), (25.0, 26.0))],
)
def test_the_speed_is_right_over_the_beats(read_hz, line_hz):
    wheel = session("PI soft")
    decoding = decode_lines(chunks_of(wheel, read_hz, line_hz), robot_for(), 22.0)
    wrong_s, blank_s = wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.003 + 1 / read_hz, from_s=6.0)
    assert wrong_s < 0.3
    assert blank_s < 2.0
    assert not any("no wheel" in notice for notice in decoding.notices)


def uneven(hz, end_s, rng):
    """When a loop runs that is a little late each time."""
    at = 0.1 + (rng.random() + np.arange((end_s - 1.0) * hz)) / hz
    return at + np.abs(rng.normal(0.0, UNEVEN_S, len(at)))


@pytest.mark.parametrize("control", ["PI soft", "feed-forward"])
@pytest.mark.parametrize(
    ("read_hz", "line_hz"),
    [(50.3, 50.0), (50.0, 50.3), (50.0, 51.0), (51.0, 50.0), (20.0, 21.0), (101.0, 100.0), (100.0, 101.0)],
)
def test_shots_are_found_and_none_made_up(control, read_hz, line_hz):
    wheel, rng = shooting(control, 0.12, SHOTS, seed=31), np.random.default_rng(4)
    at, read = (uneven(hz, wheel.t[-1], rng) for hz in (line_hz, read_hz))
    at = at[at > read[0]]
    lines = lines_of_readings(wheel, at, read[np.searchsorted(read, at, "right") - 1], rng, 0.002)
    seen = [time_s for time_s, _ in shots_seen(robot_for(), lines)]
    found = [any(-0.1 < at_s - shot.time_s < 0.3 for at_s in seen) for shot in wheel.shots]
    assert sum(found) >= 0.9 * SHOTS
    assert len(seen) - sum(found) <= 3  # 5 to 29 of most pairs while a jump of time passed for a dip
