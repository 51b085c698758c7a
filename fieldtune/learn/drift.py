"""Whether recent shots stop agreeing with the earlier ones: told with the evidence, never averaged silently.

The last few shots are judged by what the others say: a window of them is left out, the maximum is found again without
it, and the window's lean (long less short, or the measured misses) is compared with leans simulated from that.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from fieldtune.aim.results import Drift
from fieldtune.learn.fit import Fit
from fieldtune.learn.newton import Mode, maximise
from fieldtune.learn.objective import WILD_SHARE
from fieldtune.learn.predicted import Predicted, predicted

FloatArray = NDArray[np.float64]

_WINDOWS = (3, 4, 5, 6, 8)
_EARLIER = 3
_SIMULATED = 20000
_SEED = 41
# With five overlapping windows looked at after every shot this keeps false alarms below one in fifty over twenty shots.
ALARM = 5e-4
# One measured miss counts for at most this many standard deviations, so that a single wild one raises no alarm.
_MOST = 2.0


def drift(fit: Fit) -> Drift:
    """The most telling window of recent shots in the present epoch."""
    table = fit.table
    telling = table.is_result("in", "short", "long") | np.isfinite(table.miss)
    present = np.flatnonzero(telling & (table.epoch == fit.epochs.index(fit.belief.epoch)))
    judged = [(window, _judge(fit, present[-window:])) for window in _WINDOWS if len(present) >= window + _EARLIER]
    found = [(verdict[0], window, verdict[1]) for window, verdict in judged if verdict is not None]
    if not found:
        return Drift(False, "too few shots to tell", None)
    p_value, window, lean = min(found)
    since = table.shots[present[-window]].shot
    if p_value > ALARM:
        return Drift(False, "recent shots agree with the earlier ones", p_value)
    way = "long" if lean > 0 else "short"
    if table.targets[table.target[present[-1]]].kind == "window":
        way = "high" if lean > 0 else "low"
    words = (
        f"the last {window} shots fall {way} of what the earlier ones say ({_odds(p_value)} by chance);"
        " if battery or build has changed, mark a new epoch"
    )
    return Drift(True, words, p_value, since)


def _odds(p_value: float) -> str:
    return f"1 in {round(1 / p_value)}" if p_value > 1 / _SIMULATED else f"less than 1 in {_SIMULATED}"


def _judge(fit: Fit, window: NDArray[np.intp]) -> tuple[float, float] | None:
    """Two-sided p-value and lean of a window of shots against all others."""
    outside = ~np.isin(np.arange(len(fit.table)), window)
    others = maximise(fit.objective.of_shots(outside), fit.mode.u)
    seen = predicted(fit, others)
    if seen is None:
        return None
    at = np.flatnonzero(np.isin(seen.index, window))
    if len(at) < len(window):
        return None
    real, simulated = _leans(fit, seen, others, at)
    center = float(np.median(simulated))
    as_far = int(np.sum(np.abs(simulated - center) >= abs(real - center) - 1e-9))
    return (as_far + 1) / (_SIMULATED + 1), real - center


def _leans(fit: Fit, seen: Predicted, others: Mode, at: NDArray[np.intp]) -> tuple[float, FloatArray]:
    """Sum of leans of the real window, and of simulated ones (n,)."""
    table, rng = fit.table, np.random.default_rng(_SEED)
    index = seen.index[at]
    measured = np.isfinite(table.miss[index])
    error = np.where(measured, np.abs(seen.by_miss[at]) * fit.robot.uncertainty.miss, 0.0)
    doubt = seen.slopes[at] @ others.root
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
