"""What momentum says of grip, drop and changes of parts, against bounds worked out by hand."""

from __future__ import annotations

import math

import pytest
from robots import heron

from fieldtune.robot.derived import grip_doubt, largest_grip
from fieldtune.sizing.size import size
from fieldtune.sizing.what_if import momentum_factor, what_it_buys


def bound(mass: float, radius: float, inertia: float) -> float:
    """An equal pair, inertia of both together (closed form from sum I dw = -m v r and v = r w at exit)."""
    return 1 / (1 + mass * radius**2 / inertia)


def test_the_bound_counts_rotors_by_the_square_of_the_reduction():
    robot = heron(drive={"rotor_inertia": 12e-6})
    assert largest_grip(heron()) == pytest.approx(bound(0.04, 0.044, 2 * 180e-6))
    rotors = 2 * 12e-6 * 1.5**2
    assert robot.turning_inertia == pytest.approx(2 * 180e-6 + rotors)
    assert largest_grip(robot) == pytest.approx(bound(0.04, 0.044, 2 * 180e-6 + rotors))


def test_a_grip_above_the_bound_is_named_with_the_inertia_that_explains_it():
    words = grip_doubt(heron(), 0.9)
    each = 0.04 * 0.044**2 * 9 / 2  # grip 0.9 needs sum I = 9 m r^2
    assert words is not None
    assert f"{1e6 * each:.3g} kg mm^2" in words
    assert grip_doubt(heron(), 0.80) is None
    assert "check wheel_diameter" in (grip_doubt(heron(), 1.1) or "")
    assert any("momentum allows" in note for note in size(heron(flywheel={"grip": 0.9}), sweep=False).notes)


def test_heavier_wheels_throw_faster_at_the_same_setpoint():
    heavy = heron(flywheel={"wheel_inertia": 540e-6})
    ratio = bound(0.04, 0.044, 6 * 180e-6) / bound(0.04, 0.044, 2 * 180e-6)
    assert momentum_factor(heron(), heavy) == pytest.approx(ratio)
    assert any(f"{100 * (ratio - 1):+.0f} %, by momentum" in line for line in what_it_buys(heron(), heavy))
    before, after = (size(robot, None, factor, sweep=False) for robot, factor in ((heron(), 1.0), (heavy, ratio)))
    # What a spot needs is a speed of the element: the wheels turn as much slower as they throw faster.
    assert after.needed_rpm.far == pytest.approx(before.needed_rpm.far / ratio, rel=1e-6)


def test_a_shot_that_takes_more_than_the_wheels_hold_is_said():
    figures = size(heron(element={"mass": 3.0}), sweep=False)
    assert figures.drop_rpm is None
    assert any("more than the wheels hold" in note for note in figures.notes)


def test_rotors_slow_recovery_and_lessen_the_drop():
    bare, loaded = size(heron(), sweep=False), size(heron(drive={"rotor_inertia": 40e-6}), sweep=False)
    assert loaded.drop_rpm < bare.drop_rpm
    assert loaded.spin_up_s > bare.spin_up_s
    assert not math.isnan(loaded.recovery_s)
