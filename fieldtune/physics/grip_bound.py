"""The grip that momentum allows, in plain arithmetic: profiles are checked against it before numpy is imported."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

Number = TypeVar("Number", float, "FloatArray")


def largest_grip(
    element_mass: Number, wheel_radius: Number, inertia: Number, *, wheels: int = 2, inertia_ratio: float = 0.4
) -> Number:
    """Exit speed over the rims' speed before the shot that momentum allows: the element can't leave faster than they
    then run.

    A pair of wheels of ``inertia`` (kg m^2) together: 1 / (1 + m r^2 / sum(I)). One wheel and a rail: the rim gives the
    impulse (1 + alpha) m v / 2 and moves twice as fast as the element's centre, 1 / (1 + (1 + alpha) m r^2 / (4 I)).
    ``inertia_ratio`` alpha: the element's moment of inertia over m R^2.
    """
    return 1 / (1 + _share(wheels, inertia_ratio) * element_mass * wheel_radius**2 / inertia)


def inertia_for(
    grip: float, element_mass: float, wheel_radius: float, *, wheels: int = 2, inertia_ratio: float = 0.4
) -> float:
    """Inertia (kg m^2) of the wheels together from which on momentum allows a grip below 1: ``largest_grip`` turned
    round."""
    return _share(wheels, inertia_ratio) * element_mass * wheel_radius**2 * grip / (1 - grip)


def _share(wheels: int, inertia_ratio: float) -> float:
    """What of the element's mass counts at the rims."""
    return 1.0 if wheels == 2 else (1 + inertia_ratio) / 4
