"""An encoder's wire comes off, and the open input counts what it picks up, while the wheel turns on.

Pulses at random are a Poisson process, drawn here by the times between them; hum counts once or twice in each period
of the mains (50 Hz). The truth is the test's own: the wheel runs at one speed all the while.
"""

from __future__ import annotations

import math
import random
from bisect import bisect_right
from collections.abc import Callable, Iterator

import pytest
from link_wheel import COUNTS_PER_TURN

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.validation.no_speed import NO_WHEEL
from fieldtune.link.wheel.counter_noise import CounterNoise

OFF_S, ON_S, END_S, HZ = 4.0, 8.0, 10.0, 50.0


def at_random(per_s: float, seed: int) -> Callable[[float], int]:
    """How many pulses have come by then."""
    rng, at_s, pulses = random.Random(seed), 0.0, list[float]()
    while at_s < END_S:
        at_s += rng.expovariate(per_s)
        pulses.append(at_s)
    return lambda now_s: bisect_right(pulses, now_s)


def hum(per_s: float) -> Callable[[float], int]:
    return lambda now_s: math.floor(per_s * now_s)


PICKED_UP = {
    "few at random": at_random(25.0, 1),
    "at random": at_random(150.0, 2),
    "many at random": at_random(500.0, 3),
    "hum": hum(50.0),
    "hum, both edges": hum(100.0),
}


def counted(rpm: float, noise: Callable[[float], int], hz: float = HZ) -> Iterator[tuple[float, int]]:
    """When each line is printed, and its count: the wheel's, but for the time in which the wire is off."""
    rng, at_s, counts, before_s = random.Random(round(rpm)), 0.0, 0, 0.0
    while at_s < END_S:
        off = OFF_S < at_s < ON_S
        wheel = math.floor(rpm / 60 * COUNTS_PER_TURN * at_s) - math.floor(rpm / 60 * COUNTS_PER_TURN * before_s)
        counts += noise(at_s) - noise(before_s) if off else wheel
        yield at_s, counts
        before_s, at_s = at_s, at_s + rng.uniform(0.98, 1.02) / hz


def said(rpm: float, noise: Callable[[float], int], own_rpm: bool, clock: bool) -> Iterator[tuple[float, str]]:
    last_s, last = 0.0, 0
    for at_s, counts in counted(rpm, noise):
        speed = (counts - last) / COUNTS_PER_TURN / max(at_s - last_s, 1e-3) * 60
        last_s, last = at_s, counts
        value = f"wheel_rpm={speed:.0f}" if own_rpm else f"wheel_counts={counts}"
        yield at_s, (f"t_ms={1000 * at_s:.0f}," if clock else "") + f"{value},battery_mv=10900\n"


@pytest.mark.parametrize("noise", PICKED_UP)
@pytest.mark.parametrize("rpm", [1900.0, 1100.0])
@pytest.mark.parametrize(("own_rpm", "clock"), [(False, True), (False, False), (True, True)])
def test_what_an_open_wire_picks_up_is_no_slow_wheel(rpm, noise, own_rpm, clock):
    line, rng = Line(load_robot("heron")), random.Random(2)
    words, shown = set(), []
    for at_s, text in said(rpm, PICKED_UP[noise], own_rpm, clock):
        now_s = at_s + 0.002 + rng.uniform(0.0, 0.003)
        line.feed(text.encode(), now_s)
        live = line.live("live", "reading", None, now_s)
        if OFF_S + 0.3 < at_s < ON_S:
            assert live.wheel_rpm is None, at_s
        elif 1.0 < at_s < OFF_S or at_s > ON_S + 0.9:
            shown.append(live.wheel_rpm is not None and live.wheel_rpm == pytest.approx(rpm, rel=0.05))
        if OFF_S + 1.0 < at_s < ON_S:
            words.add(live.words)
    assert all("plug pulled?" in said for said in words)
    assert own_rpm or all(NO_WHEEL in said for said in words)
    assert sum(shown) > 0.95 * len(shown)
    assert not line.shots


@pytest.mark.parametrize("per_s", [60.0, 150.0, 500.0])
def test_pulses_at_random_while_the_wheel_stands_are_no_wheel(per_s):
    """From the start: no fall tells."""
    noise, seen, count = CounterNoise(1 / COUNTS_PER_TURN, 400.0), 0, at_random(per_s, 5)
    for number in range(500):
        at_s = number / HZ
        seen += noise.see(at_s, count(at_s) / COUNTS_PER_TURN, None, 0.001, 0.0, whole=True) and at_s >= 5.0
    assert seen > 0.8 * 250


@pytest.mark.parametrize("slots", [4, 12, 24, 96])
@pytest.mark.parametrize("hz", [20.0, 50.0, 140.0])
def test_a_wheel_with_unequal_slots_is_a_wheel(slots, hz):
    """Each edge is off by up to 0.35 of a slot; the wheel runs up, is slowed by shots, and is braked to a stand."""
    rng = random.Random(slots)
    edges = sorted(slot + rng.uniform(-0.35, 0.35) for slot in range(slots))
    noise, at_s, turned, rate, told = CounterNoise(1 / slots, 460.0), 0.0, 0.0, 0.0, 0
    while at_s < 12.0:
        for _ in range(20):
            step_s = 1 / hz / 20
            target = 25.0 if at_s < 9.0 else 0.0
            rate += (min(60.0, 8 * (target - rate)) if target else -60.0) * step_s
            rate = max(rate, 0.0)
            turned += rate * step_s
            at_s += step_s
        if 2.0 < at_s < 9.0 and round(at_s * hz) % round(1.5 * hz) == 0:
            rate *= 0.85
        whole = math.floor(turned)
        counts = whole * slots + bisect_right(edges, (turned - whole) * slots)
        told += noise.see(at_s, counts / slots, rate or None, 0.001, 0.0, whole=True)
    assert told == 0
