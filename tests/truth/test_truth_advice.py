"""The advice, tried on hidden robots against what people do by hand: a short trial here, the full one behind ``slow``.

The limits lie below what the full trial measures (``python tests/truth``), so that chance doesn't fail them, and above
what the hand methods reach.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom
from truth_report import GOALS, pick
from truth_trial import Score, run_robot

PLAYERS = ("fieldtune", "table", "quadratic")


def _trial(
    numbers: range, counts: tuple[int, ...], modes: tuple[bool, ...], players: tuple[str, ...] = PLAYERS
) -> list[Score]:
    return [score for n in numbers for score in run_robot(n, "stated", 0, players, modes, counts)]


def _mean(scores: list[Score], player: str, measured: bool, key: str) -> float:
    return float(np.mean(pick(scores, player, measured, key)))


def _best_by_hand(scores: list[Score], measured: bool, key: str) -> float:
    return max(_mean(scores, player, measured, key) for player in PLAYERS[1:])


def test_few_shots_beat_the_hand_methods() -> None:
    """Six robots, one of each kind; measured misses."""
    scores = _trial(range(6), (3, 10), (True,))
    assert _mean(scores, "fieldtune", True, "3") > max(0.70, _best_by_hand(scores, True, "3"))
    assert _mean(scores, "fieldtune", True, "10") > max(0.90, _best_by_hand(scores, True, "10"))


def test_words_alone_are_enough() -> None:
    """Three robots, told only in, short or long; so few that the best hand method may be level by luck (0.05)."""
    scores = _trial(range(1, 4), (10,), (False,))
    assert _mean(scores, "fieldtune", False, "10") > max(0.75, _best_by_hand(scores, False, "10") - 0.05)


@pytest.mark.slow
@pytest.mark.parametrize("measured", [False, True])
def test_full_trial_reaches_its_goals(measured: bool) -> None:
    """Thirty robots; every goal within 0.04 (two standard errors), above the hand methods at every count.

    After a battery change, one who knew all but the new level would be back at 0.93 of the oracle in two shots.
    """
    scores = _trial(range(30), (2, 3, 5, 10, 20), (measured,))
    for key, goal in GOALS[measured].items():
        assert _mean(scores, "fieldtune", measured, key) > goal - 0.04
    for key in ("2", "3", "5", "10", "20"):
        assert _mean(scores, "fieldtune", measured, key) > _best_by_hand(scores, measured, key)
    back = _mean(scores, "fieldtune", measured, "swap2")
    assert back > max(0.75 if measured else 0.60, 1.3 * _best_by_hand(scores, measured, "swap2"))


@pytest.mark.slow
def test_claimed_intervals_hold_the_truth() -> None:
    """200 robots, 90 % intervals after each count of shots, hit rates within half a per cent of an end counted in.

    Below, what chance leaves 1,000 robots (binomial, one in a hundred). Above, 0.97: on robots of other physics than
    the prior's the intervals are a little wide (93, 94 and 96 % measured). On the prior's own the tests of learning try
    them.
    """
    assert binom.ppf(0.005, 1000, 0.9) / 1000 == pytest.approx(0.875, abs=1e-3)
    scores = _trial(range(200), (0, 3, 10), (False,), ("fieldtune",))
    for key in ("0", "3", "10"):
        rows = [np.array(s.claims[key]).T for s in scores if s.claims.get(key)]
        held = [np.mean((true > low - 0.005) & (true < high + 0.005)) for _, low, high, true in rows]
        assert 0.875 < np.mean(held) < 0.97, key
