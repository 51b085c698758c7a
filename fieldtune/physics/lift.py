"""Lift of spinning balls: coefficient over the spin ratio S (surface speed of the spin over speed through the air).

Every law has the form S / (a + b |S|): proportional at small spin, saturating at large, odd. Positive spin is backspin,
which lifts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray


@dataclass(frozen=True, slots=True)
class LiftLaw:
    """C_L = S / (slowness + ceiling |S|), or ``constant`` whatever the spin; ``spread`` is one relative deviation."""

    name: str
    slowness: float
    ceiling: float
    spread: float
    constant: float | None = None

    def coefficient(self, spin_ratio: ArrayLike) -> FloatArray:
        """Lift coefficients at spin ratios (n,), positive up for backspin."""
        s = np.asarray(spin_ratio, dtype=float)
        if self.constant is not None:
            return np.full(s.shape, self.constant)
        return np.asarray(s / (self.slowness + self.ceiling * np.abs(s)), dtype=float)


LIFT_LAWS: dict[str, LiftLaw] = {
    # Through C_L = 0.3 at S = 1 (Fox & McDonald, Ex. 9.9); a smooth ball's lift is weak and may even turn round
    # (reverse Magnus effect), so the spread is wide.
    "smooth": LiftLaw("smooth", 1.8, 1.533, 0.5),
    # Tennis ball: Stepanek, Am. J. Phys. 56 (1988) 138 (from memory): 1 / (2.022 + 0.981 v / v_spin).
    "felt": LiftLaw("felt", 0.981, 2.022, 0.15),
    # Baseball: S / (0.4 + 2.32 S), after Nathan, Am. J. Phys. 76 (2008) 119 (curve from memory).
    "seamed": LiftLaw("seamed", 0.4, 2.32, 0.15),
    # Golf ball, after Bearman & Harvey 1976 (from memory): about 0.15 at S = 0.1 and 0.29 at S = 0.3.
    "dimpled": LiftLaw("dimpled", 0.45, 2.0, 0.2),
    # No publication at hand: between felt and smooth, hence the spread.
    "perforated": LiftLaw("perforated", 1.4, 1.8, 0.4),
}
"""Default law of each surface."""

NO_LIFT = LiftLaw("none", 1.0, 0.0, 0.0, 0.0)


def constant_lift(coefficient: float) -> LiftLaw:
    """A lift coefficient that does not depend on the spin."""
    return LiftLaw("constant", 1.0, 0.0, 0.1, coefficient)


def lift_law(surface: str, coefficient: float | None = None) -> LiftLaw:
    """Law of a surface, or the constant coefficient if one is given; KeyError for a surface there isn't."""
    return LIFT_LAWS[surface] if coefficient is None else constant_lift(coefficient)
