"""How a wheel's turns run around an instant: as at a shot, as when it is slowed, or neither, by least squares.

A shot takes speed within a millisecond, and the control brings it back: the wheel lags by the turns lost meanwhile. A
loop with an integral even makes up for them: a linear one of second order lags by (exp(-b t) - exp(-a t)) / (a - b) for
each turn/s lost, where b = 0 without an integral (Laplace transform of s / ((s + a)(s + b)) / s). A lowered setpoint
takes speed over some time, and most of it stays away. A hunting loop or the end of an overshoot swings smoothly. Each
template is fitted together with a straight line, as the wheel ran before, or with one that slows evenly: it coasts.
"""

from __future__ import annotations

import math
from itertools import pairwise, product

import numpy as np

from fieldtune.arrays import BoolArray, FloatArray
from fieldtune.frozen import frozen

_RECOVERIES_S = np.geomspace(0.012, 2.5, 14)
_INTEGRALS_S = np.array([0.1, 0.3, 1.0])  # in which an integral makes up for what was lost
_BANK = np.array(
    [(tau, 1e6) for tau in _RECOVERIES_S] + [p for p in product(_RECOVERIES_S[::2], _INTEGRALS_S) if p[0] < 0.9 * p[1]]
)
_STARTS_S = np.array([-0.012, -0.006, 0.0, 0.006])
_LOWERED_S = np.array([0.04, 0.08, 0.16, 0.3, 0.6, 1.2])
_SLOW_S, _SLOW = 0.16, 4.0  # seconds, or line periods, of a fall that no brake is needed for
_LEAST_LOWERED = 2.5  # line periods: a fall over fewer is as sudden as a shot's
_STAYS = np.array([(1.0, 1.0), *product((0.5, 0.75), (0.05, 0.15, 0.4))])  # share that stays away, seconds of the rest
_LOWERED_FROM_S = np.array([-0.3, -0.2, -0.1, -0.05, -0.02, 0.0])
_SWINGS_S = np.array([0.5, 0.7, 1.0])
_HUNTING_HZ = np.geomspace(0.8, 4.0, 10)
_BENT = 4.0  # about what one more parameter makes of twice the log likelihood with this many points (BIC)
_STEP_NEAR_S = 0.2
_FAR = 4.0
_WIDTHS = 1.4
_GLANCE = 0.002  # of the speed
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


