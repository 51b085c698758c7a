"""Motion worked out on paper or by other means: flights in closed form, slopes, rolling, blows, springs, arms."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.special import lambertw

from fieldtune.physics import rolling, sliding, springs
from fieldtune.physics.air import DragLaw, constant_drag
from fieldtune.physics.flight import fly
from fieldtune.physics.flying_body import Body
from fieldtune.physics.required_speed import needed_speed
from fieldtune.physics.rolling import Ground

G = 9.80665


@settings(max_examples=40, deadline=None, derandomize=True)
@given(st.floats(2, 30), st.floats(0.1, 1.4), st.floats(0.5, 20))
def test_linear_drag_with_lamberts_function(speed, angle, tau):
    """Range with drag proportional to speed: T = tau (a + W0(-a e^-a)), a = 1 + v sin/(g tau), and from it
    R = v cos tau (1 - e^(-T/tau)) (Packel & Yuen, Coll. Math. J. 35 (2004) 337)."""
    a = 1 + speed * math.sin(angle) / (G * tau)
    time = tau * (a + lambertw(-a * math.exp(-a)).real)
    reach = speed * math.cos(angle) * tau * -math.expm1(-time / tau)
    body = Body(1.0, 1.0, 1.0, 1.0, 1e-4, DragLaw("linear", lambda re: 2e4 / tau / np.asarray(re), 0.0))
    there = fly(body, speed, angle, 0.0, reach)
    assert there.height[0] == pytest.approx(0.0, abs=2e-4)
    assert there.time[0] == pytest.approx(time, abs=1e-4)


@pytest.mark.parametrize("angle", [0.3, 0.8, 1.2])
def test_thin_air_by_first_order(angle):
    """Perturbation of the parabola by a = -k v v: over the flight time T the path is short by the double integrals of
    k v vx and k v vy (closed form), summed here by 40 Gauss points. What is left is of second order, (k R)^2."""
    k, v = 2e-4, 12.0
    vx, vy, span = v * math.cos(angle), v * math.sin(angle), 2 * v * math.sin(angle) / G
    nodes, weights = np.polynomial.legendre.leggauss(40)
    t = span * (nodes + 1) / 2
    w = weights * span / 2
    fast = np.hypot(vx, vy - G * t)
    behind = float(np.sum(w * (span - t) * k * fast * vx))
    below = float(np.sum(w * (span - t) * k * fast * (vy - G * t)))
    body = Body(0.5, 0.1, 1.0, 1.0, 1.8e-5, constant_drag(k))
    height = float(fly(body, v, angle, 0.0, vx * span).height[0])
    assert height == pytest.approx(-below - math.tan(angle) * behind, rel=0.02)


def test_needed_speed_up_and_down_a_hill():
    """v^2 = g D^2 / (2 cos^2(a) (D tan(a) - H)) (closed form) from far below to far above, downward exits included."""
    body = Body(1.0, 0.1, 0.01, 0.0, 1.8e-5, constant_drag(0.5))
    for degrees, rise in ((-20, -3.0), (-20, -1.5), (0, -0.5), (30, -10.0), (60, 5.0), (85, 20.0)):
        angle = math.radians(degrees)
        drop = 4.0 * math.tan(angle) - rise
        exact = math.sqrt(G * 16 / (2 * drop)) / math.cos(angle) if drop > 0 else math.nan
        assert needed_speed(body, 4.0, rise, angle).speed[0] == pytest.approx(exact, rel=1e-12, nan_ok=True)


# -- sliding and rolling ----------------------------------------------------------------------------------------------


def test_coasting_down_by_drag_alone():
    """Fox & McDonald, Ex. 9.7: 1600 lbf, 270 to 100 mph, C_D 1.42 on 25 ft^2, 0.00238 slug/ft^3: 5.05 s, printed
    digits; t = 2 m/(C rho A) (1/v2 - 1/v1)."""
    mass, fast, slow = 1600 / 32.2, 270 * 5280 / 3600, 100 * 5280 / 3600
    per_foot = 1.42 * 0.00238 * 25 / (2 * mass)
    way = math.log(fast / slow) / per_foot
    assert float(sliding.speed_at(fast, way, 0.0, 0.0, per_foot)) == pytest.approx(slow, rel=1e-12)
    assert float(sliding.time_to(fast, way, 0.0, 0.0, per_foot)) == pytest.approx(5.05, abs=0.005)


def test_falling_with_drag_is_a_slide_down_a_wall():
    """v = vt tanh(g t/vt), y = (vt^2/g) ln cosh(g t/vt) (closed form), 0.145 kg, 74 mm, C_D 0.5, 1.225 kg/m^3."""
    drag = 1.225 * 0.5 * math.pi * 0.037**2 / (2 * 0.145)
    wall = (0.0, -math.pi / 2, drag)
    assert math.sqrt(G / drag) == pytest.approx(32.857130283, abs=5e-10)
    np.testing.assert_allclose(
        sliding.speed_at(0.0, [4.832210507, 18.548465229], *wall), [9.525471377, 17.573935208], atol=2e-9
    )
    np.testing.assert_allclose(sliding.time_to(0.0, [4.832210507, 18.548465229], *wall), [1.0, 2.0], atol=2e-9)
    assert float(sliding.speed_at(0.0, 10.0, *wall)) == pytest.approx(13.392107799, abs=5e-10)


@pytest.mark.parametrize("degrees", [-35.0, -10.0, 0.0, 12.0, 30.0])
@pytest.mark.parametrize("friction", [0.06, 0.3, 0.8])
def test_slowing_by_vectors_of_force(degrees, friction):
    """Weight, the board's push square to it and friction along it, added up as vectors (closed form); a negative tilt
    goes down."""
    along = np.array([math.cos(math.radians(degrees)), math.sin(math.radians(degrees))])
    square = np.array([-along[1], along[0]])
    weight = np.array([0.0, -G])
    push = -(weight @ square) * square
    total = weight + push - friction * np.linalg.norm(push) * along
    assert float(total @ square) == pytest.approx(0.0, abs=1e-12)
    assert float(sliding.slowing(friction, math.radians(degrees))) == pytest.approx(-float(total @ along), rel=1e-12)


def test_a_board_tilted_to_its_friction_keeps_a_sliding_body_going():
    """Steel on steel 0.57, rubber on concrete 0.8 (Serway & Beichner, Physics, 5th ed., table 5.2): 29.68 and 38.66
    deg. A degree steeper it never stops, a degree flatter it does."""
    for friction, degrees in ((0.57, 29.683), (0.8, 38.660)):
        tilt = math.radians(degrees)
        assert float(sliding.slowing(friction, -tilt)) == pytest.approx(0.0, abs=2e-4)
        assert np.isinf(sliding.stop_distance(2.0, friction, -tilt - math.radians(1)))
        assert np.isfinite(sliding.stop_distance(2.0, friction, -tilt + math.radians(1)))


def test_down_a_slope_from_rest():
    """t = sqrt(2 s / g (sin - mu cos)) (closed form)."""
    time = float(sliding.time_to(0.0, 3.0, 0.2, -0.5))
    assert time == pytest.approx(math.sqrt(6 / (G * (math.sin(0.5) - 0.2 * math.cos(0.5)))), rel=1e-12)


@pytest.mark.parametrize(
    ("alpha", "share"),
    [(2 / 5, 5 / 7), (2 / 3, 3 / 5), (1 / 2, 2 / 3), (1.0, 1 / 2)],
    ids=["ball", "shell", "disc", "hoop"],
)
def test_sliding_into_rolling(alpha, share):
    """Starts rolling at v/(1 + alpha) after v/(mu g (1 + 1/alpha)), by impulse and angular impulse of friction
    (closed form); rolls down a slope in sqrt(2 s (1 + alpha)/(g sin)); backspin w R leaves (v - alpha w R)/(1 +
    alpha)."""
    begin = rolling.rolling_start(3.0, Ground(0.3, inertia=alpha))
    time = 3.0 / (0.3 * G * (1 + 1 / alpha))
    assert float(begin.speed) == pytest.approx(share * 3.0, rel=1e-14)
    assert float(begin.time) == pytest.approx(time, rel=1e-14)
    assert float(begin.distance) == pytest.approx((3.0 + share * 3.0) / 2 * time, rel=1e-14)
    down = float(rolling.roll_time_to(0.0, 2.0, Ground(0.8, slope=-0.2, inertia=alpha)))
    assert down == pytest.approx(math.sqrt(4 * (1 + alpha) / (G * math.sin(0.2))), rel=1e-12)
    for spin in (1.0, -5.0, 12.0):
        spun = rolling.rolling_start(3.0, Ground(0.3, inertia=alpha), spin)
        assert float(spun.speed) == pytest.approx((3.0 - alpha * spin) / (1 + alpha), rel=1e-13)


# -- blows, springs, arms ---------------------------------------------------------------------------------------------


def test_ballistic_pendulum():
    """Halliday & Resnick, Fundamentals of Physics (from memory): 9.5 g into 5.4 kg, up by 6.3 cm: 630 m/s, printed
    digits."""
    share = float(springs.collide(0.0095, 1.0, 5.4, 0.0, 0.0).first)
    assert math.sqrt(2 * 9.8 * 0.063) / share == pytest.approx(630, abs=5)


@pytest.mark.parametrize(("heavy", "tolerance"), [(10.0, 0.002), (3.0, 0.01), (1.0, 0.03)])
def test_a_third_of_a_spring_moves_with_its_load(heavy, tolerance):
    """A spring of 400 masses, one end held, let go evenly stretched: the load passes the natural length with
    sqrt(2 E/(M + m/3)), for M/m = 10, 3 and 1 as near as the wave that runs in the spring allows."""
    count, stretch = 400, 0.1
    masses = np.full(count, 1.0 / count)
    masses[-1] += heavy
    rate = 1.0 * count  # of each piece; 1 N/m of the whole, which weighs 1 kg

    def motion(_, q):
        x, v = q[:count], q[count:]
        pull = rate * np.diff(np.concatenate([[0.0], x]))
        return np.concatenate([v, (np.concatenate([pull[1:], [0.0]]) - pull) / masses])

    def arrives(_, q):
        return q[count - 1]

    arrives.terminal = True
    start = np.concatenate([stretch * np.arange(1, count + 1) / count, np.zeros(count)])
    run = solve_ivp(motion, (0, 20), start, "DOP853", rtol=1e-7, atol=1e-9, events=arrives)
    moving = heavy + float(springs.effective_mass(1.0))
    expected = math.sqrt(2 * float(springs.spring_energy(1.0, stretch)) / moving)
    assert -run.y_events[0][0][-1] == pytest.approx(expected, rel=tolerance)


def test_a_falling_rod():
    """Hinged at its foot, let go upright: its tip passes the level of the hinge at sqrt(3 g L) (closed form)."""
    length, mass = 0.4, 0.3
    speed = springs.exit_speed(
        length * math.pi / 2, arm_length=length, arm_inertia=mass * length**2 / 3, element_mass=0.0,
        release_angle=math.pi, spring_rate=None, torque=0.0, arm_moment=mass * length / 2,
    )  # fmt: skip
    assert float(speed) == pytest.approx(math.sqrt(3 * G * length), rel=1e-12)


@pytest.mark.parametrize("driven", ["spring", "torque"])
def test_a_swinging_arm_follows_newtons_law(driven):
    """The arm's equation of motion over time, (I + m L^2) a = moment - weight, against the energy balance: 1e-8."""
    length, inertia, mass, moment, up, draw = 0.35, 0.006, 0.06, 0.025, math.radians(50), 0.30
    pull = (lambda s: 300 * s + 4.0) if driven == "spring" else (lambda s: 2.5 / length)

    def motion(_, q):
        left = (up - q[0]) * length
        weight = G * (mass * length + moment) * math.cos(q[0])
        return (q[1], (0.8 * pull(left) * length - weight) / (inertia + mass * length**2))

    def lets_go(_, q):
        return q[0] - up

    lets_go.terminal = True
    run = solve_ivp(motion, (0, 5), (up - draw / length, 0.0), "DOP853", rtol=1e-11, atol=1e-12, events=lets_go)
    speed = springs.exit_speed(
        draw, arm_length=length, arm_inertia=inertia, element_mass=mass, release_angle=up, efficiency=0.8,
        spring_rate=300.0 if driven == "spring" else None, torque=None if driven == "spring" else 2.5,
        preload=4.0 if driven == "spring" else 0.0, arm_moment=moment,
    )  # fmt: skip
    assert float(speed) == pytest.approx(run.y_events[0][0][1] * length, rel=1e-8)
