"""Which need a target has: one for flights, slides, rolls and throws that land first, made once for equal physics."""

from __future__ import annotations

from dataclasses import field
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.frozen import frozen
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

if TYPE_CHECKING:
    from fieldtune.aim.required_speed.interface import RequiredSpeed
    from fieldtune.robot.model import Air, Drive, Element, Floor, Launcher, Robot, SetpointRange, Target, Uncertainty

_CRAWL, _LEAST_ROOM = 0.01, 0.3


@frozen
class _Case:
    """What a need depends on, so that robots that differ elsewhere share it."""

    element: Element
    launcher: Launcher
    air: Air
    floor: Floor
    uncertainty: Uncertainty
    setpoint: SetpointRange
    drive: Drive | None
    target: Target
    robot: Robot = field(compare=False)


def required_speed_for(robot: Robot, target: Target) -> RequiredSpeed:
    """The required speed of one target of a robot; built once for equal physics and kept."""
    return _need(
        _Case(
            robot.element,
            robot.launcher,
            robot.air,
            robot.floor,
            robot.uncertainty,
            robot.setpoint,
            robot.drive,
            target,
            robot,
        )
    )


@lru_cache(maxsize=256)
def _need(case: _Case) -> RequiredSpeed:
    top_speed = fastest_exit(case.robot)

    # Each law is imported where it is asked for: a robot needs one of them.
    def flight() -> RequiredSpeed:
        from fieldtune.aim.required_speed.flight import FlightRequiredSpeed

        return FlightRequiredSpeed.made(case.robot, case.target, top_speed)

    def floor() -> RequiredSpeed:
        from fieldtune.aim.required_speed.flight import LandingRequiredSpeed
        from fieldtune.aim.required_speed.floor import RollingRequiredSpeed, SlidingRequiredSpeed

        if case.robot.lands_first:
            return LandingRequiredSpeed.made(case.robot, case.target, top_speed)
        if case.element.shape == "sphere":
            return RollingRequiredSpeed.made(case.robot, case.target, top_speed)
        return SlidingRequiredSpeed.made(case.robot, case.target, top_speed)

    return case.target.by_way(flight, floor)


def fastest_exit(robot: Robot) -> float:
    """Exit speed that the highest setpoint may give, metres a second: the model's plus three standard deviations.

    At least a crawl, so that a launcher too weak to throw at all still gets its answer.
    """
    spread = robot.launcher.mechanism.level_spread(robot.uncertainty)
    highest = drive_quantity(robot, robot.setpoint.high)
    return max(float(np.exp(model_log_speed(robot, highest) + min(max(3 * spread, _LEAST_ROOM), 0.7))), _CRAWL)
