"""A robot's element as physics sees it: flying, or sliding over the floor."""

from __future__ import annotations

from functools import lru_cache

from fieldtune.physics.air import humid_air
from fieldtune.physics.body import Body, ball, bluff
from fieldtune.physics.drag import BLUFF_DRAG
from fieldtune.robot.model import Air, Element, Robot


def flying_body(robot: Robot) -> Body:
    """The element as a flying body in the profile's air; a disc or a block tumbles (constant mean drag)."""
    return _flying(robot.element, robot.air)


@lru_cache(maxsize=64)
def _flying(element: Element, air: Air) -> Body:
    state = humid_air(air.temperature, air.pressure, air.humidity)
    if element.shape == "sphere" and element.diameter is not None:
        return ball(element.mass, element.diameter, state, element.surface, element.drag, element.lift)
    return bluff(element.mass, element.mean_projected_area, state, element.drag, element.lift)


def air_density(air: Air) -> float:
    """kg/m^3."""
    return float(humid_air(air.temperature, air.pressure, air.humidity).density)


def sliding_drag(robot: Robot) -> float:
    """Relative loss of speed a metre to the air on the floor: rho Cd A / (2 m), area seen from the front, 1/m."""
    element = robot.element
    if element.shape == "sphere":
        return max(flying_body(robot).drag_per_metre * (0.5 if element.drag is None else element.drag), 1e-9)
    if element.shape == "disc":
        front = (element.diameter or 0.0) * (element.height or 0.0)
    else:
        front = ((element.length or 0.0) + (element.width or 0.0)) / 2 * (element.height or 0.0)
    coefficient = BLUFF_DRAG if element.drag is None else element.drag
    return max(air_density(robot.air) * coefficient * front / (2 * element.mass), 1e-9)
