"""Drops that don't stand out plainly wait for the shot network, which has seen how a wheel went on a second later.

What it says no to was no shot. Nor was a shallow fall that is merely steep, if it doesn't say yes: a wheel that winds
up falls steeply by itself, and where it was changed often, little else is to be seen of it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fieldtune.link.shots.dip_rules import Dip
    from fieldtune.link.shots.drop_detection import Drop
    from fieldtune.link.shots.network_finder import NetworkFinder

_PLAIN = 1000.0  # twice a log likelihood ratio
_NO_SHOT, _YES = -2.0, 1.0  # log odds
_SHALLOW = 0.6  # of the depth that the profile lets expect
_PATIENCE_S = 0.5  # longer than the network looks behind


class DoubtedDrops:
    """Keeps drops until the network has weighed what is around them, or can't.

    ``expected``: share of its speed that a shot takes, 0 where the profile can't tell.
    """

    def __init__(self, network: NetworkFinder, expected: float) -> None:
        self._network, self._expected = network, expected
        self._waiting: list[tuple[Drop, Dip]] = []

    def doubts(self, drop: Drop, dip: Dip) -> bool:
        """Whether a drop waits from now on; one that is plain does not, nor one that the network itself found."""
        doubted = not drop.sure or (dip.seen.over_nothing <= _PLAIN and dip.network is None)
        if doubted:
            self._waiting.append((drop, dip))
        return doubted

    def settled(self, now_s: float) -> list[tuple[Drop, Dip, bool]]:
        """Those that wait no longer, and whether they stand."""
        if not self._waiting:
            return []
        settled, waiting = [], []
        for drop, dip in self._waiting:
            if dip.at_s + self._network.reach_s + _PATIENCE_S > now_s and not self._network.knows(dip.at_s):
                waiting.append((drop, dip))
            else:
                odds = self._network.odds_near(dip.at_s)
                shallow = dip.freely.depth < _SHALLOW * self._expected * dip.speed
                least = _YES if shallow and dip.steep is not None else _NO_SHOT
                settled.append((drop, dip, odds is None or odds >= least))
        self._waiting = waiting
        return settled
