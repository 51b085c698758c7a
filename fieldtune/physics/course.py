"""Where a batch of launches is on its way."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
Places = NDArray[np.intp] | NDArray[np.bool_] | slice


@dataclass(slots=True)
class Course:
    """State of launches (n,): tangent ``p``, slowness ``r`` (s/m), height ``y`` (m), time ``t`` (s) and greatest height
    ``top`` (m) so far; ``spin`` is the surface speed of the spin (m/s), ``scale`` the factor on drag."""

    p: FloatArray
    r: FloatArray
    y: FloatArray
    t: FloatArray
    top: FloatArray
    spin: FloatArray
    scale: FloatArray

    def take(self, places: Places) -> Course:
        """The launches at these places."""
        return Course(
            self.p[places],
            self.r[places],
            self.y[places],
            self.t[places],
            self.top[places],
            self.spin[places],
            self.scale[places],
        )

    def put(self, places: Places, other: Course) -> None:
        """Overwrite the state of launches at these places."""
        self.p[places], self.r[places], self.y[places] = other.p, other.r, other.y
        self.t[places], self.top[places] = other.t, other.top

    def lose(self, places: Places) -> None:
        """These launches never get there."""
        for values in (self.p, self.r, self.y, self.t, self.top):
            values[places] = np.nan
