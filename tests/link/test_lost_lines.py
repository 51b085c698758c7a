"""Shots of robots of whose lines many are lost on the way, at random, as by a weak radio; none is damaged.

Wheels and programs are the tests' own; which lines come is drawn evenly.
"""

from __future__ import annotations

import numpy as np
import pytest
from decode_lines import decode_lines, matched, robot_for, slack_s
from student_firmware import Firmware, sent
from thorough import thorough
from wheel_controllers import changing, shooting

from fieldtune import load_robot
from fieldtune.link import Line

_SHARE, _LATER_S = 0.12, 0.1


def _found(firmware, wheel, seed, come):
    drawn = np.random.default_rng(7)
    lines = [(at, text) for at, text in sent(firmware, wheel, seed) if drawn.random() < come]
    return decode_lines(lines, robot_for(firmware.counts_per_turn, _SHARE)).shots


@pytest.mark.parametrize(
    ("control", "speed", "come", "least"),
    [
        ("PI soft", "rpm", 0.33, 22),
        ("PI stiff", "rpm", 0.37, 20),
        *thorough(("PI stiff", "counts", 0.37, 22), ("feed-forward", "rpm", 0.37, 22), ("PI soft", "rpm", 0.165, 9)),
    ],
)
def test_shots_of_which_every_third_line_tells_are_found(control, speed, come, least):
    """Of 24, at 100 lines a second. What own rpm says is seen at each line, though nothing is known between them."""
    wheel, firmware = shooting(control, _SHARE, 24, 103), Firmware(rate_hz=100.0, speed=speed)
    found = _found(firmware, wheel, 103, come)
    pairs, made_up = matched(found, [shot.time_s for shot in wheel.shots], slack_s(firmware) + _LATER_S)
    assert made_up == 0
    assert len(pairs) >= least


@pytest.mark.parametrize("seed", [323, *thorough(324, 325)])
def test_a_wheel_that_was_lowered_untold_is_no_shot_where_most_lines_are_lost(seed):
    """A wheel that falls and then runs out: between so few lines it looks as if it had run out before."""
    wheel = changing("PI soft", 12, 60, _SHARE, seed)
    assert not _found(Firmware(rate_hz=100.0, setpoint=False), wheel, seed, 0.165)


@pytest.mark.parametrize("lines", range(2, 30))
def test_a_robot_that_is_silent_again_and_again_is_read_on(lines):
    """Few lines at 50 a second, then 3 s of silence: what was known of those before is gone, and none is missing."""
    line = Line(load_robot("heron"))
    for i in range(12 * lines):
        at = i // lines * (3.0 + 0.02 * lines) + i % lines * 0.02
        line.feed(f"t_ms={1000 * at:.0f},wheel_counts={3000 * at:.0f}\n".encode(), at)
    assert line.good == 12 * lines
