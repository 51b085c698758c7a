"""Battery chemistries, one row each: what a cell gives at rest, what it can show at all, how it takes large currents.

A new chemistry is one row of ``CHEMISTRIES`` and its name in ``ChemistryName``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from fieldtune.arrays import FloatArray

ChemistryName = Literal["nimh", "lead-acid", "li-ion", "lifepo4"]

CHARGES = (0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 1.0)
"""Charges 0..1 at which the rows of ``CHEMISTRIES`` give the voltage at rest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Chemistry:
    """One chemistry; volts of one cell at room temperature.

    ``rest_v`` at ``CHARGES``, of ``source``, with ``spread_v``: one standard deviation from cell to cell of the
    chemistry, at ``CHARGES`` too. ``lowest_v`` to ``highest_v``: what a cell can show, from empty under load to fresh
    off its charger (common practice). ``nominal_v`` as printed on batteries. ``other_names``: what else people write.
    ``typical_ah``: capacity of batteries on small robots (common practice), for where a profile gives none.
    ``peukert``: exponent by which capacity falls with current, None where it hardly does; ``rated_hours``: the
    discharge at which the capacity is rated.
    """

    name: ChemistryName
    other_names: tuple[str, ...]
    nominal_v: float
    lowest_v: float
    highest_v: float
    rest_v: tuple[float, ...]
    spread_v: tuple[float, ...]
    source: str
    typical_ah: float
    peukert: float | None = None
    rated_hours: float = 1.0

    def rest_voltage(self, charge: ArrayLike, cells: int = 1) -> FloatArray:
        """Voltage at rest (V) at a charge 0..1 (clipped) of so many cells in series."""
        import numpy as np

        return np.asarray(cells * np.interp(np.asarray(charge, dtype=float), CHARGES, self.rest_v), dtype=float)

    def rest_spread(self, charge: ArrayLike, cells: int = 1) -> FloatArray:
        """How far (V, one standard deviation) a battery may lie from ``rest_voltage``, all its cells alike."""
        import numpy as np

        return np.asarray(cells * np.interp(np.asarray(charge, dtype=float), CHARGES, self.spread_v), dtype=float)

    def current_factor(self, amps: float, capacity_ah: float) -> float:
        """Charge that a current (A) uses up over what it draws, 1 or more: (I / I_rated)^(k - 1) by Peukert."""
        rated = capacity_ah / self.rated_hours
        return 1.0 if self.peukert is None or amps <= rated else float((amps / rated) ** (self.peukert - 1))

    def charge_at(self, voltage: ArrayLike, cells: int = 1) -> FloatArray:
        """Charge 0..1 at a voltage at rest (V): the inverse of ``rest_voltage``, 0 below and 1 above it."""
        import numpy as np

        return np.asarray(np.interp(np.asarray(voltage, dtype=float) / cells, self.rest_v, CHARGES), dtype=float)


_ROWS = (
    Chemistry(
        name="nimh",
        other_names=("ni-mh", "nickel-metal-hydride"),
        nominal_v=1.2,
        lowest_v=0.6,
        highest_v=1.75,
        rest_v=(1.05, 1.16, 1.215, 1.24, 1.257, 1.27, 1.281, 1.292, 1.302, 1.315, 1.335, 1.40),
        spread_v=(0.05, 0.03, *[0.02] * 9, 0.03),
        source="6.5 Ah module of six cells as measured for the vehicle simulator ADVISOR of the National Renewable "
        "Energy Laboratory (from memory), the empty end common practice",
        typical_ah=3.0,
    ),
    Chemistry(
        name="lead-acid",
        other_names=("lead", "leadacid", "agm", "sla", "pb"),
        nominal_v=2.0,
        lowest_v=1.3,
        highest_v=2.75,
        rest_v=(1.965, 1.972, 1.979, 1.993, 2.007, 2.021, 2.035, 2.049, 2.063, 2.078, 2.094, 2.110),
        spread_v=(0.02,) * 12,
        source="density of the acid, 1.265, 1.225, 1.190, 1.155 and 1.120 at full, three, two, one quarter and empty, "
        "plus 0.845 V: 12.66 to 11.79 V for six cells (common practice); glass-mat and gel cells stand 20 to 40 mV "
        "higher",
        typical_ah=7.0,
        # Peukert, Elektrotech. Z. 20 (1897) 287: 1.1 to 1.3 by construction; sealed cells near 1.15 (common practice).
        peukert=1.15,
        rated_hours=20.0,
    ),
    Chemistry(
        name="li-ion",
        other_names=("liion", "lithium-ion", "lipo", "li-po", "li-poly", "lithium-polymer"),
        nominal_v=3.6,
        lowest_v=2.0,
        highest_v=4.45,
        rest_v=(3.00, 3.30, 3.42, 3.55, 3.64, 3.70, 3.75, 3.82, 3.90, 4.00, 4.08, 4.20),
        spread_v=(0.2, 0.17, 0.14, 0.12, 0.09, 0.07, 0.05, 0.045, 0.04, 0.03, 0.03, 0.02),
        source="mean of five cells charged to 4.2 V (Chen et al. 2020, Mohtat et al. 2020, Ecker et al. 2015, Kim et "
        "al. 2011, Ramadass et al. 2004; all J. Electrochem. Soc., computed with PyBaMM's parameter sets)",
        typical_ah=4.0,
    ),
    Chemistry(
        name="lifepo4",
        other_names=("lfp", "life", "lifepo", "lithium-iron-phosphate"),
        nominal_v=3.2,
        lowest_v=1.8,
        highest_v=3.9,
        rest_v=(2.50, 2.80, 2.98, 3.17, 3.21, 3.25, 3.265, 3.27, 3.28, 3.305, 3.32, 3.45),
        spread_v=(0.1, 0.08, 0.06, *[0.03] * 9),
        source="Prada et al., J. Electrochem. Soc. 160 (2013) A616, computed with PyBaMM; ends are common practice",
        typical_ah=4.0,
    ),
)
CHEMISTRIES: dict[ChemistryName, Chemistry] = {row.name: row for row in _ROWS}


def named(word: str) -> Chemistry | None:
    """The chemistry that a word of a profile means, however it is written; None for one there isn't."""
    plain = word.strip().casefold().replace(" ", "-").replace("_", "-")
    for row in _ROWS:
        if plain in (row.name, row.name.replace("-", ""), *row.other_names):
            return row
    return None
