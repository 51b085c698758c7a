"""What must hold for every flight, tried on launches from all over the legal range."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldtune.physics.air import constant_drag, standard_air
from fieldtune.physics.flight import fly
from fieldtune.physics.flying_body import Body, ball
from fieldtune.physics.required_speed import needed_speed

AIR = standard_air(0.0)
SURFACES = ("smooth", "felt", "seamed", "dimpled", "perforated")
VACUUM = Body(1.0, 0.1, 0.01, 0.0, 1.8e-5, constant_drag(0.5))

speeds = st.floats(0.2, 30.0)
elevations = st.floats(math.radians(-10), math.radians(85))
distances = st.floats(0.02, 20.0)
spins = st.floats(-1.0, 1.0)
log_drags = st.floats(-0.6, 0.6)


@st.composite
def bodies(draw, lightest=20.0):
    diameter = draw(st.floats(0.02, 0.4))
    density = math.exp(draw(st.floats(math.log(lightest), math.log(2500.0))))
    mass = min(max(density * math.pi / 6 * diameter**3, 0.001), 5.0)
    return ball(mass, diameter, AIR, draw(st.sampled_from(SURFACES)))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(bodies(), speeds, elevations, spins, distances, log_drags)
def test_energy_never_grows(body, speed, elevation, spin, distance, log_drag):
    """Drag only takes, lift does no work: v^2/2 + g y falls along the way; 0.1 mm of height is the truncation's
    share.
    """
    x = np.linspace(0.0, distance, 12)
    there = fly(body, speed, elevation, spin, x, log_drag)
    energy = there.speed**2 / 2 + body.gravity * there.height
    energy = energy[np.isfinite(energy)]
    slack = 1e-3 + 1e-4 * np.abs(energy[:-1])
    assert np.all(np.diff(energy) <= slack)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(bodies(), speeds, elevations, distances, st.floats(0.01, 0.6))
def test_more_drag_never_carries_farther(body, speed, elevation, distance, more):
    low, high = fly(body, speed, elevation, 0.0, distance, [more, 0.0]).height
    assert np.isnan(low) or low <= high + 1e-4


@settings(max_examples=40, deadline=None, derandomize=True)
@given(bodies(), elevations, distances, log_drags)
def test_faster_comes_higher(body, elevation, distance, log_drag):
    """Without spin a faster launch passes every place higher, unless the crisis steps in, which only helps it."""
    height = fly(body, [4.0, 8.0, 16.0, 30.0], elevation, 0.0, distance, log_drag).height
    height = height[np.isfinite(height)]
    assert np.all(np.diff(height) >= -1e-4)


@settings(max_examples=40, deadline=None, derandomize=True)
@given(speeds, st.floats(math.radians(2), math.radians(88)))
def test_range_without_air(speed, elevation):
    """v^2 sin(2 a) / g, and the same for 90 deg - a (closed form)."""
    reach = speed**2 * math.sin(2 * elevation) / VACUUM.gravity
    there = fly(VACUUM, speed, [elevation, math.pi / 2 - elevation], 0.0, reach)
    np.testing.assert_allclose(there.height, 0.0, atol=1e-10 * speed**2)
    np.testing.assert_allclose(there.slope, -np.tan([elevation, math.pi / 2 - elevation]), rtol=1e-9)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(bodies(), speeds, elevations, distances)
def test_thin_air_tends_to_the_parabola(body, speed, elevation, distance):
    """Air at a millionth: what it takes is below k C D times the way, of the heights at hand."""
    from dataclasses import replace

    thin = replace(body, air_density=body.air_density * 1e-9, air_viscosity=body.air_viscosity * 1e-9)
    bare = replace(VACUUM, gravity=body.gravity)
    there, exact = fly(thin, speed, elevation, 0.2, distance), fly(bare, speed, elevation, 0.0, distance)
    if exact.height[0] < -20:
        return
    scale = 1 + abs(exact.height[0])
    assert there.height[0] == pytest.approx(exact.height[0], abs=1e-4 + 1e-5 * scale * (1 + exact.slope[0] ** 2))


def test_falls_at_terminal_speed():
    """A light ball that has fallen far: its speed is the terminal one, sqrt(g / (k C))."""
    body = ball(0.008, 0.12, AIR, "felt")
    x = np.linspace(0.1, 6.0, 200)
    there = fly(body, 10.0, 0.6, 0.0, x)
    last = np.flatnonzero(np.isfinite(there.height))[-1]
    assert there.slope[last] < -8
    assert there.speed[last] == pytest.approx(body.terminal_speed, rel=0.02)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(bodies(), st.integers(0, 2**32 - 1))
def test_batch_is_the_loop_of_singles(body, seed):
    """Each launch takes its own steps whatever its neighbours do, to the rounding of sums in another order.

    Rounding also moves the length of steps a little; near the vertical that shows in the eighth digit or so.
    """
    rng = np.random.default_rng(seed)
    n = 9
    launches = (
        rng.uniform(1, 30, n),
        rng.uniform(0, 1.4, n),
        rng.uniform(-0.5, 0.5, n),
        rng.uniform(0.1, 10, n),
        rng.normal(0, 0.2, n),
    )
    batch = fly(body, *launches)
    for i in range(n):
        single = fly(body, *(values[i] for values in launches))
        for name in ("height", "slope", "speed", "time", "apex"):
            one, many = getattr(single, name)[0], getattr(batch, name)[i]
            assert one == pytest.approx(many, rel=1e-6, abs=1e-6, nan_ok=True), name


@settings(max_examples=80, deadline=None, derandomize=True)
@given(bodies(), elevations, st.floats(-1.0, 0.0), distances, log_drags, st.floats(0.2, 30.0))
def test_needed_speed_is_the_inverse_of_flight(body, elevation, spin, distance, log_drag, speed):
    """With topspin or none there is one speed for a place, and it is found wherever a flight says that it exists."""
    there = fly(body, speed, elevation, spin, distance, log_drag)
    drop = distance * math.tan(elevation) - there.height[0]
    if not (abs(there.height[0]) < 20 and drop > 1e-3):
        return
    need = needed_speed(body, distance, there.height[0], elevation, spin, log_drag)
    back = fly(body, need.speed[0], elevation, spin, distance, log_drag)
    assert back.height[0] == pytest.approx(there.height[0], abs=1e-4)
    assert need.slope[0] == pytest.approx(there.slope[0], rel=1e-3, abs=1e-3)
    assert math.isfinite(need.time[0] + need.apex[0])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(bodies(lightest=100.0), elevations, spins, st.floats(0.1, 10.0), st.floats(-2.0, 4.0), log_drags)
def test_needed_speed_of_any_legal_target(body, elevation, spin, distance, rise, log_drag):
    """A speed that hits, or nan; never an error or a warning, and nan at once above the line of departure."""
    need = needed_speed(body, distance, rise, elevation, spin, log_drag)
    if distance * math.tan(elevation) <= rise:
        assert math.isnan(need.speed[0])
    elif math.isfinite(need.speed[0]):
        back = fly(body, need.speed[0], elevation, spin, distance, log_drag)
        assert back.height[0] == pytest.approx(rise, abs=1e-4)
