"""How many turns a wheel lags behind: at a shot, when it is slowed, lowered or raised, or swings by itself.

A shot takes speed within a millisecond, and the control brings it back: the wheel lags by the turns lost meanwhile. A
loop with an integral even makes up for them: a linear one of second order lags by (exp(-b t) - exp(-a t)) / (a - b) for
each turn/s lost, where b = 0 without an integral (Laplace transform of s / ((s + a)(s + b)) / s). A drive at its limit
brings it back evenly. A lowered setpoint takes speed over some time, and most of it stays away. A hunting loop or the
end of an overshoot swings smoothly.

Under a drive that is switched on and off a wheel runs out and is sped up twice (``kicked_lags``). In 36 runs of robots
written to try that, a third of them so driven, 91 shots were made up before this course was compared, and 23 then; 445
and 418 of 756 shots were found (``shot_network`` came later).
"""

from __future__ import annotations

from functools import lru_cache
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

_RECOVERIES_S = np.geomspace(0.012, 2.5, 14)
_INTEGRALS_S = np.array([0.1, 0.3, 1.0])  # in which an integral makes up for what was lost
_STAYS_S = 1e3  # of a wheel that runs out, and is not brought back
_BANK = np.array(
    [(tau, 1e6) for tau in (*_RECOVERIES_S, _STAYS_S)]
    + [p for p in product(_RECOVERIES_S[::2], _INTEGRALS_S) if p[0] < 0.9 * p[1]]
)
_AT_THE_LIMIT_S = np.geomspace(0.02, 0.8, 9)
_STARTS_S = np.array([-0.012, -0.006, 0.0, 0.006])
_STARTS = np.array([-0.5, -0.25, 0.0, 0.25])  # of a cell
STARTS = len(_STARTS)
_SOUGHT_BEFORE, _SOUGHT_BEHIND = 4.0, 2.0  # cells
_MISSED_S, _MISSED_CELLS = 0.05, 2
_LOWERED_S = np.array([0.04, 0.08, 0.16, 0.3, 0.6, 1.2])
_SLOW_S, _SLOW = 0.16, 4.0  # seconds, or cells, of a fall that no brake is needed for
_LEAST_LOWERED = 2.5  # cells: a fall over fewer is as sudden as a shot's
_STAYS = np.array([(1.0, 1.0), *product((0.5, 0.75), (0.05, 0.15, 0.4))])  # share that stays away, seconds of the rest
_LOWERED_FROM_S = np.array([-0.3, -0.2, -0.1, -0.05, -0.02, 0.0])
_SWINGS_S = np.array([0.5, 0.7, 1.0])
_FINE_S = 0.015  # cells no half of which is told
_RAISED_S, _RAISED_FROM_S = (0.04, 0.16, 0.5), np.arange(-0.2, 0.75, 0.1)


def recovery_lag(t: FloatArray, start: FloatArray, tau: FloatArray) -> FloatArray:
    """Turns lost (k, n) at ``t`` (n,) by wheels that lose one turn/s at ``start`` and recover with ``tau``, (k,)."""
    return np.asarray(tau[:, None] * -np.expm1(-np.maximum(t - start[:, None], 0.0) / tau[:, None]))


def made_up_lag(t: FloatArray, start: FloatArray, tau: FloatArray, integral: FloatArray) -> FloatArray:
    """As ``recovery_lag``, of a control that makes up for the turns lost within about ``integral`` seconds (k,)."""
    since = np.maximum(t - start[:, None], 0.0)
    a, b = 1 / tau[:, None], 1 / integral[:, None]
    return np.asarray((np.exp(-b * since) - np.exp(-a * since)) / (a - b))


def _lowered_lag(t: FloatArray, start: FloatArray, over: FloatArray, stays: FloatArray, tau: FloatArray) -> FloatArray:
    """Turns lost (k, n) by wheels that lose one turn/s evenly over ``over`` (k,) seconds from ``start`` (k,).

    The share ``stays`` (k,) stays away, the rest comes back with ``tau`` (k,).
    """
    begun, ended = np.maximum(t - start[:, None], 0.0), np.maximum(t - start[:, None] - over[:, None], 0.0)
    tau = tau[:, None]

    def summed(since: FloatArray) -> FloatArray:
        back = tau * since + tau**2 * np.expm1(-since / tau)
        return np.asarray(stays[:, None] * since**2 / 2 + (1 - stays[:, None]) * back)

    return np.asarray((summed(begun) - summed(ended)) / over[:, None])


def _swing_lag(t: FloatArray, start: FloatArray, width: FloatArray) -> FloatArray:
    """Turns lost (k, n) by wheels whose speed dips smoothly by one turn/s (a raised cosine) over ``width`` (k,)."""
    share = np.clip((t - start[:, None]) / width[:, None], 0.0, 1.0)
    return np.asarray(width[:, None] * (share - np.sin(2 * np.pi * share) / (2 * np.pi)) / 2)


def _limited_lag(t: FloatArray, start: FloatArray, back: FloatArray, integral: FloatArray) -> FloatArray:
    """As ``made_up_lag``, of a drive at its limit: the speed comes back evenly within ``back`` seconds (k,)."""
    since = t - start[:, None]
    share = np.clip(since / back[:, None], 0.0, 1.0)
    lag = back[:, None] * (share - share**2 / 2)
    return np.asarray(lag * np.exp(-np.maximum(since - back[:, None], 0.0) / integral[:, None]))


