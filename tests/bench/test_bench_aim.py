"""Aim: one recommendation, and tables of 64 rows for each kind of launcher against the obvious way.

The obvious way solves each row by ``brentq`` over the setpoint around ``solve_ivp`` with an event at the target: the
mean path only, where ours also averages over everything uncertain. Run: ``python -m pytest tests/bench -m bench -s``.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from fieldtune import Session, load_robot
from fieldtune.aim.element_path import flying_body, sliding_drag
from fieldtune.aim.reach import reach
from fieldtune.aim.recommend import recommend
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.physics.required_speed import needed_speed
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed, spin_ratio
from fieldtune.robot.model import Robot

pytestmark = pytest.mark.bench
G = 9.80665


def seconds(call: Callable[[], object], runs: int = 5) -> float:
    """Fastest of some runs: the machine's other work only ever adds."""
    best = math.inf
    for _ in range(runs):
        start = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - start)
    return best


def flown_miss(robot: Robot, speed: float, distance: float) -> float:
    """Height over the target's centre at its distance, by scipy in time."""
    body, angle = flying_body(robot), robot.launcher.exit_angle
    spin = spin_ratio(robot) * speed

    def motion(_t: float, s: np.ndarray) -> list[float]:
        v = math.hypot(s[2], s[3])
        drag = float(body.drag.coefficient(body.reynolds_per_speed * v)) * body.drag_per_metre * v
        lift = float(body.lift.coefficient(spin / v)) * body.drag_per_metre * v
        return [s[2], s[3], -drag * s[2] - lift * s[3], -G - drag * s[3] + lift * s[2]]

    def there(_t: float, s: np.ndarray) -> float:
        return s[0] - distance

    there.terminal = True  # type: ignore[attr-defined]
    start = [0.0, 0.0, speed * math.cos(angle), speed * math.sin(angle)]
    flown = solve_ivp(motion, (0, 20), start, events=there, rtol=1e-8, atol=1e-9)
    return float(flown.y[1, -1]) + robot.launcher.exit_height - robot.targets[0].height


def slid_miss(robot: Robot, speed: float, distance: float) -> float:
    """How far behind the target it stops, by scipy in time."""
    a = G * (robot.floor.friction * math.cos(robot.floor.slope) + math.sin(robot.floor.slope))
    c = sliding_drag(robot)

    def motion(_t: float, s: np.ndarray) -> list[float]:
        return [s[1], -a - c * s[1] ** 2]

    def stopped(_t: float, s: np.ndarray) -> float:
        return s[1]

    stopped.terminal = True  # type: ignore[attr-defined]
    slid = solve_ivp(motion, (0, 60), [0.0, speed], events=stopped, rtol=1e-8, atol=1e-9)
    return float(slid.y[0, -1]) - distance


def setpoint_for_speed(robot: Robot, log_speeds: np.ndarray) -> np.ndarray:
    """Setpoints (n,) behind log exit speeds, from the model at every step the robot accepts."""
    settings = np.arange(robot.setpoint.low, robot.setpoint.high, robot.setpoint.step)
    return np.interp(log_speeds, model_log_speed(robot, drive_quantity(robot, settings)), settings)


def obvious_setpoint(robot: Robot, distance: float) -> float:
    miss = slid_miss if robot.targets[0].resistance == "friction" else flown_miss

    def at(setpoint: float) -> float:
        speed = math.exp(float(model_log_speed(robot, drive_quantity(robot, setpoint))))
        return miss(robot, speed, distance)

    return float(brentq(at, robot.setpoint.low, robot.setpoint.high, xtol=1e-6))


@pytest.mark.parametrize("name", ["heron", "otter", "crane"])
def test_a_recommendation_and_a_table(name: str) -> None:
    with Session(load_robot(name)) as session:
        robot, belief = session.robot, session.belief
    target = robot.targets[0]
    built = seconds(
        lambda: required_speed_for.__globals__["_need"].cache_clear() or required_speed_for(robot, target), 2
    )
    reached = reach(robot, required_speed_for(robot, target), belief)
    near, far = max(reached.nearest * 1.1, 0.3), min(reached.farthest * 0.9, 6.0)
    distances = [float(d) for d in np.linspace(near, far, 64)]
    one = seconds(lambda: recommend(robot, target, belief, distances[30]), 20)
    with Session(robot) as session:
        table = seconds(lambda: session.table(distances), 3)
    sample = distances[4::12]
    obvious = seconds(lambda: [obvious_setpoint(robot, d) for d in sample], 1) / len(sample) * 64
    print(f"\n{name}: recommendation {1e3 * one:.1f} ms; needs tabulated once in {1e3 * built:.0f} ms")
    print(
        f"{name}: 64 rows, all uncertainty averaged: {1e3 * table:.0f} ms, obvious mean path {obvious:.2f} s:"
        f" {obvious / table:.0f} times"
    )
    if target.resistance == "friction":
        need = required_speed_for(robot, target)
        mean = seconds(lambda: setpoint_for_speed(robot, need.log_speed(distances).value), 10)
        print(f"{name}: 64 rows, mean path: {1e3 * mean:.1f} ms, {obvious / mean:.0f} times")
        assert obvious / mean > 300
    else:
        body, rise = flying_body(robot), target.height - robot.launcher.exit_height

        def direct() -> object:
            return needed_speed(body, distances, rise, robot.launcher.exit_angle, spin_ratio(robot))

        mean = seconds(direct, 10)
        speeds = direct().speed
        worst = max(abs(flown_miss(robot, float(v), d)) for v, d in list(zip(speeds, distances, strict=True))[::8])
        print(f"{name}: 64 rows, mean path: {1e3 * mean:.1f} ms, {obvious / mean:.0f} times, {1e3 * worst:.3f} mm")
        assert worst < 1e-4
        assert obvious / mean > 300
    print()
