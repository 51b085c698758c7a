"""The wheel's speed at the instant at which an element begins to take it.

A held wheel is never quite even: an on-off control lets it run out and jerks it up by 2 % within 20 ms, a slow one is
still bringing it back from the last shot. A mean or a straight line over the run before tells the speed of some time
ago. The wheel's course is therefore taken for a Gaussian process, a speed that wanders by itself and forgets (Ornstein
and Uhlenbeck), beside a level and a slow drift; by how much and how quickly it wanders isn't known, and each is weighed
by how well it fits, as are the instants at which the drop may have begun and its recoveries (Rasmussen & Williams,
Gaussian Processes for Machine Learning, 2006, equations 2.23, 2.24 and 2.30). A rough encoder so gets a long mean, a
fine one a short one.

Evidence kept from shot to shot, more templates, and more of the run behind the drop did not help.
"""

from __future__ import annotations

import math
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.link.wheel.wheel_lags import recovery_lag

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.link.wheel.wheel_points import WheelPoints

_RUN_S, _RUN_CELLS = 0.5, 6  # seconds, and at least so many cells, of the run before
_AFTER_S, _AFTER_CELLS = 0.06, 1.5  # likewise behind, where the drop shows
_SETTLED_S = 0.08  # behind the drop before
_FEWEST = 5  # points
_WANDERS = np.array(list(product((0.0005, 0.002, 0.008), (0.03, 0.1, 0.3, 1.0))))  # share of the speed, seconds
_DRIFT = 0.015  # of the speed a second^2, one standard deviation
_LEVEL = 0.1  # of the speed: what is not known of it beforehand
_DEPTH = 0.15  # of the speed: what a shot may take
_STARTS = np.linspace(-1.0, 1.0, 17)  # cells
_RECOVERIES_S = np.array([0.02, 0.05, 0.12, 0.4, 30.0])
_TIMED_S = 1e-5  # no line's time is better known
_GAP, _UNSEEN = 1.5, 0.1  # cells without own rpm; by what share its speed may be off in what is longer


def _wandered(since: FloatArray, memory: FloatArray) -> FloatArray:
    """Variance (c, …) of the turns that a speed of size 1 and of ``memory`` (c,) seconds makes over ``since`` (…)."""
    memory = memory.reshape(-1, *(1,) * since.ndim)
    share = np.abs(since) / memory
    return np.asarray(2 * memory**2 * (share + np.expm1(-share)))


def _wandering(since: FloatArray, memory: FloatArray) -> FloatArray:
    """Half its slope (c, …): covariance of those turns with the speed at their end."""
    memory = memory.reshape(-1, *(1,) * since.ndim)
    return np.asarray(-memory * np.sign(since) * np.expm1(-np.abs(since) / memory))


def release_rpm(points: WheelPoints, instant: float, before_s: float, tick_s: float) -> float | None:
    """The wheel's rpm at the beginning of a drop near an instant; None where too few points are known.

    ``before_s``: when the drop before was; ``tick_s``: the uncertainty of a line's time.
    """
    cell = points.cell_s
    since = max(instant - max(_RUN_S, _RUN_CELLS * cell), before_s + _SETTLED_S)
    t, turns, part = points.between(since, instant + max(_AFTER_S, _AFTER_CELLS * cell))
    if len(t) < _FEWEST or not t[0] < instant < t[-1]:
        return None
    rate = float((turns[-1] - turns[0]) / (t[-1] - t[0]))
    variance = points.coarseness(rate, part, tick_s) + (rate * _TIMED_S) ** 2
    t, missed = t - instant, np.zeros(1)
    if not points.are_counts:
        # Points between two news of own rpm say nothing by themselves, and own rpm says nothing of missing lines.
        news = cell * np.arange(math.ceil(t[0] / cell), math.floor(t[-1] / cell) + 1)
        fresh = np.unique(np.abs(t - news[:, None]).argmin(axis=1))
        t, turns = t[fresh], turns[fresh]
        missed = np.cumsum(np.append(0.0, _UNSEEN * rate * np.maximum(np.diff(t) - _GAP * cell, 0.0)) ** 2)
        if len(t) < _FEWEST or not t[0] < 0 < t[-1]:
            return None
    reading = variance * np.eye(len(t)) + np.minimum(missed, missed[:, None])
    return max(speed_at_release(t, turns, reading, cell), 0.0) * 60


def speed_at_release(t: FloatArray, turns: FloatArray, reading: FloatArray, cell: float) -> float:
    """The speed, turns/s, at the beginning of a drop within a cell of t = 0.

    ``t``, ``turns``: (n,) seconds and turns, five at least, on both sides; ``reading``: covariance (n, n) of what
    these are off, turns^2; ``cell``: seconds in which the line tells something new.
    """
    ahead = t <= -cell / 2
    some = ahead if ahead.sum() > 2 else np.ones_like(ahead)
    rate = float((turns[some][-1] - turns[some][0]) / (t[some][-1] - t[some][0]))
    if not rate > 0.0:  # false counts
        return rate
    off = (turns - turns[0]) / rate - (t - t[0])  # seconds that the wheel is ahead of an even one
    starts = np.tile(cell * _STARTS, len(_RECOVERIES_S))
    lost = -recovery_lag(t, starts, np.repeat(_RECOVERIES_S, len(_STARTS)))

    size, memory = _WANDERS.T
    to_point = _wandered(t, memory)
    wander = (to_point[:, :, None] + to_point[:, None, :] - _wandered(t[:, None] - t, memory)) / 2
    common = _LEVEL**2 * (1 + np.outer(t, t)) + _DRIFT**2 * np.outer(t**2, t**2)
    root = np.linalg.cholesky(size[:, None, None] ** 2 * wander + common + reading / rate**2)
    white = np.linalg.inv(root).transpose(0, 2, 1)

    off_white, lost_white = off @ white, lost @ white  # (c, n), (c, k, n)
    strength = np.sum(lost_white**2, axis=2) + _DEPTH**-2.0
    depth = np.maximum(np.einsum("ckn,cn->ck", lost_white, off_white) / strength, 0.0)
    rest = off_white[:, None, :] - depth[:, :, None] * lost_white
    fits = -(np.sum(rest**2, axis=2) + (depth / _DEPTH) ** 2 + np.log(strength)) / 2
    fits -= np.sum(np.log(np.diagonal(root, axis1=1, axis2=2)), axis=1)[:, None]
    weight = np.exp(fits - fits.max())

    at_start = _wandering(starts, memory)[:, :, None] - _wandering(starts[:, None] - t, memory)
    shared = _LEVEL**2 * t + 2 * _DRIFT**2 * np.outer(starts, t**2)
    known = np.sum(((size[:, None, None] ** 2 * at_start + shared) @ white) * rest, axis=2)
    return rate * (1 + float(np.sum(weight * known) / math.fsum(weight.ravel())))
