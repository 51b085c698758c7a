"""Agreement of shots with the model: residuals, disagreeing shots, and drift.

A residual is how far a shot fell from what is now believed. Drift is told with its evidence, never averaged away in
silence: a window of the last shots is left out, the maximum is found again without it, and the window's lean (long
less short, or the measured misses) is compared with leans simulated from that.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from fieldtune.aim.results import Drift, Residual
from fieldtune.arrays import median
from fieldtune.frozen import frozen
from fieldtune.learn.evidence import coefficients, extra_variance, loads
from fieldtune.learn.log_posterior import WILD_SHARE
from fieldtune.learn.map_estimate import Mode, maximise
from fieldtune.learn.target_expansion import Expansion, expand_target
from fieldtune.normal import ndtr

if TYPE_CHECKING:
    from fieldtune.arrays import BoolArray, FloatArray, IntArray
    from fieldtune.learn.posterior import Fit


@frozen
class Predicted:
    """m shots (``index`` into the table) at the maximum of the posterior, in log exit speed.

    ``low``/``high``/``center``/``miss`` (m,) are needed minus believed; ``high`` is infinite where there is no far
    edge. ``scatter`` is the shot-to-shot standard deviation, ``doubt`` that of what is believed, ``by_miss`` log speed
    a metre of miss.
    ``slopes`` (m, P) are derivatives of the believed log speed less the needed one.
    """

    index: IntArray
    low: FloatArray
    high: FloatArray
    center: FloatArray
    miss: FloatArray
    by_miss: FloatArray
    scatter: FloatArray
    doubt: FloatArray
    slopes: FloatArray

    def chances(self) -> FloatArray:
        """Probabilities (m, 3) of short, in and long along the range, with doubt."""
        width = np.hypot(self.scatter, self.doubt)
        short, not_long = ndtr(self.low / width), ndtr(self.high / width)
        return np.column_stack([short, np.maximum(not_long - short, 0.0), 1 - not_long])


def predicted(fit: Fit, mode: Mode | None = None) -> Predicted | None:
    """Predictions for all shots that say something about the range, by the fit's or another maximum."""
    table = fit.table
    parts = [_of_view(fit, mode or fit.mode, index) for index in table.views(table.tells_range)]
    if not parts:
        return None
    order = np.argsort(np.concatenate([part.index for part in parts]), kind="stable")
    fields = [np.concatenate([getattr(part, name) for part in parts])[order] for name in Predicted.__match_args__]
    return Predicted(*fields)


def _of_view(fit: Fit, mode: Mode, index: IntArray) -> Predicted:
    table, layout, u = fit.table, fit.layout, mode.u
    seen = expand_target(fit.robot, table, index, layout, fit.required_of, fit.side, curved=False)
    keep = np.isfinite(seen.low.value) & np.isfinite(seen.center.value)
    index, seen = index[keep], seen.at(keep)
    features, slopes = layout.features(u[None])[0], layout.jacobian(u)

    def gap(at: Expansion) -> FloatArray:
        return np.asarray(coefficients(table, index, layout, at) @ features)

    by_unknown = coefficients(table, index, layout, seen.center) @ slopes
    scatter2 = loads(seen) @ layout.variances(u[None])[0] + extra_variance(table, index, layout)
    return Predicted(
        index=index,
        low=gap(seen.low),
        high=np.where(seen.endless, np.inf, gap(seen.high)),
        center=gap(seen.center),
        miss=gap(seen.miss),
        by_miss=seen.center.by_miss,
        scatter=np.sqrt(scatter2),
        doubt=np.linalg.norm(by_unknown @ mode.root, axis=1),
        slopes=-by_unknown,
    )


_OUTCOMES = ("short", "in", "long")
# A predicted miss beyond this many metres only says "far off".
_FARTHEST = 9.99


def residuals(fit: Fit) -> tuple[Residual, ...]:
    """One for every shot that says something about the range, oldest first."""
    seen = predicted(fit)
    if seen is None:
        return ()
    table = fit.table
    surprise = disagreeing_shots(fit, seen)
    expected = np.clip(-seen.center / np.maximum(np.abs(seen.by_miss), 1e-6), -_FARTHEST, _FARTHEST)
    made = []
    for row, place in enumerate(seen.index):
        shot = table.shots[place]
        made.append(
            Residual(
                shot=shot.shot,
                distance_m=shot.distance_m,
                setpoint=shot.setpoint,
                miss_m=shot.miss_m,
                expected_miss_m=float(expected[row]),
                surprise=float(surprise[row]),
            )
        )
    return tuple(made)