def _spacing(t: FloatArray) -> float:
    """The median time between points (n,), at an eighth of what ``np.median`` takes for so few."""
    steps = np.sort(t[1:] - t[:-1])
    return float(steps[len(steps) // 2] + steps[(len(steps) - 1) // 2]) / 2


def _grid(starts: FloatArray, spans: FloatArray) -> tuple[FloatArray, FloatArray]:
    first, second = np.meshgrid(starts, spans)
    return first.ravel(), second.ravel()


def _starts(spacing: float) -> FloatArray:
    """When a drop near t = 0 may have begun."""
    return np.unique(np.r_[_STARTS_S, spacing * np.array([-0.67, -0.33, 0.0])]) if spacing > 0.015 else _STARTS_S


def _shot_lags(t: FloatArray, starts: FloatArray) -> FloatArray:
    """All templates of a shot near t = 0, (k, n)."""
    return made_up_lag(t, np.repeat(starts, len(_BANK)), *np.tile(_BANK, (len(starts), 1)).T)


Span = tuple[float, float]
_ANY: Span = (-math.inf, math.inf)


@frozen
class Fit:
    """The template that fits best: depth in turns/s with its standard error, and the sum of squares that it leaves."""

    depth: float
    error: float
    rest: float
    points: int


def _fit(
    t: FloatArray, x: FloatArray, lag: FloatArray, floor: float, slowing: bool = False, within: Span = _ANY
) -> Fit:
    """The best of templates ``lag`` (k, n), each with a straight line, to turns ``x`` (n,) at ``t`` (n,) seconds.

    ``slowing``: with a wheel that loses speed evenly all the time instead. ``within``: depths that may be, turns/s.
    """
    line, upper = np.linalg.qr(np.vander(t - t.mean(), 3 if slowing else 2, increasing=True))
    xc = x - line @ (line.T @ x)
    bare = lag - (lag @ line) @ line.T
    strength = np.maximum(np.einsum("ij,ij->i", bare, bare), 1e-30)
    best_depth = -(bare @ xc) / strength
    depth = np.clip(best_depth, *within)
    gain = np.where(best_depth > 0, depth * (2 * best_depth - depth) * strength, -1.0)
    if slowing:
        bend = (line[:, 2] @ x + depth * (lag @ line[:, 2])) / upper[2, 2]
        gain = np.where(bend < 0, gain, -math.inf)
    best = int(np.argmax(gain))
    rest = max(float(xc @ xc) - max(float(gain[best]), 0.0), 0.0) if gain[best] > -math.inf else math.inf
    variance = max(rest / max(len(t) - 4, 1), floor)
    return Fit(max(float(depth[best]), 0.0), math.sqrt(variance / float(strength[best])), rest, len(t))


def drop_at(t: FloatArray, x: FloatArray, recoveries_s: FloatArray, floor: float, doubted: bool) -> Fit:
    """The sudden drop near t = 0 that fits turns ``x`` (n,) at ``t`` (n,) seconds best.

    ``recoveries_s``: those that are looked for; ``floor``: the least variance of a point; ``doubted``: some points may
    be false.
    """
    spacing = _spacing(t)
    starts = np.array([0.0]) if spacing < 0.015 else spacing * np.array([-0.67, -0.33, 0.0])
    lag = recovery_lag(t, *_grid(starts, recoveries_s))
    found = _fit(t, x, lag, floor)
    if doubted:
        keep = without_outliers(t, x, floor)
        if not keep.all() and keep.sum() > 7:
            found = _fit(t[keep], x[keep], lag[:, keep], floor)
    return found


def without_outliers(t: FloatArray, x: FloatArray, floor: float) -> BoolArray:
    """Which points (n,) are no outliers: not far off a line through their neighbours on either side."""
    keep = np.ones(len(t), dtype=bool)
    if len(t) < 5:
        return keep
    share = (t[1:-1] - t[:-2]) / np.maximum(t[2:] - t[:-2], 1e-9)
    off = np.abs(x[1:-1] - (x[:-2] + share * (x[2:] - x[:-2])))
    room = max(_FAR * math.sqrt(2 * floor), _FAR * 1.5 * float(np.median(off)))
    worst = (off > room) & (off >= np.maximum(np.r_[0, off[:-1]], np.r_[off[1:], 0]))
    keep[1:-1] = ~worst
    return keep


def suddenness(
    t: FloatArray, x: FloatArray, floor: float, width: float, usual: Span = _ANY, summed: bool = False
) -> tuple[float, float]:
    """Twice the log likelihood ratio of a shot near t = 0 against a slow change, and against a quick one that stays.

    ``t``, ``x``: (n,) seconds and turns. ``width``: how far a point may be off by its own coarseness, from end to end:
    where a straight run passes through all points within it, the answer is minus infinity, as such errors come in rows.
    ``usual``: depths that a shot of this wheel may have, turns/s. ``summed``: turns are a sum of speeds of which some
    are missing or false, so that it may be off for good from any point on: a wheel that hurries back at once lags by
    just such a step, and is then no evidence.
    """
    keep = without_outliers(t, x, floor)
    t, x = t[keep], x[keep]
    if np.ptp(_off_curve(t, x, 1)) < _WIDTHS * width:
        return -math.inf, -math.inf
    spacing = _spacing(t)
    over = np.unique(np.maximum(_LOWERED_S, _LEAST_LOWERED * spacing))
    rows = np.array([(start, wide, *stays) for start, wide, stays in product(_LOWERED_FROM_S, over, _STAYS)])
    lowered, slow = _lowered_lag(t, *rows.T), rows[:, 1] >= max(_SLOW_S, _SLOW * spacing)
    begin, wide = _grid(np.array([-0.75, -0.5, -0.25, -0.1]), np.maximum(_SWINGS_S, 10 * spacing))
    smooth = np.vstack([lowered[slow], _swing_lag(t, begin * wide, wide)])
    if summed:
        steps = t[(t > -_STEP_NEAR_S) & (t < _STEP_NEAR_S)]
        smooth = np.vstack([smooth, (t >= steps[:, None]).astype(float)])
    families = ((_shot_lags(t, _starts(spacing)), usual), (smooth, _ANY), (lowered[~slow], _ANY))
    shot, swung, braked = (
        [_fit(t, x, lags, floor, slowing, within).rest for slowing in (False, True)] for lags, within in families
    )
    swung[0] = min(swung[0], float(np.sum(_off_curve(t, x, 3) ** 2)), _hunting_rest(t, x))
    variance = max(min(*shot, *swung, *braked) / max(len(t) - 5, 1), floor)
    best, *others = (min(even, coasts + _BENT * variance) for even, coasts in (shot, swung, braked))
    return (others[0] - best) / variance, (others[1] - best) / variance


def _off_curve(t: FloatArray, x: FloatArray, degree: int) -> FloatArray:
    """How far turns (n,) are off the best polynomial."""
    return np.asarray(x - np.polynomial.polynomial.polyval(t, np.polynomial.polynomial.polyfit(t, x, degree)))


def _hunting_rest(t: FloatArray, x: FloatArray) -> float:
    """The least sum of squares that an even swing of the speed leaves."""
    rests = [math.inf]
    for hz in _HUNTING_HZ[_HUNTING_HZ * (t[-1] - t[0]) > 0.7]:
        turn = 2 * np.pi * hz * t
        design = np.column_stack([np.ones_like(t), t, np.cos(turn), np.sin(turn)])
        rest = x - design @ np.linalg.lstsq(design, x, rcond=None)[0]
        rests.append(float(rest @ rest))
    return min(rests)


def made_good(t: FloatArray, x: FloatArray, depth: float) -> tuple[float, float]:
    """Share of a drop of ``depth`` turns/s at t = 0 that is made good at the end, and in a second by then.

    ``t``, ``x``: (n,) seconds and turns, at least two on each side.
    """
    spacing = _spacing(t)
    before, behind = t < -spacing / 2, t > 0
    part = max(0.1, 3.5 * spacing)
    late, early = t >= t[-1] - part, behind & (t <= max(t[-1] - part, part))
    if not early.any():  # lines are missing behind it
        return 0.0, 0.0
    speeds = [_slope(t[some], x[some]) for some in (before, early, late)]
    apart_s = float(t[late].mean() - t[early].mean())
    rising = (speeds[2] - speeds[1]) / depth / apart_s if apart_s > spacing else 0.0
    return 1 - (speeds[0] - speeds[2]) / depth, rising


def slower_behind(t: FloatArray, x: FloatArray, before: int) -> bool:
    """A glance at three points before the fit: whether the wheel could have lost speed at all."""
    middle = before - 1
    first = (x[middle] - x[0]) / (t[middle] - t[0])
    return bool(first - (x[-1] - x[middle]) / (t[-1] - t[middle]) > _GLANCE * first)


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
    spacing = _spacing(t)
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
