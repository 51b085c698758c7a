"""Low-discrepancy standard normal draws: a rank-1 lattice, the same points on every machine.

The generating vector was built component by component for product weights that fall with the coordinate, for 1,024 and
8,192 points at once (Sloan and Reztsov, Math. Comp. 71 (2002) 263; Cools, Kuo and Nuyens, SIAM J. Sci. Comput. 28
(2006) 2162). Averages of smooth functions converge nearly as 1/n; at random it takes the square of that number.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

_GENERATOR = (
    1, 3439, 567, 1657, 2019, 1257, 3711, 3175, 2773, 2035, 1993, 2637, 2925, 1925, 1193, 1501, 1727, 433, 1239, 1015,
    1211, 3997, 1637, 1969, 3795, 1545, 3125, 3461, 3107, 745, 1569, 681, 3329, 2907, 3353, 3217, 2393, 1149, 2149,
    2371, 613, 3885, 3375, 3263, 3571, 325, 277, 1055,
)  # fmt: skip
FEW, MANY = 1024, 8192
"""Numbers of points that the generating vector was built for."""


@lru_cache(maxsize=4)
def lattice_normals(count: int, size: int) -> FloatArray:
    """Standard normal points (count, size), read-only; the first coordinates are the most even. ``count``: FEW or MANY.

    Coordinates beyond the generating vector's are stratified at random, from a fixed seed.
    """
    place = np.arange(count)
    # Shifted, or the lattice's origin would be a corner: extreme in every coordinate at once.
    shift = np.arange(1, len(_GENERATOR[:size]) + 1) ** 2 * 2**0.5
    even = (np.outer(place, _GENERATOR[:size]) + shift * count) % count
    rng = np.random.default_rng(count)
    rest = rng.permuted(np.broadcast_to(place, (max(size - len(_GENERATOR), 0), count)), axis=1).T + 0.5
    points = np.asarray(ndtri(np.clip(np.hstack([even, rest]), 0.25, count - 0.25) / count))
    points.flags.writeable = False
    return points
