"""Of lines that come in bursts the last speed is old until the next burst: how long it stands for what the wheel does.

The truth is the test's own: a wheel that is brought to one speed, to another, and to a stand. That a network hands on
what it held back once a second is common practice of ours; nothing is measured here.
"""

from __future__ import annotations

import numpy as np
import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line

HZ, PER_TURN = 50.0, 100.8


def rps(at_s: float) -> float:
    return float(np.interp(at_s, [0, 1, 2.5, 9, 10.5, 16, 19], [0, 0, 23, 23, 31, 31, 0]))


@pytest.mark.parametrize("burst_s", [0.7, 1.0])
@pytest.mark.parametrize("clock", [True, False])
def test_how_old_a_speed_between_bursts_may_be_is_said(burst_s, clock):
    line, turns, held, due_s = Line(load_robot("heron")), 0.0, b"", burst_s
    for number in range(int(22 * HZ)):
        at_s = number / HZ
        turns += rps(at_s) / HZ
        text = f"wheel_counts={int(turns * PER_TURN)},battery_mv=10900\n"
        held += (f"t_ms={1000 * at_s:.0f}," if clock else "").encode() + text.encode()
        if at_s >= due_s:
            for start in range(0, len(held), 64):
                line.feed(held[start : start + 64], at_s + start / 11520)
            held, due_s = b"", due_s + burst_s
        live = line.live("live", "reading", None, at_s + 0.2)
    assert "lines come in bursts, what is shown is up to" in live.words


def test_a_robot_that_stalls_and_prints_nominal_times_does_not_stand():
    """It reads its counter when it prints what it owes, so that all these lines have one count."""
    line = Line(load_robot("heron"))
    for number in range(400):
        at_s = number / HZ
        printed_s = 5.0 if 4.2 <= at_s < 5.0 else at_s
        now_s = printed_s + 0.003 + (max(at_s - 4.2, 0.0) / 20 if at_s < 5.0 else 0.0)
        line.feed(f"t_ms={1000 * at_s:.0f},wheel_counts={int(25 * printed_s * PER_TURN)}\n".encode(), now_s)
        live = line.live("live", "reading", None, now_s + 0.005)
        assert live.wheel_rpm != 0.0, at_s
    assert live.wheel_rpm == pytest.approx(1500, rel=0.02)
    assert not line.shots
