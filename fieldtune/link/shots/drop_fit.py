"""How well a wheel's speed around an instant fits a shot, a slowed or lowered wheel, or nothing.

Each course of the turns that a wheel lags (``wheel_lags``) is fitted together with a steady speed that may change
evenly, by generalised least squares: errors are made independent first (Aitken 1935).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.arrays import FloatArray, median
from fieldtune.frozen import frozen
from fieldtune.link.wheel import wheel_lags

if TYPE_CHECKING:
    from fieldtune.link.wheel.speed_cells import Cells
    from fieldtune.link.wheel.wheel_noise import WheelNoise, Whitening
    from fieldtune.link.wheel.wheel_points import WheelPoints

_HUNTING_HZ = np.geomspace(0.8, 4.0, 10)
_DRIFT = 0.015  # of the speed a second: what a held wheel may drift, one standard deviation
_PACES = 20.0
_ENDS, _FEWEST_INSIDE = 3, 8  # points
_SLOWED, _SPED_UP = 0.35, 0.7
_OF_USUAL = 0.6, 1.6
_COASTING_S = 0.25
_PLAINLY = 2.0  # times what the points stray by, over the time in which it is lost
_COASTS, _HARD = 0.02, 0.4  # of the speed a second that a wheel loses to friction, and to a brake

Span = tuple[float | FloatArray, float | FloatArray]


@frozen
class Fit:
    """The template that fits best: depth in turns/s with its standard error, and the sum of squares that it leaves.

    ``misfit``: how many times larger than expected what it leaves is. ``which``: of the templates.
    """

    depth: float
    error: float
    misfit: float
    rest: float
    which: int


class View:
    """Mean speeds around an instant with their errors made independent, of size 1. ``kicked``: as in ``WheelNoise``."""

    def __init__(self, cells: Cells, whitening: Whitening, kicked: bool) -> None:
        self._cells, self._whitening, self._may_be_kicked = cells, whitening, kicked
        self.size = len(cells.speeds)
        self._speeds = self._white(cells.speeds - cells.speeds.sum() / self.size)
        # A wheel's speed as such, and what it may drift, to within a twentieth
        self._pace = round(_PACES * math.log(max(float(cells.speeds.max()), 1.0)))
        if ("drift", self._pace) not in whitening.memo:
            base = self._white(np.vander(cells.middles_s, 3, increasing=True).T).T
            base[-1, 1] = 1 / (_DRIFT * math.exp(self._pace / _PACES))
            whitening.memo["drift", self._pace] = (np.linalg.qr(base)[0],)
        self._base = whitening.memo["drift", self._pace][0]
        self._line = self._base[:, :2]
        self._undrifted = self._speeds - self._line @ (self._line.T @ self._speeds)
        self._steady = float(self._undrifted @ self._undrifted)
        self._others: Others | None = None

    def _white(self, values: FloatArray) -> FloatArray:
        """Values (…, m) made independent, and behind them (…, m + 1) one for what is expected of a drift: none."""
        white = np.zeros((*values.shape[:-1], self.size + 1))
        np.matmul(values, self._whitening.matrix.T, out=white[..., :-1])
        return white

    def fit(self, name: str, lag: FloatArray, within: Span | None = None) -> Fit:
        """The best of templates ``lag`` (k, n + 1) of turns lost, each with a speed that drifts a little.

        ``name``: of the templates. ``within``: depths that may be, turns/s, of all or of each (k,); any where None.
        """
        best_depth, strength = self.depths(name, lag)
        if within is None:
            depth, gain = best_depth, np.maximum(best_depth, 0.0) ** 2 * strength
        else:
            depth = np.clip(best_depth, *within)
            gain = np.where(best_depth > 0, depth * (2 * best_depth - depth) * strength, -1.0)
        best = int(gain.argmax())
        rest = max(self._steady - max(float(gain[best]), 0.0), 0.0)
        variance = max(rest / max(self.size - 4, 1), 1.0)
        error = 1 / math.sqrt(float(strength[best]))
        return Fit(max(float(depth[best]), 0.0), error, math.sqrt(variance), rest, best)

    def depths(self, name: str, lag: FloatArray) -> tuple[FloatArray, FloatArray]:
        """The depth that fits best of each template (k,), and how well it can be told: 1 / its error, squared."""
        bare, strength = self.bare(name, lag)
        return -(bare @ self._speeds) / strength, strength

    def bare(self, name: str, lag: FloatArray) -> tuple[FloatArray, FloatArray]:
        """What each template adds that no drift is (k, m + 1), and its sum of squares (k,), of one turn/s or turn."""
        memo = self._whitening.memo
        if (name, self._pace) not in memo:
            lost = self._white(self._cells.of(lag))
            bare = lost - (lost @ self._line) @ self._line.T
            memo[name, self._pace] = bare, np.maximum(np.einsum("ij,ij->i", bare, bare), 1e-30)
        bare, strength = memo[name, self._pace]
        return bare, strength

    def left(self, name: str = "", lag: FloatArray | None = None, fit: Fit | None = None) -> FloatArray:
        """What a drift leaves of the speeds (m + 1,), and the template of ``lag`` (k, n + 1) that ``fit`` chose."""
        left = self._undrifted
        return left if lag is None or fit is None else left + fit.depth * self.bare(name, lag)[0][fit.which]

    def began(self, name: str, lag: FloatArray, starts: FloatArray) -> float:
        """Which of ``starts`` (s,) fits best, of as many templates for each, in ``lag`` (s k, n + 1)."""
        best_depth, strength = self.depths(name, lag)
        gain = np.where(best_depth > 0, best_depth**2 * strength, -1.0)
        return float(starts[int(np.argmax(gain)) * len(starts) // len(gain)])

    def others(self, cell: float, before: int, after: int) -> Others:
        """What else it may have been."""
        if self._others is None:
            _, smooth, lowered = wheel_lags.families(cell, before, after)
            unbent = self._speeds - self._base @ (self._base.T @ self._speeds)
            slow = min(self.fit("smooth", smooth).rest, float(unbent @ unbent), self._swinging())
            if self._may_be_kicked:
                slow = min(slow, self._kicked(wheel_lags.kicked_lags(cell, before, after)))
            self._others = Others(self._steady, slow, self.fit("lowered", lowered).rest)
        return self._others

    def _kicked(self, lag: FloatArray) -> float:
        """The least sum of squares of a wheel that runs out, ``lag[0]``, and is sped up twice, as in two of the others.

        So it goes under a control that switches the drive on and off. ``lag``: turns lost (k, n + 1).
        """
        bare = self.bare("kicked", lag)[0]
        running_out, speeds = bare[0] / np.linalg.norm(bare[0]), self.left()
        kicks = bare[1:] - np.outer(bare[1:] @ running_out, running_out)
        along, both = -(kicks @ speeds), kicks @ kicks.T
        strength = both.diagonal()
        alone = np.maximum(np.outer(strength, strength) - both**2, 1e-9 * np.outer(strength, strength) + 1e-30)
        sizes = (np.outer(along, strength) - along * both) / alone
        gain = np.where((sizes > 0) & (sizes.T > 0), sizes * along[:, None] + sizes.T * along, 0.0)
        return max(float(speeds @ speeds - (running_out @ speeds) ** 2 - gain.max()), 0.0)

    def _swinging(self) -> float:
        """The least sum of squares that an even swing of the speed leaves."""
        t, rests = self._cells.middles_s, [math.inf]
        for hz in _HUNTING_HZ[_HUNTING_HZ * (t[-1] - t[0]) > 0.7]:
            turn = 2 * np.pi * hz * t
            design = self._white(np.array([np.ones_like(t), np.cos(turn), np.sin(turn)])).T
            rest = self._speeds - design @ np.linalg.lstsq(design, self._speeds, rcond=None)[0]
            rests.append(float(rest @ rest))
        return min(rests)


@frozen
class Others:
    """Sums of squares that courses other than a shot's leave: a steady speed, a slow change, a quick one that stays."""

    steady: float
    slow: float
    lowered: float


