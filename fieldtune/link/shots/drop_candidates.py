"""Instants at which a wheel may have dropped: a little behind the newest point the drop that fits best is weighed.

Where it stands out by its own error, more than at any instant near, it is a candidate. It waits until it shows how the
wheel went on; what it was is judged elsewhere.

Most instants cost no fit: a glance tells that the wheel could not have lost speed there, neither on the mean behind nor
at once, as one does that overshoots. To look for the latter as well found 8 more of 6,696 shots and made up no other
(93 cells of 20 and 50 lines/s, seeds not looked at).
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

from fieldtune.link.shots import drop_fit
from fieldtune.link.shots.usual_shots import LEAST, MOST

if TYPE_CHECKING:
    from fieldtune.link.wheel.wheel_noise import WheelNoise
    from fieldtune.link.wheel.wheel_points import WheelPoints

_BEFORE_S, _BEFORE_CELLS = 0.35, 7
_SHARE = 0.15  # of the drop that the element's momentum makes
_SURE, _SURE_NOISY = 3.0, 4.0  # standard errors
_EAGER = 0.5  # of what is needed otherwise, where the robot says that it fired
_APART_S, _APART_CELLS = 0.055, 2.0
_SAME_S, _CLEARER = 0.15, 1.5  # the second look sees an instant less sharply, unless it sees it far more clearly
_JUDGED_S, JUDGED_CELLS = (0.12, 0.2, 0.3, 0.45, 0.65, 0.8), 5
_ECHO_S = 0.12
_NEXT_SHOWS_S = 0.16  # so long behind the next drop, it is a candidate itself


@dataclass(slots=True, eq=False)
class Candidate:
    """An instant at which a drop stands out, and how often it was judged.

    ``network``: log odds, where the network found it.
    """

    instant: float
    judged: int = 0
    network: float | None = None


class Look(NamedTuple):
    """Cells that are seen behind a candidate, whether the next drop cuts them short, and whether no look follows."""

    after: int
    cut_short: bool
    last: bool


@dataclass(slots=True)
class _Scan:
    """One way to look for drops behind the newest point: ``after`` so many seconds, and at least cells, behind it.

    The first is quick, and sees shots close together; the second sees drops that a strong motor makes good at
    once, of which a coarse encoder shows only that some turns are missing behind.
    """

    after: tuple[float, int]
    recoveries_s: tuple[float, ...]
    looked_s: float = -math.inf
    fits: deque[tuple[float, float]] = field(default_factory=lambda: deque(maxlen=90))  # instant, standard errors
    unsettled: deque[tuple[float, float]] = field(default_factory=deque)  # of those, whose neighbours are still to come


def before_cells(points: WheelPoints) -> int:
    """How many cells before a drop are looked at."""
    return max(round(_BEFORE_S * points.thinned / points.cell_s), _BEFORE_CELLS)


class CandidateFinder:
    """Looks at the points as they come. ``expected``: share of its speed that a shot should take; ``slowest``: rpm."""

    def __init__(self, points: WheelPoints, noise: WheelNoise, expected: float, slowest: float) -> None:
        self._points, self._noise = points, noise
        self._least, self._slowest = max(LEAST, _SHARE * expected), slowest
        self.clear()

    def clear(self) -> None:
        """Forgets the past."""
        self._scans = (
            _Scan((0.08, 3), (0.02, 0.05, 0.12, 0.4, 30.0)),
            _Scan((0.3, 6), (0.02, 0.05, 0.12, 0.3)),
        )
        self._tried: deque[tuple[float, float]] = deque(maxlen=6)  # instant, standard errors

    def found(self, last_s: float, eager: bool, noisy: bool) -> list[Candidate]:
        """New candidates. ``last_s``: when the last shot was; ``eager``, ``noisy``: as in ``DropDetector.see``."""
        new = []
        for scan in self._scans:
            cell = self._points.cell_s
            after = max(math.ceil(scan.after[0] / cell), scan.after[1])
            instant = self._points.now_s - after * cell
            if instant - scan.looked_s >= 0.8 * cell:
                scan.looked_s = instant
                fit = (instant, self._sureness(scan, instant, after, eager, noisy))
                scan.fits.append(fit)
                scan.unsettled.append(fit)
                new += self._peaks(scan, instant, last_s, eager, noisy)
        return new

    def _sureness(self, scan: _Scan, instant: float, after: int, eager: bool, noisy: bool) -> float:
        """By how many standard errors a drop at an instant stands out."""
        cell = self._points.cell_s
        before = before_cells(self._points)
        if not self._points.slower_behind(instant, before * cell, after * cell):
            return 0.0
        seen = drop_fit.view_around(self._points, self._noise, instant, before, after, noisy)
        if seen is None or seen[1] * 60 < self._slowest:
            return 0.0
        view, rate = seen
        fit = drop_fit.drop_at(view, cell, before, after, scan.recoveries_s)
        least = self._least * rate * (_EAGER if eager else 1.0)
        if not least < fit.depth < MOST * rate:
            return 0.0
        return fit.depth / fit.error / math.sqrt(fit.misfit)  # no wheel comes back just like these templates

    def _peaks(self, scan: _Scan, instant: float, last_s: float, eager: bool, noisy: bool) -> list[Candidate]:
        """Candidates of fits that stand out most among their neighbours on both sides."""
        new, unsettled = [], scan.unsettled
        apart = max(_APART_S, _APART_CELLS * self._points.cell_s)
        needed = (_SURE_NOISY if noisy else _SURE) * (_EAGER if eager else 1.0)
        reach = apart if scan is self._scans[0] else max(apart, _SAME_S)
        clearer = math.inf if noisy else _CLEARER
        while unsettled and unsettled[0][0] <= instant - apart:
            at, sureness = unsettled.popleft()
            if sureness < needed or at - last_s <= apart:
                continue
            same = any(abs(tried - at) <= reach and sureness < clearer * sure for tried, sure in self._tried)
            if not same and sureness == max(fit[1] for fit in scan.fits if abs(fit[0] - at) <= apart):
                new.append(Candidate(at))
                self._tried.append((at, sureness))
        return new


class Waiting:
    """Candidates that wait until it shows how the wheel went on."""

    def __init__(self, points: WheelPoints) -> None:
        self._points = points
        self.clear()

    def clear(self) -> None:
        """Forgets the past."""
        self._candidates: list[Candidate] = []

    def now(self) -> list[Candidate]:
        """Those that wait, in the order in which they were found."""
        return list(self._candidates)

    def add(self, new: list[Candidate]) -> None:
        """Takes new ones."""
        self._candidates += new

    def remove(self, candidate: Candidate) -> None:
        """Lets one go."""
        self._candidates.remove(candidate)

    def waits(self, candidate: Candidate) -> bool:
        """Whether one has not been let go."""
        return candidate in self._candidates

    def echoes(self, candidate: Candidate, last_s: float) -> bool:
        """Whether one is so near behind the shot at ``last_s`` that it is the same, seen less sharply."""
        return candidate.instant - last_s < _ECHO_S

    def next_look(self, candidate: Candidate) -> Look | None:
        """The next look at a candidate, or None before its time."""
        cell, instant = self._points.cell_s, candidate.instant
        behind = instant + max(_ECHO_S, JUDGED_CELLS * cell)  # nearer ones are the same drop, seen less sharply
        next_s = min((c.instant - 0.015 for c in self._candidates if c.instant > behind), default=math.inf)
        steps = sorted({max(math.ceil(seconds / cell), JUDGED_CELLS) for seconds in _JUDGED_S})
        after = steps[-1 if candidate.network else min(candidate.judged, len(steps) - 1)]
        last = after == steps[-1]
        cut_short = instant + after * cell > next_s
        if cut_short:
            after, last = int((next_s - instant) / cell), True
        if instant + after * cell + _NEXT_SHOWS_S * (last and not cut_short) > self._points.now_s:
            return None
        return Look(after, cut_short, last)
