"""Own rpm in whole counts: whether it stands so on the line, or did before the robot's program low-passed it.

Counts over the time between two readings make speeds in even steps. A first-order low-pass x += (y - x) / m leaves none
of these, but y = x' + m (x - x'), of the reading x' before, is in such steps again for the right m and for no other:
that shows within seconds, without a shot. Steps are sought by the phases that the readings' differences have in them,
as a crystal's period is by its scattering: all alike for the right step (Rayleigh's test; Mardia & Jupp, Directional
Statistics, 2000, from memory).

Two looks at 128 readings that agree within a tenth settle it, 4 s behind the spin-up at 50 readings/s. Uneven times
hide the steps (2 % of a reading at 56 counts a turn). Noise alone does not tell: a wheel's own wander is as correlated
as what is low-passed.
"""

from __future__ import annotations

from collections import deque
from statistics import median
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray

_READINGS, _EVERY_S = 128, 1.0
_ANEW = 64  # readings from one look to the next
_WEIGHTS = np.geomspace(1.6, 64.0, 75)  # m: one over the share of the difference that a low-pass takes over
_NEAR = np.linspace(0.96, 1.04, 17)
_STEPS, _FINE = np.geomspace(0.5, 8.0, 150), np.linspace(0.975, 1.025, 61)  # in a usual difference
_MOST, _MOST_OF_NORMAL = 0.8, 1.28  # a quantile of the sizes of differences, and where it lies for normal ones
_PRINTED = (10.0, 5.0, 1.0, 0.5, 0.1, 0.05, 0.01)
_COARSER = 2.5  # than what is printed, at least
_BLURRED = 0.16  # of a step, by printing: none can be seen
_EXACT, _NEARLY, _ALIKE = 0.99, 0.4, 0.8  # of what phases are worth as far as they are printed
_SAME, _TOLD = 1.1, 9  # times, by which two looks agree; looks of which the median is taken
_TURNS_RPM = 300.0
_STEADY = 1.5  # of the usual time between readings: behind a longer one something is missing


class ReadingGrid:
    """Sees the robot's own rpm line by line. ``lead_s``: what a low-pass holds it back by, seconds.

    0 where it certainly isn't low-passed, None where that can't be told. ``unsettled``: the next look
    may well tell.
    """

    def __init__(self) -> None:
        self.lead_s: float | None = None
        self.unsettled = True
        self._times: deque[float] = deque(maxlen=_READINGS)
        self._rpm: deque[float] = deque(maxlen=_READINGS)
        self._new, self._looked_s = 0, -np.inf
        self._last: float | None = None
        self._leads_s: deque[float] = deque(maxlen=_TOLD)

    def clear(self) -> None:
        """What comes next has no connection with the past; what was learned of the program holds."""
        self._times.clear()
        self._rpm.clear()
        self._new = 0

    def see(self, time_s: float, rpm: float) -> None:
        """Takes the next own rpm; one that is said again is no new reading."""
        if rpm < _TURNS_RPM:
            self.clear()
            return
        if self._rpm and rpm == self._rpm[-1]:
            return
        self._times.append(time_s)
        self._rpm.append(rpm)
        self._new += 1
        if self._new < _ANEW or len(self._rpm) < _READINGS or abs(time_s - self._looked_s) < _EVERY_S:
            return
        self._new, self._looked_s = 0, time_s
        weight = _weight(np.array(self._rpm))
        self.unsettled = weight is not None and self.lead_s is None
        if weight is None:
            return
        apart = np.diff(self._times)
        lead_s = (weight - 1) * float(apart[apart < _STEADY * np.median(apart)].mean())
        last, self._last = self._last, lead_s
        if last is None or not (lead_s == last or 1 / _SAME < lead_s / max(last, 1e-9) < _SAME):
            return
        if (lead_s > 0) != bool(self.lead_s):
            self._leads_s.clear()
        self._leads_s.append(lead_s)
        self.lead_s, self.unsettled = median(self._leads_s), False


def _weight(rpm: FloatArray) -> float | None:
    """The low-pass's m that puts readings (n,) on a grid, 1 where they are on one as they are; None of neither."""
    printed = next((step for step in _PRINTED if np.abs(rpm / step - np.round(rpm / step)).max() < 1e-6), 0.0)
    alike, step, _ = _grid(rpm, np.ones(1), printed)
    if step > _COARSER * printed and alike > _EXACT:
        return 1.0
    near = _grid(rpm, _WEIGHTS, printed)[2]
    if alike > _NEARLY or near in (_WEIGHTS[0], _WEIGHTS[-1]):  # so coarse that many weights would do
        return None
    alike, _, weight = _grid(rpm, near * _NEAR, printed)
    return weight if alike > _ALIKE else None


def _grid(rpm: FloatArray, weights: FloatArray, printed: float) -> tuple[float, float, float]:
    """How much alike phases are in the best step, 0 to 1, that step, and the best of ``weights`` (k,)."""
    differences = np.diff(rpm)[:-1] + weights[:, None] * np.diff(rpm, n=2)
    usual = np.quantile(np.abs(differences), _MOST, axis=1) / _MOST_OF_NORMAL + 1e-9
    error = printed / np.sqrt(12) * np.sqrt(weights**2 + (1 - 2 * weights) ** 2 + (weights - 1) ** 2)
    per_step, best = _STEPS / usual[:, None], (0.0, 0.0, 1.0)
    worth = _alike(differences, per_step, error)
    for row in np.argsort(worth.max(axis=1))[-3:]:
        fine = per_step[row, worth[row].argmax()] * _FINE[None]
        alike = _alike(differences[row : row + 1], fine, error[row : row + 1])[0]
        best = max(best, (float(alike.max()), 1 / float(fine[0, alike.argmax()]), float(weights[row])))
    return best


def _alike(differences: FloatArray, per_step: FloatArray, error: FloatArray) -> FloatArray:
    """Mean cosine of the phases of ``differences`` (k, n) in each of the steps 1 / ``per_step`` (k, s).

    As a share of what it can be with an ``error`` (k,) by printing; 0 where that leaves nothing.
    """
    phases = (2 * np.pi * per_step[:, :, None] * differences[:, None, :]).astype(np.float32)
    blurred = per_step * error[:, None]
    expected = np.exp(-2 * (np.pi * np.minimum(blurred, _BLURRED)) ** 2)
    return np.where(blurred < _BLURRED, np.cos(phases).mean(axis=2) / expected, 0.0)
