"""Elements that land before they slide or roll, slopes, and spin on the floor: the whole chain of the aim room."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from robots import BALL, DISC, GATE, ZONE, belief, make_robot

from fieldtune.aim.element_path import ground, rest_distance, rolling_inertia, thrown
from fieldtune.aim.predicted_path import picture
from fieldtune.aim.recommend import hit_chance, recommend
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.aim.required_speed.flight import LandingRequiredSpeed
from fieldtune.aim.required_speed.interface import RequiredSpeed
from fieldtune.aim.results import Aim
from fieldtune.physics.springs import effective_mass
from fieldtune.robot.model import Element, Floor, Robot, Target

G = 9.80665


def throwing(kind: str = "striker", element: Element = DISC, target: Target = ZONE, angle: float = 20.0) -> Robot:
    """A robot that throws from 30 cm over a floor."""
    of = make_robot(kind, element=element, target=target, floor=Floor(0.22, 0.0, 0.05, 0.4))
    return replace(of, launcher=replace(of.launcher, exit_angle=math.radians(angle), exit_height=0.30))


THROWERS = [throwing(), throwing("flywheel", BALL), throwing("arm", BALL, GATE), throwing("striker", DISC, ZONE, -10.0)]


@pytest.mark.parametrize("of", THROWERS, ids=["disc", "ball", "gate", "down"])
def test_needed_speed_of_a_throw_ends_at_its_distance(of: Robot) -> None:
    """The table against the throw followed to rest: 3 cm or 3 %, a tenth of what friction leaves open."""
    need = required_speed_for(of, of.targets[0])
    assert isinstance(need, LandingRequiredSpeed)
    rng = np.random.default_rng(3)
    distance = np.exp(rng.uniform(math.log(need.d_low), math.log(need.d_high), 200))
    angle, friction = rng.normal(0, 0.03, 200), rng.normal(0, 0.2, 200)
    point = need.log_speed(distance, 0.0, angle, friction)
    ends = rest_distance(of, np.exp(point.value), angle, friction)
    np.testing.assert_allclose(ends, distance, rtol=0.03, atol=0.03)


@pytest.mark.parametrize("of", THROWERS, ids=["disc", "ball", "gate", "down"])
def test_derivatives_of_a_throws_need(of: Robot) -> None:
    need, h = required_speed_for(of, of.targets[0]), 1e-5
    at = {"distance": 1.3, "miss": 0.05, "angle_error": 0.01, "log_drag": 0.1}
    point = need.log_speed(**at)
    for name, field in (
        ("distance", "d_distance"), ("miss", "d_miss"), ("angle_error", "d_angle"), ("log_drag", "d_drag"),
    ):  # fmt: skip
        more, less = (need.log_speed(**{**at, name: at[name] + s * h}).value[0] for s in (1, -1))
        assert getattr(point, field)[0] == pytest.approx((more - less) / (2 * h), abs=1e-5), name


def mean_rest(of: Robot, aim: Aim) -> float:
    assert aim.exit_speed_mps is not None
    return float(rest_distance(of, aim.exit_speed_mps, 0.0, 0.0)[0])


def test_a_throw_is_aimed_where_it_comes_to_rest() -> None:
    """Disc of 55 g off the 900 N/m spring of the test robot, worked out by hand without air: fall, impact, slide."""
    of = throwing(element=replace(DISC, drag=0.0))
    aim = recommend(of, ZONE, belief(of, 0.02), 2.0)
    assert aim.reachable
    assert mean_rest(of, aim) == pytest.approx(2.0, abs=0.04)
    striker, v = of.launcher.mechanism, aim.exit_speed_mps
    assert striker is not None
    draw, moving = aim.setpoint.value / 1000, striker.striker_mass + float(effective_mass(striker.spring_mass))
    energy = 0.8 * (450 * draw**2 + 6 * draw)
    assert v == pytest.approx(1.6 * moving / (moving + 0.055) * math.sqrt(2 * energy / moving), rel=1e-6)
    up, along, drop = v * math.sin(math.radians(20)), v * math.cos(math.radians(20)), 0.30 - 0.006
    into = math.sqrt(up**2 + 2 * G * drop)
    ends, speed, fall = along * (up + into) / G, along, into
    while fall > 1e-6:  # bounces of restitution 0.4
        speed, fall = speed - 0.22 * 1.4 * fall, 0.4 * fall
        ends += speed * 2 * fall / G
    assert ends + speed**2 / (2 * 0.22 * G) == pytest.approx(2.0, abs=0.04)
    assert aim.entry_angle_deg == pytest.approx(math.degrees(math.atan2(into, along)), abs=0.5)
    assert aim.apex_m == pytest.approx(0.30 + up**2 / (2 * G), abs=0.002)
    assert any("lands" in words and "slides on" in words for words in aim.cautions)


@pytest.mark.parametrize("of", THROWERS[:2], ids=["disc", "ball"])
def test_hit_probability_of_throws_is_the_counted_share(of: Robot) -> None:
    """20,000 throws followed to rest one by one, with the scatter of the robot: 0.02."""
    held, rng, n = belief(of, 0.0), np.random.default_rng(2), 20_000
    distance = 1.5 if of.element is DISC else 6.0
    aim = recommend(of, ZONE, held, distance)
    spread = of.uncertainty
    speed = aim.exit_speed_mps * np.exp(spread.exit_speed_scatter * rng.standard_normal(n))
    ends = rest_distance(of, speed, spread.exit_angle_scatter * rng.standard_normal(n), 0.0)
    aside = distance * spread.side_scatter * rng.standard_normal(n)
    size = of.element.extent
    inside = (np.abs(ends - distance) < (0.30 - size) / 2) & (np.abs(aside) < (0.40 - size) / 2)
    assert hit_chance(of, ZONE, held, distance, aim.setpoint.value) == pytest.approx(float(inside.mean()), abs=0.02)


def test_picture_of_a_throw() -> None:
    of = throwing()
    held = belief(of, 0.2)
    drawn = picture(of, ZONE, held, 2.0, recommend(of, ZONE, held, 2.0).setpoint.value)
    assert drawn.end_low_m < drawn.x[-1] < drawn.end_high_m
    assert drawn.y[0] == pytest.approx(0.30)
    assert drawn.y[-1] == pytest.approx(of.element.lying_height)
    assert drawn.speed[0] > drawn.speed[-1] == pytest.approx(0.0, abs=0.15)
    assert np.all(np.isfinite(drawn.speed))


def test_the_needs_meet_where_throwing_becomes_sliding() -> None:
    """A disc let go just above the floor: the table of throws agrees with the closed form of the slide."""
    flat = make_robot("striker", element=DISC, target=ZONE)
    low = replace(flat, launcher=replace(flat.launcher, exit_height=DISC.lying_height + 0.0021))
    assert low.lands_first
    assert not flat.lands_first
    thrown_need, slid = (required_speed_for(of, ZONE).log_speed([0.5, 1.0, 2.0]).value for of in (low, flat))
    # The impact takes mu sqrt(2 g h) = 0.045 m/s, which is what no friction during the fall has left.
    assert np.exp(thrown_need) == pytest.approx(np.exp(slid), abs=0.01)


@pytest.mark.parametrize("element", [DISC, BALL], ids=["slides", "rolls"])
@pytest.mark.parametrize("slope", [-3.0, 4.0])
def test_distances_on_a_slope_are_horizontal(element: Element, slope: float) -> None:
    """Energy: v^2/2 = g (mu cos + sin) D / cos for a heavy disc, D horizontal; the ball's roll likewise."""
    heavy, tilt = replace(element, mass=50.0), math.radians(slope)
    of = make_robot("striker", element=heavy, target=ZONE, floor=Floor(0.3, tilt, 0.1))
    of = replace(of, launcher=replace(of.launcher, exit_height=heavy.lying_height))
    v = math.exp(required_speed_for(of, ZONE).log_speed(2.0).value[0])
    if element is DISC:
        length = v**2 / (2 * G * (0.3 * math.cos(tilt) + math.sin(tilt)))
    else:
        slowing = G * (0.3 * math.cos(tilt) + math.sin(tilt))
        time = v / (slowing + 2.5 * 0.3 * G * math.cos(tilt))
        rolls = v - slowing * time
        resisting = 5 / 7 * G * (0.1 * math.cos(tilt) + math.sin(tilt))
        length = v * time - slowing * time**2 / 2 + rolls**2 / (2 * resisting)
    assert length * math.cos(tilt) == pytest.approx(2.0, rel=2e-3)


