"""Hits of shots tried: the interval against published ones, and which shots are counted where."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from scipy.stats import chi2, chi2_contingency, norm

from fieldtune import InputError, Session, load_robot
from fieldtune.learn.hits import trend_chance, wilson_interval
from fieldtune.store import Store


@pytest.mark.parametrize(
    ("hits", "tried", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_published_intervals(hits: int, tried: int, low: float, high: float):
    """Newcombe, Stat. Med. 17 (1998) 857, Table I, method 3 (score without continuity correction).

    Intervals of the last three from memory."""
    assert wilson_interval(hits, tried) == pytest.approx((low, high), abs=5e-5)


@pytest.mark.parametrize(("hits", "tried"), [(3, 7), (0, 4), (5, 5), (40, 90)])
def test_at_either_end_the_count_is_just_as_far_off_as_the_interval_says(hits: int, tried: int):
    """What the score interval is: shares p with |hits - n p| = z sqrt(n p (1 - p)) (Wilson 1927)."""
    z = norm.ppf(0.975)
    for share in wilson_interval(hits, tried):
        if 0 < share < 1:
            assert abs(hits - tried * share) == pytest.approx(z * (tried * share * (1 - share)) ** 0.5)


@pytest.mark.parametrize(("hits", "tried"), [(0, 0), (3, 2), (-1, 4)])
def test_what_is_no_share(hits: int, tried: int):
    with pytest.raises(ValueError, match="no share"):
        wilson_interval(hits, tried)


def played() -> Session:
    session = Session(load_robot("heron"))  # spots at 1.5, 2.0, 2.6 and 3.2 m
    for distance, result in ((1.5, "in"), (1.6, "in"), (1.45, "short"), (3.2, "long"), (3.3, "in"), (4.2, "short")):
        session.confirm(distance, 1500, result)
    session.swap("blue")
    for distance, result in ((2.0, "in"), (2.1, "left"), (2.05, "in")):
        session.confirm(distance, 1500, result)
    return session


def counted(session: Session, by: str) -> dict[str, tuple[int, int]]:
    return {group.name: (group.hits, group.tried) for group in session.hits(by).groups}


def test_groups():
    session = played()
    assert counted(session, "spot") == {
        "quay edge": (2, 3),
        "near line": (2, 3),
        "far line": (1, 2),
        "elsewhere": (0, 1),
    }
    assert counted(session, "battery") == {"1": (3, 6), "2, blue": (2, 3)}
    assert counted(session, "target") == {"basket": (5, 9)}
    found = session.hits("battery")
    assert (found.all.hits, found.all.tried) == (5, 9)
    assert (found.groups[1].low, found.groups[1].high) == wilson_interval(2, 3)


def test_undone_shots_vanish_and_left_out_ones_are_told():
    session = played()
    session.undo()
    session.exclude(2, "bounced off a post")
    found = session.hits()
    assert (found.all.hits, found.all.tried, found.left_out) == (3, 7, 1)
    assert counted(session, "spot")["near line"] == (1, 2)
    assert counted(session, "spot")["quay edge"] == (1, 2)


def test_the_latest_ten():
    session = Session(load_robot("heron"))
    for k in range(14):
        session.confirm(2.0, 1500, "in" if k >= 8 else "short")
    assert (session.hits().last.hits, session.hits().last.tried) == (6, 10)


def test_without_spots_half_metres_serve_and_without_shots_shares_are_unknown():
    robot = replace(load_robot("heron"), spots=())
    session = Session(robot)
    assert session.hits().all.share is None
    assert session.hits().groups == ()
    session.confirm(3.3, 1500, "in")
    session.confirm(1.3, 1500, "in")
    assert list(counted(session, "spot")) == ["1.5 m", "3.5 m"]
    with pytest.raises(InputError, match="spot, target, battery"):
        session.hits("weather")


def test_a_target_of_several():
    session = Session(load_robot("crane"))
    for target, result in (("lower", "in"), ("upper", "short"), ("upper", "in")):
        session.confirm(2.0, 380, result, target=target)
    assert counted(session, "target") == {"lower": (1, 1), "upper": (1, 2)}


def test_labels_of_match_and_batch():
    session = Session(load_robot("heron"))
    for match, batch, result in (("Q7", "new", "in"), (None, "new", "in"), ("Q7", None, "short"), ("Q9", "worn", "in")):
        session.confirm(2.0, 1500, result, match=match, batch=batch)
    assert counted(session, "match") == {"Q7": (1, 2), "no match": (1, 1), "Q9": (1, 1)}
    assert counted(session, "batch") == {"new": (2, 2), "no batch": (0, 1), "worn": (1, 1)}
    with pytest.raises(InputError, match="a match: expected one line"):
        session.confirm(2.0, 1500, "in", match="Q7\x1b[2J")


@pytest.mark.parametrize(("earlier", "later", "n"), [(9, 3, 12), (20, 20, 40), (2, 11, 30)])
def test_a_trend_over_two_groups_is_the_chi_square_of_their_table(earlier: int, later: int, n: int):
    """With two scores the trend test is the 2 × 2 chi-square without correction (Armitage 1955): scipy's."""
    hits = np.repeat([1, 0, 1, 0], [earlier, n - earlier, later, n - later])
    score = np.repeat([0, 1], n)
    z_squared = 2 * n * np.corrcoef(hits, score)[0, 1] ** 2
    table = [[earlier, n - earlier], [later, n - later]]
    assert z_squared == pytest.approx(chi2_contingency(table, correction=False).statistic)
    # The same statistic with the place in the row as score is the product's: 2 n r², by numpy.
    order = [bool(hit) for hit in hits]
    r = np.corrcoef(order, np.arange(2 * n))[0, 1]
    assert trend_chance(order) == pytest.approx(chi2.sf(2 * n * r**2, 1))


def test_without_a_trend_one_log_in_twenty_looks_like_one():
    """Chances under no trend are uniform: 5 % below 0.05, within four standard errors of 2000 logs."""
    rng = np.random.default_rng(20)
    found = [trend_chance(list(rng.random(40) < 0.7)) < 0.05 for _ in range(2000)]
    assert np.mean(found) == pytest.approx(0.05, abs=4 * (0.05 * 0.95 / 2000) ** 0.5)


def test_the_trend_in_words():
    session = Session(load_robot("heron"))
    for k in range(20):
        session.confirm(2.0, 1500, "in" if k < 12 else "short")
        if k == 8:
            assert session.hits().trend is None
    trend = session.hits().trend
    assert trend is not None
    assert trend.chance < 0.001
    assert trend.words == "fewer hits as time goes on: 100 % in the earlier half, 20 % in the later"


def test_a_clock_set_back_turns_no_trend_round():
    """Twelve short, then twelve in, the laptop's clock set back a day between."""
    session = Session(load_robot("heron"), Store(clock=lambda: datetime(2026, 3, 2 - turned, tzinfo=UTC)))
    turned = 0
    for k in range(24):
        turned = int(k >= 12)
        session.confirm(2.0, 1500, "in" if k >= 12 else "short")
    found = session.hits()
    assert (found.last.hits, found.last.tried) == (10, 10)
    assert found.trend is not None
    assert found.trend.words.startswith("more hits")
