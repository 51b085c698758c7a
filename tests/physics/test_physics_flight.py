"""Flight against worked examples and closed forms."""

import math

import numpy as np
import pytest

from fieldtune.physics.air import DragLaw, constant_drag, standard_air
from fieldtune.physics.flight import fly, path
from fieldtune.physics.flying_body import Body, ball
from fieldtune.physics.required_speed import needed_speed

AIR = standard_air(0.0)


def vacuum(gravity=9.80665):
    return Body(1.0, 0.1, 0.01, 0.0, 1.8e-5, constant_drag(0.5), gravity=gravity)


def quadratic(per_metre, gravity=9.80665):
    """A body that loses ``per_metre`` of its speed a metre."""
    return Body(0.5, 0.1, 1.0, 1.0, 1.8e-5, constant_drag(per_metre), gravity=gravity)


def test_horizontal_launch():
    """Hibbeler & Gupta, Engineering Mechanics, Ex. 12.11: 12 m/s, 6 m drop: 1.11 s, 13.3 m (printed digits)."""
    there = fly(vacuum(9.81), 12.0, 0.0, 0.0, 13.272)
    assert there.height[0] == pytest.approx(-6.0, abs=0.005)
    assert there.time[0] == pytest.approx(1.11, abs=0.005)


def test_height_at_a_wall():
    """Ex. 12.12: 10 m/s at 30 deg from 1 m, wall 8 m away: 1.433 m. D = v t cos a, h = 1 + 8 tan 30 - 9.81/2
    (8/8.66)^2.
    """
    assert 1 + fly(vacuum(9.81), 10.0, math.radians(30), 0.0, 8.0).height[0] == pytest.approx(1.433, abs=5e-4)


def test_speed_from_flight_time():
    """Ex. 12.13: 30 deg, landing 1 m lower after 1.5 s: 13.38 m/s, 17.4 m, apex 3.28 m above the landing."""
    need = needed_speed(vacuum(9.81), 17.38, -1.0, math.radians(30))
    assert need.speed[0] == pytest.approx(13.38, abs=0.01)
    assert need.time[0] == pytest.approx(1.5, abs=0.005)
    assert need.apex[0] + 1 == pytest.approx(3.28, abs=0.005)


def test_rise_with_quadratic_drag():
    """Ex. 13.2: straight up at 50 m/s against 9.81 + 0.001 v^2: 113.5 m, 127.4 m without air.

    Ours leaves at 89.9 deg, where it may rise 127 m * (0.1 deg in rad)^2 = 0.4 mm less; both figures to 4 digits.
    """
    steep = math.radians(89.9)
    with_air = fly(quadratic(0.001, 9.81), 50.0, steep, 0.0, 0.4)
    exact = math.log1p(0.001 * 2500 / 9.81) / 0.002
    assert exact == pytest.approx(113.5, abs=0.05)
    assert with_air.slope[0] < 0
    assert with_air.apex[0] == pytest.approx(exact, abs=2e-3)
    assert fly(vacuum(9.81), 50.0, steep, 0.0, 0.6).apex[0] == pytest.approx(127.4, abs=0.05)


@pytest.mark.parametrize(
    ("speed", "degrees", "tau", "time", "reach", "apex"),
    [
        (20.0, 45.0, 2.0, 2.411089521, 19.812317885, 6.986833964),
        (10.0, 60.0, 1.0, 1.434465205, 3.808786295, 2.453434690),
        (30.0, 35.0, 5.0, 3.175435985, 57.763823413, 12.291911421),
    ],
)
def test_linear_drag(speed, degrees, tau, time, reach, apex):
    """Drag proportional to speed has a closed form with Lambert's W (Packel & Yuen, Coll. Math. J. 35 (2004) 337).

    A coefficient proportional to 1/Re makes it. Height: the table is within 1e-7 of 1/Re, over 60 m 6 um, and the
    step's promise is 0.1 mm.
    """
    k, per_speed = 0.5, 1e4
    law = DragLaw("linear", lambda re: per_speed / (k * tau) / np.asarray(re), 0.0)
    body = Body(1.0, 1.0, 1.0, 1.0, 1.0 / per_speed, law)
    there = fly(body, speed, math.radians(degrees), 0.0, reach)
    assert there.height[0] == pytest.approx(0.0, abs=1e-4)
    assert there.time[0] == pytest.approx(time, abs=1e-5)
    assert there.apex[0] == pytest.approx(apex, abs=2e-3)


