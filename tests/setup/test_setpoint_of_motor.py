"""A setpoint that is the motor's speed beside a wheel's: named with the factor that mends it, also beyond the wheel."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.robot.model import Robot
from fieldtune.setup.encoder_check import Verdict
from fieldtune.setup.encoder_watch import EncoderWatch

GEARS = (33 / 22) * (28 / 20)  # motor turns per wheel turn, by the demonstration robot's teeth
FREE_RPM = 6100 / GEARS


@pytest.fixture(scope="module")
def heron() -> Robot:
    return load_robot("heron")


def watched(robot: Robot, wheel_rpm: float, setpoint: float, battery_mv: float = 9600) -> tuple[Verdict | None, Line]:
    line, samples = Line(robot), []
    for i in range(300):
        said = f"t_ms={10 * i},wheel_rpm={wheel_rpm + i % 3},setpoint={setpoint:.0f},battery_mv={battery_mv}\n"
        samples += line.feed(said.encode(), 0.01 * i)
    return EncoderWatch(robot, "rpm").see_all(samples), line


@pytest.mark.parametrize("wheel_rpm", [900, 1600, 2100])
def test_a_setpoint_of_the_motor_is_named_and_its_remedy_mends_it(heron: Robot, wheel_rpm: float) -> None:
    verdict, _ = watched(heron, wheel_rpm, GEARS * wheel_rpm)
    assert verdict is not None
    assert not verdict.settled
    assert "the program's setpoint is the motor's speed, not the wheel's" in verdict.words
    assert verdict.change is not None
    assert verdict.change.key == "link.scale.setpoint"
    mended = replace(heron, link=replace(heron.link, scale={"setpoint": float(verdict.change.value)}))
    after, line = watched(mended, wheel_rpm, GEARS * wheel_rpm)
    assert line.live("live", "", None, 2.99).setpoint == pytest.approx(wheel_rpm, rel=0.002)
    assert after is not None
    assert after.settled


@pytest.mark.parametrize(
    ("wheel_rpm", "setpoint", "battery_mv"),
    [
        (0.93 * FREE_RPM, 1.1 * FREE_RPM, 9600),  # at its limit
        (0.93 * FREE_RPM * 0.7, 1.02 * FREE_RPM, 0.7 * 9600),  # at its limit on a flat battery
        (0.6 * FREE_RPM, 1.2 * FREE_RPM, 9600),  # a factor of 2, and the gears have 2.1
        (0.9 * FREE_RPM / 1.02, 0.9 * FREE_RPM, 9600),  # near its limit, and held
    ],
)
def test_a_wheel_that_can_not_hold_its_setpoint_has_no_wrong_setpoint(
    heron: Robot, wheel_rpm: float, setpoint: float, battery_mv: float
) -> None:
    verdict, _ = watched(heron, wheel_rpm, setpoint, battery_mv)
    assert verdict is None or "motor's speed" not in verdict.words
