"""The flying body: what flight needs to know about an element and the air it goes through."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.frozen import frozen
from fieldtune.physics.air import BLUFF_DRAG, NO_LIFT, DragLaw, LiftLaw, constant_drag, drag_law, lift_law
from fieldtune.physics.drag_spread import BLUFF_SPREAD

if TYPE_CHECKING:
    from fieldtune.physics.air import AirState


LIGHT = 100.0
"""Mean density (kg/m^3) below which the air that a body displaces counts: 1 % of its weight and more."""

_HEAVIER_THAN_AIR = 0.01
"""Least share of its weight that anything keeps: what floats away is no element."""


def displaced(mass: float, volume: float, air_density: float) -> tuple[float, float]:
    """Factors on gravity and on inertia by the displaced air: it buoys, and half of it has to be sped up as well.

    Half is a sphere's share (potential flow, Lamb, Hydrodynamics, article 92; from memory). Both 1 for bodies that
    aren't light.
    """
    share = air_density * volume / mass
    return (max(1 - share, _HEAVIER_THAN_AIR), 1 + share / 2) if volume > 0 and mass / volume < LIGHT else (1.0, 1.0)


@frozen
class Body:
    """Mass (kg, what has to be sped up), diameter (m, for the Reynolds number), area (m^2, drag and lift refer to it),
    air density (kg/m^3) and dynamic viscosity (Pa s), drag and lift law, acceleration of free fall (m/s^2)."""

    mass: float
    diameter: float
    area: float
    air_density: float
    air_viscosity: float
    drag: DragLaw
    lift: LiftLaw = NO_LIFT
    gravity: float = STANDARD_GRAVITY

    @property
    def drag_per_metre(self) -> float:
        """Relative loss of speed a metre at a drag coefficient of one: rho A / (2 m), 1/m."""
        return self.air_density * self.area / (2 * self.mass)

    @property
    def reynolds_per_speed(self) -> float:
        """Reynolds number a m/s of speed."""
        return self.air_density * self.diameter / self.air_viscosity

    @property
    def terminal_speed(self) -> float:
        """Speed (m/s) at which drag balances gravity; infinite without drag."""
        if self.drag_per_metre == 0:
            return math.inf
        low, high = 1e-6, 1e6
        for _ in range(200):
            middle = math.sqrt(low * high)
            pull = float(self.drag.coefficient(self.reynolds_per_speed * middle)) * self.drag_per_metre * middle**2
            low, high = (middle, high) if pull < self.gravity else (low, middle)
        return low


def ball(
    mass: float,
    diameter: float,
    air: AirState,
    surface: str = "smooth",
    drag: float | None = None,
    lift: float | None = None,
    gravity: float = STANDARD_GRAVITY,
    seams: str | None = None,
) -> Body:
    """A ball of mass (kg) and diameter (m); ``drag`` and ``lift`` are constant coefficients instead of the surface's
    laws; ``seams``: flat, raised or pebbled.
    """
    pull, heavier = displaced(mass, math.pi / 6 * diameter**3, float(air.density))
    return Body(
        mass=mass * heavier,
        diameter=diameter,
        area=math.pi * diameter**2 / 4,
        air_density=float(air.density),
        air_viscosity=float(air.viscosity),
        drag=drag_law(surface, drag, seams),
        lift=lift_law(surface, lift),
        gravity=gravity * pull / heavier,
    )


def bluff(
    mass: float,
    area: float,
    air: AirState,
    drag: float | None = None,
    lift: float | None = None,
    gravity: float = STANDARD_GRAVITY,
    volume: float = 0.0,
) -> Body:
    """A tumbling disc or block: constant drag on its mean projected area (m^2), no lift unless given.

    ``volume`` (m^3) for the air that a light one displaces.
    """
    pull, heavier = displaced(mass, volume, float(air.density))
    return Body(
        mass=mass * heavier,
        diameter=math.sqrt(4 * area / math.pi),
        area=area,
        air_density=float(air.density),
        air_viscosity=float(air.viscosity),
        drag=constant_drag(BLUFF_DRAG, BLUFF_SPREAD) if drag is None else constant_drag(drag),
        lift=NO_LIFT if lift is None else lift_law("smooth", lift),
        gravity=gravity * pull / heavier,
    )
