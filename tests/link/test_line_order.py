"""Lines without a clock that a network delivers out of order, twice or not at all: no wrong speed, no shot made up.

The wheel, the network and what counts as wrong are this file's own: what is shown has to lie within 80 rpm of something
that the wheel did within the last 0.2 s.
"""

from __future__ import annotations

import random
from itertools import pairwise

import pytest

from fieldtune import load_robot
from fieldtune.link.limits import Limits
from fieldtune.link.line import OVERTAKING, Line
from fieldtune.link.troubleshooting.remedies import remedies

RPM, SECONDS = 1500.0, 5.0


@pytest.fixture(scope="module")
def heron():
    return load_robot("heron")


def datagrams(robot, rate_hz, extra=lambda i: "", rpm=lambda at_s: RPM):
    """(sent, text) of a wheel; its turns are summed here."""
    per_turn, turns, sent = Limits.of(robot).counts_per_turn, 0.0, []
    for i in range(round(SECONDS * rate_hz)):
        turns += rpm(i / rate_hz) / 60 / rate_hz
        sent.append(
            (i / rate_hz, f"wheel_counts={int(turns * per_turn)},battery_mv={9800 + i % 3}{extra(i)}\n".encode())
        )
    return sent


def on_its_way(sent, rng):
    """Each takes 3 ms and a little more, as over a network at rest."""
    arrive, before = [], 0.0
    for at, data in sent:
        before = max(at + 0.003 + rng.expovariate(2000), before)
        arrive.append((before, data))
    return arrive


def late(sent, share, late_s, rng):
    """Some are held up; so they arrive behind later ones."""
    arrive = [(at + (rng.uniform(0.3, 1) * late_s if rng.random() < share else 0.0), data) for at, data in sent]
    return sorted(arrive)


def swapped(sent, share, rng):
    """Neighbours change places: the earlier one arrives just behind the later one."""
    out, i = [], 0
    while i < len(sent):
        if i + 1 < len(sent) and rng.random() < share:
            then_s = sent[i + 1][0]
            out += [sent[i + 1], (then_s + 2e-4, sent[i][1])]
            i += 2
        else:
            out.append(sent[i])
            i += 1
    return out


def twice(sent, share, later_s, rng):
    return sorted(sent + [(at + later_s, data) for at, data in sent if rng.random() < share])


def lost(sent, share, rng):
    return [one for one in sent if rng.random() >= share]


def followed(robot, arrivals, rpm=lambda at_s: RPM):
    """Seconds wrong, seconds blank (from the first one on), and the line."""
    line, looks, at = Line(robot), 0, 0
    wrong = blank = 0
    while looks * 0.01 < SECONDS:
        now = looks * 0.01
        while at < len(arrivals) and arrivals[at][0] <= now:
            came_s, data = arrivals[at]
            while at + 1 < len(arrivals) and arrivals[at + 1][0] - came_s < 5e-4:  # read at once
                at += 1
                data += arrivals[at][1]
            line.feed(data, came_s)
            at += 1
        looks += 1
        if now < 1.0:
            continue
        shown = line._speed_shown(now)
        did = [rpm(now - 0.02 * i) for i in range(11)]
        blank += shown is None
        wrong += shown is not None and not min(did) - 80 < shown < max(did) + 80
    return wrong * 0.01, blank * 0.01, line


@pytest.mark.parametrize(
    ("rate_hz", "seed", "network"),
    [
        pytest.param(50, 3, lambda sent, rng: late(sent, 0.05, 0.03, rng), id="a twentieth late by 30 ms"),
        pytest.param(50, 2, lambda sent, rng: lost(late(sent, 0.1, 0.03, rng), 0.1, rng), id="late, and a tenth lost"),
        pytest.param(100, 1, lambda sent, rng: swapped(sent, 0.5, rng), id="every other one behind the next"),
        pytest.param(100, 1, lambda sent, rng: twice(sent, 0.1, 2e-4, rng), id="a tenth twice at once"),
        pytest.param(200, 3, lambda sent, rng: lost(sent, 0.1, rng), id="a tenth lost"),
    ],
)
def test_lines_out_of_order_show_no_wrong_speed(heron, rate_hz, seed, network):
    rng = random.Random(seed)
    wrong_s, blank_s, line = followed(heron, network(on_its_way(datagrams(heron, rate_hz), rng), rng))
    assert wrong_s == 0.0
    assert blank_s < 1.0
    assert not [shot for shot in line.shots if shot.time_s > 1.0]  # before, few lines tell what is usual


@pytest.mark.parametrize("rate_hz", [20, 100])
def test_where_all_lines_come_late_by_turns_no_speed_is_shown_and_why_is_said(heron, rate_hz):
    rng = random.Random(7)
    arrivals = late(datagrams(heron, rate_hz), 1.0, 0.15, rng)
    wrong_s, _, line = followed(heron, arrivals)
    assert wrong_s == 0.0
    live = line.live("live", "reading udp://:9000", None, arrivals[-1][0])
    assert live.wheel_rpm is None
    assert OVERTAKING in live.words
    assert "send t_ms too" in remedies(line.health(), line.raw(), None, heron, has_speed=False)[0]
    assert not line.shots


def test_lines_that_overtake_each_other_are_counted_as_such(heron):
    sent = datagrams(heron, 50)
    arrivals = swapped(sent, 0.3, random.Random(1))
    back = sum(int(a[1][13:].split(b",")[0]) > int(b[1][13:].split(b",")[0]) for a, b in pairwise(arrivals))
    _, _, line = followed(heron, arrivals)
    assert line.health().dropped["overtaken"] >= back - 3  # the first, before a speed is known
    assert line.health().good + line.health().dropped["overtaken"] >= len(sent) - 3


def test_a_wheel_that_is_turned_back_is_no_line_out_of_order(heron):
    """After 0.3 s the counter did go back."""

    def rpm(at_s):
        return max(RPM * (1 - 4 * max(at_s - 2, 0)), -RPM)

    line = Line(heron)
    for at, data in datagrams(heron, 100, rpm=rpm):
        line.feed(data, at)
    assert line.live("live", "", None, SECONDS).wheel_rpm == pytest.approx(RPM, rel=0.02)


def test_a_clock_on_the_line_needs_none_of_it(heron):
    arrivals = swapped(datagrams(heron, 50, lambda i: f",t_ms={20 * i}"), 0.3, random.Random(2))
    wrong_s, blank_s, line = followed(heron, arrivals)
    assert (wrong_s, blank_s) == (0.0, 0.0)
    assert "overtaken" not in line.health().dropped


def test_a_number_of_hundreds_of_digits_on_a_late_line_harms_nothing(heron):
    sent = datagrams(heron, 50)
    late_one = sent[40][1].replace(b"battery_mv=", b"battery_mv=" + b"9" * 400)
    arrivals = sorted([*sent[:40], (sent[42][0] + 1e-3, late_one), *sent[41:]])
    wrong_s, _, line = followed(heron, arrivals)
    assert wrong_s == 0.0
    assert line.live("live", "", None, SECONDS).wheel_rpm == pytest.approx(RPM, rel=0.02)
