"""Lines so damaged that many are missing: when a shot was, when a line was printed, and how old a speed is.

What the wheel did is known from its own description (``link_firmware.World``); none of it is the product's simulator.
"""

from __future__ import annotations

import pytest
from link_faults import flip, lose
from link_firmware import Firmware, watched, world_of

SHOT_S = 3.2


class Spoiled:
    """Damages lines by their number: each has 10 ms."""

    def __init__(self, damaged, how):
        self.number, self.damaged, self.how = -1, damaged, how

    def __call__(self, line, rng):
        self.number += 1
        return self.how(line) if self.damaged(self.number) else line


def _another_digit(line):
    at = line.index(b",") - 1
    return line[:at] + bytes([line[at] ^ 1]) + line[at + 1 :]


@pytest.mark.parametrize(
    ("speed", "first", "last", "alone"), [("counts", 301, 319, 312), ("counts", 299, 322, 306), ("rpm", 308, 319, 315)]
)
def test_a_shot_between_lines_that_are_missing_is_told_at_its_time(speed, first, last, alone):
    """One line in 15 is left around it: it was some 10 ms before what follows, not at the last one before."""

    def damaged(number):
        return number % 5 == 2 or (first <= number <= last and number != alone)

    seen = watched(Firmware(speed=speed, checked=True), world_of(0), Spoiled(damaged, _another_digit))
    at = [shot.arrival_s for shot in seen.line.shots]
    assert min(abs(one - SHOT_S) for one in at) < 0.07
    assert (seen.caught, seen.made_up) == (3, 0)


def test_a_line_whose_name_is_damaged_each_time_alike_is_counted():
    """A bad wire doubles the same letters again and again: that makes no other kind of line of it."""
    double = Spoiled(lambda number: number % 5 == 2, lambda line: line.replace(b"wheel", b"wheeel"))
    seen = watched(Firmware(clock=None), world_of(0), double)
    assert seen.wrong_s <= 0.05
    assert (seen.caught, seen.made_up) == (3, 0)


@pytest.mark.parametrize("seed", range(3))
def test_lines_without_a_clock_that_lose_their_ends_from_the_beginning(seed):
    """Two lines become one; what passed from one to the next is still known from when the others came."""
    spoil = Spoiled(lambda number: number in (1, 4, 7, 9, 13) or number % 11 == seed, lambda line: line[1:-1])
    seen = watched(Firmware(clock=None), world_of(seed), spoil, seed)
    assert seen.wrong_s <= 0.1
    assert seen.made_up == 0


def test_an_old_speed_of_few_lines_is_not_shown_while_the_wheel_spins_up():
    seen = [
        watched(Firmware(speed=speed, clock=clock), world_of(seed), lambda data, rng: lose(data, 0.03, rng), seed)
        for speed, clock, seed in (("counts", None, 4), ("rpm", "t_ms", 2), ("rpm", "t_ms", 6))
    ]
    checked = watched(Firmware(speed="rpm", checked=True), world_of(2), lambda data, rng: flip(data, 0.03, rng), 2)
    assert max(one.wrong_s for one in (*seen, checked)) <= 0.2


def test_a_dip_of_damaged_lines_deeper_than_the_profile_expects_is_no_shot():
    """Digits that are false, but possible, made the wheel fall by a third; a shot takes a sixth of its speed."""
    seen = watched(Firmware(json=True), world_of(2), lambda line, rng: flip(line, 0.03, rng), 2)
    assert seen.made_up == 0
