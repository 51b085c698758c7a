"""Counts that an encoder loses now and then: a weak magnet, dirt on a disk, a loose plug.

Each takes a whole count off the turns at once, and for ever. To a coarse encoder that is a dip as sudden as a shot's;
but a shot takes as much as it likes, over some time. Which of both a dip is like is weighed by how well they fit, and
by how often counts got lost before: a mixture, whose share is the one a posteriori most likely (Dempster, Laird &
Rubin, J. R. Stat. Soc. B 39 (1977) 1).

Counts seen twice aren't tried: such steps pass for rounding. What is still made up comes mostly of a magnet that fails
at every fifth turn, and of twenty losses a second at 56 counts a turn, none of which stands out by itself.
"""

from __future__ import annotations

import math
from collections import deque
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.link.wheel import wheel_lags

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fieldtune.arrays import FloatArray
    from fieldtune.link.shots.drop_fit import View

_PLAIN = 6.0  # twice the log likelihood ratio of some counts at once: less, and they don't show
_CHOSEN = 6.0  # likewise, what choosing an instant is worth, or a second count at it
_SHOT_CHOSEN = 8.0  # or a shot's course and depth; also of the usual one: lost counts may have passed for shots
_MOST, _TOGETHER = 8, np.array([1.0, 2.0, 3.0])  # instants in one view; counts at one
_KEPT, _MOST_OF_ONE = 80, 30.0  # dips, and how much more like a lost count one may be taken for
_LOST, _SHOTS = 0.1, 5.0  # dips of either kind that are assumed beforehand
_MANY, _OFTEN = 3.0, 0.2  # dips, and their share, by which it is known that counts get lost
_TEMPERED = 0.5  # of what one dip says: a coarse encoder's errors come in patterns, not by a bell curve


def over_lost(view: View, cell: float, before: int, after: int, quantum: float, shots: Iterable[FloatArray]) -> float:
    """Twice the log likelihood ratio of a shot against some lost counts of ``quantum`` turns; inf where none shows.

    ``shots``: what a shot of any course leaves of the speeds, and maybe one of the usual course, (m,) each.
    """
    bare, size = view.bare("lost", wheel_lags.lost_lags(cell, before, after))
    if (_TOGETHER[-1] * quantum) ** 2 * float(size.max()) < _PLAIN:
        return math.inf
    lost = _without_lost(view.left(), bare, size, quantum)
    return lost - _SHOT_CHOSEN - min(_without_lost(left, bare, size, quantum) for left in shots)


def _without_lost(left: FloatArray, bare: FloatArray, size: FloatArray, quantum: float) -> float:
    """The sum of squares of ``left`` (m,) behind the lost counts that fit, one after another, and what these cost.

    ``bare`` (k, m), ``size`` (k,): of one turn lost at each instant, and its sum of squares.
    """
    cost, turns = 0.0, quantum * _TOGETHER[:, None]
    for _ in range(_MOST):
        worth = -2 * turns * (bare @ left) - turns**2 * size - _CHOSEN * _TOGETHER[:, None]
        many, which = np.unravel_index(int(np.argmax(worth)), worth.shape)
        if worth[many, which] <= 0:
            break
        left = left + turns[many, 0] * bare[which]
        cost += _CHOSEN * float(_TOGETHER[many])
    return float(left @ left) + cost


class LostCounts:
    """Learns from dips which share of them are lost counts."""

    def __init__(self) -> None:
        self._odds: deque[float] = deque(maxlen=_KEPT)
        self._share = _LOST / (_LOST + _SHOTS)

    def chance_of_shot(self, over: float) -> float:
        """The chance that a dip is a shot's that might also be some lost counts, by ``over_lost``."""
        return 1 / (1 + self._share / (1 - self._share) * math.exp(min(-_TEMPERED * over / 2, 300.0)))

    def learn(self, over: float) -> None:
        """Takes a dip."""
        self._odds.append(min(math.exp(min(-over / 2, 300.0)), _MOST_OF_ONE))
        odds = np.array(self._odds)
        for _ in range(20):
            lost = self._share * odds / (self._share * odds + 1 - self._share)
            self._share = (_LOST + float(lost.sum())) / (_LOST + _SHOTS + len(odds))

    @property
    def known(self) -> bool:
        """Whether counts get lost."""
        many = self._share * (_LOST + _SHOTS + len(self._odds)) - _LOST
        return many > _MANY and self._share > _OFTEN
