"""What a shot not yet taken may turn out to be: a word, or a class of measured miss, with each draw's probabilities."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from fieldtune.aim.chance import Situation
from fieldtune.aim.need import Need
from fieldtune.learn.fit import Fit

FloatArray = NDArray[np.float64]

# Misses count as measured if they were in at least half of the last few shots; then so many equally likely classes.
_LATELY, _CLASSES = 6, 9


def measuring(fit: Fit) -> bool:
    """Whether misses were measured lately."""
    lately = fit.table.miss[-_LATELY:]
    return bool(len(lately) and np.isfinite(lately).mean() >= 0.5)


def blur_of(fit: Fit, need: Need, reading: float, scene: Situation) -> FloatArray:
    """Spread (K,) in log speed of what a miss measured from that reading would say, as each draw sees it."""
    draws = fit.belief.draws
    seen = need.log_speed(reading + draws.distance_bias, 0.0, draws.angle_error, draws.log_drag)
    return np.asarray(np.hypot(scene.spread, np.nan_to_num(seen.d_miss) * fit.robot.uncertainty.miss))


def word_chances(scene: Situation, speeds: FloatArray) -> FloatArray:
    """Probabilities (3, K) of short, in, long of each draw at log speeds (K,)."""
    low = np.where(np.isfinite(scene.low), scene.low, scene.center[:, None]) @ scene.shares
    ends = np.isfinite(scene.high)
    high = np.where(ends.all(axis=1), np.where(ends, scene.high, 0.0) @ scene.shares, np.inf)
    short = ndtr((low - speeds) / scene.near)
    long = ndtr((speeds - high) / scene.spread)
    # Where the target can't be hit at all a shot tells nothing.
    short, long = np.nan_to_num(short, nan=0.5), np.nan_to_num(long, nan=0.5)
    return np.stack([short, np.maximum(1 - short - long, 0.0), long])


def miss_chances(gap: FloatArray, blur: FloatArray) -> FloatArray:
    """Probabilities (classes, K) of a measured miss, from each draw's log speed beyond the need (K,) and its blur."""
    known = np.isfinite(gap)
    if not known.any():
        return np.full((_CLASSES, len(gap)), 1 / _CLASSES)
    spread = float(np.sqrt(np.var(gap[known]) + np.mean(blur[known] ** 2)))
    edges = float(np.mean(gap[known])) + spread * ndtri(np.arange(_CLASSES + 1) / _CLASSES)
    chances = np.diff(ndtr((edges[:, None] - gap) / blur), axis=0)
    # Where the target can't be hit at all a shot tells nothing.
    return np.where(known, chances, 1 / _CLASSES)