def test_backspin_on_the_floor_makes_a_ball_stop_earlier() -> None:
    """One wheel against a rail gives a spin ratio of one: the ball ends its slide at (5 - 2) / 7 of its speed, against
    5/7 (closed form), so that it needs more speed for the same distance."""
    of = make_robot("flywheel", element=replace(BALL, mass=50.0), target=ZONE, floor=Floor(0.3, 0.0, 0.1))
    low = replace(of, launcher=replace(of.launcher, exit_angle=0.0, exit_height=0.036))
    wheel = low.launcher.mechanism
    assert wheel is not None
    spun = replace(low, launcher=replace(low.launcher, mechanism=replace(wheel, wheels=1)))
    for robot_, share, time in ((low, 5 / 7, 2 / 7), (spun, 3 / 7, 4 / 7)):
        v = math.exp(required_speed_for(robot_, ZONE).log_speed(2.0).value[0])
        mu = 0.3 * G
        slid = v * (time * v / mu) - mu * (time * v / mu) ** 2 / 2
        assert slid + 7 / 5 * (share * v) ** 2 / (2 * 0.1 * G) == pytest.approx(2.0, rel=2e-3)


def test_thin_shells_roll_less_far() -> None:
    """3/5 of the speed is left to a thin shell, 5/7 to a solid ball (closed form)."""
    assert rolling_inertia(replace(BALL, surface="perforated")) == pytest.approx(2 / 3)
    assert rolling_inertia(BALL) == pytest.approx(2 / 5)
    assert math.isinf(rolling_inertia(DISC))
    shell = make_robot("striker", element=replace(BALL, surface="perforated"), target=ZONE, floor=Floor(0.3, 0.0, 0.1))
    shell = replace(shell, launcher=replace(shell.launcher, exit_height=0.036))
    needs: list[RequiredSpeed] = [required_speed_for(replace(shell, element=e), ZONE) for e in (shell.element, BALL)]
    hollow, solid = (float(need.log_speed(1.0).value[0]) for need in needs)
    assert hollow > solid


