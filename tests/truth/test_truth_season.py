"""A season's day on a hidden robot, with a fixed exit angle and with a hood: each figure beside the oracle's."""

from __future__ import annotations

from pathlib import Path

import pytest
from season_day import play


@pytest.mark.slow
@pytest.mark.parametrize("hood", [False, True])
def test_a_day(hood: bool, tmp_path: Path) -> None:
    """Hits within three standard deviations (binomial) of what the truth expects of the setpoints played."""
    day = play(0, tmp_path, hood)
    assert day.tuned > 0.85
    assert day.program > day.tuned - 0.05
    assert day.moving_miss_m < day.standing_miss_m + 0.08
    assert day.trimmed > day.advised_then - 0.1  # the trim says what the session knows
    assert day.trimmed > day.jumped + 0.2
    assert abs(day.hits - day.expected) < 3 * (day.tried / 4) ** 0.5
