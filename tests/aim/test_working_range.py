"""The distances that matter: spots, else [field], else what was shot from, else a guess that is said."""

from __future__ import annotations

from dataclasses import replace

import pytest
from robots import make_robot

from fieldtune.aim.places import working_range
from fieldtune.robot.model import Spot
from fieldtune.session import Session
from fieldtune.sizing.size import size

STRONG = make_robot(setpoint={"high": 9000})
"""Reaches far beyond any hall."""


def test_spots_come_first_then_field_then_shots_then_a_guess() -> None:
    both = replace(STRONG, field_range=(1.2, 4.5), spots=(Spot("a", 1.5), Spot("b", 3.0)))
    assert [working_range(both, 0.5, 40.0).near_m, working_range(both, 0.5, 40.0).far_m] == [1.5, 3.0]
    field = working_range(replace(both, spots=()), 1.3, 40.0, [2.0, 9.0])
    assert (field.near_m, field.far_m, field.source, field.guess) == (1.3, 4.5, "field", None)
    shots = working_range(STRONG, 0.5, 40.0, [2.0, 9.0, 60.0])
    assert (shots.near_m, shots.far_m, shots.source) == (2.0, 9.0, "shots")
    guess = working_range(STRONG, 0.5, 40.0, [2.0])
    assert guess.far_m < 5
    assert guess.guess is not None
    assert "guess" in guess.guess
    assert "[field]" in guess.guess


def test_no_shot_and_no_design_beyond_what_anyone_said() -> None:
    with Session(STRONG, store=None) as session:
        assert session.aim(14.0).reachable
        shot = session.next()
        assert shot.distance_m < 5
        assert "is a guess" in shot.why
    found = size(STRONG, sweep=False)
    assert found.far_m is not None
    assert found.far_m < 5
    assert any("is a guess" in note for note in found.notes)


def test_next_and_size_keep_to_the_field() -> None:
    robot = replace(STRONG, field_range=(6.0, 8.0))
    with Session(robot, store=None) as session:
        shot = session.next()
    assert 6 <= shot.distance_m <= 8
    assert "guess" not in shot.why
    found = size(robot, sweep=False)
    assert (found.near_m, found.far_m) == pytest.approx((6.0, 8.0))