def view_around(
    points: WheelPoints, noise: WheelNoise, instant: float, before: int, after: int, noisy: bool
) -> tuple[View, float] | None:
    """The speeds of cells around an instant, and the speed before it, turns/s; None where too few are known."""
    cells = points.cells(instant, before, after, noisy)
    if cells is None:
        return None
    ahead = int(cells.ends.searchsorted(before, "right"))
    if ahead < 3 or len(cells.ends) - ahead < 2:
        return None
    view = View(cells, noise.whitening(cells.begins, cells.ends), noise.kicked)
    return view, float(cells.speeds[:ahead].sum()) / ahead


def drop_at(view: View, cell: float, before: int, after: int, recoveries_s: tuple[float, ...]) -> Fit:
    """The sudden drop near t = 0 that fits best; ``recoveries_s``: those that are looked for."""
    return view.fit("quick", wheel_lags.quick_lags(cell, before, after, recoveries_s))


def begun(view: View, cell: float, before: int, after: int) -> float:
    """When a shot near t = 0 most likely began, seconds: a first look is often some cells off."""
    return view.began("begun", wheel_lags.sought_lags(cell, before, after), wheel_lags.sought_s(cell))


@frozen
class Course:
    """What shots are usually like: how much of each template of a shot (k,), as a share of the wheel's speed.

    ``number``: another one for each course.
    """

    number: int
    parts: FloatArray


