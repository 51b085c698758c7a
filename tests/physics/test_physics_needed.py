"""Needed exit speed: closed form, derivatives, and what is impossible."""

import math
from dataclasses import replace

import numpy as np
import pytest

from fieldtune.physics.air import constant_drag, standard_air
from fieldtune.physics.flight import fly
from fieldtune.physics.flying_body import Body, ball
from fieldtune.physics.required_speed import needed_speed

AIR = standard_air(0.0)
FOAM = ball(0.04, 0.058, AIR)
VACUUM = Body(1.0, 0.1, 0.01, 0.0, 1.8e-5, constant_drag(0.5))


def test_closed_form_without_air():
    """v^2 = g D^2 / (2 cos^2(a) (D tan a - H)) (closed form), exact to rounding."""
    distance, rise, angle = np.meshgrid([1.0, 3.0, 9.0], [-0.5, 0.4], [0.6, 1.2])
    need = needed_speed(VACUUM, distance, rise, angle)
    exact = np.sqrt(VACUUM.gravity * distance**2 / (2 * np.cos(angle) ** 2 * (distance * np.tan(angle) - rise)))
    np.testing.assert_allclose(need.speed, exact.ravel(), rtol=1e-14)


def test_a_table_of_distances_hits_its_target():
    distance = np.linspace(1.2, 6.0, 64)
    for spin in (0.0, 0.3, -0.3):
        need = needed_speed(FOAM, distance, 0.57, math.radians(52), spin)
        there = fly(FOAM, need.speed, math.radians(52), spin, distance)
        np.testing.assert_allclose(there.height, 0.57, atol=5e-6)
        np.testing.assert_allclose(need.slope, there.slope, rtol=1e-5)
        np.testing.assert_allclose(need.apex, there.apex, atol=5e-6)


def test_derivatives_are_those_of_the_solution():
    """Central differences over 1 cm: their own error is some 1e-4 of the derivative."""
    angle, step = math.radians(50), 0.01
    here = needed_speed(FOAM, [2.0, 4.0], 0.5, angle, 0.2)
    far, near = (needed_speed(FOAM, np.array([2.0, 4.0]) + s, 0.5, angle, 0.2) for s in (step, -step))
    high, low = (needed_speed(FOAM, [2.0, 4.0], 0.5 + s, angle, 0.2) for s in (step, -step))
    by_distance = np.log(far.speed / near.speed) / (2 * step)
    by_rise = np.log(high.speed / low.speed) / (2 * step)
    np.testing.assert_allclose(here.d_ln_speed_d_distance, by_distance, rtol=1e-3)
    np.testing.assert_allclose(here.d_ln_speed_d_rise, by_rise, rtol=1e-3)


def test_rising_and_descending_crossings():
    """A near target is crossed on the way up, a far one on the way down: the slope tells."""
    near, far = needed_speed(FOAM, [0.4, 3.0], 0.5, math.radians(60)).slope
    assert near > 0 > far


def test_impossible_targets():
    distance, rise = [1.0, 1.0, -1.0, 1.0, np.nan], [2.0, 1.0, 0.1, 0.5, 0.1]
    need = needed_speed(FOAM, distance, rise, [0.6, math.pi / 4, 0.6, 1.7, 0.6])
    assert np.all(np.isnan(need.speed))
    featherweight = ball(0.03, 0.3, AIR)
    assert np.isnan(needed_speed(featherweight, 20.0, 0.0, math.radians(80)).speed[0])


def test_heavier_than_its_drag():
    """Drag asks for more speed than the parabola, more drag for more."""
    vacuum = needed_speed(VACUUM, 4.0, 0.5, 0.9).speed[0]
    thin, thick = needed_speed(FOAM, 4.0, 0.5, 0.9, 0.0, [0.0, 0.5]).speed
    assert vacuum < thin < thick


def test_strong_lift_still_finds_a_speed():
    """A light ball with strong backspin, where faster is not always farther: what is found does hit."""
    body = replace(ball(0.00156, 0.052, AIR, "seamed"), mass=0.00156, gravity=9.80665)  # no displaced air
    speed, angle = [6.127, 3.642, 5.398], [1.293, 1.377, 1.325]
    spin, distance = [0.3715, 0.4607, 0.9669], [5.8, 8.48, 2.37]
    there = fly(body, speed, angle, spin, distance)
    need = needed_speed(body, distance, there.height, angle, spin)
    back = fly(body, need.speed, angle, spin, distance)
    np.testing.assert_allclose(back.height, there.height, atol=1e-4)


@pytest.mark.parametrize("gravity", [1.62, 9.80665])
def test_gravity_enters(gravity):
    body = replace(FOAM, gravity=gravity)
    need = needed_speed(body, 3.0, 0.4, 0.9)
    assert fly(body, need.speed, 0.9, 0.0, 3.0).height[0] == pytest.approx(0.4, abs=1e-6)
