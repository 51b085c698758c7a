"""A dip far shallower than this robot's shots is asked about, never taken as one, wherever between two lines it begins.

All wheel data here is made up by these tests.
"""

from __future__ import annotations

import numpy as np
import pytest
from link_wheel import COUNTS_PER_TURN, wheel_speed, wheel_turns
from thorough import thorough

from fieldtune import load_robot
from fieldtune.link.line import Line

PHASES = 60  # of which the quick run takes half
PERIOD_S = 0.01


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


def _seen(robot, share, phase):
    """Shots, and whether a dip is asked about, of a wheel that loses ``share`` 1.5 s and ``phase`` lines in."""
    t, turns = wheel_turns(lambda x: wheel_speed(x, 1500.0, (1.5 + phase * PERIOD_S,), share, 0.2), 3.0)
    line = Line(robot)
    due = np.arange(PERIOD_S, t[-1], PERIOD_S)
    counts = np.floor(np.interp(due, t, turns) * COUNTS_PER_TURN).astype(int)
    for at, count in zip(due, counts, strict=True):
        line.feed(b"t_ms=%d,wheel_counts=%d,setpoint=1500\n" % (round(1000 * at), count), at)
    return len(line.shots), line.live("live", "", None, t[-1]).unsure is not None


@pytest.mark.parametrize(
    ("share", "phases"), [(0.02, PHASES // 2), *thorough((0.02, PHASES), (0.015, PHASES), (0.025, PHASES))]
)
def test_a_dip_of_a_sixth_of_a_shots_is_never_taken_as_one(heron, share, phases):
    expected = 1 - heron.speed_kept
    assert share < expected / 6
    seen = [_seen(heron, share, phase) for phase in np.random.default_rng(3).uniform(0, 30, phases)]
    assert [shots for shots, _ in seen] == [0] * phases
    if share >= 0.02:  # nor is it passed over
        assert sum(asked for _, asked in seen) >= 0.95 * phases


@pytest.mark.parametrize("phases", [PHASES // 4, *thorough(PHASES // 2)])
def test_shots_of_the_expected_depth_are_found_at_each_phase(heron, phases):
    for share in (1 - heron.speed_kept, (1 - heron.speed_kept) / 2):
        seen = [_seen(heron, share, phase) for phase in np.random.default_rng(4).uniform(0, 30, phases)]
        assert [shots for shots, _ in seen] == [1] * phases
