"""The references themselves, against published values: they have to be right before they judge the program."""

from __future__ import annotations

import math

import numpy as np
import pytest
from reference_laws import Flyer, air_density, air_viscosity, always, brown_lawler, soccer
from reference_monte_carlo import hit_chance, ring_gap
from reference_paths import Floor, Launches, fall_time, run_out
from scipy.integrate import solve_ivp

G = 9.80665
NO_LIFT = always(0.0)


def one(flyer: Flyer, speed: float, degrees: float, azimuth: float = 0.0, spin: float = 0.0) -> Launches:
    array = [np.array([x]) for x in (speed, math.radians(degrees), azimuth, spin, 1.0)]
    return Launches.of(flyer, *array)


def landed(launch: Launches, level: float = 0.0) -> tuple[np.ndarray, float]:
    """State (6,) and time (s) where a launch comes down to a level."""
    state, time = launch.until(lambda q, lanes: q[1] - level, fall_time(launch, level), -1e3)
    return state[:, 0], float(time[0])


def apex(launch: Launches) -> np.ndarray:
    return launch.until(lambda q, lanes: q[4], fall_time(launch, 0.0) / 2, -1e3)[0][:, 0]


@pytest.mark.parametrize(
    ("state", "density"),
    [((20, 101325, 0), 1.204557), ((20, 101325, 0.5), 1.199314), ((20, 75000, 0.5), 0.886277),
     ((25, 90000, 0.3), 1.047702), ((15, 110000, 0.8), 1.324273), ((27, 101325, 0.6), 1.167021)],
)  # fmt: skip
def test_air_density(state: tuple[float, float, float], density: float):
    """CIPM-2007 (Picard et al., Metrologia 45 (2008) 149), evaluated once more elsewhere."""
    assert air_density(state[0] + 273.15, state[1], state[2]) == pytest.approx(density, abs=1e-6)


@pytest.mark.parametrize("celsius", [-10, 0, 10, 20, 30, 40])
@pytest.mark.parametrize("humidity", [0.0, 0.5, 1.0])
def test_air_against_another_library(celsius: float, humidity: float):
    """Moist air of CoolProp 8 (after Herrmann, Kretzschmar & Gatley 2009): its Vha is a kilogram of humid air's."""
    from CoolProp.HumidAirProp import HAPropsSI  # takes seconds, which no other process is to spend

    t = celsius + 273.15
    density = 1 / HAPropsSI("Vha", "T", t, "P", 90e3, "R", humidity)
    assert air_density(t, 90e3, humidity) == pytest.approx(density, rel=3e-4)
    assert air_viscosity(t) == pytest.approx(HAPropsSI("mu", "T", t, "P", 90e3, "R", humidity), rel=0.025)


def test_drag_of_a_smooth_sphere():
    """Brown & Lawler, J. Environ. Eng. 129 (2003) 222, eq. 19, evaluated elsewhere."""
    re = np.array([0.1, 1, 10, 100, 200, 1000, 1e4, 1e5])
    given = [247.504, 27.6001, 4.12751, 1.07314, 0.79330, 0.46338, 0.41061, 0.46611]
    np.testing.assert_allclose(brown_lawler(re), given, rtol=2e-5)


def test_drag_of_a_seamed_ball():
    """Goff & Carre, Eur. J. Phys. 31 (2010) 775, eq. (3)."""
    given = [0.49958, 0.44632, 0.32800, 0.19121, 0.15588, 0.15500]
    np.testing.assert_allclose(soccer(np.array([5, 10, 12.19, 15, 20, 30])), given, atol=6e-6)


def test_range_with_quadratic_drag():
    """20 m/s at 45 degrees, k = 0.01 1/m: the hodograph's quadrature, exact to 1e-9 (textbook)."""
    launch = one(Flyer(0.01, 1.0, always(1.0), NO_LIFT), 20.0, 45.0)
    end, time = landed(launch)
    assert (time, end[0]) == (pytest.approx(2.674140542, abs=1e-6), pytest.approx(31.331266419, abs=1e-5))
    assert math.hypot(end[3], end[4]) == pytest.approx(15.716663770, abs=1e-5)
    assert math.degrees(math.atan2(end[4], end[3])) == pytest.approx(-51.584144037, abs=1e-5)
    top = apex(launch)
    assert (top[1], top[3]) == (pytest.approx(8.785330753, abs=1e-6), pytest.approx(11.671506088, abs=1e-5))


@pytest.mark.parametrize(
    ("speed", "degrees", "tau", "time", "reach", "height"),
    [(20, 45, 2, 2.411089521, 19.812317885, 6.986833964), (10, 60, 1, 1.434465205, 3.808786295, 2.453434690),
     (30, 35, 5, 3.175435985, 57.763823413, 12.291911421)],
)  # fmt: skip
def test_range_with_linear_drag(speed: float, degrees: float, tau: float, time: float, reach: float, height: float):
    """Lambert's W (Packel & Yuen, Coll. Math. J. 35 (2004) 337): a drag coefficient of 1 / Re is linear drag."""
    launch = one(Flyer(1 / tau, 1.0, lambda re: 1 / re, NO_LIFT), speed, degrees)
    end, fell = landed(launch)
    assert (fell, end[0]) == (pytest.approx(time, abs=1e-5), pytest.approx(reach, abs=1e-5))
    assert apex(launch)[1] == pytest.approx(height, abs=1e-5)


