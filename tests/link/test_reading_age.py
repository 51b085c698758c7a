"""A counter that is read oftener than lines are printed, at its own even times: each line has one reading more or less.

The wheel runs as the tests' own simulator says. All figures are invented.
"""

from __future__ import annotations

import numpy as np
import pytest
from decode_lines import decode_lines, matched, robot_for, wrong_and_blank
from link_wheel import lines_of_readings
from thorough import thorough
from wheel_controllers import session

from fieldtune.link.validation.reading_age import ReadingAge


def chunks_of(wheel, reading_s, line_s, seed=1):
    """Lines of a loop that takes a little longer each time; the counter is read by a timer of its own."""
    rng = np.random.default_rng(seed)
    at = 0.3 + np.cumsum(line_s + np.abs(rng.normal(0, 0.00015, int(23.0 / line_s))))
    phase = rng.uniform(0, reading_s)
    read = np.maximum(np.floor((at - phase) / reading_s) * reading_s + phase, 0.0)
    return lines_of_readings(wheel, at, read, rng, 0.004)


@pytest.mark.parametrize(
    ("reading_ms", "lines"), [(13, 60), (8, 100), *thorough((27, 60), (5, 77), (13, 150), (6, 150), (13, 50), (9, 100))]
)
def test_speed_and_shots_are_right_whatever_the_two_periods(reading_ms, lines):
    wheel = session("PI soft")
    chunks = chunks_of(wheel, reading_ms / 1000, 1 / lines)
    decoding = decode_lines(chunks, robot_for(), 23.0)
    # The first seconds of a run are needed to see how the counter is read.
    wrong_s, blank_s = wrong_and_blank(decoding.looks, wheel.t, [wheel.rpm], 0.003, from_s=3.0)
    pairs, _ = matched(decoding.shots, [shot.time_s for shot in wheel.shots], 0.2)
    assert len(pairs) >= 5  # a shot is known by quiet stretches seen before it
    assert wrong_s < 0.1
    assert blank_s < 0.5
    assert decoding.notices.get("counter jump", 0) < 8


def test_the_time_between_two_readings_is_found():
    wheel = session("PI soft")
    ages = ReadingAge()
    times = np.arange(3.0, 9.0, 0.0167)
    counts = np.floor(wheel.turns_at(np.floor(times / 0.013) * 0.013) * 56)
    for now, step in zip(times[1:], np.diff(counts), strict=True):
        ages.see([(now, step)], 0.001)
    assert ages.between_s == pytest.approx(0.013, abs=0.0012)


@pytest.mark.parametrize("counts_per_turn", [12.0, 56.0, 2048.0])
def test_counts_as_old_as_their_lines_are_not_held_to_be_older(counts_per_turn):
    """A wheel that is spun up, shot with and slowed, in whole counts and milliseconds, with a loop that is uneven."""
    wheel = session("PI soft")
    rng = np.random.default_rng(4)
    times = np.cumsum(np.maximum(0.01 + rng.normal(0, 0.002, 2000), 0.003))
    counts = np.diff(np.floor(wheel.turns_at(times) * counts_per_turn))
    ages, found = ReadingAge(), []
    for now, step in zip(np.floor(1000 * times[1:]) / 1000, counts, strict=True):
        ages.see([(now, step)], 0.001)
        found.append(ages.between_s)
    assert max(found) == 0.0


def test_damaged_lines_teach_nothing(monkeypatch):
    """A false digit looks as a reading off its time, and back with the next line."""
    wheel = session("PI soft")
    rng = np.random.default_rng(2)
    spoilt = []
    for at, data in chunks_of(wheel, 0.001, 0.01):
        kind = rng.random()
        if kind < 0.05:
            data = data[:-2] + b"%d\n" % rng.integers(10)
        elif kind < 0.1:
            where = rng.integers(len(data) - 1)
            data = data[:where] + b"\x81" + data[where + 1 :]
        spoilt.append((at, data))
    learnt = []
    see = ReadingAge.see
    monkeypatch.setattr(ReadingAge, "see", lambda self, *told: (see(self, *told), learnt.append(self.between_s)))
    decode_lines(spoilt, robot_for())
    assert max(learnt, default=0.0) == 0.0
