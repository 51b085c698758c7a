"""The caution of a turning wheel stays while nobody can say that it has stopped."""

from __future__ import annotations

import pytest
from console_world import live, slider, thrower

from fieldtune.console.words import moving_still, standing_caution
from fieldtune.link.samples import Live
from fieldtune.robot.model import Robot

READ = {"wheel_rpm": None, "wheel2_rpm": None, "draw_mm": None}
TURNING, STOPPED, UNKNOWN = (live(**READ | {"wheel_rpm": rpm}) for rpm in (2200.0, 0.0, None))
COCKED = live(**READ | {"draw_mm": 31.0})


@pytest.mark.parametrize(("robot", "last", "words"), [(thrower(), TURNING, "Wheel turning fast"),
                                                      (slider(), COCKED, "Spring cocked")])  # fmt: skip
def test_what_was_read_last_counts_until_something_else_is_read(robot: Robot, last: Live, words: str) -> None:
    moved = moving_still(last, robot, False)
    assert standing_caution(last, robot, moved).startswith(f"{words}: hands off")
    assert moving_still(UNKNOWN, robot, moved)
    assert standing_caution(UNKNOWN, robot, moved).startswith(f"{words}, last read: hands off")
    assert "can hurt" in standing_caution(UNKNOWN, robot, False)


def test_a_wheel_that_was_read_at_rest_is_at_rest() -> None:
    assert not moving_still(STOPPED, thrower(), True)
    assert standing_caution(STOPPED, thrower(), False).startswith("A fast wheel can hurt")
