"""Needed exit speeds against closed forms and against an integration in time."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from robots import BASKET, DISC, GATE, PLAIN_BALL, WINDOW, ZONE, belief, make_robot
from scipy.integrate import solve_ivp

from fieldtune.aim.element_path import flying_body
from fieldtune.aim.recommend import recommend
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.required_speed.interface import Axis, SplineAxis, Tensor
from fieldtune.physics.required_speed import needed_speed
from fieldtune.robot.model import Basket, Element, Floor, SetpointRange, Target, Uncertainty

G = 9.80665


def vacuum_speed(distance: float, rise: float, angle: float) -> float:
    drop = distance * math.tan(angle) - rise
    return math.sqrt(G * distance**2 / (2 * math.cos(angle) ** 2 * drop))


@pytest.mark.parametrize("distance", [1.2, 2.0, 3.7])
@pytest.mark.parametrize("miss", [0.0, -0.1, 0.2])
def test_without_air_a_basket_needs_the_parabola(distance: float, miss: float) -> None:
    """Closed form of the vacuum parabola; tolerance 1e-12 relative is rounding."""
    of = make_robot(element=PLAIN_BALL)
    point = required_speed_for(of, BASKET).log_speed(distance, miss)
    expected = vacuum_speed(distance + miss, 0.95 - 0.38, math.radians(52))
    assert math.exp(point.value[0]) == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize("target", [BASKET, WINDOW], ids=["basket", "window"])
def test_a_strong_robot_is_aimed_over_the_length_of_a_hall(target: Target) -> None:
    """14 and 15.5 m without air: in the table, as the parabola has it, and recommended."""
    of = make_robot(element=PLAIN_BALL, target=target, setpoint=SetpointRange("rpm", 600, 9000, 10))
    need = required_speed_for(of, target)
    for distance in (14.0, 15.5):
        assert need.d_low < distance < need.d_high
        point = need.log_speed(distance)
        speed = vacuum_speed(distance, target.height - 0.38, math.radians(52))
        assert math.exp(point.value[0]) == pytest.approx(speed, rel=1e-9)
        assert recommend(of, target, belief(of, 0.02), distance).reachable


def test_with_air_the_table_holds_to_its_far_end() -> None:
    """The exact solver at 13 to 15.9 m: 1 mm of speed's worth a metre, two parts in a thousand."""
    of = make_robot(setpoint=SetpointRange("rpm", 600, 9000, 10))
    distances = np.linspace(13.0, 15.9, 12)
    exact = needed_speed(flying_body(of), distances, 0.95 - 0.38, math.radians(52), 0.0)
    assert required_speed_for(of, BASKET).log_speed(distances).value == pytest.approx(np.log(exact.speed), abs=2e-3)


def test_the_slowest_shot_that_reaches_has_the_published_speed_and_entry() -> None:
    """Brancazio, Am. J. Phys. 49 (1981) 356: v^2 = g(H + sqrt(L^2 + H^2)) at 45 deg + atan(H/L)/2."""
    angle = math.radians(51.154007909)
    of = make_robot(element=PLAIN_BALL, target=Basket(0.9144 + 0.38, (0.4572,)))
    launcher = type(of.launcher)(angle, 0.38, of.launcher.mechanism)
    of = type(of)(**{**{f: getattr(of, f) for f in of.__slots__}, "launcher": launcher})
    point = required_speed_for(of, of.targets[0]).log_speed(4.191)
    assert math.exp(point.value[0]) == pytest.approx(7.143790188, abs=1e-8)
    assert math.degrees(math.atan(-point.slope[0])) == pytest.approx(38.845992091, abs=1e-7)
    assert point.d_angle[0] == pytest.approx(0.0, abs=1e-8)


@pytest.mark.parametrize(("entry", "margin_in"), [(90, 4.25), (55, 2.62), (45, 1.61)])
def test_margin_of_a_hoop(entry: float, margin_in: float) -> None:
    """18 in ring, 9.5 in ball: m = (D sin(entry) - d) / 2 (Brancazio 1981, in the Washington Post, 16 Mar 2010).

    ``free`` gives the margin along the floor, m / sin(entry); tolerance is half the last printed digit.
    """
    inch = 0.0254
    basket, ball = Basket(3.048, (18 * inch,)), Element("sphere", 0.6, diameter=9.5 * inch)
    slope = -math.tan(math.radians(entry)) if entry < 90 else -1e9
    half = basket.free(ball, [slope]).high[0]
    assert half * math.sin(math.radians(entry)) / inch == pytest.approx(margin_in, abs=0.006)


def test_flattest_entry_of_a_hoop() -> None:
    """Ball of 29.875 in circumference, ring of 18 in: 31.89 deg (closed form: the sine is ball over ring)."""
    inch = 0.0254
    ball = Element("sphere", 0.6, diameter=29.875 * inch / math.pi)
    angle = Basket(3.048, (18 * inch,)).flattest_entry(ball)
    assert angle is not None
    assert math.degrees(angle) == pytest.approx(31.89, abs=0.005)
    assert np.isnan(Basket(3.048, (18 * inch,)).free(ball, [-math.tan(math.radians(30))]).high[0])


