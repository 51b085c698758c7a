"""What an opening lets through: by brute geometry, and by published margins."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from brute_force import through_ring
from robots import BALL, BASKET, PLAIN_BALL, WINDOW, belief, make_robot

from fieldtune.aim.recommend import hit_chance, recommend
from fieldtune.physics.openings import Ring, level, upright
from fieldtune.robot.model import SetpointRange, Uncertainty


@pytest.mark.parametrize(("radius", "size"), [(0.2, 0.035), (0.15, 0.035), (0.2286, 0.12), (0.12, 0.04)])
@pytest.mark.parametrize("entry", [27.0, 35.0, 50.0, 80.0])
def test_a_ring_lets_through_what_geometry_does(radius: float, size: float, entry: float) -> None:
    """Rim and ball against each other, 240 points of the rim (0.1 mm): the border along the floor at several asides."""
    q = math.sin(math.radians(entry))
    ring = Ring(radius, size, np.array([q]))
    if radius * q <= size:
        assert ring.depth[0] <= 0
        return
    side = float(ring.side[0])
    aside = side * np.array([0.0, 0.3, 0.6, 0.8, 0.9])
    border = ring.chord(aside[None, :])[0] * ring.depth[0]
    sines = np.full(len(aside), q)
    assert through_ring(radius, size, sines, border - 4e-4, aside).all()
    assert not through_ring(radius, size, sines, border + 4e-4, aside).any()
    beyond = np.array([side + 4e-4])
    assert not through_ring(radius, size, sines[:1], np.zeros(1), beyond).any()
    assert ring.chord(beyond[None, :])[0, 0] == pytest.approx(0.0, abs=0.05)


@pytest.mark.parametrize(("slope", "bend"), [(-0.4, -0.7), (-0.9, -3.9), (-2.2, -3.9), (-0.3, 0.2), (-1.0, 0.0)])
@pytest.mark.parametrize("radius", [0.03, 0.09])
def test_a_path_that_bends_touches_an_edge_where_geometry_says(slope: float, bend: float, radius: float) -> None:
    """The parabola by points a tenth of a millimetre apart, moved along until an edge is its radius away."""
    at = np.arange(-2.0, 2.0, 1e-4)
    high = slope * at + bend / 2 * at**2

    found = level(1.0, 1.0, 2 * radius, slope, True, bend)
    if np.isnan(found.low):
        peak = slope**2 / (-2 * bend) if bend < 0 else np.inf
        assert peak < radius * 1.001
        return
    for edge, miss, out in ((-0.5, float(found.low), -1), (0.5, float(found.high), 1)):
        near = at[np.hypot(at + miss - edge, high).argmin()]
        gap = np.hypot(near + miss - edge, slope * near + bend / 2 * near**2)
        assert gap == pytest.approx(radius, abs=2e-4)
        farther = np.hypot(at + miss + out * 1e-3 - edge, high).min()
        assert farther < gap  # on the other side of it the element would touch


@pytest.mark.parametrize("slope", [-0.8, 0.0, 1.2])
def test_a_path_that_bends_passes_a_window_as_geometry_says(slope: float) -> None:
    """As above, for the lower and the upper edge of an upright opening."""
    at, bend, radius = np.arange(-0.5, 0.5, 1e-4), -2.5, 0.08
    high = slope * at + bend / 2 * at**2
    found = upright(0.5, 0.5, 2 * radius, slope, bend)
    for miss, edge in ((float(found.low), -0.25), (float(found.high), 0.25)):
        assert np.hypot(at, high + miss - edge).min() == pytest.approx(radius, abs=2e-4)


def test_the_far_edge_counts_with_its_own_flatness() -> None:
    """A tight basket entered at some 37 deg: a longer throw comes in flatter and needs more room. Counted without air:
    20,000 throws, of which each has its own entry."""
    target = replace(BASKET, opening=(0.17,), height=0.5)
    of = make_robot(element=PLAIN_BALL, target=target)
    of = replace(of, launcher=replace(of.launcher, exit_angle=math.radians(40)))
    held, rng, n = belief(of, 0.0), np.random.default_rng(4), 20_000
    aim = recommend(of, target, held, 2.0)
    unsure, g, rise = of.uncertainty, 9.80665, target.height - of.launcher.exit_height
    v = aim.exit_speed_mps * np.exp(unsure.exit_speed_scatter * rng.standard_normal(n))
    angle = of.launcher.exit_angle + unsure.exit_angle_scatter * rng.standard_normal(n)
    azimuth = unsure.side_scatter * rng.standard_normal(n)
    fall = np.sqrt((v * np.sin(angle)) ** 2 - 2 * g * rise)
    x = v * np.cos(angle) * (v * np.sin(angle) + fall) / g
    sine = fall / np.hypot(fall, v * np.cos(angle))
    counted = through_ring(0.085, 0.036, sine, x * np.cos(azimuth) - 2.0, x * np.sin(azimuth)).mean()
    assert hit_chance(of, target, held, 2.0, aim.setpoint.value) == pytest.approx(float(counted), abs=0.015)


@pytest.mark.parametrize(("degrees", "height"), [(0.5, 0.95), (8.0, 1.2), (-5.0, 0.95)])
def test_flat_shots_may_score_below_a_centre_that_no_speed_reaches(degrees: float, height: float) -> None:
    """Half of what is believed of the angle may lie below the line from exit to the window's centre, and still hit."""
    target = replace(WINDOW, height=height, opening=(0.6, 0.4))
    of = make_robot(element=BALL, target=target, uncertainty=Uncertainty(exit_angle=math.radians(2)))
    of = replace(of, launcher=replace(of.launcher, exit_angle=math.radians(degrees), exit_height=1.0))
    of = replace(of, setpoint=SetpointRange("rpm", 600, 5000, 10))
    distance = 1.2 if degrees < 5 else 2.5
    held = belief(of, 1.0)
    aim = recommend(of, target, held, distance)
    rng, n, draws = np.random.default_rng(1), 20_000, held.draws
    pick = rng.integers(0, len(held.weights), n)
    # A flight of a metre or two at this speed: the parabola, air takes a few per cent of the drop.
    v = aim.exit_speed_mps * np.exp(draws.gain[pick, 0] + draws.speed_scatter[pick] * rng.standard_normal(n))
    angle = of.launcher.exit_angle + draws.angle_error[pick] + draws.angle_scatter[pick] * rng.standard_normal(n)
    x = distance + draws.distance_bias[pick]
    slope = np.tan(angle) - 9.80665 * x / (v * np.cos(angle)) ** 2
    y = 1.0 + x * np.tan(angle) - 9.80665 * x**2 / (2 * (v * np.cos(angle)) ** 2)
    aside = x * (draws.side_bias[pick] + draws.side_scatter[pick] * rng.standard_normal(n))
    good = (np.abs(y - height) < 0.2 - 0.036 * np.hypot(1, slope)) & (np.abs(aside) < 0.264)
    assert aim.hit_probability == pytest.approx(float(good.mean()), abs=0.06)


@pytest.mark.parametrize(
    ("degrees", "exit_height", "height", "distance", "words"),
    [(-20.0, 1.5, 0.3, 4.0, "too far: leaving level or downwards"), (89.0, 0.38, 0.95, 2.0, "too far")],
)
def test_very_steep_ways_are_said_plainly(
    degrees: float, exit_height: float, height: float, distance: float, words: str
) -> None:
    """Draws of the angle beyond the vertical are no shots, and no warnings."""
    target = replace(BASKET, height=height)
    of = make_robot(element=BALL, target=target)
    of = replace(of, launcher=replace(of.launcher, exit_angle=math.radians(degrees), exit_height=exit_height))
    aim = recommend(of, target, belief(of, 1.0), distance)
    assert not aim.reachable
    assert words in aim.cautions[0]
    assert aim.nearest_m is not None
    assert aim.nearest_m < distance
