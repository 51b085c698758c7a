"""Hits of shots tried, counted in groups, each with the interval that says how little a few shots tell."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.person_units import amount
from fieldtune.records import in_order

if TYPE_CHECKING:
    from fieldtune.records import Epoch, Shot
    from fieldtune.robot.model import Robot

GROUPINGS = ("spot", "target", "battery", "batch", "match")

_Z95 = 1.959963984540054
_NEAR_M = 0.25
_ELSEWHERE = "elsewhere"
_LAST = 10
_LEAST_FOR_TREND = 10
_SELDOM = 0.05


@frozen
class HitGroup:
    """Hits of tried; ``low`` to ``high`` is the 95 % interval of the share (Wilson), all None where none was tried."""

    name: str
    tried: int
    hits: int
    share: float | None
    low: float | None
    high: float | None


@frozen
class Trend:
    """Share of hits in the ``earlier`` and the ``later`` half of the shots. ``chance``: how often a share that never
    changes would look as much like a change as this; ``words`` say it."""

    earlier: float
    later: float
    chance: float
    words: str


@frozen
class Hits:
    """Hits of tried in groups. ``all``: every shot; ``last``: the latest ten; ``left_out``: shots that were left out of
    learning, and ``unsaid``: shots without a result; neither is counted. ``trend``: whether hits become more or fewer
    from shot to shot; None below ten shots."""

    robot: str
    by: str
    groups: tuple[HitGroup, ...]
    all: HitGroup
    last: HitGroup
    trend: Trend | None
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


def trend_chance(hits: Sequence[bool]) -> float:
    """Two-sided chance of a trend at least as strong in hits (n,), in the order shot, if none is there.

    Score test of a linear trend in proportions, each shot's place in the row as its score (Cochran, Biometrics 10
    (1954) 417; Armitage, Biometrics 11 (1955) 375; from memory): z² = n r², r the correlation of hit and place.
    1 where all shots ended alike.
    """
    n = len(hits)
    share, middle = sum(hits) / n, (n - 1) / 2
    if not 0 < share < 1:
        return 1.0
    together = sum((hit - share) * (place - middle) for place, hit in enumerate(hits))
    apart = share * (1 - share) * sum((place - middle) ** 2 for place in range(n))
    return math.erfc(abs(together) / math.sqrt(2 * apart))


def count_hits(robot: Robot, shots: Sequence[Shot], epochs: Sequence[Epoch], by: str = "spot") -> Hits:
    """Counts the shots that count, in groups ``by`` one of ``GROUPINGS``; raises ``InputError`` for another."""
    if by not in GROUPINGS:
        raise InputError(f"hits by {by!r}: expected one of {', '.join(GROUPINGS)}")
    counted = [shot for shot in shots if shot.counts and shot.result is not None]
    fired = in_order(counted)
    named, order = _grouping(robot, epochs, by)
    found: dict[str, list[Shot]] = {name: [] for name in order}
    for shot in fired:
        found.setdefault(named(shot), []).append(shot)
    return Hits(
        robot=robot.name,
        by=by,
        groups=tuple(_group(name, members) for name, members in found.items() if members),
        all=_group("all", counted),
        last=_group(f"last {_LAST}", fired[-_LAST:]),
        trend=_trend([shot.result == "in" for shot in fired]),
        left_out=sum(not shot.undone and shot.excluded is not None for shot in shots),
        unsaid=sum(shot.counts and shot.result is None for shot in shots),
    )


def _group(name: str, shots: Sequence[Shot]) -> HitGroup:
    tried, hits = len(shots), sum(shot.result == "in" for shot in shots)
    if not tried:
        return HitGroup(name, 0, 0, None, None, None)
    low, high = wilson_interval(hits, tried)
    return HitGroup(name, tried, hits, hits / tried, low, high)


def _trend(hits: Sequence[bool]) -> Trend | None:
    if len(hits) < _LEAST_FOR_TREND:
        return None
    half = len(hits) // 2
    earlier, later = sum(hits[:half]) / half, sum(hits[half:]) / (len(hits) - half)
    chance = trend_chance(hits)
    if chance > _SELDOM:
        words = "no trend from shot to shot to be seen"
    else:
        way = "more" if later > earlier else "fewer"
        words = f"{way} hits as time goes on: {earlier:.0%} in the earlier half, {later:.0%} in the later"
    return Trend(earlier, later, chance, words.replace("%", " %"))


def _grouping(robot: Robot, epochs: Sequence[Epoch], by: str) -> tuple[Callable[[Shot], str], list[str]]:
    """What names a shot's group, and the names in the order to be shown."""
    if by == "target":
        usual = robot.targets[0].name or robot.targets[0].kind
        return lambda shot: shot.target or usual, [target.name or target.kind for target in robot.targets]
    if by == "battery":
        names = {epoch.epoch: f"{epoch.epoch}" + (f", {epoch.label}" if epoch.label else "") for epoch in epochs}
        return lambda shot: names.get(shot.epoch, str(shot.epoch)), list(names.values())
    if by in ("batch", "match"):
        return lambda shot: (shot.batch if by == "batch" else shot.match) or f"no {by}", []
    spots = sorted(robot.spots, key=lambda spot: spot.distance)
    if not spots:  # half metres instead
        return lambda shot: amount(round(2 * shot.distance_m) / 2, "m", 1), [
            amount(half / 2, "m", 1) for half in range(200)
        ]

    def spot_of(shot: Shot) -> str:
        nearest = min(spots, key=lambda spot: abs(spot.distance - shot.distance_m))
        return nearest.name if abs(nearest.distance - shot.distance_m) <= _NEAR_M else _ELSEWHERE

    return spot_of, [spot.name for spot in spots]