@pytest.mark.parametrize("target", [BASKET, WINDOW])
def test_tabulated_need_is_the_integrated_one(target: Target) -> None:
    """Against scipy's DOP853 (rtol 1e-11) in time, same constant drag, dry air of 15 degC (1.225521 kg/m^3, CIPM-2007).

    A light ball with strong drag; tolerance 1.5 mm, far below the opening: final figures are the exact solver's."""
    cd, ball = 0.9, Element("sphere", 0.02, diameter=0.1, drag=0.9, lift=0.0)
    of = make_robot(element=ball, target=target)
    need = required_speed_for(of, target)
    rng = np.random.default_rng(5)
    displaced = 1.225521 * math.pi / 6 * 0.1**3  # it buoys, and half of it is sped up as well
    moved, weight = 0.02 + displaced / 2, (0.02 - displaced) * G
    k = 1.225521 * cd * math.pi * 0.05**2 / (2 * moved)
    for _ in range(12):
        distance = rng.uniform(max(1.2, need.d_low), min(3.6, need.d_high))
        error, drag = rng.uniform(-0.05, 0.05), rng.uniform(-0.2, 0.2)
        miss = rng.uniform(-0.15, 0.15)
        point = need.log_speed(distance, miss, error, drag)
        speed, angle = math.exp(point.value[0]), math.radians(52) + error

        def motion(_t: float, s: np.ndarray, k: float = k * math.exp(drag)) -> list[float]:
            v = math.hypot(s[2], s[3])
            return [s[2], s[3], -k * v * s[2], -weight / moved - k * v * s[3]]

        aim_x = distance if target.kind == "window" else distance + miss
        aim_y = target.height - 0.38 + (miss if target.kind == "window" else 0.0)

        def there(_t: float, s: np.ndarray, x: float = aim_x) -> float:
            return s[0] - x

        there.terminal = True  # type: ignore[attr-defined]
        start = [0, 0, speed * math.cos(angle), speed * math.sin(angle)]
        flown = solve_ivp(motion, (0, 10), start, "DOP853", events=there, rtol=1e-11, atol=1e-12)
        x, y, vx, vy = flown.y[:, -1]
        assert x == pytest.approx(aim_x)
        assert y == pytest.approx(aim_y, abs=1.5e-3)
        assert point.slope[0] == pytest.approx(vy / vx, abs=5e-3)


@pytest.mark.parametrize(
    ("kind", "target"),
    [("flywheel", BASKET), ("flywheel", WINDOW), ("striker", ZONE), ("striker", GATE), ("arm", WINDOW)],
)
def test_derivatives_are_those_of_the_values(kind: str, target: Target) -> None:
    """Central differences of 1e-5; their own error is about 1e-8."""
    of = make_robot(kind, element=DISC if kind == "striker" else PLAIN_BALL, target=target)
    need, h = required_speed_for(of, target), 1e-5
    at = {"distance": 2.1, "miss": 0.04, "angle_error": 0.01, "log_drag": 0.1}
    point = need.log_speed(**at)
    for name, field in [
        ("distance", "d_distance"),
        ("miss", "d_miss"),
        ("angle_error", "d_angle"),
        ("log_drag", "d_drag"),
    ]:
        more, less = (need.log_speed(**{**at, name: at[name] + s * h}).value[0] for s in (1, -1))
        assert getattr(point, field)[0] == pytest.approx((more - less) / (2 * h), abs=2e-6), name


def test_a_slide_without_air_needs_the_square_root() -> None:
    """d = v^2 / (2 mu g): v = 3 m/s, mu = 0.2 stops after 2.294361479 m (closed form); air adds under 2 %."""
    heavy = Element("disc", 50.0, diameter=0.09, height=0.012)
    of = make_robot("striker", element=heavy, target=ZONE, floor=Floor(0.2, 0.0))
    assert math.exp(required_speed_for(of, ZONE).log_speed(2.294361479).value[0]) == pytest.approx(3.0, rel=1e-4)


def test_a_ball_on_the_floor_slides_then_rolls() -> None:
    """Slide part d = 12 v^2 / (49 mu g) (0.499452839 m at v=2, mu=0.2), then 5/7 v against 5/7 of the resistance."""
    heavy = Element("sphere", 500.0, diameter=0.072)
    of = make_robot("striker", element=heavy, target=ZONE, floor=Floor(0.2, 0.0, rolling=0.03))
    length = 0.499452839 + (10 / 7) ** 2 / (2 * G * 0.03 * 5 / 7)
    assert math.exp(required_speed_for(of, ZONE).log_speed(length).value[0]) == pytest.approx(2.0, rel=1e-4)


def test_a_light_ball_with_strong_backspin_far_off() -> None:
    """One wheel against a rail, a light ball with holes: the exact solver at the same distances; 1 % of the speed."""
    ball = Element("sphere", 0.14, diameter=0.178, surface="perforated")
    of = make_robot(element=ball, target=WINDOW, uncertainty=Uncertainty(drag=0.25))
    launcher = replace(of.launcher, mechanism=replace(of.launcher.mechanism, wheels=1), exit_angle=math.radians(60))
    of = replace(of, launcher=launcher, setpoint=SetpointRange("rpm", 600, 6000, 10))
    need = required_speed_for(of, WINDOW)
    distances = np.linspace(1.5, 0.75 * need.d_high, 20)
    exact = needed_speed(flying_body(of), distances, WINDOW.height - launcher.exit_height, launcher.exit_angle, 1.0)
    assert need.log_speed(distances).value == pytest.approx(np.log(exact.speed), abs=0.01)


@pytest.mark.parametrize("axis", [Axis(0.0, 3.0, 14), SplineAxis(0.0, 3.0, 40)])
def test_axes_reproduce_a_sine(axis: Axis | SplineAxis) -> None:
    """Spline: 5/384 h^4 max|f''''| = 5e-7 at h = 3/39 (de Boor); Chebyshev is below it with 14 nodes."""
    x = np.linspace(0.0, 3.0, 500)
    (value,), ((slope,),) = Tensor.fitted((axis,), np.sin(axis.nodes())[:, None]).at([x])
    assert value == pytest.approx(np.sin(x), abs=3e-6)
    assert slope == pytest.approx(np.cos(x), abs=2e-4)
