"""How much a wheel's measured speed goes up and down while nothing happens, and how long it takes to.

Reading, clock, bearings and the control's own hunting together: none is known beforehand, all show in the quiet
stretches. Neighbouring errors are not independent: a count too few is made up for by the next, a control swings to and
fro. What is to stand out of them is therefore judged by their autocovariance (generalised least squares).

An even drift is no noise, nor is a stretch with a shot that was found, nor are the less quiet stretches: shots that
were missed hide in those. Errors of own rpm add up as its turns are summed; what taking out the drift hides of them is
added again.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray, IntArray

STRETCH_S, FEWEST = 0.6, 12  # one stretch: seconds, and at least so many cells
_KEPT = 100
_SMOOTH_S = 0.08
_AT_REST = 0.03  # of the speed: what swings more is no held wheel
_QUIET, _QUIETEST = 1.5, 0.3  # times the variance of smoothed speeds that this share has: more, and something happened
_PASSED_OVER = 0.35  # of the variance of smoothed speeds: what is lost of it by that, where they are without memory
_STARTS_WITH = 4.0  # stretches' worth of what is assumed beforehand
_LEAST = 0.0005  # of the variance, on the diagonal: keeps the inverse sane
_WANDER = 0.002  # of the speed: assumed beforehand, beside the reading's own coarseness
_KNOWS = 2  # stretches
_ANEW = 6  # stretches from one estimate to the next
_MEMORY_S = 0.1
_FORGET_STEPS, _SKEWED = 0.1, 0.5  # a stretch; wheels that shoot have less than 0, as they fall at once


@dataclass(frozen=True, slots=True)
class Whitening:
    """A matrix (m, m) that makes the errors of mean speeds independent, and of size 1.

    ``memo``: what was worked out with it, as most stretches have the same cells.
    """

    matrix: FloatArray
    memo: dict[tuple[str, int], tuple[FloatArray, ...]] = field(default_factory=dict)


@lru_cache(maxsize=4)
def _taper(n: int) -> FloatArray:
    """A Hann taper (n,).

    Without it the reading's own coarseness, that cancels from cell to cell, would leak into what does not cancel
    (Harris, Proc. IEEE 66 (1978) 51).
    """
    return np.asarray(np.sin(np.pi * (np.arange(n) + 0.5) / n))


def _undrifted(weight: FloatArray) -> FloatArray:
    """The matrix (n, n) that takes an even drift out of speeds, as a fit allows for that, and weighs what is left."""
    t = np.linspace(-1.0, 1.0, len(weight))
    t = t - weight @ t / weight.sum()
    mean, slope = weight / weight.sum(), weight * t / ((weight * t) @ t)
    return np.asarray(weight[:, None] * (np.eye(len(weight)) - mean - t[:, None] * slope))


@lru_cache(maxsize=4)
def _taken(n: int) -> FloatArray:
    """Share of its variance that noise without memory loses by that, at each lag (n,)."""
    weight = _taper(n)
    left = _undrifted(weight)
    covariance = left @ left.T / (weight @ weight)
    return np.asarray((np.arange(n) == 0) - [np.trace(covariance, lag) for lag in range(n)])


def _smoothed_cells(cell_s: float) -> int:
    """Over how many cells speeds are smoothed to see what swings slowly."""
    return max(round(_SMOOTH_S / cell_s), 2)


class WheelNoise:
    """Autocovariance of the wheel's mean speeds in even cells of time, (turns/s)^2, learned as they come."""

    def __init__(self) -> None:
        self._stretches: deque[tuple[float, FloatArray, float]] = deque(maxlen=_KEPT)
        self._new, self._cell_s, self._adds_up = 0, 1.0, False
        self._assumed, self._rounding = np.array([1.0, 0.0]), 0.0
        self._lags = self._assumed
        self._whitening: dict[tuple[bytes, bytes], Whitening] = {}
        self._squares = self._cubes = 0.0  # of steps from cell to cell, less their mean, as shares of the speed

    def begin_anew(self) -> None:
        """Cells of another length are coming: what was learned says nothing of them."""
        self._stretches.clear()
        self._new = 0

    def assume(self, coarseness: float, rounding: float, cell_s: float, speed: float, adds_up: bool) -> None:
        """What is believed before quiet stretches were seen.

        ``coarseness``: variance of a single reading of the turns, turns^2, ``rounding``: that of it which rounding to
        counts makes; ``speed``: the wheel's, turns/s; ``adds_up``: whether errors do, as turns are summed from rpm.
        """
        self._cell_s, self._adds_up = cell_s, adds_up
        of_reading, self._rounding = coarseness / cell_s**2, rounding / cell_s**2
        self._assumed = np.array([2 * of_reading + (_WANDER * speed) ** 2, -of_reading])
        if not self._stretches:
            self._estimate()

    def see(self, speeds: FloatArray, known: FloatArray, cell_s: float, until_s: float = 0.0) -> None:
        """Takes a stretch of cells (n,) of ``cell_s``, turns/s; ``known`` is 0 where a cell's speed is not.

        ``until_s``: when it ended.
        """
        n = len(speeds)
        if known.sum() < FEWEST / 2:
            return
        self._see_steps(np.diff(speeds)[known[1:] * known[:-1] > 0] / speeds.max())
        weight = _taper(n) * known
        size = float(weight @ weight)
        off = _undrifted(weight) @ speeds
        lags = np.correlate(off, off, "full")[n - 1 :] / size
        wide = _smoothed_cells(cell_s)
        slow = np.convolve(off, np.ones(wide) / wide, "valid")
        swing = float(slow @ slow) / size
        if swing > (_AT_REST * (speeds @ known) / known.sum()) ** 2:
            return
        self._stretches.append((swing, lags, until_s))
        self._new += 1
        if self._new >= min(_ANEW, len(self._stretches)):
            self._new = 0
            self._estimate()

    def _see_steps(self, steps: FloatArray) -> None:
        if len(steps) >= FEWEST / 2:
            off = steps - steps.mean()
            self._squares += _FORGET_STEPS * (float(np.mean(off**2)) - self._squares)
            self._cubes += _FORGET_STEPS * (float(np.mean(off**3)) - self._cubes)

    @property
    def kicked(self) -> bool:
        """Whether the speed rises at once and falls slowly, as skewness tells: so it does under an on-off control."""
        return self._cubes > _SKEWED * math.sqrt(self._squares) ** 3

    @property
    def knows(self) -> bool:
        """Whether quiet stretches were seen, of which what stands out can be told."""
        return len(self._stretches) >= _KNOWS

    def forget(self, since_s: float, until_s: float) -> None:
        """Stretches that end within these seconds were not quiet: a shot was in them."""
        kept = [some for some in self._stretches if not since_s < some[2] < until_s]
        self._stretches = deque(kept, maxlen=_KEPT)

    def _estimate(self) -> None:
        """The mean of the quiet stretches: an event stands out of them by its variance."""
        self._whitening.clear()
        lags = np.zeros(max([len(self._assumed), *(len(s[1]) for s in self._stretches)]))
        lags[: len(self._assumed)] = _STARTS_WITH * self._assumed
        weight = _STARTS_WITH
        if self._stretches:
            sizes = sorted(stretch[0] for stretch in self._stretches)
            most = _QUIET * sizes[int(_QUIETEST * (len(sizes) - 1))]
            for size, some, _ in self._stretches:
                if size <= most:
                    lags[: len(some)] += some
                    weight += 1.0
        self._lags = lags / weight
        self._lags += self._drifting(len(lags))
        # Rounding may cancel by chance while a wheel runs at one speed, and won't at the next.
        missing = max(self._rounding + self._lags[1], 0.0)
        self._lags[:2] += missing * np.array([2.0, -1.0])

    def _drifting(self, count: int) -> FloatArray:
        """What taking out an even drift has taken of noise without memory, and passing over some, at each lag (count,).

        What a count too few has as noise the next one makes up for: it is none of that.
        """
        near = max(round(_MEMORY_S / self._cell_s), 2)
        if near >= count or not self._adds_up:
            return np.zeros(count)
        taken = _taken(count)
        lags, share = self._lags, taken[0] + 2 * taken[1:near].sum()
        slow = (lags[0] + 2 * lags[1:near].sum()) / max(1 - share, 0.3)
        single = lags[0] + 2 * min(lags[1], 0.0)
        wide = _smoothed_cells(self._cell_s)
        smoothed = np.maximum(1 - np.arange(count) / wide, 0.0) / wide
        return np.asarray(max(min(slow, single), 0.0) * (taken + _PASSED_OVER * smoothed))

    def whitening(self, begins: IntArray, ends: IntArray) -> Whitening:
        """For mean speeds over the cells ``begins`` to ``ends`` (m,)."""
        key = begins.tobytes(), ends.tobytes()
        if key not in self._whitening:
            if len(self._whitening) > 40:
                self._whitening.clear()
            n = int(ends[-1] - begins[0])
            lags = np.zeros(n)
            lags[: min(n, len(self._lags))] = self._lags[:n]
            away = np.arange(n)
            covariance = lags[np.abs(away[:, None] - away)]
            covariance[away, away] += _LEAST * lags[0]
            if n != len(begins):
                cells = begins[0] + away
                mean = ((cells >= begins[:, None]) & (cells < ends[:, None])) / (ends - begins)[:, None]
                covariance = mean @ covariance @ mean.T
            self._whitening[key] = Whitening(_inverse_root(covariance))
        return self._whitening[key]


def _inverse_root(covariance: FloatArray) -> FloatArray:
    """A matrix (m, m) that makes errors of this covariance independent, and of size 1."""
    try:
        return np.asarray(np.linalg.inv(np.linalg.cholesky(covariance)))
    except np.linalg.LinAlgError:  # what was added for slow noise may leave less than nothing of the quickest
        sizes, ways = np.linalg.eigh(covariance)
        return np.asarray((ways / np.sqrt(np.maximum(sizes, _LEAST * covariance[0, 0]))).T)
