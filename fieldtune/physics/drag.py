"""Drag of round things in air: coefficient over Reynolds number, by surface, each with how far it may be off.

All laws are smooth in the Reynolds number, so that a high-order integration converges.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

from fieldtune.physics.drag_spread import CONSTANT_SPREAD, SURFACE_SPREAD

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

_SLOWEST = 1e-3
"""Reynolds number below which the coefficient no longer grows: nothing that flies is ever there."""


@dataclass(frozen=True, slots=True)
class DragLaw:
    """``coefficient`` maps Reynolds numbers (n,) to drag coefficients (n,); ``spread`` is one relative standard
    deviation.

    ``constant`` is the coefficient where it doesn't depend on the Reynolds number, else None.
    """

    name: str
    coefficient: Callable[[ArrayLike], FloatArray]
    spread: float
    constant: float | None = None


def brown_lawler(reynolds: ArrayLike) -> FloatArray:
    """Smooth sphere, Re < 2e5: Brown & Lawler, J. Environ. Eng. 129 (2003) 222, eq. 19."""
    re = np.maximum(np.asarray(reynolds, dtype=float), _SLOWEST)
    return np.asarray(24 / re * (1 + 0.150 * re**0.681) + 0.407 / (1 + 8710 / re), dtype=float)


def smooth_sphere(reynolds: ArrayLike) -> FloatArray:
    """Smooth sphere through the drag crisis: Brown & Lawler below it, Morrison's rise above it, a smooth step between.

    Above: 0.25 (Re/1e6) / (1 + Re/1e6), from Morrison, An Introduction to Fluid Mechanics (2013). The step in ln Re
    is ours, from about 0.5 at 2e5 to about 0.1 at 3e5 (Appl. Sci. 12(3) (2022) 1416, section 1). Where the crisis
    lies depends on roughness and on the air's turbulence: measured values reach from 2.5e5 to 3.7e5.
    """
    re = np.maximum(np.asarray(reynolds, dtype=float), _SLOWEST)
    before = 1 / (1 + (np.minimum(re, 1e8) / 2.65e5) ** 12)
    high = re / 1e6
    return np.asarray(brown_lawler(re) * before + 0.25 * high / (1 + high) * (1 - before), dtype=float)


def goff_carre(speed: ArrayLike) -> FloatArray:
    """Drag coefficient of a non-spinning soccer ball at speed (m/s): Goff & Carre, Eur. J. Phys. 31 (2010) 775, eq.
    (3).
    """
    v = np.asarray(speed, dtype=float)
    return np.asarray(0.155 + 0.346 / (1 + np.exp((v - 12.19) / 1.309)), dtype=float)


_MEASURED_RE_PER_SPEED = 0.218 / 1.5e-5
"""Reynolds number a m/s of the ball behind ``goff_carre``: 218 mm (memory), air of 1.5e-5 m^2/s."""


def seamed_sphere(reynolds: ArrayLike) -> FloatArray:
    """Seamed or panelled ball: Goff & Carre's soccer ball over the Reynolds number, so that it serves other sizes.

    Beyond its crisis, Re 1.8e5, others keep more: baseballs 0.3 to 0.35, basketballs about 0.5 (both from memory). Give
    those a constant coefficient; slower they agree within the spread.
    """
    re = np.minimum(np.asarray(reynolds, dtype=float), 1e7)
    return goff_carre(re / _MEASURED_RE_PER_SPEED)


def dimpled_sphere(reynolds: ArrayLike) -> FloatArray:
    """Dimpled ball: 0.5 before, 0.25 after an early crisis near Re 4.5e4.

    Levels after Bearman & Harvey, Aeronaut. Q. 27 (1976) 112 (from memory); the smooth step between them is ours.
    """
    re = np.clip(np.asarray(reynolds, dtype=float), 1.0, 1e8)
    return np.asarray(0.25 + 0.25 / (1 + (re / 4.5e4) ** 6), dtype=float)


def constant_drag(coefficient: float, spread: float = CONSTANT_SPREAD, name: str = "constant") -> DragLaw:
    """A drag coefficient that does not depend on the speed."""

    def law(reynolds: ArrayLike) -> FloatArray:
        return np.full(np.shape(reynolds), coefficient)

    return DragLaw(name, law, spread, coefficient)


DRAG_LAWS: dict[str, DragLaw] = {
    "smooth": DragLaw("smooth", smooth_sphere, SURFACE_SPREAD["smooth"]),
    # Cross & Lindsey, Sports Eng. 17 (2014) 89: 0.507 +- 0.024 in free flight, whatever speed and spin.
    "felt": constant_drag(0.507, SURFACE_SPREAD["felt"], "felt"),
    "seamed": DragLaw("seamed", seamed_sphere, SURFACE_SPREAD["seamed"]),
    "dimpled": DragLaw("dimpled", dimpled_sphere, SURFACE_SPREAD["dimpled"]),
    # From memory, no publication at hand: balls with holes lie around a rough sphere's 0.5.
    "perforated": constant_drag(0.50, SURFACE_SPREAD["perforated"], "perforated"),
}
"""Default law of each surface."""

BLUFF_DRAG = 1.0
"""Mean drag coefficient of a tumbling disc or block on its mean projected area; common practice."""


def drag_law(surface: str, coefficient: float | None = None) -> DragLaw:
    """Law of a surface, or the constant coefficient if one is given; KeyError for a surface there isn't."""
    return DRAG_LAWS[surface] if coefficient is None else constant_drag(coefficient)
