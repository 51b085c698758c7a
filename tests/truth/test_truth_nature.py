"""The hidden robots' own physics against a general integrator and closed forms, their tables against direct flights."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from truth_physics import GRAVITY, STEP_S, STEPS, Ball, Ground, fly
from truth_robots import hidden_robot
from truth_trial import run_robot

BALL = Ball(0.019, 0.47, -0.1, 10.0, 0.3, 0.12)


def test_flight_agrees_with_a_general_integrator() -> None:
    """scipy's DOP853 at 1e-11; 0.1 mm at the target."""

    def change(_: float, s: np.ndarray) -> np.ndarray:
        a, b = BALL.acceleration(s[2:3], s[3:4], np.ones(1))
        return np.array([s[2], s[3], a[0], b[0]])

    speed, angle, rise = 8.3, 0.95, 0.55
    start = [0, 0, speed * np.cos(angle), speed * np.sin(angle)]
    run = solve_ivp(change, (0, STEP_S * STEPS), start, "DOP853", rtol=1e-11, atol=1e-11, dense_output=True)
    t = np.linspace(0, STEP_S * STEPS, 200_001)
    x, y = run.sol(t)[:2]
    down = np.flatnonzero((y[:-1] >= rise) & (y[1:] < rise))[0]
    share = (y[down] - rise) / (y[down] - y[down + 1])
    ours, slope = fly(BALL, np.array([speed]), np.array([angle]), np.ones(1), rise, None)
    assert ours[0] == pytest.approx(x[down] + share * (x[down + 1] - x[down]), abs=1e-4)
    assert slope[0] == pytest.approx((y[down + 1] - y[down]) / (x[down + 1] - x[down]), abs=1e-3)
    upright, _ = fly(BALL, np.array([speed]), np.array([angle]), np.ones(1), rise, np.array([2.0]))
    assert upright[0, 0] == pytest.approx(np.interp(2.0, x, y) - rise, abs=1e-4)


def test_slide_of_constant_friction_is_the_closed_form() -> None:
    """v^2 / (2 mu g), exact; 0.1 mm at 4 m/s."""
    v, run = Ground(0.2, 0.0, 0.0, 0.0, 0.0).stopping_table(5.0)
    assert np.interp(4.0, v, run) == pytest.approx(16 / (2 * 0.2 * GRAVITY), abs=1e-4)


@pytest.mark.parametrize("number", [0, 2])
def test_tables_agree_with_direct_flights(number: int) -> None:
    """Hit rates read off the table, against launches each integrated by itself: within four standard errors."""
    robot = hidden_robot(number)
    rng = np.random.default_rng(5)
    j, log_v = 4, float(robot.log_speeds[np.argmax(robot.hits[4])])
    distance = float(robot.true_distance(robot.readings[j]))
    v, angle, mass, bearing = robot.scattered(np.full(4000, log_v), rng.standard_normal((4000, 4)))
    miss, slope = robot.crossing(np.exp(v), angle, mass, distance)
    scores, _, _ = robot.judge(miss, slope, distance * np.tan(bearing))
    rate = robot.hits[j].max()
    assert scores.mean() == pytest.approx(rate, abs=4 * np.sqrt(rate * (1 - rate) / 4000) + 0.005)


def test_a_trial_is_repeatable_and_hand_methods_learn() -> None:
    runs = [run_robot(1, "stated", 3, ("table", "quadratic", "paper"), (True,), (0, 20)) for _ in range(2)]
    assert [s.shares for s in runs[0]] == [s.shares for s in runs[1]]
    table, quadratic, paper = runs[0]
    assert table.shares["20"] > paper.shares["20"] + 0.1
    assert quadratic.shares["20"] > paper.shares["20"] + 0.1
    assert all(0 <= share <= 1 for s in runs[0] for share in s.shares.values())