def disagreeing_shots(fit: Fit, seen: Predicted) -> np.ndarray:
    """Probability (m,) of an outcome at least as odd as the one seen."""
    table = fit.table
    measured = np.isfinite(table.miss[seen.index])
    error = np.abs(seen.by_miss) * fit.robot.uncertainty.miss
    width = np.sqrt(seen.scatter**2 + seen.doubt**2 + np.where(measured, error, 0.0) ** 2)
    # A miss where no speed could have brought the element is as odd as can be.
    far = np.nan_to_num(2 * ndtr(-np.abs(seen.miss) / width))
    chances = seen.chances()
    own = np.zeros(len(seen.index))
    for column, name in enumerate(_OUTCOMES):
        own = np.where(table.is_result(name)[seen.index], chances[:, column], own)
    no_likelier = np.sum(np.where(chances <= own[:, None] + 1e-12, chances, 0.0), axis=1)
    return np.asarray(np.where(measured, far, np.minimum(no_likelier, 1.0)))


_LOOSE, _FEWEST, _ODD, _MANY = 4.0, 8, 0.02, 0.25
"""Shots are at odds with each other where their speed scatters by so many times what the profile says, or where this
share of them had less than this chance; of fewer shots than that nothing is said."""


def at_odds(fit: Fit) -> str | None:
    """That the shots contradict each other or all that can be, in words, so that they are looked through before the
    profile is; None where they don't.
    """
    seen = predicted(fit) if len(fit.table) >= _FEWEST else None
    if seen is None:
        return None
    look = "look through results, setpoints and distances in the shot log"
    scatter = float(fit.belief.best.speed_scatter[0])
    if scatter > _LOOSE * fit.robot.uncertainty.exit_speed_scatter:
        return f"the shots' speed scatters by {100 * scatter:.0f} %: {look}"
    odd = int(np.sum(disagreeing_shots(fit, seen) < _ODD))
    if odd > _MANY * len(seen.index):
        return f"{odd} of {len(seen.index)} shots can't be explained: {look}"
    return None


_WINDOWS = (3, 4, 5, 6, 8)
_EARLIER = 3
_SIMULATED = 20000
_SEED = 41
# With five overlapping windows looked at after every shot this keeps false alarms below one in fifty over twenty
# shots.
ALARM = 5e-4
# One measured miss counts for at most this many standard deviations, so that a single wild one raises no alarm.
_MOST = 2.0


Verdict = tuple[float, float, tuple[int, ...], bool]
"""Two-sided p-value, lean (long is positive), the shots since, and whether they were compared with shots like them."""


def drift(fit: Fit) -> Drift:
    """The most telling window of recent shots in the present epoch, or change among those like the newest."""
    table = fit.table
    present = np.flatnonzero(table.tells_range & (table.epoch == fit.epochs.index(fit.belief.epoch)))
    found = [_change(fit, present)]
    found += [_judge(fit, present[-window:]) for window in _WINDOWS if len(present) >= window + _EARLIER]
    verdicts = [verdict for verdict in found if verdict is not None]
    if not verdicts:
        return Drift(False, "too few shots to tell", None)
    p_value, lean, window, alike = min(verdicts)
    since = table.shots[window[0]].shot
    if p_value > ALARM:
        return Drift(False, "recent shots agree with the earlier ones", p_value)
    more, less = table.targets[table.target[present[-1]]].miss_words
    way = more if lean > 0 else less
    last = f"the last {len(window)} shots{' at this setpoint' if alike else ''}"
    words = (
        f"{last} fall {way} of what the earlier ones say ({_one_in(p_value)} by chance);"
        " if battery or build has changed, mark a battery change"
    )
    return Drift(True, words, p_value, since)


def _one_in(p_value: float) -> str:
    return f"1 in {round(1 / p_value)}" if p_value > 1 / _SIMULATED else f"less than 1 in {_SIMULATED}"


_SAME_DISTANCE, _SAME_SETPOINT = 0.015, 0.005
"""Shares of the newest shot's distance and setpoint within which others were taken like it: less than the scatter."""
_MOST_ALIKE = 60


