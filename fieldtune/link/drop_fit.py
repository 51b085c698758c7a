"""How a wheel's turns run around an instant: as at a shot, as when it is slowed, or neither, by least squares.

A shot takes speed within milliseconds, and the control brings it back: behind it the wheel lags by
depth x tau (1 - exp(-t / tau)). A lowered setpoint takes speed over some time, and it stays away. A hunting loop or the
end of an overshoot swings smoothly. Each template is fitted together with a straight line, as the wheel ran before.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldtune.arrays import BoolArray, FloatArray

_QUICK_S = np.array([0.02, 0.05, 0.12, 0.4, 30.0])  # recoveries that are looked for
_RECOVERIES_S = np.geomspace(0.012, 2.5, 14)
_STARTS_S = np.array([-0.012, -0.006, 0.0, 0.006])
_SLOWINGS_S = np.array([0.1, 0.2, 0.4, 0.8, 1.5])
_SWINGS_S = np.array([0.5, 0.7, 1.0])
_HUNTING_HZ = np.geomspace(0.8, 4.0, 10)
_FAR = 4.0


def recovery_lag(t: FloatArray, start: FloatArray, tau: FloatArray) -> FloatArray:
    """Turns lost (k, n) at ``t`` (n,) by wheels that lose one turn/s at ``start`` and recover with ``tau``, (k,)."""
    return np.asarray(tau[:, None] * -np.expm1(-np.maximum(t - start[:, None], 0.0) / tau[:, None]))


def _slowing_lag(t: FloatArray, start: FloatArray, seconds: FloatArray) -> FloatArray:
    """Turns lost (k, n) by wheels that lose one turn/s evenly over ``seconds`` (k,) from ``start`` (k,), for good."""
    since, over = np.maximum(t - start[:, None], 0.0), seconds[:, None]
    return np.asarray(np.where(since < over, since**2 / (2 * over), since - over / 2))


def _swing_lag(t: FloatArray, start: FloatArray, width: FloatArray) -> FloatArray:
    """Turns lost (k, n) by wheels whose speed dips smoothly by one turn/s (a raised cosine) over ``width`` (k,)."""
    share = np.clip((t - start[:, None]) / width[:, None], 0.0, 1.0)
    return np.asarray(width[:, None] * (share - np.sin(2 * np.pi * share) / (2 * np.pi)) / 2)


def _grid(starts: FloatArray, spans: FloatArray) -> tuple[FloatArray, FloatArray]:
    first, second = np.meshgrid(starts, spans)
    return first.ravel(), second.ravel()


@dataclass(frozen=True, slots=True)
class Fit:
    """The template that fits best: depth in turns/s with its standard error, and the sum of squares that it leaves."""

    depth: float
    error: float
    rest: float
    points: int


def _fit(t: FloatArray, x: FloatArray, lag: FloatArray, floor: float) -> Fit:
    """The best of templates ``lag`` (k, n), each with a straight line, to turns ``x`` (n,) at ``t`` (n,) seconds."""
    tc = t - t.mean()
    stt = float(tc @ tc)
    xc = x - x.mean()
    xc = xc - tc * (tc @ xc) / stt
    bare = lag - lag.mean(axis=1, keepdims=True)
    bare = bare - np.outer(bare @ tc / stt, tc)
    strength = np.maximum(np.einsum("ij,ij->i", bare, bare), 1e-30)
    depth = -(bare @ xc) / strength
    gain = np.where(depth > 0, depth**2 * strength, -1.0)
    best = int(np.argmax(gain))
    rest = max(float(xc @ xc) - max(float(gain[best]), 0.0), 0.0)
    variance = max(rest / max(len(t) - 4, 1), floor)
    return Fit(max(float(depth[best]), 0.0), math.sqrt(variance / float(strength[best])), rest, len(t))


def drop_at(t: FloatArray, x: FloatArray, floor: float, doubted: bool) -> Fit:
    """The sudden drop near t = 0 that fits turns ``x`` (n,) at ``t`` (n,) seconds best.

    ``floor``: the least variance of a point; ``doubted``: some points may be false.
    """
    spacing = float(np.median(np.diff(t)))
    starts = np.array([0.0]) if spacing < 0.015 else spacing * np.array([-0.67, -0.33, 0.0])
    lag = recovery_lag(t, *_grid(starts, _QUICK_S))
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


def suddenness(t: FloatArray, x: FloatArray, floor: float) -> float:
    """Twice the log likelihood ratio of a sudden drop near t = 0 against a slowing, a swing and a bent run.

    ``t``, ``x``: (n,) seconds and turns.
    """
    keep = without_outliers(t, x, floor)
    t, x = t[keep], x[keep]
    spacing = float(np.median(np.diff(t)))
    shot = _fit(t, x, recovery_lag(t, *_grid(_STARTS_S, _RECOVERIES_S)), floor)
    slow = np.maximum(_SLOWINGS_S, 3 * spacing)
    slowed = _fit(t, x, _slowing_lag(t, *_grid(np.array([-0.1, -0.05, -0.02, 0.0]), slow)), floor)
    begin, width = _grid(np.array([-0.75, -0.5, -0.25, -0.1]), np.maximum(_SWINGS_S, 10 * spacing))
    swung = _fit(t, x, _swing_lag(t, begin * width, width), floor)
    bent = x - np.polynomial.polynomial.polyval(t, np.polynomial.polynomial.polyfit(t, x, 2))
    others = min(slowed.rest, swung.rest, float(bent @ bent), _hunting_rest(t, x))
    variance = max(min(shot.rest, others) / max(len(t) - 5, 1), floor)
    return (others - shot.rest) / variance


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
    spacing = float(np.median(np.diff(t)))
    before, behind = t < -spacing / 2, t > 0
    part = max(0.1, 3.5 * spacing)
    late, early = t >= t[-1] - part, behind & (t <= max(t[-1] - part, part))
    speeds = [_slope(t[some], x[some]) for some in (before, early, late)]
    apart_s = float(t[late].mean() - t[early].mean())
    rising = (speeds[2] - speeds[1]) / depth / apart_s if apart_s > spacing else 0.0
    return 1 - (speeds[0] - speeds[2]) / depth, rising


def _slope(t: FloatArray, x: FloatArray) -> float:
    return float(np.polyfit(t, x, 1)[0]) if len(t) > 1 else 0.0


def speed_and_depth(t: FloatArray, turns: FloatArray, floor: float) -> tuple[float, float]:
    """Speed before a drop near t = 0 and the drop's depth, both turns/s, from ``turns`` (n,) at ``t`` (n,) seconds.

    When it began and how fast it recovers (tau) is not known: all are fitted, each weighed by how well it fits, as
    depth alone is ill told where tau is shorter than the samples' spacing.

    ``floor``: the least variance a point has, turns^2. At least five points, some of them on each side.
    """
    lag = recovery_lag(t, *_grid(np.arange(-0.008, 0.0101, 0.003), _RECOVERIES_S))
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
