"""What a control does to a wheel by itself is no shot: a drive switched on and off, or on while the wheel coasts.

Wheels of these tests' own, all figures invented: the motor's torque falls in a straight line from stall to no load (the
textbook's permanent-magnet machine); free, the wheel loses a share of its speed each second.
"""

from __future__ import annotations

import numpy as np
import pytest

from fieldtune import load_robot
from fieldtune.link.line import Line
from fieldtune.link.wheel.wheel_noise import WheelNoise

STEP_S, COUNTS = 0.001, 48 * 33 * 28 / (22 * 20)
NO_LOAD_RPM, PUSH_RPM_PER_S, LOST_PER_S = 3000.0, 8000.0, 0.27
CONTROL_S = 0.03


def switched(setpoint, seconds, shots=()):
    """Own rpm every 30 ms, in whole counts, of a wheel whose drive is full on below the setpoint and off above."""
    rpm, on, turned, before, lines = 0.9 * setpoint, False, 0.0, 0, []
    taken = dict(shots)
    for i in range(round(seconds / STEP_S)):
        rpm += STEP_S * ((PUSH_RPM_PER_S * (1 - rpm / NO_LOAD_RPM) if on else 0.0) - LOST_PER_S * rpm)
        rpm *= 1 - taken.get(i, 0.0)
        turned += rpm / 60 * STEP_S
        if i % round(CONTROL_S / STEP_S) == 0 and i:
            counts = int(turned * COUNTS)
            counted, before = (counts - before) * 60 / COUNTS / CONTROL_S, counts
            on = counted < setpoint
            lines.append((i * STEP_S, rpm, counted))
    return lines


def fed(lines, text):
    line = Line(load_robot("heron"))
    for seconds, _, shown in lines:
        line.feed(text.format(t=1000 * seconds, rpm=shown).encode(), seconds + 0.004)
    return line


def test_a_drive_that_is_switched_on_and_off_makes_up_no_shots():
    lines = switched(950, 11.0)
    speeds = [rpm for _, rpm, _ in lines[100:]]
    assert max(speeds) - min(speeds) > 0.12 * 950  # as much as a shot takes
    assert fed(lines, "wheel_rpm={rpm:.2f},setpoint=950\n").shots == ()


def test_deep_shots_of_a_drive_that_is_switched_on_and_off_are_still_found():
    lines = switched(1850, 14.0, [(i, 0.2) for i in range(4000, 13_000, 1700)])
    assert len(fed(lines, "wheel_rpm={rpm:.2f},setpoint=1850\n").shots) == 6


@pytest.mark.parametrize(("setpoint", "share"), [(1200, 0.1), (1500, 0.09)])
def test_shots_no_deeper_than_its_swing_are_found_as_it_never_falls_so_steeply(setpoint, share):
    at_s = [12.0 + 1.3 * i + 0.377 * i % 0.35 for i in range(10)]
    shots = [(round(seconds / STEP_S), share) for seconds in at_s]
    lines = switched(setpoint, 27.0, shots)
    quiet = [rpm for seconds, rpm, _ in lines if 3 < seconds < 12]
    assert max(quiet) - min(quiet) > 0.9 * share * setpoint
    found = [shot.arrival_s for shot in fed(lines, f"wheel_rpm={{rpm:.2f}},setpoint={setpoint}\n").shots]
    right = [any(abs(one - seconds) < 0.15 for one in found) for seconds in at_s]
    assert sum(right) >= 7
    assert sum(right) == len(found)


SHOTS_S, COASTS_S, TAKES_OVER_S = (2.0, 2.8, 3.6, 4.4, 5.2, 6.0), 7.0, 10.0


