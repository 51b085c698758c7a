"""How fast the flight is, each as a ratio measured in one run: `pytest tests/bench -m bench -s`."""

import ctypes
import math
import shutil
import subprocess
import time
import tracemalloc
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from fieldtune.physics.air import standard_air
from fieldtune.physics.flight import fly
from fieldtune.physics.flight_integration import TOLERANCE
from fieldtune.physics.flying_body import ball
from fieldtune.physics.required_speed import needed_speed

pytestmark = pytest.mark.bench
BODY = ball(0.04, 0.058, standard_air(0.0))
DOUBLES = ctypes.POINTER(ctypes.c_double)
ROUNDS = 9


class CBody(ctypes.Structure):
    _fields_ = [(n, ctypes.c_double) for n in ("k", "reynolds", "gravity", "slowness", "ceiling", "tolerance")]


@pytest.fixture(scope="module")
def c_fly(tmp_path_factory):
    """The same scheme in C, one launch after the other, drag through the C library's powers; gcc -O3."""
    compiler = shutil.which("gcc")
    if compiler is None:
        pytest.skip("no gcc here")
    library = tmp_path_factory.mktemp("flight") / "flight.so"
    source = Path(__file__).with_name("flight.c")
    subprocess.run([compiler, "-O3", "-shared", "-fPIC", "-o", str(library), str(source), "-lm"], check=True)
    function = ctypes.CDLL(str(library)).fly
    body = CBody(
        BODY.drag_per_metre,
        BODY.reynolds_per_speed,
        BODY.gravity,
        BODY.lift.slowness,
        BODY.lift.ceiling,
        TOLERANCE,
    )

    def call(*launches):
        out = np.empty((5, launches[0].size))
        pointers = [values.ctypes.data_as(DOUBLES) for values in (*launches, out)]
        function(ctypes.byref(body), ctypes.c_long(launches[0].size), *pointers)
        return out

    return call


def scattered(n, spin=0.0):
    """Launches of one setpoint with scatter: speed, elevation, spin ratio, log drag, distance."""
    rng = np.random.default_rng(7)
    return (
        rng.normal(7.0, 0.1, n),
        rng.normal(0.9, 0.01, n),
        np.full(n, spin),
        rng.normal(0.0, 0.1, n),
        np.full(n, 3.0),
    )


def processor_time(work):
    """Seconds of the processor, so that a busy machine slows neither side of a ratio."""
    start = time.process_time()
    work()
    return time.process_time() - start


def batch(launches):
    speed, elevation, spin, log_drag, distance = launches
    return fly(BODY, speed, elevation, spin, distance, log_drag)


@pytest.mark.parametrize("spin", [0.0, 0.2])
def test_hundred_thousand_flights_against_c(c_fly, spin):
    launches = scattered(100_000, spin)
    there, c_there = batch(launches), c_fly(*launches)
    for row, name in enumerate(("height", "slope", "speed", "time", "apex")):
        np.testing.assert_allclose(getattr(there, name), c_there[row], atol=1e-7, err_msg=name)
    pairs = [(processor_time(lambda: batch(launches)), processor_time(lambda: c_fly(*launches))) for _ in range(ROUNDS)]
    own, c = (min(column) for column in zip(*pairs, strict=True))
    print(f"\n100,000 flights, spin {spin}: {own * 1e3:.0f} ms, C {c * 1e3:.0f} ms, ratio {own / c:.2f}")
    assert own <= 1.0 * c


def test_memory_of_hundred_thousand_flights():
    launches = scattered(100_000, 0.2)
    batch(launches)
    tracemalloc.start()
    batch(launches)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    print(f"\n100,000 flights: {peak / 1e6:.0f} MB at most")
    assert peak < 200e6


def test_twice_the_launches():
    few, many = scattered(100_000), scattered(200_000)
    pairs = [(processor_time(lambda: batch(few)), processor_time(lambda: batch(many))) for _ in range(ROUNDS)]
    one, two = (min(column) for column in zip(*pairs, strict=True))
    print(f"\ntwice the launches cost {two / one:.2f} times as much")
    assert two <= 2.2 * one


def by_root_finding(distance, rise, elevation):
    """The usual way: solve_ivp up to the distance, inside brentq over the speed; to the same 0.1 mm."""
    k = BODY.drag_per_metre

    def motion(_, state):
        v = math.hypot(state[2], state[3])
        pull = k * v * float(BODY.drag.coefficient(BODY.reynolds_per_speed * v))
        return (state[2], state[3], -pull * state[2], -BODY.gravity - pull * state[3])

    def arrives(_, state):
        return state[0] - distance

    arrives.terminal = True

    def miss(speed):
        start = [0.0, 0.0, speed * math.cos(elevation), speed * math.sin(elevation)]
        run = solve_ivp(motion, (0, 20), start, rtol=1e-8, atol=1e-8, events=arrives)
        return run.y_events[0][0][1] - rise

    drop = distance * math.tan(elevation) - rise
    vacuum = math.sqrt(BODY.gravity * distance**2 / (2 * math.cos(elevation) ** 2 * drop))
    return brentq(miss, 0.98 * vacuum, 1.5 * vacuum, xtol=1e-6)


def test_table_of_needed_speeds_against_root_finding():
    distance, rise, elevation = np.linspace(1.5, 5.0, 64), 0.57, math.radians(52)
    needed_speed(BODY, distance, rise, elevation)
    usual = np.array([by_root_finding(d, rise, elevation) for d in distance])
    pairs = []
    for _ in range(3):
        theirs = processor_time(lambda: [by_root_finding(d, rise, elevation) for d in distance])
        for _ in range(20):
            pairs.append((processor_time(lambda: needed_speed(BODY, distance, rise, elevation)), theirs))
    own, theirs = (min(column) for column in zip(*pairs, strict=True))
    need = needed_speed(BODY, distance, rise, elevation)
    height = fly(BODY, usual, elevation, 0.0, distance).height
    apart = np.abs(height - rise).max()
    print(f"\n64 needed speeds: {own * 1e3:.1f} ms, one by one {theirs:.2f} s, ratio {theirs / own:.0f}")
    print(f"the two differ by {apart * 1e3:.4f} mm at the target")
    np.testing.assert_allclose(need.speed, usual, rtol=1e-5)
    assert apart < 1e-4
    assert theirs >= 300 * own
