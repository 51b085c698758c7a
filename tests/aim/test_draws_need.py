"""The required speed with every draw's unknowns put in says what the table says."""

from __future__ import annotations

import numpy as np
import pytest

from fieldtune import load_robot
from fieldtune.aim.required_speed.choice import required_speed_for


@pytest.mark.parametrize("name", ["heron", "crane", "otter"])
def test_given_draws_answer_as_the_table_does(name: str) -> None:
    robot = load_robot(name)
    need = required_speed_for(robot, robot.target())
    rng = np.random.default_rng(2)
    angle, drag = rng.normal(0, 0.03, 50), rng.normal(0, 0.15, 50)
    which = rng.integers(0, 50, 400)
    distance, miss = rng.uniform(0.8 * need.d_low, need.d_high, 400), rng.uniform(-0.3, 0.3, 400)
    plain = need.log_speed(distance, miss, angle[which], drag[which])
    given = need.for_draws(angle, drag).log_speed(distance, miss, which)
    for field in ("value", "d_distance", "d_miss", "d_angle", "slope", "slope_by_angle", "bend"):
        one, other = getattr(plain, field), getattr(given, field)
        assert (np.isfinite(one) == np.isfinite(other)).all(), field
        known = np.isfinite(one)
        assert known.sum() > 100
        assert np.abs(one - other)[known].max() < 1e-9 * (1 + np.abs(one[known]).max()), field
