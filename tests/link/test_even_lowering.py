"""A setpoint that goes down little by little, as programs that limit its rate do (common practice).

The wheel is the test's own: a first-order lag of 30 ms behind what is asked for, that falls 6 % below and comes back.
"""

from __future__ import annotations

import math

from fieldtune import load_robot
from fieldtune.link.line import Line

LOWERED_S, RAMP_S, BY, BELOW, BACK_S = 3.0, 0.1, 0.05, 0.06, 0.12


def test_a_setpoint_lowered_evenly_makes_no_shot() -> None:
    line, rpm, step_s = Line(load_robot("heron")), 0.0, 0.002
    for step in range(int(4.6 / step_s)):
        t = step * step_s
        share = min(max((t - LOWERED_S) / RAMP_S, 0.0), 1.0)
        asked = 1500 * (1 - BY * share)
        below = BELOW * share * math.exp(-max(t - LOWERED_S - RAMP_S, 0.0) / BACK_S)
        rpm += (asked * (1 - below) - rpm) / (0.2 if t < 1.5 else 0.03) * step_s
        if step % 10 == 0:
            said = rpm * (1 + 0.001 * math.sin(37 * t))
            line.feed(f"t_ms={round(1000 * t)},wheel_rpm={said:.1f},setpoint={asked:.0f}\n".encode(), t + 0.004)
    assert not line.shots
