"""An encoder of two channels of which one goes dead: each edge of the other counts up and down again by one.

The truth is the test's own: a wheel at 1,500 or 800 rpm that turns on unseen. How quadrature is decoded, each edge up
or down by the level of the other channel, is common practice.
"""

from __future__ import annotations

import random
from collections.abc import Iterator

import pytest
from link_wheel import COUNTS_PER_TURN

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.validation.no_speed import STANDS_STILL

PULLED_S, BACK_S, END_S, HZ = 4.0, 7.0, 9.0, 50.0


def counted(rpm: float) -> Iterator[tuple[float, int]]:
    """When each line is printed, and its count."""
    rng, counts, edges = random.Random(round(rpm)), 0, 0
    while edges / COUNTS_PER_TURN * 60 / rpm < END_S:
        at_s = edges / COUNTS_PER_TURN * 60 / rpm
        step = round(rpm / 60 * COUNTS_PER_TURN / HZ * rng.uniform(0.99, 1.01))
        counts += step % 2 * (1 if counts % 2 else -1) if PULLED_S < at_s < BACK_S else step
        edges += step
        yield at_s, counts


def said(rpm: float, own_rpm: bool) -> Iterator[tuple[float, str]]:
    """Lines of a program that sends counts, or its own speed from them."""
    last_s, last = 0.0, 0
    for at_s, counts in counted(rpm):
        speed = (counts - last) / COUNTS_PER_TURN / max(at_s - last_s, 1e-3) * 60
        last_s, last = at_s, counts
        value = f"wheel_rpm={speed:.0f}" if own_rpm else f"wheel_counts={counts}"
        yield at_s, f"t_ms={1000 * at_s:.0f},{value},battery_mv=10900\n"


@pytest.mark.parametrize("own_rpm", [False, True])
@pytest.mark.parametrize("rpm", [1500.0, 800.0])
def test_no_speed_is_shown_while_a_channel_is_dead_and_why_is_said(rpm: float, own_rpm: bool) -> None:
    line, rng = Line(load_robot("heron")), random.Random(2)
    for at_s, text in said(rpm, own_rpm):
        now_s = at_s + 0.002 + rng.uniform(0.0, 0.003)
        line.feed(text.encode(), now_s)
        live = line.live("live", "reading", None, now_s)
        if PULLED_S + 0.2 < at_s < BACK_S:
            assert live.wheel_rpm is None, at_s
        elif at_s > BACK_S + 0.8:
            assert live.wheel_rpm == pytest.approx(rpm, rel=0.05)
        if PULLED_S + 1.5 < at_s < BACK_S:
            assert STANDS_STILL in live.words
    assert not line.shots


def test_a_wheel_that_stops_on_an_edge_stands() -> None:
    """It slows over two seconds, as wheels do, and then trembles by one count."""
    line, rng, rest = Line(load_robot("heron")), random.Random(7), 0
    for number in range(400):
        at_s = number / HZ
        slow_s = min(max(at_s - 2.0, 0.0), 2.0)
        turns = 20.0 * min(at_s, 2.0) + 20.0 * slow_s - 5.0 * slow_s**2
        rest = rng.randint(0, 1) if at_s > 4.0 else 0
        line.feed(f"t_ms={20 * number},wheel_counts={int(turns * COUNTS_PER_TURN) + rest}\n".encode(), at_s + 0.003)
    live = line.live("live", "reading", None, 8.0)
    assert live.wheel_rpm == pytest.approx(0.0, abs=10.0)
    assert live.words == "reading"