def raised(kind, seconds=11.0, hz=50):
    """A wheel that shot, coasts from 2,000 rpm and is asked for 1,950 again: taking over, the drive slows it first."""
    rpm, lines, rng = 2000.0, [], np.random.default_rng(3)
    ramp_s = 0.85 if kind == "ramp" else 0.0
    for i in range(round(seconds / STEP_S)):
        now = i * STEP_S
        since = now - TAKES_OVER_S
        if now < COASTS_S:
            asked, push = 2000.0, min(8 * (2000 - rpm), 1400.0)
        elif since < 0:
            asked, push = 1000 * max(since + ramp_s, 0.0), -0.29 * rpm
        else:
            asked = min(1000 * (since + ramp_s), 1950.0) if ramp_s else 1950.0
            push = -3500.0 if since < 0.03 else 1400.0
        rpm += push * STEP_S + rng.normal(0, 0.05)
        rpm *= 0.92 if i in [round(shot / STEP_S) for shot in SHOTS_S] else 1.0
        if i % (1000 // hz) == 0:
            lines.append(f"t_ms={i},wheel_rpm={rpm:.0f},setpoint={asked:.0f}\n")
    return lines


@pytest.mark.parametrize("kind", ["step", "ramp"])
def test_a_drive_that_takes_over_a_coasting_wheel_makes_up_no_shot(kind):
    line = Line(load_robot("heron"))
    for i, text in enumerate(raised(kind)):
        line.feed(text.encode(), 0.02 * i + 0.004)
    assert [round(shot.time_s, 1) for shot in line.shots] == list(SHOTS_S)


def test_a_drive_that_finds_a_lowered_wheel_far_below_its_setpoint_makes_up_no_shot():
    """Its integral has to run off first: the wheel falls past the setpoint, and is slowed as it is taken over."""
    rpm, lines, rng, taken_s = 1600.0, [], np.random.default_rng(4), 0.0
    for i in range(8500):
        lowered = i >= 4500
        asked = 1150.0 if lowered else 1600.0
        if lowered and not taken_s:
            push, taken_s = -0.29 * rpm, i * STEP_S if rpm < 960 else 0.0
        elif lowered:
            since = i * STEP_S - taken_s
            push = -1500.0 if since < 0.1 else min(5 * (asked - rpm), 500.0)
        else:
            push = min(8 * (asked - rpm), 1400.0)
        rpm = rpm * (0.92 if i in (1500, 2300, 3100) else 1.0) + push * STEP_S + rng.normal(0, 0.05)
        if i % 20 == 0:
            lines.append(f"t_ms={i},wheel_rpm={rpm:.0f},setpoint={asked:.0f}\n")
    line = Line(load_robot("heron"))
    for i, text in enumerate(lines):
        line.feed(text.encode(), 0.02 * i + 0.004)
    assert [round(shot.time_s, 1) for shot in line.shots] == [1.5, 2.3, 3.1]
    assert line.live("live", "", None, 8.5).unsure is not None


def test_a_wheel_that_rises_at_once_and_falls_slowly_is_told_from_others():
    cells, ramp = np.arange(600), np.arange(600) % 6 / 6
    rounding = np.random.default_rng(2).normal(0, 0.3, 600)
    for speeds, kicked in ((33 - 2 * ramp, True), (33 + 2 * ramp, False), (33 + np.sin(cells), False), (33.0, False)):
        noise = WheelNoise()
        for first in range(0, 580, 10):
            noise.see((speeds + rounding)[first : first + 20], np.ones(20), 0.03)
        assert noise.kicked == kicked


@pytest.mark.parametrize("told", [True, False])
def test_a_drive_that_brakes_a_wheel_as_it_takes_over_from_coasting_makes_up_no_shot(told):
    """Off, the bridge lets it coast; as soon as it is on at all, it brakes a wheel that turns faster than it drives."""
    rpm, turns, lines, rng, integral = 1900.0, 0.0, [], np.random.default_rng(6), 0.0
    for i in range(8000):
        asked = 1900.0 if i < 4000 else 1100.0
        if i % 10 == 0:
            error = asked - rpm + rng.normal(0, 2)
            integral = min(max(integral + 1.2e-5 * error, -0.2), 1.0)
            duty = min(max(asked / NO_LOAD_RPM + 0.002 * error + 0.5 * integral, 0.0), 1.0)
        over = duty - rpm / NO_LOAD_RPM
        rpm += STEP_S * (PUSH_RPM_PER_S * (over if over > 0 else 0.3 * over if duty > 0 else 0.0) - 0.23 * rpm)
        rpm *= 0.9 if i in (1000, 1800, 2600, 3400) else 1.0
        turns += rpm / 60 * STEP_S
        if i % 20 == 0:
            lines.append(
                f"t_ms={i},wheel_counts={int(turns * COUNTS)}" + (f",setpoint={asked:.0f}\n" if told else "\n")
            )
    line = Line(load_robot("heron"))
    for i, text in enumerate(lines):
        line.feed(text.encode(), 0.02 * i + 0.004)
    assert [round(shot.time_s, 1) for shot in line.shots] == [1.0, 1.8, 2.6, 3.4]
