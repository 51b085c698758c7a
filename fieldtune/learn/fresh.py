"""The first shots of a new epoch, weighed exactly: all else is drawn from the earlier epochs, then the new level.

One or two shots after a change of battery leave a level that is far from normal: its spread is itself unknown and its
tails are heavy. Given everything else it is a single number, so it is summed over a fine grid, and draws are kept in
proportion to how well they explain the new shots (sampling-importance-resampling: Smith and Gelfand, Am. Stat. 46
(1992) 84).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from fieldtune.learn.objective import Objective
from fieldtune.learn.ridge import with_offset
from fieldtune.learn.shot_table import ShotTable
from fieldtune.learn.unknowns import Layout, heavy

FloatArray = NDArray[np.float64]

# A new epoch with more rows of evidence than this is one like any other.
_FIRST = 10
# Standard normal values of the new offset; between two of them lies less than any scatter, save in the far tails.
_STEP = 0.1
_GRID = np.arange(-4.2, 4.25, _STEP)
# With fewer draws than this share left in effect the earlier epochs say too little by themselves.
_LEFT = 0.15


@dataclass(frozen=True, slots=True)
class FirstShots:
    """Evidence of the present epoch's first shots, and that of the earlier epochs."""

    present: Objective
    earlier: Objective
    layout: Layout
    place: int

    def settled(self, points: FloatArray, gain: FloatArray) -> tuple[FloatArray, FloatArray] | None:
        """Draws (K, P) and gains (K, size) after these shots, from draws before them; None if hardly any fits.

        ``gain``: of the draws, without the epoch's offset and the drive's tracking. In the gains returned they count.
        """
        offset = self.layout.spread(points)[:, None] * heavy(_GRID)
        mass = self._mass(points, gain, offset)
        each = mass.sum(axis=1)
        if 1 / np.sum(each**2) < _LEFT * len(points):
            return None
        ends = np.cumsum(mass.ravel())
        wanted = (np.arange(len(points)) + 0.5) / len(points) * ends[-1]
        at = np.minimum(np.searchsorted(ends, wanted), mass.size - 1)
        draw, cell = np.divmod(at, len(_GRID))
        inside = (ends[at] - wanted) / np.maximum(mass.ravel()[at], 1e-300)
        kept = points[draw].copy()
        kept[:, self.layout.offsets_at.start + self.place] = _GRID[cell] + _STEP * (0.5 - inside)
        return kept, with_offset(self.layout, kept, gain[draw], self.layout.offsets(kept)[:, self.place])

    def _mass(self, points: FloatArray, gain: FloatArray, offset: FloatArray) -> FloatArray:
        """Probability (K, grid) of each draw with each offset, all summing to one."""
        features = self.layout.features(points)
        features[:, : self.layout.gains] = gain
        every = np.repeat(features, len(_GRID), axis=0)
        every[:, self.layout.gains + 1 + self.place] = offset.ravel()
        variances = np.repeat(self.layout.variances(points), len(_GRID), axis=0)
        log_mass = np.tile(-0.5 * _GRID**2, len(points))
        log_mass += self.present.log_likelihood(every, variances)
        mass = np.exp(log_mass - log_mass.max())
        return np.asarray((mass / mass.sum()).reshape(offset.shape))


def first_shots(hill: Objective, layout: Layout, table: ShotTable, place: int) -> FirstShots | None:
    """The present epoch's shots apart from the earlier ones; None if there are none of either, or many."""
    now = table.epoch == place
    present, earlier = hill.of_shots(now), hill.of_shots(~now)
    if not present.rows or not earlier.rows or sum(map(len, present.rows)) > _FIRST:
        return None
    return FirstShots(present, earlier, layout, place)
