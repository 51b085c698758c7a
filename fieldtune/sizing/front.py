"""The best trade-offs among many choices: those that no other choice beats in all that counts (Pareto's front)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldtune.sizing.drivetrain import FloatArray


def best_tradeoffs(costs: FloatArray) -> NDArray[np.bool_]:
    """Which rows of ``costs`` (n, m; smaller is better) no other row beats: as good in all columns, better in one.

    Equal rows stay together. Rows with anything not finite never belong. The loop runs over the front only.
    """
    alive = np.flatnonzero(np.isfinite(costs).all(axis=1))
    front = np.zeros(len(costs), dtype=bool)
    rest = alive[np.argsort(costs[alive].sum(axis=1))] if alive.size else alive
    while rest.size:
        first = costs[rest[0]]
        front[rest[0]] = True
        equal = (costs[rest] == first).all(axis=1)
        front[rest[equal]] = True
        beaten = (costs[rest] >= first).all(axis=1)
        rest = rest[~beaten]
    return front
