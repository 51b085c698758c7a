"""The next shot: where it goes, what it is expected to gain, and the outcomes it may have."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from made_shots import throws
from robots import shot, thrower
from vacuum_need import vacuum_need

from fieldtune.learn import learn, next_shot
from fieldtune.learn.next_shot import measuring, miss_chances


def test_next_shot_goes_where_least_is_known():
    near = throws(lambda q: 0.05, [2.0, 2.1, 2.2] * 5)
    robot = replace(thrower(), spots=())
    posterior = learn(robot, [*near, shot(90, 4.5, 1800, "short")], 1, required_of=vacuum_need)
    told = next_shot(robot, posterior, robot.target())
    assert 3.0 < told.distance_m <= 4.5
    assert told.gain >= 0
    assert robot.setpoint.low <= told.setpoint <= robot.setpoint.high
    assert "hit probability" in told.why or "hardly" in told.why


def test_next_shot_gains_less_as_more_is_known():
    robot = thrower()
    few, many = (throws(lambda q: 0.05, [2.0, 3.0, 4.0] * n) for n in (1, 12))
    gains = [
        next_shot(robot, learn(robot, shots, 1, required_of=vacuum_need), robot.target()).gain for shots in (few, many)
    ]
    assert 0 <= gains[1] < gains[0] < 1


def test_a_measured_miss_is_expected_to_teach_more_than_a_word():
    robot, measured = thrower(), throws(lambda q: 0.05, [2.0, 3.0, 4.5] * 8)
    words = [replace(s, miss_m=None, result="short" if s.miss_m < 0 else "long") for s in measured[-6:]]
    after_a_swap = [learn(robot, shots, 2, required_of=vacuum_need) for shots in (measured[:-6] + words, measured)]
    assert [measuring(posterior.fit) for posterior in after_a_swap] == [False, True]
    by_word, by_miss = (next_shot(robot, posterior, robot.target()) for posterior in after_a_swap)
    assert by_miss.gain > 1.2 * by_word.gain
    assert by_miss.distance_m >= by_word.distance_m  # where a centimetre is least of a speed


def test_classes_of_miss_are_as_likely_as_drawn():
    rng = np.random.default_rng(4)
    gap, blur = rng.normal(0.03, 0.04, 6), rng.uniform(0.01, 0.03, 6)
    chances = miss_chances(gap, blur)
    assert chances.sum(axis=0) == pytest.approx(1.0)
    seen = gap + blur * rng.standard_normal((200_000, 6))
    spread = np.sqrt(np.var(gap) + np.mean(blur**2))
    # The median of the pooled normal is the middle of the middle class: half of the classes and of the shots lie below.
    below = chances[:4].sum(axis=0) + chances[4] / 2
    middle = (seen < gap.mean()).mean(axis=0)
    assert np.all(np.sign(below - 0.5) == np.sign(middle - 0.5))
    lowest = (seen < gap.mean() + spread * -1.2206403488473496).mean(axis=0)  # normal quantile of 1/9
    assert chances[0] == pytest.approx(lowest, abs=0.005)


def test_a_draw_that_cannot_hit_tells_nothing():
    chances = miss_chances(np.array([0.0, np.nan]), np.array([0.01, 0.01]))
    assert chances[:, 1] == pytest.approx(np.full(len(chances), 1 / len(chances)))
    assert np.isfinite(miss_chances(np.full(3, np.nan), np.ones(3))).all()
