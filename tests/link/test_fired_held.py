"""``fired`` that stays 1 is a trigger or a feeder: the wheel's dips meanwhile are the shots, and not its beginning.

The wheel is the tests' own: 1,800 rpm, 7 % of it lost within 15 ms at a shot, back with a time constant of 0.25 s.
"""

from __future__ import annotations

import math
import random

import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.troubleshooting.remedies import remedies

RPM, SHARE, BACK_S, STEP_S = 1800.0, 0.07, 0.25, 0.02
SHOTS = 5.0, 7.5, 8.3, 11.0


def wheel(t, shots):
    lost = sum(SHARE * min((t - s) / 0.015, 1) * math.exp(-(t - s) / BACK_S) for s in shots if t > s)
    return RPM * (1 - lost)


def seen(fired_at, shots=SHOTS, until_s=16.0):
    """The line after a session, and the times of its shots; ``fired_at``: what the robot says at a time."""
    line, noise = Line(load_robot("heron")), random.Random(4)
    for i in range(int(until_s / STEP_S)):
        t = i * STEP_S
        rpm = wheel(t, shots) + noise.gauss(0, 3)
        line.feed(f"t_ms={1000 * t:.0f},wheel_rpm={rpm:.1f},fired={int(fired_at(t))}\n".encode(), t)
    return line, [shot.time_s for shot in line.shots]


HELD = {
    "trigger from before until after each": lambda t: any(-0.5 <= t - s < 0.6 for s in SHOTS),
    "feeder runs for two of them": lambda t: any(a <= t < b for a, b in ((4.0, 5.6), (6.9, 9.4), (10.2, 11.9))),
    "button that stays": lambda t: t > 4.0,
    "from the first line on": lambda t: True,
    "a moment, as an announcement": lambda t: any(0 <= t - s < 0.3 for s in SHOTS),
    "one line": lambda t: any(0 <= t - s < STEP_S for s in SHOTS),
}


@pytest.mark.parametrize("kind", HELD)
def test_shots_are_where_the_wheel_dips(kind):
    line, times = seen(HELD[kind])
    assert times == pytest.approx(SHOTS, abs=0.06)
    if kind not in ("a moment, as an announcement", "one line"):  # which are told before the wheel is back
        assert [shot.depth_rpm for shot in line.shots] == pytest.approx([SHARE * RPM] * len(SHOTS), rel=0.35)
    assert ("fired stays 1" in line.health().notices) == (kind in ("button that stays", "from the first line on"))
    assert not remedies(line.health(), line.raw(), None, load_robot("heron"))


def test_a_trigger_with_nothing_in_the_feeder_is_no_shot_but_asked_about():
    line, times = seen(lambda t: 6.0 <= t < 7.2, shots=())
    assert times == []
    assert line.health().notices.get("shot not confirmed") == 1


def test_a_line_that_says_it_is_a_shot_at_once_though_nothing_dips():
    _, times = seen(lambda t: 6.0 <= t < 6.0 + STEP_S / 2, shots=(), until_s=6.5)
    assert times == pytest.approx([6.0], abs=0.02)


def test_a_held_trigger_of_a_wheel_that_says_nothing_is_one_shot():
    """With no reading to tell by, what the robot says is all there is."""
    line = Line(load_robot("heron"))
    for i in range(300):
        line.feed(f"t_ms={20 * i},battery_mv=9800,fired={int(100 <= i < 150)}\n".encode(), 0.02 * i)
    assert [shot.time_s for shot in line.shots] == pytest.approx([2.0], abs=0.02)
