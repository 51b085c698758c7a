"""Own rpm as student programs work it out, new counts over the time of a loop, on lines faster than samples are kept.

One count more or less is some hundred rpm then. All wheel data here is made up by these tests.
"""

from __future__ import annotations

import numpy as np
import pytest
from link_wheel import wheel_speed, wheel_turns
from thorough import thorough

from fieldtune import load_robot
from fieldtune.link.line import Line

PER_TURN = 48 * 2.1  # of heron's wheel: counts a motor turn, motor turns a wheel's
RPM = 1727.0
DROPS = (2.0, 3.1, 3.8, 5.0, 6.2)
LOOPS = [
    *((150, 0.0003), (200, 0.0), (250, 0.0003), (333, 0.0), (500, 0.0003)),
    *thorough((150, 0.0), (200, 0.0003), (250, 0.0), (333, 0.0003), (500, 0.0)),
]


def _told(rate, jitter_s, drops, seconds=8.0):
    """Lines of a loop that is late or early by ``jitter_s``, and its whole milliseconds: seconds and bytes."""
    t, turns = wheel_turns(lambda x: wheel_speed(x, RPM, drops, 0.12, 0.2), seconds)
    rng = np.random.default_rng(5)
    loops = np.cumsum(np.maximum(1 / rate + rng.normal(0.0, jitter_s, int(seconds * rate)), 1e-3))
    ms = np.unique(np.floor(1000 * loops[loops < seconds - 0.01]).astype(int))
    counts = np.floor(np.interp(ms / 1000, t, turns) * PER_TURN)
    rpm = np.diff(counts) / np.diff(ms) * 60_000 / PER_TURN
    for at, value in zip(ms[1:], rpm, strict=True):
        yield at / 1000, b"t_ms=%d,wheel_rpm=%d\n" % (at, round(value))


@pytest.mark.parametrize(("rate", "jitter_s"), LOOPS)
def test_an_even_wheel_has_its_speed_and_no_shots(rate, jitter_s):
    line, off = Line(load_robot("heron")), []
    for at, told in _told(rate, jitter_s, ()):
        line.feed(told, at)
        live = line.live("live", "", None, at)
        if at > 1.0:
            assert live.wheel_rpm is not None
            off.append(abs(live.wheel_rpm - RPM))
    # One count is 60 rate / PER_TURN rpm, 119 at 200 lines/s, of which one in so many lines would show half.
    assert np.quantile(off, 0.95) < 30
    assert np.mean(np.array(off) > 80) < 0.01
    assert line.shots == ()


@pytest.mark.parametrize(("rate", "jitter_s"), LOOPS)
def test_drops_are_found_all_the_same(rate, jitter_s):
    line = Line(load_robot("heron"))
    for at, told in _told(rate, jitter_s, DROPS):
        line.feed(told, at)
    assert [shot.time_s for shot in line.shots] == pytest.approx(DROPS, abs=0.05)
    assert [shot.speed_rpm for shot in line.shots] == pytest.approx([RPM] * len(DROPS), rel=0.02)
