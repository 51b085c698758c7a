"""Own rpm of a Hall sensor, a reflective mark or a gear tooth: one to eight edges a turn of the wheel.

Wheels, programs and bounds are these tests' own; all wheel data is made up.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from decode_lines import decode_lines, matched, robot_for, wrong_and_blank
from few_counts import counted, edges, timed
from student_firmware import Firmware, sent
from thorough import thorough
from wheel_controllers import changing, run_wheel

from fieldtune.link.line import Line

SETPOINTS = [(0.3, 1700.0), (6.6, 2000.0)]
SHOTS = [(2.5, 0.12), (3.6, 0.11), (4.5, 0.12), (5.7, 0.13), (8.3, 0.12), (9.4, 0.12)]


@cache
def _shooting(kind="PI stiff", seed=1):
    return run_wheel(kind, SETPOINTS, SHOTS, 10.5, 0.12, seed)


def _found(wheel, lines, per_turn):
    shots = decode_lines(list(lines), robot_for(float(per_turn))).shots
    pairs, made_up = matched(shots, [shot.time_s for shot in wheel.shots], 0.25)
    off = [shots[i].speed_rpm / wheel.shots[j].before_rpm - 1 for i, j in pairs]
    return len(pairs), made_up, off


@pytest.mark.parametrize(("per_turn", "rate_hz"), [(2, 100.0), (4, 50.0), (8, 100.0), *thorough((4, 100.0))])
def test_edges_that_are_timed_tell_of_shots(per_turn, rate_hz):
    wheel = _shooting()
    found, made_up, off = _found(wheel, timed(wheel, edges(wheel, per_turn), per_turn, rate_hz), per_turn)
    # A reading by the time of an edge is no whole count: it is as fine as the clock, and of the last two lines.
    assert (found, made_up) == (len(SHOTS), 0)
    assert np.abs(off).max() < 0.01


@pytest.mark.parametrize("rate_hz", [100.0, 250.0])
def test_an_edge_that_is_missed_is_no_shot(rate_hz):
    wheel = _shooting()
    at = edges(wheel, 4, missed=0.01, seed=3)
    found, made_up, _ = _found(wheel, timed(wheel, at, 4, rate_hz), 4)
    assert made_up == 0
    assert found >= len(SHOTS) - 1


def test_an_edge_that_is_missed_is_not_shown():
    wheel = run_wheel("PI stiff", SETPOINTS[:1], [], 8.0, 0.12, 2)
    at = edges(wheel, 1, missed=0.02, seed=3)
    looks = decode_lines(list(timed(wheel, at, 1, 100.0)), robot_for(1.0), 7.8).looks
    wrong_s, blank_s = wrong_and_blank(looks, wheel.t, [wheel.rpm], 0.0, from_s=3.0)
    assert wrong_s == 0.0
    assert blank_s < 0.2


def test_steps_of_a_count_that_are_hundreds_of_rpm_are_not_shown_as_speeds():
    wheel = _shooting()
    looks = decode_lines(list(counted(wheel, edges(wheel, 1), 1, 100.0, 0.1)), robot_for(1.0), 10.0).looks
    wrong_s, _ = wrong_and_blank(looks, wheel.t, [wheel.rpm], 0.2, from_s=0.5)
    # The reading itself is of up to 0.2 s ago. One count of one a turn in 0.1 s is 600 rpm.
    assert wrong_s < 0.3


def test_two_marks_not_opposite_one_another_make_no_other_speed():
    wheel = run_wheel("PI stiff", SETPOINTS[:1], [], 6.0, 0.12, 2)
    looks = decode_lines(list(timed(wheel, edges(wheel, 2, uneven=0.2), 2, 100.0)), robot_for(2.0), 5.8).looks
    wrong_s, blank_s = wrong_and_blank(looks, wheel.t, [wheel.rpm], 0.0, from_s=2.0)
    # Time at each speed is longest between the marks that are near: a mean over time is 4 % too fast.
    assert wrong_s == 0.0
    assert blank_s < 0.5


def test_uneven_marks_in_step_with_the_lines_are_no_shots():
    wheel = changing("feed-forward", 2, 13.0, seed=7)
    lines = timed(wheel, edges(wheel, 8, uneven=0.2, seed=1), 8, 100.0)
    assert decode_lines(list(lines), robot_for(8.0)).shots == []


def test_a_speed_that_is_no_more_than_steps_is_said_to_be_so():
    wheel = run_wheel("PI stiff", SETPOINTS[:1], [], 5.0, 0.12, 2)
    line = Line(robot_for(1.0))
    for at, data in counted(wheel, edges(wheel, 1), 1, 100.0, 0.1):
        line.feed(data, at)
    live = line.live("live", "", None, at)
    assert live.wheel_rpm is None
    assert "steps of 600 rpm: send the counts, or time the edges" in live.words


@pytest.mark.parametrize(("per_turn", "rate_hz", "rpm"), [(8, 100.0, 1700.0), (4, 1000.0, 1200.0)])
def test_a_counter_of_few_counts_read_seldom_shows_the_speed(per_turn, rate_hz, rpm):
    wheel = run_wheel("feed-forward", [(0.3, rpm), (3.0, 1.1 * rpm)], [], 6.0, 0.12, 7)
    firmware = Firmware(rate_hz=rate_hz, counts_per_turn=per_turn, refresh_hz=50.0)
    looks = decode_lines(sent(firmware, wheel, 7), robot_for(per_turn), 5.8).looks
    wrong_s, blank_s = wrong_and_blank(looks, wheel.t, [wheel.rpm], firmware.late_s)
    # Where each reading's time is known to a millisecond, what is read then is still a whole count wide.
    assert wrong_s == 0.0
    assert blank_s < 0.3
