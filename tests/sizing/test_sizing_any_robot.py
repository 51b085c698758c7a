"""Whatever a profile may leave out or exaggerate: sizing answers, and unknown stays unknown."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from robots import DRIVE, crane, heron, otter

from fieldtune.battery.ceiling import ceiling
from fieldtune.battery.status import status_lines
from fieldtune.battery.watch import BatteryWatch
from fieldtune.constants import RPM
from fieldtune.robot.model import Basket, Battery, Element, Flywheel, Gate, SetpointRange, Window, Zone
from fieldtune.sizing.cautions import cautions
from fieldtune.sizing.hazards import hazards
from fieldtune.sizing.size import size
from fieldtune.sizing.text import size_text

elements = st.one_of(
    st.builds(lambda d, m: Element("sphere", m, diameter=d), st.floats(0.02, 0.25), st.floats(0.003, 1.0)),
    st.builds(
        lambda d, h, m: Element("disc", m, diameter=d, height=h * d),
        st.floats(0.03, 0.3), st.floats(0.05, 0.5), st.floats(0.01, 1.0),
    ),
    st.builds(
        lambda a, b, c, m: Element("block", m, length=a, width=b, height=c),
        *[st.floats(0.02, 0.2)] * 3, st.floats(0.01, 1.0),
    ),
)  # fmt: skip
batteries = st.one_of(
    st.none(),
    st.builds(
        Battery,
        st.sampled_from([None, "nimh", "lead-acid", "li-ion", "lifepo4"]),
        st.integers(1, 24),
        st.one_of(st.none(), st.floats(0.001, 1.0)),
        st.one_of(st.none(), st.floats(0.3, 40.0)),
    ),
)
drives = st.one_of(
    st.none(),
    st.builds(
        lambda motors, volts, speed, torque, amps, free, gears, control: replace(
            DRIVE,
            control=control,
            motors=motors,
            nominal_voltage=volts,
            no_load_speed=speed * RPM,
            stall_torque=torque,
            stall_current=amps,
            no_load_current=free * amps,
            gears=tuple(gears),
        ),
        st.integers(1, 4),
        st.sampled_from([6.0, 12.0, 24.0]),
        st.floats(100, 30000),
        st.floats(0.005, 10.0),
        st.floats(0.5, 150.0),
        st.floats(0.0, 0.2),
        st.lists(st.tuples(st.integers(8, 80), st.integers(8, 80)), max_size=4),
        st.just("speed"),
    ),
)
FLOOR = (Zone(0.0, (0.5, 0.5)), Gate(0.0, (0.6,)))
on_floor = st.sampled_from(FLOOR)
targets = st.sampled_from((Basket(0.9, (0.4,)), Window(1.2, (0.5, 0.4)), *FLOOR))


def answers(robot):
    """Everything sizing says of a robot, as JSON that holds no infinities and no numpy."""
    figures = size(robot)
    text = size_text(robot, figures)
    json.dumps(figures.as_json(), allow_nan=False)
    json.dumps(hazards(robot).as_json(), allow_nan=False)
    assert "nan" not in text.split()
    assert cautions(robot)
    top = ceiling(robot)
    assert top is None or (math.isfinite(top) and top >= 0)
    watch = BatteryWatch(robot)
    for k in range(60):
        watch.feed(0.05 * k, 60.0 * k if k < 40 else 2400.0, 11.9, None, robot.setpoint.high)
    now = watch.status(robot.setpoint.high)
    json.dumps(now.as_json(), allow_nan=False)
    assert status_lines(now, robot) is not None
    return figures


slow_to_shrink = settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))


@slow_to_shrink
@given(elements, batteries, drives, targets, st.integers(1, 2), st.one_of(st.none(), st.floats(1e-6, 0.1)))
def test_any_wheel(element, battery, drive, target, wheels, inertia):
    wheel = Flywheel(wheels, 0.1, inertia, 0.8, 0.9)
    robot = heron(element=element, battery=battery, drive=drive, targets=(target,))
    robot = replace(robot, launcher=replace(robot.launcher, mechanism=wheel), spots=())
    figures = answers(robot)
    if drive is None or battery is None or battery.resistance is None:
        assert figures.ceiling_rpm_low is None
        assert ceiling(robot) is None


@slow_to_shrink
@given(elements, batteries, drives, on_floor, st.sampled_from(["strike", "push"]), st.floats(20, 20000))
def test_any_striker(element, battery, drive, target, contact, rate):
    robot = otter(element=element, battery=battery, drive=drive, targets=(target,))
    striker = replace(robot.launcher.mechanism, contact=contact, spring_rate=rate)
    answers(replace(robot, launcher=replace(robot.launcher, mechanism=striker)))


@slow_to_shrink
@given(elements, batteries, drives, targets, st.one_of(st.none(), st.floats(1, 2000)))
def test_any_arm(element, battery, drive, target, rate):
    robot = crane(element=element, battery=battery, drive=drive, targets=(target,))
    arm = replace(robot.launcher.mechanism, spring_rate=rate, torque=None if rate is not None else 5.0)
    answers(replace(robot, launcher=replace(robot.launcher, mechanism=arm)))


def test_a_wheel_on_open_loop_power():
    drive = replace(DRIVE, control="power")
    robot = heron(drive=drive, setpoint=SetpointRange("%", 20, 100, 1))
    figures = answers(robot)
    assert figures.recovery_s > size(heron()).recovery_s
    assert figures.needed_rpm.far == pytest.approx(size(heron()).needed_rpm.far, rel=0.02)
