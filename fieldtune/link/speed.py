"""Wheel speed from encoder counts: a local least-squares slope whose window adapts, never a two-point difference.

The window reaches back from the newest count as far as the slopes agree within their standard errors (intersection of
confidence intervals: Goldenshluger & Nemirovski, Math. Methods Stat. 6 (1997) 135): long and quiet while the wheel runs
evenly, short where it drops or spins up.
"""

from __future__ import annotations

import math
from collections import deque

import numpy as np
from numpy.typing import ArrayLike

_GAMMA = 2.0  # width of the intervals, in standard errors
_FEWEST = 5
_LONGEST_S = 0.25
_SHORTEST_S = 0.035
_SPARSE_S = 0.09
_ODD = 3.0


def local_slope(times: ArrayLike, values: ArrayLike, at: float, window_s: float, order: int = 1) -> float:
    """Slope at time ``at`` of the weighted polynomial fitted to samples within ``window_s`` before and after it.

    ``times`` (n,) seconds, ``values`` (n,); triangular weights; order 1 or 2. nan with fewer than order + 1 samples.
    On even spacing and equal weights this is the filter of Savitzky & Golay, Anal. Chem. 36 (1964) 1627.
    """
    t = np.asarray(times, dtype=float) - at
    x = np.asarray(values, dtype=float)
    near = np.abs(t) < window_s
    if np.count_nonzero(near) < order + 1:
        return float("nan")
    t, x = t[near], x[near]
    root = np.sqrt(1 - np.abs(t) / window_s)
    design = np.vander(t / window_s, order + 1, increasing=True) * root[:, None]
    return float(np.linalg.lstsq(design, x * root, rcond=None)[0][1] / window_s)


class SpeedTrack:
    """Follows wheel turns over time and says the speed now, in rpm; ``None`` while too few lines have come.

    ``quantum`` is one count in turns, ``tick_s`` the uncertainty of a time stamp; both make the slope's standard error.
    """

    def __init__(self, quantum: float) -> None:
        self._quantum = quantum
        self._points: deque[tuple[float, float]] = deque(maxlen=80)

    def clear(self) -> None:
        """Forgets the past: what comes next has no connection with it."""
        self._points.clear()

    def add(self, time_s: float, turns: float, tick_s: float, thin_s: float = 0.3) -> float | None:
        """Takes one count and returns the speed at it, rpm; None if the last five counts span more than ``thin_s``."""
        points = self._points
        if points and time_s <= points[-1][0]:
            points.pop()
        points.append((time_s, turns))
        if len(points) < _FEWEST or time_s - points[-_FEWEST][0] > max(thin_s, 16 * tick_s):
            return None
        slope = self._slope(time_s, turns, tick_s)
        return None if slope is None else slope * 60

    def _slope(self, now: float, here: float, tick_s: float) -> float | None:
        """Turns a second at the newest point, over the longest window that agrees with all shorter ones."""
        points = self._points
        oldest_allowed = self._reach(now, tick_s)
        # Half a count and half a tick are spread evenly: a twelfth of a square each (GUM, JCGM 100:2008, 4.3.7).
        rough = (here - points[-_FEWEST][1]) / max(now - points[-_FEWEST][0], 1e-9)
        variance = (self._quantum**2 + (rough * tick_s) ** 2) / 12
        shortest = max(_SHORTEST_S, 8 * tick_s)
        low, high, due = -math.inf, math.inf, _FEWEST
        n, st, sx, stt, stx, sxx = 0, 0.0, 0.0, 0.0, 0.0, 0.0
        best: float | None = None
        for time, turns in reversed(points):
            t, x = time - now, turns - here
            if t < oldest_allowed and n >= _FEWEST:
                break
            n += 1
            st += t
            sx += x
            stt += t * t
            stx += t * x
            sxx += x * x
            if n < due or (-t < shortest and n < len(points)):
                continue
            due = n + 1 + n // 4
            spread = stt - st * st / n
            if spread <= 0:
                continue
            slope = (stx - st * sx / n) / spread
            error = _GAMMA * math.sqrt(variance / spread)
            low, high = max(low, slope - error), min(high, slope + error)
            if low > high and best is not None:
                break
            if best is None and -t > _SPARSE_S:
                rest = max(sxx - sx * sx / n - slope * slope * spread, 0.0) / (n - 2)
                if rest > _ODD**2 * variance:
                    return None  # few counts far apart that are not in line: one of them may be false
            best = slope
        return best

    def _reach(self, now: float, tick_s: float) -> float:
        """How far back a window may go, seconds (negative)."""
        longest = max(_LONGEST_S, 60 * tick_s)
        if len(self._points) >= _FEWEST and now - self._points[-_FEWEST][0] > longest:
            return -(now - self._points[-_FEWEST][0])
        return -longest