def test_quadratic_drag_on_level_ground():
    """20 m/s at 45 deg, a = -0.01 v^2: hodograph quadrature and DOP853 at 1e-12 agree to 1e-9 on these (computed)."""
    there = fly(quadratic(0.01), 20.0, math.radians(45), 0.0, 31.331266419)
    assert there.height[0] == pytest.approx(0.0, abs=1e-4)
    assert there.time[0] == pytest.approx(2.674140542, abs=1e-5)
    assert there.apex[0] == pytest.approx(8.785330753, abs=2e-3)
    assert there.speed[0] == pytest.approx(15.716663770, abs=1e-4)
    assert math.degrees(math.atan(there.slope[0])) == pytest.approx(-51.584144037, abs=1e-3)


@pytest.mark.parametrize(
    ("speed", "drop", "degrees", "reach"),
    [
        (10.0, 1.0, 42.438091075, 11.152418561),
        (14.0, 2.1, 42.272009832, 21.986376090),
        (9.0, -1.2192, 49.986075555, 6.934133707),
    ],
)
def test_farthest_angle(speed, drop, degrees, reach):
    """tan(angle) = v / sqrt(v^2 + 2 g h) throws farthest onto a level h below (closed form)."""
    angle = math.radians(degrees)
    there = fly(vacuum(), speed, angle + np.array([-0.01, 0.0, 0.01]), 0.0, reach)
    assert there.height[1] == pytest.approx(-drop, abs=1e-8)
    assert there.height[0] < there.height[1] > there.height[2]


@pytest.mark.parametrize(
    ("length", "rise", "speed", "degrees", "entry"),
    [(4.191, 0.9144, 7.143790188, 51.154007909, 38.845992091), (3.0, 1.5, 6.899454982, 58.282525589, 31.717474411)],
)
def test_slowest_shot(length, rise, speed, degrees, entry):
    """Brancazio, Am. J. Phys. 49 (1981) 356: v^2 = g (H + sqrt(L^2 + H^2)) at 45 deg + half the target's elevation."""
    angles = math.radians(degrees) + np.array([-0.01, 0.0, 0.01])
    need = needed_speed(vacuum(), length, rise, angles)
    assert need.speed[1] == pytest.approx(speed, abs=1e-8)
    assert need.speed[0] > need.speed[1] < need.speed[2]
    assert math.degrees(math.atan(-need.slope[1])) == pytest.approx(entry, abs=1e-6)


def test_magnus_curves_the_right_way():
    """Backspin carries farther up than none, topspin less."""
    body = ball(0.06, 0.067, AIR, "felt")
    up, none, down = fly(body, 12.0, 0.4, [0.3, 0.0, -0.3], 6.0).height
    assert up > none > down


def test_path_is_the_same_flight():
    body = ball(0.04, 0.058, AIR)
    x = np.linspace(0.0, 4.0, 9)
    heights, speeds = path(body, [7.0, 8.0], 0.9, 0.1, x, log_drag=[0.0, 0.3])
    assert heights.shape == speeds.shape == (2, 9)
    there = fly(body, 8.0, 0.9, 0.1, x, 0.3)
    # The same arithmetic in batches of another size: sums may be taken in another order, some tens of ulp.
    np.testing.assert_allclose(heights[1], there.height, rtol=0, atol=1e-13)
    np.testing.assert_allclose(speeds[1], there.speed, rtol=1e-13)
    np.testing.assert_allclose(heights[:, 0], 0.0)
    np.testing.assert_allclose(speeds[:, 0], [7.0, 8.0], rtol=1e-15)


def test_nothing_where_nothing_gets_there():
    body = ball(0.005, 0.1, AIR)
    there = fly(body, [2.0, -1.0, 8.0, np.nan, 8.0], [0.5, 0.5, 0.5, 0.5, 2.0], 0.0, [20.0, 1.0, -1.0, 1.0, 1.0])
    assert np.all(np.isnan(there.height))
    assert fly(body, 5.0, 0.5, 0.0, 0.0).height[0] == 0.0
