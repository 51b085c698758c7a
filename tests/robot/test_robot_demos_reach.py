"""The demonstration robots do what they show: they score from every named spot, also on a low battery."""

from __future__ import annotations

import pytest

from fieldtune import Session
from fieldtune.robot import demo_home, load_robot

EMPTY_CELL_V = {"nimh": 1.0, "li-ion": 3.0, "lifepo4": 2.5}
"""Volts of an empty cell under load (common practice)."""


@pytest.mark.parametrize("name", ["crane", "egret", "heron", "otter"])
def test_every_spot_is_in_reach_on_a_low_battery(name: str) -> None:
    robot = load_robot(demo_home() / f"{name}.toml")
    session = Session(robot)
    assert robot.battery is not None
    low_v = robot.battery.cells * EMPTY_CELL_V[robot.battery.chemistry]
    for target in robot.targets:
        for spot in robot.spots:
            aim = session.aim(spot.distance, battery_v=low_v, target=target.name)
            assert aim.reachable
            assert aim.hit_probability is not None
            assert aim.hit_probability > 0.1  # before any shot; the interval says how little is known then
            assert aim.setpoint.value is not None
            assert robot.setpoint.low < aim.setpoint.value < robot.setpoint.high
            assert aim.ceiling is None or aim.setpoint.value < aim.ceiling
