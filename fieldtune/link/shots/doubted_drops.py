"""Drops that don't stand out plainly wait for the shot network, which has seen how a wheel went on a second later.

What it says no to was no shot, and what it does not say yes to is asked about: by the course of the wheel alone, one
that winds up, coasts between two thrusts or was lowered untold falls like that as well.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from fieldtune.link.shots.dip_rules import Answer

if TYPE_CHECKING:
    from fieldtune.link.shots.dip_rules import Dip
    from fieldtune.link.shots.drop_detection import Drop
    from fieldtune.link.shots.network_finder import NetworkFinder

_PLAIN = 1000.0  # twice a log likelihood ratio
_NO_SHOT, _YES = 0.0, 1.5  # log odds
_PATIENCE_S = 0.5  # longer than the network looks behind


class DoubtedDrops:
    """Keeps drops until the network has weighed what is around them, or can't."""

    def __init__(self, network: NetworkFinder) -> None:
        self._network = network
        self._waiting: list[tuple[Drop, Dip]] = []

    def doubts(self, drop: Drop, dip: Dip) -> bool:
        """Whether a drop waits from now on; one that is plain does not, nor one that the network says yes to."""
        doubted = not drop.sure or (dip.seen.over_nothing <= _PLAIN and (dip.network is None or dip.network < _YES))
        if doubted:
            self._waiting.append((drop, dip))
        return doubted

    def settled(self, now_s: float) -> list[tuple[Drop, Dip, Answer]]:
        """Those that wait no longer, and what the network holds them to be."""
        if not self._waiting:
            return []
        settled, waiting = [], []
        for drop, dip in self._waiting:
            if dip.at_s + self._network.reach_s + _PATIENCE_S > now_s and not self._network.knows(dip.at_s):
                waiting.append((drop, dip))
            else:
                settled.append((drop, dip, self._held_to_be(dip)))
        self._waiting = waiting
        return settled

    def _held_to_be(self, dip: Dip) -> Answer:
        odds = self._network.odds_near(dip.at_s)
        if odds is None or odds >= _YES:
            return Answer.SHOT
        return Answer.PERHAPS if odds >= _NO_SHOT else Answer.NONE