@frozen
class Verdict:
    """Twice the log likelihood ratio of a shot against nothing, a slow change, and a quick one that stays.

    ``depth``: of the shot that fits best, turns/s; ``missed``: what its speed falls short of on the mean, where most;
    ``left``: what it leaves of the speeds, as in ``View.left``.
    """

    over_nothing: float
    over_slow: float
    over_lowered: float
    depth: float
    missed: float
    left: FloatArray


def verdict(
    view: View, cell: float, before: int, after: int, usual: tuple[float, float] | None = None, as_missed: bool = False
) -> Verdict:
    """What a change near t = 0 most likely was.

    ``usual``: depths, or with ``as_missed`` these, that a shot of this wheel may have, turns/s: how deep a drop is that
    is made good within a cell can't be told, but what is missed of the turns can.
    """
    shots, missed = wheel_lags.families(cell, before, after)[0], wheel_lags.most_missed(cell, before, after)
    within: Span | None = usual
    if usual and as_missed:
        within = usual[0] / missed, usual[1] / missed
    shot = view.fit("shot", shots, within)
    left = view.left("shot", shots, shot)
    return _compared(view.others(cell, before, after), view.size, shot, left, 1.0, float(missed[shot.which]))


def as_usual(view: View, cell: float, before: int, after: int, course: Course, rate: float) -> Verdict:
    """The same of a shot of the usual course, whose ``depth`` is in times of a usual one at ``rate`` turns/s."""
    lags = wheel_lags.usual_lags(cell, before, after, course.parts)
    name = f"usual {course.number}"
    fit = view.fit(name, lags, (_OF_USUAL[0] * rate, _OF_USUAL[1] * rate))
    return _compared(view.others(cell, before, after), view.size, fit, view.left(name, lags, fit), 1 / rate, 1.0)


def _compared(others: Others, size: int, shot: Fit, left: FloatArray, unit: float, missed: float) -> Verdict:
    variance = max(min(shot.rest, others.slow, others.lowered) / max(size - 5, 1), 1.0)
    return Verdict(
        over_nothing=(others.steady - shot.rest) / variance,
        over_slow=(others.slow - shot.rest) / variance,
        over_lowered=(others.lowered - shot.rest) / variance,
        depth=shot.depth * unit,
        missed=shot.depth * unit * missed,
        left=left,
    )


