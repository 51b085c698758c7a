"""Plain records that more than one room reads: shots, battery periods, acts; and any record as plain values.

They carry no behaviour beyond what a row of the log says. Unknown is ``None``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import fields, is_dataclass
from typing import Any, Literal

from fieldtune.frozen import frozen

Result = Literal["in", "short", "long", "left", "right"]
RESULTS: tuple[Result, ...] = ("in", "short", "long", "left", "right")
RESULT_SHAPES: dict[Result | None, str] = {"in": "●", "short": "▼", "long": "▲", "left": "◀", "right": "▶", None: "◆"}
"""A shape for each result, so that colour is never needed."""


@frozen
class Shot:
    """One confirmed shot, as it stands in the log.

    ``setpoint`` is in the robot's setpoint unit (rpm, % or mm). ``speed`` is the measured value at release: wheel
    rpm for a flywheel, draw in mm for a striker or an arm. ``miss_m`` is positive long (window: positive high),
    ``side_m`` positive right. ``time`` is when it left. ``distance_from`` says where the distance came from: typed, a
    spot, the robot's reading, or steps. ``excluded`` holds the reason for which a person left the shot out of learning;
    ``corrected`` says that result and misses are those of a later correction. ``origin`` names the other store a merged
    shot came from, None for a shot confirmed here. ``match`` and ``batch`` are labels: the match it was taken in, and
    the lot of elements it was taken with. ``hood_deg``: exit angle (degrees) at which the hood stood.
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
    distance_from: str | None = None
    undone: bool = False
    excluded: str | None = None
    corrected: bool = False
    origin: str | None = None
    match: str | None = None
    batch: str | None = None
    hood_deg: float | None = None

    @property
    def counts(self) -> bool:
        """Whether learning uses this shot."""
        return not self.undone and self.excluded is None


FROM_MARKS = ("undone", "excluded", "corrected")
"""Fields of a shot that follow from its marks: no row of its own holds them."""


def in_order(shots: Iterable[Shot]) -> list[Shot]:
    """Shots as they were fired: each laptop's own as in its log, whatever its clock did, several laptops' by time."""
    latest: dict[str | None, str] = {}
    found: list[tuple[str, int, Shot]] = []
    for shot in sorted(shots, key=lambda shot: shot.shot):
        latest[shot.origin] = max(latest.get(shot.origin, ""), shot.time)
        found.append((latest[shot.origin], shot.shot, shot))
    return [shot for _, _, shot in sorted(found, key=lambda one: one[:2])]


@frozen
class UnansweredShot:
    """A shot that was seen on the line and has no result yet, with all that was true when it left.

    ``time`` is when it left, as the log writes times; ``epoch`` the battery period then, None until the log was read.
    ``robot_distance_m`` is what the robot read then, whatever distance was used. ``hint``: what was seen of it.
    """

    uid: str
    time: str
    distance_m: float | None
    distance_from: str | None
    setpoint: float | None
    speed: float | None
    battery_v: float | None
    target: str | None
    epoch: int | None = None
    robot_distance_m: float | None = None
    hint: str | None = None
    hood_deg: float | None = None


@frozen
class Epoch:
    """A stretch of shots under one battery and build state, numbered from 1; ``uid`` is its own in every copy.

    ``previous``: uid of the epoch that a battery change ended, None for the first.
    """

    epoch: int
    time: str
    label: str | None = None
    uid: str = ""
    previous: str | None = None
    origin: str | None = None


TravellingMarkKind = Literal["undo", "redo", "exclude", "include", "correct", "label", "measure"]
"""Kinds of marks that go along to another laptop."""
MarkKind = Literal[TravellingMarkKind, "discard"]


@frozen
class Mark:
    """A later word about a shot, an epoch or another mark, named by ``subject``, its uid.

    ``exclude`` leaves a shot out of learning for a ``reason``, ``include`` lets it count again; ``correct`` gives it
    another ``result`` and misses; ``label`` names an epoch's battery (in ``reason``); ``measure`` keeps a
    measurement made in an epoch (in ``reason``); ``undo`` takes back what the
    subject did, ``redo`` does it again.
    """

    uid: str
    subject: str
    kind: MarkKind
    time: str
    reason: str | None = None
    result: Result | None = None
    miss_m: float | None = None
    side_m: float | None = None


ActKind = Literal["shot", "correct", "exclude", "include", "swap", "label", "discard", "measure"]


@frozen
class Act:
    """Something a person did to the log, which can be undone: its kind, and the shot or epoch it was about."""

    act: ActKind
    shot: int | None
    epoch: int | None
    uid: str


@frozen
class BatteryReading:
    """What was found out about a battery: resistance of pack and wiring, and its voltage at rest."""

    uid: str
    time: str
    label: str | None
    resistance_ohm: float | None
    rest_v: float | None


# Records and numbers as plain values: what is not finite or not known is ``None``.


def as_json(value: Any) -> Any:
    """A record, and all records within it, as plain dicts and lists; what is not finite becomes None."""
    if is_dataclass(value) and not isinstance(value, type):
        return {f.name: as_json(getattr(value, f.name)) for f in fields(value)}
    if isinstance(value, dict):
        return {k: as_json(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [as_json(v) for v in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value


def known(value: Any) -> float | None:
    """A number as a float, or None where it is missing or not finite."""
    if value is None:
        return None
    number = float(value)
    return number if math.isfinite(number) else None