def _grid(starts: FloatArray, spans: FloatArray) -> tuple[FloatArray, FloatArray]:
    first, second = np.meshgrid(starts, spans)
    return first.ravel(), second.ravel()


def _starts(cell: float) -> FloatArray:
    """When a drop near t = 0 may have begun."""
    return _STARTS * cell if cell > 0.015 else _STARTS_S


def shot_lags(t: FloatArray, starts: FloatArray) -> FloatArray:
    """All k templates of a shot that began at each of ``starts`` (s,) in turn, near t = 0: turns lost (s k, n)."""
    limited = np.array(list(product(_AT_THE_LIMIT_S, (*_INTEGRALS_S[:2], 1e6))))
    parts = [
        lag(t, np.repeat(starts, len(bank)), *np.tile(bank, (len(starts), 1)).T).reshape(len(starts), len(bank), -1)
        for lag, bank in ((made_up_lag, _BANK), (_limited_lag, limited))
    ]
    return np.concatenate(parts, axis=1).reshape(-1, len(t))


@lru_cache(maxsize=24)
def families(cell: float, before: int, after: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Templates of a shot, of slow and smooth changes, and of quick ones that stay: turns lost (k, n) at the edges."""
    edges: FloatArray = cell * np.arange(-before, after + 1, dtype=np.float64)
    over = np.array(sorted({max(seconds, _LEAST_LOWERED * cell) for seconds in _LOWERED_S}))
    rows = np.array([(start, wide, *stays) for start, wide, stays in product(_LOWERED_FROM_S, over, _STAYS)])
    lowered, slow = _lowered_lag(edges, *rows.T), rows[:, 1] >= max(_SLOW_S, _SLOW * cell)
    begin, wide = _grid(np.array([-0.75, -0.5, -0.25, -0.1]), np.maximum(_SWINGS_S, 10 * cell))
    raised = np.array([(start, max(wide, cell), 1.0, 1.0) for start, wide in product(_RAISED_FROM_S, _RAISED_S)])
    smooth = np.vstack([lowered[slow], _swing_lag(edges, begin * wide, wide), -_lowered_lag(edges, *raised.T)])
    return shot_lags(edges, _starts(cell)), smooth, lowered[~slow]


@lru_cache(maxsize=24)
def kicked_lags(cell: float, before: int, after: int) -> FloatArray:
    """A wheel that runs out, and those sped up within a cell, at each or each half: turns lost (k, n) at the edges."""
    edges: FloatArray = cell * np.arange(-before, after + 1, dtype=np.float64)
    starts = cell * np.arange(1 - before, after - 1.9, 1.0 if cell < _FINE_S else 0.5)
    ones = np.ones_like(starts)
    return np.vstack([(edges - edges[0]) ** 2 / 2, -_lowered_lag(edges, starts, cell * ones, ones, ones)])


@lru_cache(maxsize=24)
def most_missed(cell: float, before: int, after: int) -> FloatArray:
    """Of each template of a shot (k,): the mean speed missed over the moment in which most is, of one turn/s lost."""
    shots, wide = families(cell, before, after)[0], max(round(_MISSED_S / cell), _MISSED_CELLS)
    return np.asarray(np.max(shots[:, wide:] - shots[:, :-wide], axis=1) / (wide * cell))


def usual_lags(cell: float, before: int, after: int, course: FloatArray) -> FloatArray:
    """A shot that is ``course`` (k,) of each template, near t = 0: turns lost (s, n) at the edges, for some starts."""
    shots = families(cell, before, after)[0]
    return np.asarray(course @ shots.reshape(-1, len(course), shots.shape[1]))


@lru_cache(maxsize=24)
def lost_lags(cell: float, before: int, after: int) -> FloatArray:
    """A turn that is missing between two lines, at each quarter of a cell: turns lost (k, n) at the edges."""
    edges: FloatArray = cell * np.arange(-before, after + 1, dtype=np.float64)
    at = cell * np.arange(0.5 - before, after, 0.25)
    return np.asarray(np.clip((edges - at[:, None]) / cell + 0.5, 0.0, 1.0))


@lru_cache(maxsize=8)
def quick_lags(cell: float, before: int, after: int, recoveries_s: tuple[float, ...]) -> FloatArray:
    """Templates of the first look at a drop: turns lost (k, n) at the edges."""
    edges: FloatArray = cell * np.arange(-before, after + 1, dtype=np.float64)
    starts = np.array([0.0]) if cell < 0.015 else cell * np.array([-0.67, -0.33, 0.0])
    return recovery_lag(edges, *_grid(starts, np.array(recoveries_s)))


def sought_s(cell: float) -> FloatArray:
    """When a drop may have begun that a first look saw near t = 0."""
    return cell * np.arange(-_SOUGHT_BEFORE, _SOUGHT_BEHIND + 0.1, 0.5)


@lru_cache(maxsize=24)
def sought_lags(cell: float, before: int, after: int) -> FloatArray:
    """Templates of a shot at each of ``sought_s``, one after another: turns lost (k, n) at the edges."""
    edges: FloatArray = cell * np.arange(-before, after + 1, dtype=np.float64)
    return shot_lags(edges, sought_s(cell))
