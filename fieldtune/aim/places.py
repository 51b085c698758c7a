"""The distances that a question about a whole field is asked at: the profile's spots, else what the robot reaches."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.reach import reach
from fieldtune.aim.recommend import check_distance
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.errors import OutOfReachError

if TYPE_CHECKING:
    from fieldtune.aim.draws import Belief
    from fieldtune.robot.model import Robot, Target

_DISTANCES, _EDGE = 5, 0.1


@dataclass(frozen=True, slots=True)
class Place:
    """A distance in metres; ``name`` is that of the profile's spot, None where it has none."""

    distance_m: float
    name: str | None = None

    @property
    def words(self) -> str:
        """Name and distance, as one reads them."""
        return f"{self.name}, {self.distance_m:.2f} m" if self.name else f"{self.distance_m:.2f} m"


def place_at(robot: Robot, distance_m: float) -> Place:
    """A distance, with the spot's name where it is one; raises ``InputError`` for a distance that is none."""
    check_distance(distance_m)
    return Place(distance_m, next((spot.name for spot in robot.spots if spot.distance == distance_m), None))


def places(robot: Robot, target: Target, belief: Belief) -> tuple[Place, ...]:
    """The profile's spots, nearest first; without spots, five distances over what scores.

    Raises ``OutOfReachError`` where there are no spots and no distance works.
    """
    if robot.spots:
        return tuple(sorted((Place(s.distance, s.name) for s in robot.spots), key=lambda p: p.distance_m))
    seen = reach(robot, required_speed_for(robot, target), belief)
    if seen.nearest is None or seen.farthest is None:
        raise OutOfReachError(f"{robot.name} scores from no distance; check its profile: fieldtune check {robot.name}")
    edge = _EDGE * (seen.farthest - seen.nearest)
    return tuple(Place(float(d)) for d in np.linspace(seen.nearest + edge, seen.farthest - edge, _DISTANCES))
