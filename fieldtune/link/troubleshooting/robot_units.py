"""Units of speed that only the robot's own figures make rpm: counts a second, metres a second at the wheel's rim."""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.link.limits import Limits

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

_COUNTS = re.compile(
    r"(?:\b|_)(?:c|counts?|ticks?|pulses?)[ _]?(?:/|p|per)[ _]?(?:(\d+)[ _]?ms|s(?:ec(?:ond)?)?s?)(?![a-z0-9])",
    re.IGNORECASE,
)
_RIM = re.compile(
    r"(?:(?:\b|_)m[ _]?/[ _]?s|(?:\b|_)mps|_m_s|(?:\b|_)m(?:et(?:er|re)s?)?_per_s(?:ec(?:ond)?)?)$", re.IGNORECASE
)


@frozen
class RobotUnit:
    """``unit`` in words, ``rpm`` that one of it is, and ``if_so``: what is supposed thereby."""

    unit: str
    rpm: float
    if_so: str


def robot_unit(said: str, robot: Robot) -> RobotUnit | None:
    """The unit that stands behind a number or in its name; None where it is none of these, or the profile lacks it."""
    counted, per_turn = _COUNTS.search(said), Limits.of(robot).counts_per_turn
    if counted is not None and per_turn:
        ms = int(counted[1] or 1000)
        unit = "counts/s" if ms == 1000 else f"counts per {ms} ms"
        return RobotUnit(unit, 60_000 / ms / per_turn, "it counts the encoder of the profile") if ms else None
    rim = math.pi * robot.launcher.mechanism.by_motion(lambda wheel: wheel.wheel_diameter, lambda _: 0.0)
    if _RIM.search(said) and rim:
        return RobotUnit("m/s", 60 / rim, "it is the speed of the wheel's rim")
    return None