def test_rise_and_fall_with_drag():
    """Straight up at 50 m/s with a = -(9.81 + 0.001 v^2): 113.5 m (Hibbeler & Gupta, Ex. 13.2 p. 536)."""
    launch = one(Flyer(0.001, 1.0, always(1.0), NO_LIFT, fall=9.81), 50.0, 90.0)
    assert apex(launch)[1] == pytest.approx(math.log(1 + 0.001 * 2500 / 9.81) / 0.002, abs=1e-5)
    # Falling: y = (vt^2 / g) ln cosh(g t / vt) (textbook): a ball of 145 g and 74 mm, C_D 0.5, 1.225 kg/m^3.
    falling = one(Flyer(1.225 * math.pi * 0.074**2 / 4 / (2 * 0.145), 1.0, always(0.5), NO_LIFT), 1e-9, 0.0)
    end, time = landed(falling, -18.548465229)
    assert (time, -end[4]) == (pytest.approx(2.0, abs=1e-6), pytest.approx(17.573935208, abs=1e-5))


def test_height_at_a_wall():
    """10 m/s at 30 degrees from 1 m, wall at 8 m: 1.433 m up (Hibbeler & Gupta, Ex. 12.12 p. 478)."""
    launch = one(Flyer(0.0, 1.0, NO_LIFT, NO_LIFT, fall=9.81), 10.0, 30.0)
    there, _ = launch.until(lambda q, lanes: 8.0 - q[0], np.ones(1), -10.0)
    assert there[1, 0] + 1 == pytest.approx(1.433, abs=5e-4)


@pytest.mark.parametrize(
    ("far", "high", "speed", "degrees", "entry"),
    [(4.191, 0.9144, 7.143790188, 51.154007909, 38.845992091), (3, 1.5, 6.899454982, 58.282525589, 31.717474411)],
)
def test_slowest_throw_to_a_hoop(far: float, high: float, speed: float, degrees: float, entry: float):
    """v^2 = g (H + sqrt(L^2 + H^2)) (Brancazio, Am. J. Phys. 49 (1981) 356)."""
    end, _ = landed(one(Flyer(0.0, 1.0, NO_LIFT, NO_LIFT), speed, degrees), high)
    assert end[0] == pytest.approx(far, abs=1e-6)
    assert math.degrees(math.atan2(-end[4], end[3])) == pytest.approx(entry, abs=1e-5)


@pytest.mark.parametrize(("spin", "radius"), [(-25.13, 38.3), (0.0, 63.7)])
def test_topspin_bends_a_felt_ball(spin: float, radius: float):
    """57 g, 64 mm, 25 m/s, 7500 rpm, C_L 0.3 (Fox & McDonald, Introduction to Fluid Mechanics, Ex. 9.9 p. 462)."""
    ball = Flyer(1.23 * math.pi * 0.064**2 / 4 / (2 * 0.057), 1.0, always(0.5), lambda s: 0.3 * np.sign(s), fall=9.81)
    launch = one(ball, 25.0, 0.0, spin=spin)
    assert 25.0**2 / -launch.acceleration(launch.state[3:])[1, 0] == pytest.approx(radius, abs=0.1)


def test_a_path_turned_aside_is_the_same_path():
    spinning = Flyer(0.05, 5e4, always(0.5), lambda s: s / (0.4 + 2.32 * np.abs(s)))
    straight, aside = (landed(one(spinning, 12.0, 50.0, azimuth, 6.0))[0] for azimuth in (0.0, 0.3))
    assert math.hypot(aside[0], aside[2]) == pytest.approx(straight[0], abs=1e-9)
    assert math.atan2(aside[2], aside[0]) == pytest.approx(0.3, abs=1e-12)


@pytest.mark.parametrize(("degrees", "margin"), [(90, 4.25), (55, 2.62), (45, 1.61)])
def test_room_in_a_hoop(degrees: float, margin: float):
    """(18 in sin(entry) - 9.5 in) / 2, square to the path (Brancazio, Am. J. Phys. 49 (1981) 356)."""
    inch, entry = 0.0254, math.radians(degrees)
    off = np.array([-1.0, 0.0, 1.0]) * (18 * inch / 2 - 9.5 * inch / 2 / math.sin(entry))
    place = np.stack([off, 0 * off, 0 * off])
    velocity = np.tile(np.array([[5 * math.cos(entry)], [-5 * math.sin(entry)], [0.0]]), 3)
    gaps = ring_gap(place, velocity, 0 * velocity, 9 * inch)
    np.testing.assert_allclose(gaps[[0, 2]], 9.5 * inch / 2, atol=1e-5)
    assert gaps[1] - 9.5 * inch / 2 == pytest.approx(margin * inch, abs=0.006 * inch)


