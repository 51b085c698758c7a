"""The distances that a question about a whole field is asked at: the profile's spots, else its working range."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Literal

import numpy as np

from fieldtune.aim.reach import check_distance, reach_of_all
from fieldtune.errors import OutOfReachError
from fieldtune.frozen import frozen
from fieldtune.person_units import from_to, how_far

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief
    from fieldtune.robot.model import Robot, Target

_DISTANCES, _EDGE = 5, 0.1
_GUESS_M = 5.0
"""How far off (m) a target is taken to be at most where nobody said: a guess, said wherever it is used."""

RangeSource = Literal["spots", "field", "shots", "guess"]


@frozen
class WorkingRange:
    """Nearest and farthest distance (m) that matter, and where they come from."""

    near_m: float
    far_m: float
    source: RangeSource

    @property
    def guess(self) -> str | None:
        """One sentence where nobody said the range; None elsewhere."""
        if self.source != "guess":
            return None
        span = from_to(self.near_m, self.far_m, "m", 1)
        return f"working range {span} is a guess: name [[spots]] in the profile, or give near and far under [field]"


def working_range(robot: Robot, nearest: float, farthest: float, shot_from: Iterable[float] = ()) -> WorkingRange:
    """The working range within what is reached, ``nearest`` to ``farthest`` (m): the spots, else [field], else the
    distances shot from, else a guess. A single spot is no range, and counts with the distances shot from.
    """

    def reached(distances: Iterable[float]) -> list[float]:
        return sorted({d for d in distances if nearest <= d <= farthest})

    spots = reached(spot.distance for spot in robot.spots)
    if len(spots) >= 2:
        return WorkingRange(spots[0], spots[-1], "spots")
    if robot.field_range is not None:
        near, far = (min(max(end, nearest), farthest) for end in robot.field_range)
        if near < far:
            return WorkingRange(near, far, "field")
    shot = reached([*spots, *shot_from])
    if len(shot) >= 2:
        return WorkingRange(shot[0], shot[-1], "shots")
    far = min(farthest, max(_GUESS_M, 2 * nearest))
    edge = _EDGE * (far - nearest)
    return WorkingRange(nearest + edge, far - edge, "guess")


@frozen
class Place:
    """A distance in metres; ``name`` is that of the profile's spot, None where it has none."""

    distance_m: float
    name: str | None = None

    @property
    def words(self) -> str:
        """Name and distance, as one reads them."""
        return f"{self.name}, {how_far(self.distance_m)}" if self.name else how_far(self.distance_m)


def place_at(robot: Robot, distance_m: float) -> Place:
    """A distance, with the spot's name where it is one; raises ``InputError`` for a distance that is none."""
    check_distance(distance_m)
    return Place(distance_m, next((spot.name for spot in robot.spots if spot.distance == distance_m), None))


def places(robot: Robot, target: Target, belief: Belief, shot_from: Iterable[float] = ()) -> tuple[Place, ...]:
    """The profile's spots, nearest first; without spots, five distances over the working range.

    Raises ``OutOfReachError`` where there are no spots and no distance works.
    """
    if robot.spots:
        return tuple(sorted((Place(s.distance, s.name) for s in robot.spots), key=lambda p: p.distance_m))
    seen = reach_of_all(robot, target, belief)
    if seen.nearest is None or seen.farthest is None:
        raise OutOfReachError(f"{robot.name} scores from no distance; check its profile: fieldtune check {robot.name}")
    over = working_range(robot, seen.nearest, seen.farthest, shot_from)
    return tuple(Place(float(d)) for d in np.linspace(over.near_m, over.far_m, _DISTANCES))
