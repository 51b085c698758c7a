"""Hits of shots tried, counted in groups, each with the interval that says how little a few shots tell."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldtune.records import Epoch, Shot
    from fieldtune.robot.model import Robot

GROUPINGS = ("spot", "target", "battery")

_Z95 = 1.959963984540054
_NEAR_M = 0.25
_ELSEWHERE = "elsewhere"
_LAST = 10


@dataclass(frozen=True, slots=True)
class HitGroup:
    """Hits of tried; ``low`` to ``high`` is the 95 % interval of the share (Wilson), all None where none was tried."""

    name: str
    tried: int
    hits: int
    share: float | None
    low: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class Hits:
    """Hits of tried in groups. ``all``: every shot; ``last``: the latest ten; ``left_out``: shots that were left out of
    learning, and ``unsaid``: shots without a result; neither is counted."""

    robot: str
    by: str
    groups: tuple[HitGroup, ...]
    all: HitGroup
    last: HitGroup
    left_out: int
    unsaid: int


def wilson_interval(hits: int, tried: int, z: float = _Z95) -> tuple[float, float]:
    """Interval of a share from ``hits`` of ``tried``; ``z``: 1.96 for 95 %.

    Score interval without continuity correction (Wilson, J. Am. Stat. Assoc. 22 (1927) 209; from memory).
    Raises ``ValueError`` unless 0 <= hits <= tried and tried is above 0.
    """
    if not 0 <= hits <= tried or tried <= 0:
        raise ValueError(f"{hits} of {tried} is no share")
    share, more = hits / tried, z * z / tried
    middle = share + more / 2
    half = z * math.sqrt(share * (1 - share) / tried + more / (4 * tried))
    low, high = (middle - half) / (1 + more), (middle + half) / (1 + more)
    return 0.0 if hits == 0 else low, 1.0 if hits == tried else high


def count_hits(robot: Robot, shots: Sequence[Shot], epochs: Sequence[Epoch], by: str = "spot") -> Hits:
    """Counts the shots that count, in groups ``by`` one of ``GROUPINGS``."""
    counted = [shot for shot in shots if shot.counts and shot.result is not None]
    named, order = _grouping(robot, epochs, by)
    found: dict[str, list[Shot]] = {name: [] for name in order}
    for shot in counted:
        found.setdefault(named(shot), []).append(shot)
    return Hits(
        robot=robot.name,
        by=by,
        groups=tuple(_group(name, members) for name, members in found.items() if members),
        all=_group("all", counted),
        last=_group(f"last {_LAST}", counted[-_LAST:]),
        left_out=sum(not shot.undone and shot.excluded is not None for shot in shots),
        unsaid=sum(shot.counts and shot.result is None for shot in shots),
    )


def _group(name: str, shots: Sequence[Shot]) -> HitGroup:
    tried, hits = len(shots), sum(shot.result == "in" for shot in shots)
    if not tried:
        return HitGroup(name, 0, 0, None, None, None)
    low, high = wilson_interval(hits, tried)
    return HitGroup(name, tried, hits, hits / tried, low, high)


def _grouping(robot: Robot, epochs: Sequence[Epoch], by: str) -> tuple[Callable[[Shot], str], list[str]]:
    """What names a shot's group, and the names in the order to be shown."""
    if by == "target":
        usual = robot.targets[0].name or robot.targets[0].kind
        return lambda shot: shot.target or usual, [target.name or target.kind for target in robot.targets]
    if by == "battery":
        names = {epoch.epoch: f"{epoch.epoch}" + (f", {epoch.label}" if epoch.label else "") for epoch in epochs}
        return lambda shot: names.get(shot.epoch, str(shot.epoch)), list(names.values())
    spots = sorted(robot.spots, key=lambda spot: spot.distance)
    if not spots:  # half metres instead
        return lambda shot: f"{round(2 * shot.distance_m) / 2:.1f} m", [f"{half / 2:.1f} m" for half in range(200)]

    def spot_of(shot: Shot) -> str:
        nearest = min(spots, key=lambda spot: abs(spot.distance - shot.distance_m))
        return nearest.name if abs(nearest.distance - shot.distance_m) <= _NEAR_M else _ELSEWHERE

    return spot_of, [spot.name for spot in spots]