def test_an_unmeasured_bounce_is_that_of_soft_balls() -> None:
    """Newton, Principia, scholium to the laws: balls of compressed wool come back at 5/9 of their speed, cork at a
    little less; half to two thirds cover plastic foam. A tennis ball comes back 135 to 147 cm from 254 (rules of the
    International Tennis Federation, from memory). Discs and blocks hop less (common practice)."""
    floor = Floor(0.3, 0.0, 0.05, None)
    soft, felt, disc = (
        ground(replace(throwing(element=element), floor=floor)).restitution
        for element in (BALL, replace(BALL, surface="felt"), DISC)
    )
    assert 1 / 2 < soft < 2 / 3
    assert math.sqrt(135 / 254) < felt < math.sqrt(147 / 254)
    assert disc == pytest.approx(0.3, abs=0.1)
    assert soft == pytest.approx(5 / 9, abs=0.05)


def test_warmer_air_on_the_floor_is_followed_not_guessed() -> None:
    """Thinner air lets a throw go a little farther, whatever friction does; half a per cent of the way."""
    rolling = replace(make_robot("striker", element=BALL, target=ZONE), floor=Floor(0.3, 0.0, 0.1))
    sliding = make_robot("striker", DISC, ZONE)
    for of, distance in ((THROWERS[0], 1.5), (THROWERS[1], 6.0), (sliding, 1.5), (rolling, 1.5)):
        aim = recommend(of, ZONE, belief(of, 0.1), distance)
        assert 0 < aim.sensitivity.per_10_degC_m < 0.005 * distance


def test_a_gate_may_be_passed_in_the_air() -> None:
    """What is asked is speed enough to be beyond it; the landing is told."""
    of = throwing("arm", BALL, GATE)
    aim = recommend(of, GATE, belief(of, 0.1), 1.0)
    assert aim.time_s is None
    there = thrown(of, aim.exit_speed_mps, 0.0, 0.0)
    assert there.distance[0] > 1.0
    assert any(f"lands {there.landing.distance[0]:.2f} m" in words for words in aim.cautions)
