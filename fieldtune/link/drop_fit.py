"""How a wheel's speed runs around an instant: as at a shot, as when it is slowed, or neither.

A shot takes speed within a millisecond, and the control brings it back: the wheel lags by the turns lost meanwhile. A
loop with an integral even makes up for them: a linear one of second order lags by (exp(-b t) - exp(-a t)) / (a - b) for
each turn/s lost, where b = 0 without an integral (Laplace transform of s / ((s + a)(s + b)) / s). A drive at its limit
brings it back evenly. A lowered setpoint takes speed over some time, and most of it stays away. A hunting loop or the
end of an overshoot swings smoothly. Each template is fitted together with a steady speed that may change evenly, by
generalised least squares: errors are made independent first (Aitken 1935).
"""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import pairwise, product
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.arrays import FloatArray, median
from fieldtune.frozen import frozen

if TYPE_CHECKING:
    from fieldtune.link.wheel_noise import Whitening
    from fieldtune.link.wheel_points import Cells

_RECOVERIES_S = np.geomspace(0.012, 2.5, 14)
_INTEGRALS_S = np.array([0.1, 0.3, 1.0])  # in which an integral makes up for what was lost
_BANK = np.array(
    [(tau, 1e6) for tau in _RECOVERIES_S] + [p for p in product(_RECOVERIES_S[::2], _INTEGRALS_S) if p[0] < 0.9 * p[1]]
)
_AT_THE_LIMIT_S = np.geomspace(0.02, 0.8, 9)
_STARTS_S = np.array([-0.012, -0.006, 0.0, 0.006])
_STARTS = np.array([-0.5, -0.25, 0.0, 0.25])  # of a cell
_LOWERED_S = np.array([0.04, 0.08, 0.16, 0.3, 0.6, 1.2])
_SLOW_S, _SLOW = 0.16, 4.0  # seconds, or cells, of a fall that no brake is needed for
_LEAST_LOWERED = 2.5  # cells: a fall over fewer is as sudden as a shot's
_STAYS = np.array([(1.0, 1.0), *product((0.5, 0.75), (0.05, 0.15, 0.4))])  # share that stays away, seconds of the rest
_LOWERED_FROM_S = np.array([-0.3, -0.2, -0.1, -0.05, -0.02, 0.0])
_SWINGS_S = np.array([0.5, 0.7, 1.0])
_HUNTING_HZ = np.geomspace(0.8, 4.0, 10)
_DRIFT = 0.015  # of the speed a second: what a held wheel may drift, one standard deviation
_PACES = 20.0
_RAISED_S, _RAISED_FROM_S = (0.04, 0.16, 0.5), np.arange(-0.2, 0.75, 0.1)
_SLOWED, _SPED_UP = 0.35, 0.7
_COASTING_S = 0.25
_COASTS, _HARD = 0.02, 0.4  # of the speed a second that a wheel loses to friction, and to a brake


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


def _shot_lags(t: FloatArray, starts: FloatArray) -> FloatArray:
    """All templates of a shot near t = 0, (k, n)."""
    limited = np.array(list(product(_AT_THE_LIMIT_S, (*_INTEGRALS_S[:2], 1e6))))
    first, second = (np.tile(bank, (len(starts), 1)).T for bank in (_BANK, limited))
    return np.vstack(
        [
            made_up_lag(t, np.repeat(starts, len(_BANK)), *first),
            _limited_lag(t, np.repeat(starts, len(limited)), *second),
        ]
    )


