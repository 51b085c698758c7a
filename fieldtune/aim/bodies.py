"""The flying body and the sliding body of a robot's element, ready for physics."""

from __future__ import annotations

from fieldtune.physics.air import humid_air
from fieldtune.physics.flight import Body, body
from fieldtune.robot.model import Air, Element, Robot


def flying_body(robot: Robot, air: Air | None = None) -> Body:
    """The element as a flying body in the profile's air (or another air, for sensitivities)."""
    return element_body(robot.element, air or robot.air)


def element_body(element: Element, air: Air) -> Body:
    state = humid_air(air.temperature, air.pressure, air.humidity)
    return body(element, state)
