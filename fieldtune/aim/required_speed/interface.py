"""The exit speed a target needs, as a smooth differentiable function of distance and of what is unknown.

Everything the tool decides is decided in *needed log exit speed*: ln of the speed at which the element crosses the
target ``miss`` metres long (basket, zone, gate: along the range; window: high). For a flight it is U-shaped in the
distance with its minimum where the path peaks at the target, so the descending branch of a basket is smooth and
single-valued, where the landing distance over speed has a square-root edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.physics.openings import Free


@dataclass(frozen=True, slots=True)
class RequiredSpeedPoint:
    """Needed log speeds (n,), their derivatives, and the path's slope where it crosses with its derivative over the
    angle, and its bend (1/m, the slope's change a metre); nan where no speed does it."""

    value: FloatArray
    d_distance: FloatArray
    d_miss: FloatArray
    d_angle: FloatArray
    d_drag: FloatArray
    slope: FloatArray
    slope_by_angle: FloatArray
    bend: FloatArray

    def put(self, places: NDArray[np.intp], other: RequiredSpeedPoint) -> None:
        """Take the other's m points for those at ``places`` (m,)."""
        for name in self.__slots__:
            getattr(self, name)[places] = getattr(other, name)

    def take(self, which: NDArray[np.bool_]) -> RequiredSpeedPoint:
        """Some of the points."""
        return RequiredSpeedPoint(*(getattr(self, name)[which] for name in self.__slots__))


class RequiredSpeed(Protocol):
    """What a target asks of the exit speed. ``d_low``..``d_high`` is the range of distances (m) it is made for."""

    @property
    def d_low(self) -> float: ...

    @property
    def d_high(self) -> float: ...

    def log_speed(
        self, distance: ArrayLike, miss: ArrayLike = 0.0, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0
    ) -> RequiredSpeedPoint:
        """Needed ln(speed in m/s) at true distances (metres), arguments broadcast to (n,)."""
        ...

    def free(self, distance: ArrayLike, angle_error: ArrayLike = 0.0, log_drag: ArrayLike = 0.0) -> Free:
        """Misses between which the element scores, and half the free side width."""
        ...

    def free_at(self, center: RequiredSpeedPoint) -> Free:
        """The same, where that of the target's centre is known already."""
        ...


def exit_angle_room(exit_angle: float) -> float:
    """How far the angle may be off before the path goes vertical, radians."""
    return max(math.radians(88) - exit_angle, math.radians(0.5))
