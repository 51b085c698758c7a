"""The distances that matter for a robot, where nobody says which."""

from __future__ import annotations

from fieldtune.aim.needs import need_for
from fieldtune.aim.reach import reach
from fieldtune.errors import OutOfReachError
from fieldtune.session import Session


def field_range(session: Session, target: str | None = None, battery_v: float | None = None) -> tuple[float, float]:
    """Nearest and farthest distance (m): of the profile's spots that can score, else of what the robot reaches.

    Raises ``OutOfReachError`` where it scores from nowhere.
    """
    robot = session.robot
    seen = reach(robot, need_for(robot, robot.target(target)), session.belief, battery_v)
    if seen.nearest is None or seen.farthest is None:
        raise OutOfReachError(f"{robot.name} scores from no distance; check its profile: fieldtune check {robot.name}")
    spots = [spot.distance for spot in robot.spots if seen.nearest <= spot.distance <= seen.farthest]
    if len(set(spots)) >= 2:
        return min(spots), max(spots)
    tenth = 0.1 * (seen.farthest - seen.nearest)
    return round(max(seen.nearest + tenth, 0.01), 2), round(seen.farthest - tenth, 2)
