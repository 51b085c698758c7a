"""A second wheel that stands, or is far off, is said on the main screen in place of "on setpoint"."""

from __future__ import annotations

from dataclasses import replace

import pytest
from console_world import live, thrower

from fieldtune.console import main_words
from fieldtune.console.shooting_state import ShootingState
from fieldtune.console.words import second_wheel_off
from fieldtune.link.line import Line
from fieldtune.link.samples import Live
from fieldtune.robot.model import Robot


def followed(robot: Robot, second: str) -> Live:
    """Two seconds of a first wheel at 1,500 rpm."""
    line = Line(robot)
    for i in range(200):
        line.feed(f"t_ms={10 * i},wheel_rpm=1500,wheel2_rpm={second},setpoint=1500\n".encode(), 0.01 * i)
    return line.live("live", "reading", "/dev/robot", 2.0)


@pytest.mark.parametrize(
    ("second", "words"),
    [
        ("0", "second wheel stands still"),
        ("1200", "second wheel 20 % too slow"),
        ("1800", "second wheel 20 % too fast"),
        ("1450", ""),
    ],
)
def test_what_is_wrong_with_the_second_wheel_is_said(second: str, words: str) -> None:
    robot = thrower()
    seen = followed(robot, second)
    assert second_wheel_off(seen, robot) == words
    shown = "".join(
        part if isinstance(part, str) else part[0]
        for part in main_words.readback(seen, ShootingState(robot, seen, lambda: 0.0), robot)
    )
    assert (f"✗ {words}" in shown) == bool(words)
    assert ("on setpoint" in shown) == (not words)


def test_by_its_own_ratio_the_second_wheel_is_not_off() -> None:
    robot = thrower()
    wheel = replace(robot.launcher.mechanism, speed_ratio=0.8)
    robot = replace(robot, launcher=replace(robot.launcher, mechanism=wheel))
    assert second_wheel_off(followed(robot, "1200"), robot) == ""


def test_of_one_wheel_there_is_no_second() -> None:
    robot = thrower()
    robot = replace(robot, launcher=replace(robot.launcher, mechanism=replace(robot.launcher.mechanism, wheels=1)))
    assert second_wheel_off(followed(robot, "0"), robot) == ""


def test_while_both_wheels_spin_up_only_one_that_stands_is_named() -> None:
    robot = thrower()
    spinning = live(wheel_rpm=900.0, wheel2_rpm=500.0)
    spinning = replace(spinning, wheel=replace(spinning.wheel, second_wheel_mismatch_pct=-44.0, ripple_rpm=None))
    assert second_wheel_off(spinning, robot) == ""
    stands = replace(spinning, wheel=replace(spinning.wheel, second_wheel_mismatch_pct=-100.0))
    assert second_wheel_off(stands, robot) == "second wheel stands still"
