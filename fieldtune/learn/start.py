"""Where to begin the climb: a coarse scan, so that shots far from the prior are not all taken for wild ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from fieldtune.learn.newton import maximise
from fieldtune.learn.objective import Objective, Rows

FloatArray = NDArray[np.float64]

_MOST_ROWS, _WIDE_ROWS = 64, 128
_LEVELS = np.linspace(-5.0, 5.0, 41)
_SLOPES = np.array([-2.0, 0.0, 2.0])
_WIDER = 4.0


def starting_point(hill: Objective) -> FloatArray:
    """Start (P,): the best of a grid over level and slope, then a climb with the scatter seen wide."""
    start = np.zeros(len(hill.precision))
    if not hill.rows:
        return start
    thin = replace(hill, rows=tuple(_thinned(rows, _MOST_ROWS).widened(_WIDER / 2) for rows in hill.rows))
    level, slope = np.meshgrid(_LEVELS, _SLOPES, indexing="ij")
    grid = np.zeros((level.size, len(start)))
    grid[:, 0], grid[:, 1] = level.ravel(), slope.ravel()
    start = grid[int(np.argmax(thin.value(grid)))]
    wide = replace(hill, rows=tuple(_thinned(rows, _WIDE_ROWS).widened(_WIDER) for rows in hill.rows))
    return maximise(wide, start, tolerance=1e-2).u


def _thinned(rows: Rows, most: int) -> Rows:
    """Rows evenly spaced through the log, at most ``most``."""
    if len(rows) <= most:
        return rows
    return rows.take(np.linspace(0, len(rows) - 1, most).astype(np.intp))