def _change(fit: Fit, present: NDArray[np.intp]) -> Verdict | None:
    """The change that best splits those of the present epoch's shots that were taken like the newest.

    Fisher's exact test of short, and of long, before it and since (R. A. Fisher, J. R. Stat. Soc. 98 (1935) 39). It
    rests on nothing but that such shots are alike, so it holds on when the model has followed the change.
    """
    table = fit.table
    present = present[table.is_result(*_OUTCOMES)[present]]
    if not len(present):
        return None
    taken = np.array([(table.shots[at].distance_m, table.shots[at].setpoint) for at in present])
    near = np.all(np.abs(taken - taken[-1]) <= taken[-1] * (_SAME_DISTANCE, _SAME_SETPOINT), axis=1)
    alike = present[near & (table.target[present] == table.target[present[-1]])][-_MOST_ALIKE:]
    found = [
        (_fisher(before, since), lean, tuple(alike[at:].tolist()), True)
        for name, lean in (("short", -1.0), ("long", 1.0))
        for at in range(_EARLIER, len(alike) - _EARLIER + 1)
        for fell in [table.is_result(name)[alike]]
        for before, since in [(fell[:at], fell[at:])]
        if since.mean() > before.mean()
    ]
    return min(found, default=None)


def _fisher(before: BoolArray, since: BoolArray) -> float:
    """Two-sided p-value of as uneven a share of True in two samples, given how many there are in both."""
    n, m, hits = len(before) + len(since), len(since), int(before.sum() + since.sum())
    ways = {k: math.comb(hits, k) * math.comb(n - hits, m - k) for k in range(max(0, m + hits - n), min(hits, m) + 1)}
    return sum(way for way in ways.values() if way <= ways[int(since.sum())]) / math.comb(n, m)


def _judge(fit: Fit, window: NDArray[np.intp]) -> Verdict | None:
    """A window of shots against all others."""
    outside = ~np.isin(np.arange(len(fit.table)), window)
    others = maximise(fit.objective.of_shots(outside), fit.mode.u)
    seen = predicted(fit, others)
    if seen is None:
        return None
    at = np.flatnonzero(np.isin(seen.index, window))
    if len(at) < len(window):
        return None
    real, simulated = _leans(fit, seen, others, at)
    center = median(simulated)
    as_far = int(np.sum(np.abs(simulated - center) >= abs(real - center) - 1e-9))
    return (as_far + 1) / (_SIMULATED + 1), real - center, tuple(window.tolist()), False


def _leans(fit: Fit, seen: Predicted, others: Mode, at: NDArray[np.intp]) -> tuple[float, FloatArray]:
    """Sum of leans of the real window, and of simulated ones (n,)."""
    table, rng = fit.table, np.random.default_rng(_SEED)
    index = seen.index[at]
    measured = np.isfinite(table.miss[index])
    error = np.where(measured, np.abs(seen.by_miss[at]) * fit.robot.uncertainty.miss, 0.0)
    # Given the wear: what it might have done within a few shots must not hide a jump.
    wear = others.root[fit.layout.wear_at]
    doubt = seen.slopes[at] @ (others.root - np.outer(others.root @ wear, wear) / (wear @ wear))
    covariance = doubt @ doubt.T + np.diag(seen.scatter[at] ** 2 + error**2)
    speed = rng.standard_normal((_SIMULATED, len(at))) @ np.linalg.cholesky(covariance).T
    width = np.sqrt(np.diag(covariance))
    by_outcome = np.where(speed > seen.high[at], 1.0, np.where(speed < seen.low[at], -1.0, 0.0))
    by_miss = np.clip(speed / width, -_MOST, _MOST)
    wild = rng.random(speed.shape) < WILD_SHARE
    anything = np.where(measured, rng.uniform(-_MOST, _MOST, speed.shape), rng.integers(-1, 2, speed.shape))
    simulated = np.where(wild, anything, np.where(measured, by_miss, by_outcome)).sum(axis=1)
    signs = table.is_result("long")[index].astype(float) - table.is_result("short")[index]
    miss = np.where(np.isfinite(seen.miss[at]), seen.miss[at] / width, np.sign(table.miss[index]) * _MOST)
    real = np.where(measured, np.clip(miss, -_MOST, _MOST), signs).sum()
    return float(real), simulated
