"""The flying body: what flight needs to know about an element and the air it goes through."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fieldtune.constants import STANDARD_GRAVITY
from fieldtune.physics.drag import BLUFF_DRAG, DragLaw, constant_drag, drag_law
from fieldtune.physics.drag_spread import BLUFF_SPREAD
from fieldtune.physics.lift import NO_LIFT, LiftLaw, lift_law

if TYPE_CHECKING:
    from fieldtune.physics.air import AirState


@dataclass(frozen=True, slots=True)
class Body:
    """Mass (kg), diameter (m, for the Reynolds number), area (m^2, drag and lift refer to it), air density (kg/m^3) and
    dynamic viscosity (Pa s), drag and lift law, gravity (m/s^2)."""

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
) -> Body:
    """A ball of mass (kg) and diameter (m); ``drag`` and ``lift`` are constant coefficients instead of the surface's
    laws.
    """
    return Body(
        mass=mass,
        diameter=diameter,
        area=math.pi * diameter**2 / 4,
        air_density=float(air.density),
        air_viscosity=float(air.viscosity),
        drag=drag_law(surface, drag),
        lift=lift_law(surface, lift),
        gravity=gravity,
    )


def bluff(
    mass: float,
    area: float,
    air: AirState,
    drag: float | None = None,
    lift: float | None = None,
    gravity: float = STANDARD_GRAVITY,
) -> Body:
    """A tumbling disc or block: constant drag on its mean projected area (m^2), no lift unless given."""
    return Body(
        mass=mass,
        diameter=math.sqrt(4 * area / math.pi),
        area=area,
        air_density=float(air.density),
        air_viscosity=float(air.viscosity),
        drag=constant_drag(BLUFF_DRAG, BLUFF_SPREAD) if drag is None else constant_drag(drag),
        lift=NO_LIFT if lift is None else lift_law("smooth", lift),
        gravity=gravity,
    )
