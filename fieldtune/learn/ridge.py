"""Laplace draws kept on the ridge that shots have carved.

What shots pin down is the sum of level, offset and the rest against the needed speed, far better than any part of it.
Draws of the parts turned into speeds by curved functions (a spread times an offset, a need over the angle) would leave
that ridge; so the speed's parts are taken to first order, and what a need bends by is given back to level and slope.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldtune.learn.newton import Mode
from fieldtune.learn.shot_table import ShotTable
from fieldtune.learn.sight import NeedOf, SideView, sight
from fieldtune.learn.unknowns import PAIRS, Layout
from fieldtune.robot.model import Robot

FloatArray = NDArray[np.float64]

_PLACES = 12


def with_offset(layout: Layout, points: FloatArray, gain: FloatArray, offset: FloatArray) -> FloatArray:
    """Gain (K, size) with an epoch's offset (K,) and the drive's tracking in the level."""
    whole = gain.copy()
    whole[:, 0] += offset + layout.tracking(points)
    return whole


def ridge_gain(
    robot: Robot,
    table: ShotTable,
    layout: Layout,
    mode: Mode,
    points: FloatArray,
    place: int,
    need_of: NeedOf,
    side: SideView,
) -> tuple[FloatArray, FloatArray]:
    """Gain (K, size) of Laplace draws, to first order around the maximum and corrected for how needs bend.

    With it the offset (K,) of the epoch at ``place``, which is not in the gain; nor is the drive's tracking.
    """
    speed = slice(0, layout.gains + 1 + layout.epochs)
    features, slopes = layout.features(mode.u[None])[0, speed], layout.jacobian(mode.u)[speed]
    straight = features + (points - mode.u) @ slopes.T
    offset = straight[:, layout.gains + 1 + place]
    if not np.any(table.epoch == place):
        # Nothing ties a fresh epoch's offset to the rest: it has its whole spread.
        offset = layout.offsets(points)[:, place]
    return straight[:, : layout.gains] + _bent(robot, table, layout, points, need_of, side), offset


def _bent(
    robot: Robot, table: ShotTable, layout: Layout, points: FloatArray, need_of: NeedOf, side: SideView
) -> FloatArray:
    """Level and slope (K, size) that follow the needs' curvature at a few of the shots."""
    bends, columns = [], []
    for target in np.unique(table.target):
        index = np.flatnonzero(table.target == target)
        index = index[np.argsort(table.reading[index], kind="stable")]
        index = index[np.unique(np.linspace(0, len(index) - 1, _PLACES).astype(np.intp))]
        center = sight(robot, table, index, layout, need_of, side, curved=True).center
        good = np.isfinite(center.value) & np.isfinite(center.bend).all(axis=(1, 2))
        bends.append(center.bend[good])
        columns.append(table.columns(layout.prior.basis)[index][good, :2])
    bend, design = np.concatenate(bends), np.concatenate(columns)
    away = layout.shape(points) - layout.origin
    out = np.zeros((len(points), layout.gains))
    if len(bend):
        wanted = np.zeros((len(points), len(bend)))
        for i, k in PAIRS:
            wanted += np.outer(away[:, i] * away[:, k], bend[:, i, k] * (0.5 if i == k else 1.0))
        out[:, :2] = wanted @ np.linalg.pinv(design, rcond=1e-3).T
    return out