@lru_cache(maxsize=24)
def _families(cell: float, before: int, after: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Templates of a shot, of slow and smooth changes, and of quick ones that stay: turns lost (k, n) at the edges."""
    edges: FloatArray = cell * np.arange(-before, after + 1, dtype=np.float64)
    over = np.array(sorted({max(seconds, _LEAST_LOWERED * cell) for seconds in _LOWERED_S}))
    rows = np.array([(start, wide, *stays) for start, wide, stays in product(_LOWERED_FROM_S, over, _STAYS)])
    lowered, slow = _lowered_lag(edges, *rows.T), rows[:, 1] >= max(_SLOW_S, _SLOW * cell)
    begin, wide = _grid(np.array([-0.75, -0.5, -0.25, -0.1]), np.maximum(_SWINGS_S, 10 * cell))
    raised = np.array([(start, max(wide, cell), 1.0, 1.0) for start, wide in product(_RAISED_FROM_S, _RAISED_S)])
    smooth = np.vstack([lowered[slow], _swing_lag(edges, begin * wide, wide), -_lowered_lag(edges, *raised.T)])
    return _shot_lags(edges, _starts(cell)), smooth, lowered[~slow]


@lru_cache(maxsize=8)
def _quick(cell: float, before: int, after: int, recoveries_s: tuple[float, ...]) -> FloatArray:
    """Templates of the first look at a drop: turns lost (k, n) at the edges."""
    edges: FloatArray = cell * np.arange(-before, after + 1, dtype=np.float64)
    starts = np.array([0.0]) if cell < 0.015 else cell * np.array([-0.67, -0.33, 0.0])
    return recovery_lag(edges, *_grid(starts, np.array(recoveries_s)))


Span = tuple[float, float]
_ANY: Span = (-math.inf, math.inf)


@frozen
class Fit:
    """The template that fits best: depth in turns/s with its standard error, and the sum of squares that it leaves.

    ``misfit``: how many times larger than expected what it leaves is.
    """

    depth: float
    error: float
    misfit: float
    rest: float


class View:
    """Mean speeds around an instant with their errors made independent, of size 1."""

    def __init__(self, cells: Cells, whitening: Whitening) -> None:
        self._cells, self._whitening = cells, whitening
        self.size = len(cells.speeds)
        self.fastest = float(cells.speeds.max())
        self._speeds = self._white(cells.speeds - cells.speeds.mean())
        # A wheel's speed as such, and what it may drift, to within a twentieth
        self._pace = round(_PACES * math.log(max(self.fastest, 1.0)))
        if ("drift", self._pace) not in whitening.memo:
            base = self._white(np.vander(cells.middles_s, 3, increasing=True).T).T
            base[-1, 1] = 1 / (_DRIFT * math.exp(self._pace / _PACES))
            whitening.memo["drift", self._pace] = (np.linalg.qr(base)[0],)
        self._base = whitening.memo["drift", self._pace][0]

    def _white(self, values: FloatArray) -> FloatArray:
        """Values (…, m) made independent, and behind them (…, m + 1) one for what is expected of a drift: none."""
        white = np.zeros((*values.shape[:-1], self.size + 1))
        white[..., :-1] = values @ self._whitening.matrix.T
        return white

    def fit(self, name: str, lag: FloatArray, within: Span = _ANY) -> Fit:
        """The best of templates ``lag`` (k, n + 1) of turns lost, each with a speed that drifts a little.

        ``name``: of the templates. ``within``: depths that may be, turns/s.
        """
        line, memo = self._base[:, :2], self._whitening.memo
        speeds = self._speeds - line @ (line.T @ self._speeds)
        if (name, self._pace) not in memo:
            lost = self._white(self._cells.of(lag))
            bare = lost - (lost @ line) @ line.T
            memo[name, self._pace] = bare, np.maximum(np.einsum("ij,ij->i", bare, bare), 1e-30)
        bare, strength = memo[name, self._pace]
        best_depth = -(bare @ speeds) / strength
        depth = np.clip(best_depth, *within)
        gain = np.where(best_depth > 0, depth * (2 * best_depth - depth) * strength, -1.0)
        best = int(np.argmax(gain))
        rest = max(float(speeds @ speeds) - max(float(gain[best]), 0.0), 0.0)
        variance = max(rest / max(self.size - 4, 1), 1.0)
        return Fit(max(float(depth[best]), 0.0), 1 / math.sqrt(float(strength[best])), math.sqrt(variance), rest)

    def without(self, degree: int) -> float:
        """The sum of squares that a polynomial of the speed leaves."""
        line = self._base[:, : degree + 1]
        rest = self._speeds - line @ (line.T @ self._speeds)
        return float(rest @ rest)

    def swinging(self) -> float:
        """The least sum of squares that an even swing of the speed leaves."""
        t, rests = self._cells.middles_s, [math.inf]
        for hz in _HUNTING_HZ[_HUNTING_HZ * (t[-1] - t[0]) > 0.7]:
            turn = 2 * np.pi * hz * t
            design = self._white(np.array([np.ones_like(t), np.cos(turn), np.sin(turn)])).T
            rest = self._speeds - design @ np.linalg.lstsq(design, self._speeds, rcond=None)[0]
            rests.append(float(rest @ rest))
        return min(rests)


def drop_at(view: View, cell: float, before: int, after: int, recoveries_s: tuple[float, ...]) -> Fit:
    """The sudden drop near t = 0 that fits best; ``recoveries_s``: those that are looked for."""
    return view.fit("quick", _quick(cell, before, after, recoveries_s))


@frozen
class Verdict:
    """Twice the log likelihood ratio of a shot against nothing, a slow change, and a quick one that stays.

    ``depth``: of the shot that fits best, turns/s.
    """

    over_nothing: float
    over_slow: float
    over_lowered: float
    depth: float


def verdict(view: View, cell: float, before: int, after: int, usual: Span = _ANY) -> Verdict:
    """What a change near t = 0 most likely was. ``usual``: depths that a shot of this wheel may have, turns/s."""
    shots, smooth, lowered = _families(cell, before, after)
    shot = view.fit("shot", shots, usual)
    swung, braked = view.fit("smooth", smooth).rest, view.fit("lowered", lowered).rest
    swung = min(swung, view.without(2), view.swinging())
    variance = max(min(shot.rest, swung, braked) / max(view.size - 5, 1), 1.0)
    return Verdict(
        over_nothing=(view.without(1) - shot.rest) / variance,
        over_slow=(swung - shot.rest) / variance,
        over_lowered=(braked - shot.rest) / variance,
        depth=shot.depth,
    )


def off_smooth(t: FloatArray, x: FloatArray) -> float:
    """How far turns (n,) stray from a smooth run (a cubic), from end to end. Errors of rounding come in rows."""
    return float(np.ptp(x - np.polynomial.polynomial.polyval(t, np.polynomial.polynomial.polyfit(t, x, 3))))


def made_good(t: FloatArray, x: FloatArray, depth: float) -> tuple[float, float]:
    """Share of a drop of ``depth`` turns/s at t = 0 that is made good at the end, and in a second by then.

    ``t``, ``x``: (n,) seconds and turns, at least two on each side.
    """
    spacing = median(np.diff(t))
    before, behind = t < -spacing / 2, t > 0
    part = max(0.1, 3.5 * spacing)
    late, early = t >= t[-1] - part, behind & (t <= max(t[-1] - part, part))
    if not early.any():  # lines are missing behind it
        return 0.0, 0.0
    speeds = [_slope(t[some], x[some]) for some in (before, early, late)]
    apart_s = float(t[late].mean() - t[early].mean())
    depth = max(depth, 1e-9)
    rising = (speeds[2] - speeds[1]) / depth / apart_s if apart_s > spacing else 0.0
    return 1 - (speeds[0] - speeds[2]) / depth, rising


def even_before(t: FloatArray, x: FloatArray, period: float, depth: float) -> bool:
    """Whether a wheel ran about evenly before t = 0: not already slowed, nor on its way up to an overshoot."""
    part = max(0.1, 3 * period)
    early, late = t < -part, (t >= -part) & (t < -0.3 * period)
    if early.sum() < 3 or late.sum() < 3:
        return True
    first, then = (_slope(t[some], x[some]) for some in (early, late))
    return -_SLOWED * depth < then - first < _SPED_UP * depth


def coasting(t: FloatArray, x: FloatArray) -> bool:
    """Whether a wheel slowed evenly before t = 0 and goes on slowing: it runs out, and no setpoint holds or brakes it.

    ``t``, ``x``: (n,) seconds and turns.
    """
    spacing = median(np.diff(t))
    edges = [t[0], t[0] * 2 / 3, t[0] / 3, -spacing / 3]
    parts = [(t >= start) & (t <= end) for start, end in pairwise(edges)]
    behind = t > max(0.03, spacing / 2)
    if t[0] > -_COASTING_S or t[-1] < 0.15 or min(part.sum() for part in (*parts, behind)) < 3:
        return False
    first, middle, last = (_slope(t[part], x[part]) for part in parts)
    bend = 2 * float(np.polyfit(t[behind], x[behind], 2)[0]) / first
    once, then = first - middle, middle - last
    evenly = min(once, then) > max(once, then) / 4
    return bool(evenly and _COASTS < 1.5 * (once + then) / -t[0] / first < _HARD and -_HARD < bend < -_COASTS)


def _slope(t: FloatArray, x: FloatArray) -> float:
    return float(np.polyfit(t, x, 1)[0]) if len(t) > 1 else 0.0


def speed_and_depth(t: FloatArray, turns: FloatArray, floor: float) -> tuple[float, float]:
    """Speed before a drop near t = 0 and the drop's depth, both turns/s, from ``turns`` (n,) at ``t`` (n,) seconds.

    When it began and how fast it recovers (tau) is not known: all are fitted, each weighed by how well it fits, as
    depth alone is ill told where tau is shorter than the samples' spacing.

    ``floor``: the least variance a point has, turns^2. At least five points, some of them on each side.
    """
    lag = _shot_lags(t, np.arange(-0.008, 0.0101, 0.003))
    # A straight line is taken out of both; what is left of the lag is scaled to what is left of the turns.
    line = np.linalg.qr(np.column_stack([np.ones_like(t), t]))[0]
    bare_lag = lag - lag @ line @ line.T
    bare_turns = turns - line @ (line.T @ turns)
    strength = np.sum(bare_lag**2, axis=1)
    depth = -(bare_lag @ bare_turns) / np.maximum(strength, 1e-30)
    rest = np.sum((bare_turns + depth[:, None] * bare_lag) ** 2, axis=1)
    variance = max(float(rest.min()) / max(len(t) - 5, 1), floor)
    weight = np.exp(-(rest - rest.min()) / (2 * variance))
    deep = float(weight @ depth / weight.sum())
    behind = weight @ (depth[:, None] * lag) / weight.sum()
    return float(np.polyfit(t, turns + behind, 1)[0]), deep
