"""The formula fit, against certified values and numpy's own fit; and what it says it costs."""

from __future__ import annotations

import math

import numpy as np
import pytest

from fieldtune import Session, load_robot
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.errors import InputError
from fieldtune.robot.exit_speed import model_log_speed
from fieldtune.share.table_curve import fit, no_air_setpoints, parabola_speed, polynomial

# NIST Statistical Reference Datasets, Norris (linear regression, 36 observations), x, y.
NORRIS = """
0.2,0.1; 337.4,338.8; 118.2,118.1; 884.6,888.0; 10.1,9.2; 226.5,228.1; 666.3,668.5; 996.3,998.5;
448.6,449.1; 777.0,778.9; 558.2,559.2; 0.4,0.3; 0.6,0.1; 775.5,778.1; 666.9,668.8; 338.0,339.3;
447.5,448.9; 11.6,10.8; 556.0,557.7; 228.1,228.3; 995.8,998.0; 887.6,888.8; 120.2,119.6; 0.3,0.3;
0.3,0.6; 556.8,557.6; 339.1,339.3; 887.2,888.0; 999.0,998.5; 779.0,778.9; 11.1,10.2; 118.3,117.6;
229.2,228.9; 669.1,668.4; 448.9,449.2; 0.5,0.2
"""


def test_certified_line() -> None:
    """NIST StRD Norris: B0 = -0.262323073774029, B1 = 1.00211681802045; twelve digits is what doubles leave."""
    x, y = np.array([[float(v) for v in pair.split(",")] for pair in NORRIS.split(";")]).T
    assert polynomial(x, y, 1) == pytest.approx([-0.262323073774029, 1.00211681802045], rel=1e-11)


@pytest.mark.parametrize("degree", [2, 3])
def test_same_as_numpy_polyfit(degree: int) -> None:
    rng = np.random.default_rng(5)
    x = np.sort(rng.uniform(1, 4, 40))
    y = 600 + 400 * x - 20 * x**2 + rng.normal(0, 5, 40)
    assert polynomial(x, y, degree) == pytest.approx(np.polyfit(x, y, degree)[::-1], rel=1e-8)


def test_a_polynomial_gives_itself_back_and_keeps_its_zeros() -> None:
    x = np.linspace(1, 3, 9)
    assert polynomial(x, 5 + 2 * x**2, 3) == pytest.approx([5, 0, 2, 0], abs=1e-10)
    with pytest.raises(InputError, match="at least 4 distances"):
        polynomial([1, 2, 3], [1, 2, 3], 3)


def test_parabola_goes_through_its_point() -> None:
    """Height of a body without air after d = v cos(a) t (closed form)."""
    angle, rise, d = math.radians(52), 0.57, np.array([1.2, 2.0, 3.3])
    v = parabola_speed(d, rise, angle)
    t = d / (v * math.cos(angle))
    assert v * math.sin(angle) * t - 9.80665 * t**2 / 2 == pytest.approx(rise, abs=1e-12)
    assert np.isnan(parabola_speed(0.3, rise, angle))


def test_what_a_formula_costs_is_measured_at_each_distance() -> None:
    with Session(load_robot("heron")) as session:
        distances = [1.5, 1.8, 2.1, 2.4, 2.7, 3.0]
        found = fit(session, "quadratic", distances)
        rows = session.table(distances, rounded=False)
        losses = []
        for row in rows:
            value = sum(c * row.distance_m**k for k, c in enumerate(found.coefficients))
            assert row.setpoint is not None
            losses.append((row.hit_probability or 0) - session.hit_chance(row.distance_m, value))
            assert abs(value - row.setpoint) <= found.worst_error + 1e-9
    assert found.worst_loss == pytest.approx(max(0.0, *losses), abs=1e-9)
    assert found.harmless_m == (1.5, 3.0)


def test_a_bad_formula_is_said_to_be_bad() -> None:
    """Over a wide range a quadratic of a sharp optimum loses hit probability; the harmless stretch shrinks to fit."""
    with Session(load_robot("otter")) as session:
        found = fit(session, "quadratic", [round(0.3 + 0.1 * k, 2) for k in range(30)])
    assert found.worst_loss > 0
    assert found.no_air_worst_error is None
    inside = [
        row for row in found.rows if found.harmless_m and found.harmless_m[0] <= row.distance_m <= found.harmless_m[1]
    ]
    assert inside
    assert all(row.hit_probability - row.formula_hit_probability <= found.harmless_loss for row in inside)


def test_air_makes_the_robot_throw_harder_than_a_parabola() -> None:
    """The mean path's setpoint, not the recommended one: that one hedges what is unknown on the slow side."""
    with Session(load_robot("heron")) as session:
        robot, distances = session.robot, np.array([2.5, 3.0, 3.4])
        no_air = no_air_setpoints(session, distances)
        needed = required_speed_for(robot, robot.targets[0]).log_speed(distances).value
    assert np.all(needed > model_log_speed(robot, no_air) + 0.001)
