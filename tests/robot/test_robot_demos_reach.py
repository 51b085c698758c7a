"""The demonstration robots do what they show: they score from every named spot, also on a low battery."""

from __future__ import annotations

import pytest

from fieldtune import Session
from fieldtune.robot import demo_home, load_robot

LOW_BATTERY = 10.2
"""Volts of ten tired nickel cells under load (common practice: 1.0 V a cell is empty)."""


@pytest.mark.parametrize("name", ["crane", "heron", "otter"])
def test_every_spot_is_in_reach_on_a_low_battery(name: str) -> None:
    robot = load_robot(demo_home() / f"{name}.toml")
    session = Session(robot)
    for target in robot.targets:
        for spot in robot.spots:
            aim = session.aim(spot.distance, battery_v=LOW_BATTERY, target=target.name)
            assert aim.reachable
            assert aim.hit_probability is not None
            assert aim.hit_probability > 0.1  # before any shot; the interval says how little is known then
            assert aim.setpoint.value is not None
            assert robot.setpoint.low < aim.setpoint.value < robot.setpoint.high
            assert aim.ceiling is None or aim.setpoint.value < aim.ceiling