def test_flattest_entry_into_a_hoop():
    """Ball of 29.875 in around, 18 in ring: 31.9 degrees (quoting Geschwindner; asin of the diameters' ratio)."""
    for degrees, passes in ((31.85, False), (31.95, True)):
        entry = math.radians(degrees)
        velocity = np.array([[math.cos(entry)], [-math.sin(entry)], [0.0]])
        gap = ring_gap(np.zeros((3, 1)), velocity, 0 * velocity, 9.0)
        assert (gap[0] > 29.875 / math.pi / 2) == passes


def test_sliding_to_rest():
    """v^2 / (2 mu g); with drag ln(1 + c v^2 / (mu g)) / (2 c) (textbook)."""
    mu, drag, v = np.array([0.2, 0.1, 0.05]), (1e-12, 0.02, 0.1), (3.0, 5.0, 6.0)
    for i, stop in enumerate((2.294361479, 10.300391930, 10.606489046)):
        floor = Floor(mu[i : i + 1], mu[i : i + 1], 0.0, 0.0, drag[i], 0.0)
        assert run_out(floor, np.array([v[i]]), np.zeros(1))[0][0] == pytest.approx(stop, abs=1e-7)


def test_a_ball_slides_and_then_rolls():
    """12 v^2 / (49 mu g) sliding, then 5/7 of the speed (textbook); it rolls on against crr over (1 + 2/5) m."""
    for mu, v, slid in ((0.2, 2.0, 0.499452839), (0.1, 5.0, 6.243160488)):
        floor = Floor(np.array([mu]), np.array([0.02]), 0.0, 0.0, 1e-12, 0.4)
        rolled = 1.4 * (5 / 7 * v) ** 2 / (2 * 0.02 * G)
        assert run_out(floor, np.array([v]), np.zeros(1))[0][0] == pytest.approx(slid + rolled, rel=1e-6)


def test_a_ball_with_backspin_slides_in_air():
    """Against scipy's DOP853 at 1e-10, event and all: slip ends where speed and surface speed cancel."""
    mu, c, share, v, spin, crr = 0.3, 0.03, 2 / 3, 9.0, 4.0, 0.05

    def slides(_: float, q: np.ndarray) -> list[float]:
        return [q[1], -mu * G - c * q[1] ** 2, -mu * G / share]

    def grips(_: float, q: np.ndarray) -> float:
        return float(q[1] + q[2])

    grips.terminal = True
    x, left, _ = solve_ivp(slides, (0, 20), [0.0, v, spin], "DOP853", rtol=1e-10, atol=1e-12, events=grips).y[:, -1]
    rolled = (1 + share) * math.log(1 + c * left**2 / (crr * G)) / (2 * c)
    found = run_out(Floor(np.array([mu]), np.array([crr]), 0.0, 0.0, c, share), np.array([v]), np.array([spin]))
    assert found[0][0] == pytest.approx(x + rolled, abs=1e-3)


def test_hit_chance_of_putts():
    """p = 2 Phi(asin((R - r) / x) / s) - 1 with s = 1.5267 degrees: Gelman & Nolan, Teaching Statistics 24 (2002) 93.

    A gate of a hole's width that every ball reaches; feet. A hole's edge lies on a circle, a gate's square to the way.
    """
    foot = 0.3048
    ball = {"shape": "sphere", "mass": 0.046, "diameter": 2 * 1.68 / 24 * foot, "surface": "dimpled", "drag": None}
    wheels = {"wheels": 2, "wheel_diameter": 0.1, "grip": 1.0, "speed_ratio": 1.0}
    of = {
        "element": ball | {"lift": None},
        "launcher": {"kind": "flywheel", "exit_angle": 0.0, "exit_height": ball["diameter"] / 2, "flywheel": wheels},
        "setpoint": {"unit": "rpm"},
        "floor": {"friction": 0.3, "rolling": 0.03, "slope": 0.0, "restitution": 0.5},
        "air": {"temperature": 288.15, "pressure": 101325.0, "humidity": 0.0},
        "uncertainty": {"grip": 0.0, "efficiency": 0.0, "exit_angle": 0.0, "drag": 0.0, "friction": 0.0,
                        "distance": 0.0, "exit_speed_scatter": 0.0, "exit_angle_scatter": 0.0,
                        "side_scatter": 0.0266454417},
    }  # fmt: skip
    hole = {"kind": "gate", "height": 0.0, "opening": (2 * 4.25 / 24 * foot,), "clearance": 0.0}
    for feet, chance in ((2, 0.955608), (5, 0.578503), (10, 0.312235), (20, 0.159256), (50, 0.064062)):
        found, error = hit_chance(of, hole, feet * foot, 3000.0)
        assert abs(found - chance) < 1e-3 + 3 * error
