"""Sliding against closed forms and an independent integration."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from fieldtune.physics import rolling, sliding
from fieldtune.physics.rolling import Ground


def test_gravity_enters():
    """A curling stone, 1.2 m/s on ice of 0.010 (invented): 1.44/(2 0.010 9.8) = 7.347 m (closed form)."""
    assert float(sliding.stop_distance(1.2, 0.010, gravity=9.8)) == pytest.approx(7.35, abs=0.005)


def test_stop_distance_and_time():
    """v^2 / (2 mu g) and v / (mu g) at 3 m/s, mu 0.2 (closed form, last digit)."""
    assert float(sliding.stop_distance(3.0, 0.2)) == pytest.approx(2.294361479, abs=1e-9)
    assert float(sliding.stop_time(3.0, 0.2)) == pytest.approx(1.529574319, abs=1e-9)


def test_with_air_drag():
    """ln(1 + c v^2/(mu g))/(2 c) and atan(v sqrt(c/(mu g)))/sqrt(c mu g) (closed form, last digit)."""
    speed, friction, drag = np.array([5.0, 6.0]), np.array([0.1, 0.05]), np.array([0.02, 0.1])
    stop = sliding.stop_distance(speed, friction, 0.0, drag)
    np.testing.assert_allclose(stop, [10.300391930, 10.606489046], atol=1e-9)
    np.testing.assert_allclose(sliding.stop_time(speed, friction, 0.0, drag), [4.427705685, 5.497090465], atol=1e-9)
    left = sliding.speed_at(speed, stop / 2, friction, 0.0, drag)
    np.testing.assert_allclose(left, [3.349176812, 3.042807394], atol=1e-9)
    np.testing.assert_allclose(sliding.time_to(speed, stop, friction, 0.0, drag), [4.427705685, 5.497090465], atol=1e-6)


def test_ball_slides_then_rolls():
    """Solid sphere without spin: rolls at 5/7 v after 2 v/(7 mu g), 12 v^2/(49 mu g) (closed form, last digit)."""
    speed, friction = np.array([2.0, 5.0]), np.array([0.2, 0.1])
    begin = rolling.rolling_start(speed, Ground(friction))
    np.testing.assert_allclose(begin.speed, 5 / 7 * speed, rtol=1e-14)
    np.testing.assert_allclose(begin.time, [0.291347489, 1.456737447], atol=1e-9)
    np.testing.assert_allclose(begin.distance, [0.499452839, 6.243160488], atol=1e-9)


def test_ball_never_stops_without_rolling_resistance():
    assert np.isinf(rolling.roll_stop_distance(2.0, Ground(0.2)))
    assert np.isfinite(rolling.roll_stop_distance(2.0, Ground(0.2, 0.02)))


def test_ball_needed_speed_is_the_inverse():
    speed = np.array([0.5, 1.0, 2.0, 4.0])
    floor = Ground(0.3, 0.02, 0.01, drag=0.005)
    stop = rolling.roll_stop_distance(speed, floor)
    np.testing.assert_allclose(rolling.roll_needed_speed(stop, floor), speed, rtol=1e-9)


def test_ball_against_an_integration():
    """Coulomb friction turning the ball, then rolling with 7/5 of its mass: stepped by scipy at 1e-10."""
    speed, friction, rolls_by, slope, drag, g = 3.0, 0.25, 0.03, 0.02, 0.02, 9.80665

    def sliding(_, state):
        air = drag * state[1] * abs(state[1])
        slowing = g * (friction * math.cos(slope) + math.sin(slope)) + air
        return (state[1], -slowing, 2.5 * friction * g * math.cos(slope))

    def grips(_, state):
        return state[1] - state[2]

    def rolls(_, state):
        v = state[1]
        return (v, -5 / 7 * (g * (rolls_by * math.cos(slope) + math.sin(slope)) + drag * v * v))

    grips.terminal = True
    first = solve_ivp(sliding, (0, 10), [0.0, speed, 0.0], rtol=1e-10, atol=1e-12, events=grips)
    rest = solve_ivp(rolls, (0, 1.0), first.y_events[0][0][:2], rtol=1e-10, atol=1e-12)
    distance, left, time = rest.y[0, -1], rest.y[1, -1], first.t_events[0][0] + 1.0
    floor = Ground(friction, rolls_by, slope, drag=drag)
    assert float(rolling.roll_speed_at(speed, distance, floor)) == pytest.approx(left, rel=1e-6)
    # While it slides, v^2 is taken to fall in a straight line with the distance.
    assert float(rolling.roll_time_to(speed, distance, floor)) == pytest.approx(time, rel=1e-4)


def test_downhill_never_stops():
    assert np.isinf(sliding.stop_distance(1.0, 0.1, -0.2))
    assert np.isinf(sliding.stop_time(1.0, 0.1, -0.2))
    assert np.isnan(sliding.needed_speed(1.0, 0.1, -0.2))
    assert float(sliding.stop_distance(1.0, 0.1, 0.2)) < float(sliding.stop_distance(1.0, 0.1))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(0.1, 15), st.floats(0.01, 1.2), st.floats(-0.2, 0.3), st.floats(0, 0.5), st.floats(0.02, 0.95))
def test_against_an_integration(speed, friction, slope, drag, share):
    """scipy DOP853 at 1e-12 over distance for speed and time; its own error is some 1e-9 of the figures."""
    stop = float(sliding.stop_distance(speed, friction, slope, drag))
    distance = share * min(stop, 20.0)
    slowing = 9.80665 * (friction * math.cos(slope) + math.sin(slope))

    def motion(_, state):
        v = state[0]
        return (-(slowing + drag * v * v) / v, 1 / v)

    end = solve_ivp(motion, (0, distance), [speed, 0.0], "DOP853", rtol=1e-12, atol=1e-13).y[:, -1]
    assert float(sliding.speed_at(speed, distance, friction, slope, drag)) == pytest.approx(end[0], rel=1e-7)
    assert float(sliding.time_to(speed, distance, friction, slope, drag)) == pytest.approx(end[1], rel=1e-7)


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.floats(0.05, 20), st.floats(0.02, 1.2), st.floats(-0.01, 0.3), st.floats(0, 0.5), st.floats(0, 3))
def test_needed_speed_is_the_inverse(distance, friction, slope, drag, left):
    speed = sliding.needed_speed(distance, friction, slope, drag)
    assert float(sliding.stop_distance(speed, friction, slope, drag)) == pytest.approx(distance, rel=1e-9)
    passing = sliding.needed_speed(distance, friction, slope, drag, speed_left=left)
    # The square of the speed left is a difference of squares: rounding of 1e-14 of them is 1e-7 of the speed.
    slack = 1e-6 + 2e-7 * float(passing)
    assert float(sliding.speed_at(passing, distance, friction, slope, drag)) == pytest.approx(left, rel=1e-6, abs=slack)


def test_stopped_before_is_nan():
    assert np.isnan(sliding.speed_at(1.0, 5.0, 0.3))
    assert np.isnan(sliding.time_to(1.0, 5.0, 0.3))
    assert float(sliding.speed_at(1.0, sliding.stop_distance(1.0, 0.3), 0.3)) == 0.0