def course_of(view: View, cell: float, before: int, after: int, rate: float) -> FloatArray | None:
    """What a shot was like: how much of each template (k,), with a depth as a share of ``rate``, each as likely.

    None where none of them fits at all.
    """
    depth, strength = view.depths("shot", wheel_lags.families(cell, before, after)[0])
    if not (depth > 0).any():
        return None
    gain = np.where(depth > 0, depth**2 * strength, -math.inf)
    likely = np.exp((gain - gain.max()) / 2)
    parts = likely / likely.sum() * depth / rate
    return np.asarray(parts.reshape(wheel_lags.STARTS, -1).sum(axis=0))


def off_smooth(t: FloatArray, x: FloatArray) -> float:
    """How far turns (n,) stray from a smooth run (a cubic), from end to end: errors of rounding come in rows.

    What shows by the points at the ends alone is none of the drop.
    """
    least = math.inf
    for part in (slice(None), slice(_ENDS, -_ENDS)):
        if len(t[part]) > _FEWEST_INSIDE:
            cubic = np.polynomial.polynomial.polyfit(t[part], x[part], 3)
            least = min(least, float(np.ptp(x[part] - np.polynomial.polynomial.polyval(t[part], cubic))))
    return least


def coming_back(t: FloatArray, x: FloatArray) -> tuple[float, float]:
    """What is missing in the end of the speed before t = 0, turns/s (inf: unknown), and is regained in a second then.

    ``t``, ``x``: (n,) seconds and turns, at least two on each side.
    """
    spacing = median(np.diff(t))
    before, behind = t < -spacing / 2, t > 0
    part = max(0.1, 3.5 * spacing)
    late, early = t >= t[-1] - part, behind & (t <= max(t[-1] - part, part))
    if not early.any():  # lines are missing behind it
        return math.inf, 0.0
    speeds = [_slope(t[some], x[some]) for some in (before, early, late)]
    apart_s = float(t[late].mean() - t[early].mean())
    return speeds[0] - speeds[2], (speeds[2] - speeds[1]) / apart_s if apart_s > spacing else 0.0


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
    ahead, behind = t < -spacing / 3, t > max(0.03, spacing / 2)
    if t[0] > -_COASTING_S or t[-1] < 0.15 or min(ahead.sum(), behind.sum()) < 5:
        return False
    early, late = np.array_split(np.flatnonzero(ahead), 2)
    speed = _slope(t[ahead], x[ahead])
    lost = _slope(t[early], x[early]) - _slope(t[late], x[late])
    bent = [np.polyfit(t[part], x[part], 2) for part in (ahead, behind)]
    bends = [2 * float(some[0]) / speed for some in bent]
    rough = float(np.std(x[ahead] - np.polyval(bent[0], t[ahead])))
    plainly = lost > _PLAINLY * rough / float(t[late].mean() - t[early].mean())
    return plainly and min(bends) > -_HARD and max(bends) < -_COASTS


def _slope(t: FloatArray, x: FloatArray) -> float:
    return float(np.polyfit(t, x, 1)[0]) if len(t) > 1 else 0.0


def speed_and_depth(t: FloatArray, turns: FloatArray, floor: float) -> tuple[float, float]:
    """Speed before a drop near t = 0 and the drop's depth, both turns/s, from ``turns`` (n,) at ``t`` (n,) seconds.

    When it began and how fast it recovers (tau) is not known: all are fitted, each weighed by how well it fits, as
    depth alone is ill told where tau is shorter than the samples' spacing.

    ``floor``: the least variance a point has, turns^2. At least five points, some of them on each side.
    """
    lag = wheel_lags.shot_lags(t, np.arange(-0.008, 0.0101, 0.003))
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
