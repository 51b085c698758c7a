"""Own rpm that stands at its highest value because the program limits it, or its variable holds no more.

The wheels are the tests' own (``wheel_controllers``); the truth is what they turn. That an unsigned number of n bits
holds up to 2^n - 1 is common knowledge.
"""

from __future__ import annotations

import numpy as np
import pytest
from decode_lines import decode_lines, robot_for
from wheel_controllers import CONTROLS, run_wheel, session

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.troubleshooting.remedies import remedies
from fieldtune.link.validation.limited_rpm import LimitedRpm

SETPOINTS, END_S, PER_TURN = [(0.3, 1300.0), (6.0, 1900.0), (12.0, 1300.0), (16.0, 1900.0)], 21.0, 100.8


def own_rpm(wheel, top=None, hz=50.0, setpoints=None, step=1.0, seed=0):
    """Lines of a program that counts over each line's time, and limits what comes out."""
    rng = np.random.default_rng(seed)
    times = np.arange(0.2, wheel.t[-1] - 0.1, 1 / hz) + rng.uniform(0, 0.0004, int((wheel.t[-1] - 0.3) * hz) + 1)[:1]
    turns = np.interp(times, wheel.t, wheel.turns)
    rpm = np.diff(np.floor(turns * PER_TURN)) / PER_TURN / np.diff(times) * 60 + rng.normal(0, 3, len(times) - 1)
    rpm = np.round(rpm / step) * step
    rpm = rpm if top is None else np.minimum(rpm, top)
    for at, said in zip(times[1:], rpm, strict=True):
        told = "" if setpoints is None else f",setpoint={max(x for x in setpoints if x[0] <= at or x[0] < 1)[1]:.0f}"
        yield float(at + 0.004), f"t_ms={1000 * at:.0f},wheel_rpm={max(said, 0):.0f}{told}\n".encode()


@pytest.fixture(scope="module")
def wheel():
    return run_wheel("PI soft", SETPOINTS, [], END_S, 0.12, 7)


@pytest.mark.parametrize(("top", "setpoints"), [(1500, SETPOINTS), (1500, None), (1023, None), (1750, SETPOINTS)])
def test_what_is_cut_off_is_unknown_and_said(wheel, top, setpoints):
    line, wrong, blank = Line(load_robot("heron")), 0, 0
    for at, data in own_rpm(wheel, top, setpoints=setpoints):
        line.feed(data, at)
        live, true = line.live("live", "reading", None, at), wheel.rpm[wheel.index(at)]
        if live.wheel_rpm is not None and at > 9.0:
            wrong += abs(live.wheel_rpm - true) > 150 and true > top + 150
        blank += live.wheel_rpm is None and at > 1.0 and true < top - 100
    assert wrong < 20
    assert blank < 10
    assert f"wheel_rpm never says more than {top}" in live.words
    assert any("neither limit it" in said for said in remedies(line.health(), line.raw(60), None, load_robot("heron")))
    assert not line.shots


@pytest.mark.parametrize("kind", CONTROLS)
@pytest.mark.parametrize("step", [1.0, 25.0, 50.0, 100.0])
def test_no_wheel_under_its_program_is_taken_for_one(kind, step):
    wheel = session(kind)
    decoding = decode_lines(own_rpm(wheel, step=step), robot_for(PER_TURN), 22.0)
    assert not [notice for notice in decoding.notices if "never says more" in notice]
    assert sum(look.wheel_rpm is None for look in decoding.looks if look.time_s > 1.0) < 5


@pytest.mark.parametrize("step", [1, 10, 25, 50, 100])
@pytest.mark.parametrize("hz", [20, 50])
def test_a_wheel_that_cannot_reach_its_setpoint_is_shown(step, hz):
    """At full power, as on a sagging battery, it is as fast as it gets, and as even as it is; rounded, it stands."""
    line, blank, rng = Line(load_robot("heron")), 0, np.random.default_rng(step)
    for i in range(15 * hz):
        at = i / hz
        rpm = round((2000 * (1 - np.exp(-2 * at)) + rng.normal(0, 1.5)) / step) * step
        line.feed(f"t_ms={1000 * at:.0f},wheel_rpm={max(rpm, 0)},setpoint=2600\n".encode(), at + 0.004)
        blank += line.live("live", "", None, at + 0.005).wheel_rpm is None and at > 1.0
    assert blank < 5


def test_a_speed_that_is_held_to_the_last_digit_is_one():
    """A perfect control, or a program that says its setpoint for its speed: it stands wherever it is set."""
    limit = LimitedRpm()
    for target in (1200.0, 1600.0, 1400.0, 1800.0):
        for rpm in (*np.arange(0.0, target, 40.0), *[target] * 200, 0.9 * target, 0.95 * target, *[target] * 100):
            assert not limit.see(float(rpm))
