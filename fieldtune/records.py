"""Plain records that more than one room reads: a confirmed shot and a battery epoch.

They carry no behaviour beyond what a row of the log says. Unknown is ``None``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Result = Literal["in", "short", "long", "left", "right"]
RESULTS: tuple[Result, ...] = ("in", "short", "long", "left", "right")


@dataclass(frozen=True, slots=True)
class Shot:
    """One confirmed shot, as it stands in the log.

    ``setpoint`` is in the robot's setpoint unit (rpm, % or mm). ``speed`` is the measured value at release: wheel
    rpm for a flywheel, draw in mm for a striker or an arm. ``miss_m`` is positive long (window: positive high),
    ``side_m`` positive right. ``excluded`` holds the reason for which a person left the shot out of learning;
    ``origin`` names the other store a merged shot came from, None for a shot confirmed here.
    """

    shot: int
    uid: str
    time: str
    distance_m: float
    setpoint: float
    result: Result | None
    epoch: int
    miss_m: float | None = None
    side_m: float | None = None
    speed: float | None = None
    battery_v: float | None = None
    target: str | None = None
    undone: bool = False
    excluded: str | None = None
    origin: str | None = None

    @property
    def counts(self) -> bool:
        """Whether learning uses this shot."""
        return not self.undone and self.excluded is None


@dataclass(frozen=True, slots=True)
class Epoch:
    """A stretch of shots under one battery and build state, numbered from 1; ``uid`` is its own in every copy."""

    epoch: int
    time: str
    label: str | None = None
    uid: str = ""
    origin: str | None = None


@dataclass(frozen=True, slots=True)
class Mark:
    """A later word about a shot: it was taken back (``undo``), left out of learning, or let in again."""

    uid: str
    shot_uid: str
    kind: Literal["undo", "exclude", "include"]
    time: str
    reason: str | None = None


@dataclass(frozen=True, slots=True)
class BatteryReading:
    """What was found out about a battery: resistance of pack and wiring, and its voltage at rest."""

    uid: str
    time: str
    label: str | None
    resistance_ohm: float | None
    rest_v: float | None
