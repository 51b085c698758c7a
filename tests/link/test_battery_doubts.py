"""Battery readings that are none: an input with its wire off, a program that stopped to read it; and odd ones that are.

Wheels and batteries are the tests' own simulator's. That an open input says any voltage is common practice.
"""

from __future__ import annotations

import random
from collections.abc import Callable

import numpy as np
import pytest
from wheel_controllers import FULL_V, session

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.troubleshooting.remedies import remedies

LINES = 50.0


def heard(control: str, said_mv: Callable[[float, float, random.Random], float], until_s: float = 22.0) -> Line:
    """The line after some seconds of a wheel under that control, whose program says such millivolts."""
    wheel, line, rng = session(control), Line(load_robot("heron")), random.Random(3)
    for at_s in np.arange(0.1, until_s, 1 / LINES):
        rpm = float(np.interp(at_s, wheel.t, wheel.rpm))
        true_v = float(np.interp(at_s, wheel.t, wheel.volts)) + rng.gauss(0.0, 0.01)
        text = f"t_ms={1e3 * at_s:.0f},wheel_rpm={rpm:.0f},battery_mv={said_mv(at_s, true_v, rng):.0f}\n"
        line.feed(text.encode(), float(at_s) + 0.002 + rng.uniform(0.0, 0.003))
    return line


def voltage_and_advice(line: Line, at_s: float = 22.0) -> tuple[float | None, list[str]]:
    live = line.live("live", "", None, at_s)
    return live.battery_v, remedies(live.health, line.raw(60), None, load_robot("heron"))


@pytest.mark.parametrize("control", ["PI soft", "on-off"])
def test_an_input_that_floats_is_shown_as_unknown_and_said(control: str) -> None:
    line = heard(control, lambda at_s, true_v, rng: 1e3 * true_v if at_s < 9 else rng.uniform(0.0, 15_000.0))
    volts, told = voltage_and_advice(line)
    assert volts is None
    assert len(told) == 1
    assert "wire" in told[0]


def test_a_voltage_that_is_no_longer_read_is_shown_as_unknown_and_said() -> None:
    line = heard("PI soft", lambda at_s, true_v, rng: 1e3 * true_v if at_s < 9 else 10_931.0)
    volts, told = voltage_and_advice(line)
    assert volts is None
    assert ["last digit" in words for words in told] == [True]


@pytest.mark.parametrize("control", ["PI soft", "on-off"])
@pytest.mark.parametrize("step_mv", [1.0, 15.0, 100.0])
def test_a_true_voltage_is_shown_however_coarse_it_is_printed(control: str, step_mv: float) -> None:
    line = heard(control, lambda at_s, true_v, rng: round(1e3 * true_v / step_mv) * step_mv)
    volts, told = voltage_and_advice(line)
    assert volts is not None
    assert 0.4 * FULL_V < volts < 1.05 * FULL_V
    assert not told
