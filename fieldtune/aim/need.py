"""The exit speed a target needs, as a smooth differentiable function of distance and of what is unknown.

Everything the tool decides is decided in *needed log exit speed*: ln of the speed at which the element crosses the
target ``miss`` metres long (basket, zone, gate: along the range; window: high). For a flight it is U-shaped in the
distance with its minimum where the path peaks at the target, so the descending branch of a basket is smooth and
single-valued, where the landing distance over speed has a square-root edge.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fieldtune.aim.exit import drive_quantity, model_log_speed
from fieldtune.aim.openings import Free
from fieldtune.robot.model import Air, Drive, Element, Floor, Launcher, Robot, SetpointRange, Target, Uncertainty

FloatArray = NDArray[np.float64]
_CRAWL = 0.01


@dataclass(frozen=True, slots=True)
class NeedPoint:
    """Needed log speeds (n,), their derivatives, and the path's slope where it crosses; nan where no speed does it."""

    value: FloatArray
    d_distance: FloatArray
    d_miss: FloatArray
    d_angle: FloatArray
    d_drag: FloatArray
    slope: FloatArray


class Need(Protocol):
    """What a target asks of the exit speed. ``d_low``..``d_high`` is the range of distances (m) it is made for."""

    @property
    def d_low(self) -> float: ...

    @property
    def d_high(self) -> float: ...

    def log_speed(
        self, distance: ArrayLike, miss: ArrayLike = 0.0, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0
    ) -> NeedPoint:
        """Needed ln(speed in m/s) at true distances (metres), arguments broadcast to (n,)."""
        ...

    def free(self, distance: ArrayLike, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0) -> Free:
        """Misses between which the element scores, and half the free side width."""
        ...

    def free_at(self, center: NeedPoint) -> Free:
        """The same, where the need of the target's centre is known already."""
        ...


@dataclass(frozen=True, slots=True)
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


def need_for(robot: Robot, target: Target) -> Need:
    """The need of one target of a robot; built once for equal physics and kept."""
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


@lru_cache(maxsize=64)
def _need(case: _Case) -> Need:
    from fieldtune.aim.need_flight import FlightNeed
    from fieldtune.aim.need_land import LandNeed
    from fieldtune.aim.need_roll import RollNeed
    from fieldtune.aim.need_slide import SlideNeed

    top_speed = fastest_exit(case.robot)
    if case.target.on_floor and case.robot.lands_first:
        return LandNeed.made(case.robot, case.target, top_speed)
    if case.target.on_floor and case.element.shape == "sphere":
        return RollNeed.made(case.robot, case.target, top_speed)
    if case.target.on_floor:
        return SlideNeed.made(case.robot, case.target, top_speed)
    return FlightNeed.made(case.robot, case.target, top_speed)


def fastest_exit(robot: Robot) -> float:
    """Exit speed that the highest setpoint may give, metres a second: the model's plus three standard deviations.

    At least a crawl, so that a launcher too weak to throw at all still gets its answer.
    """
    spread = robot.uncertainty.grip if robot.launcher.kind == "flywheel" else robot.uncertainty.efficiency
    highest = drive_quantity(robot, robot.setpoint.high)
    return max(float(np.exp(model_log_speed(robot, highest) + min(3 * spread, 0.7))), _CRAWL)
