"""Learning's cost as ratios in one run: against a general minimiser on the same posterior, and as shots grow."""

from __future__ import annotations

import time

import numpy as np
import pytest
from robots import shot, thrower
from scipy.optimize import minimize
from scipy.special import ndtr

from fieldtune.aim.recommend import recommend
from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.learn import learn
from fieldtune.learn.log_posterior import WILD_SHARE
from fieldtune.learn.side_miss import chord

pytestmark = pytest.mark.bench


def log_of_shots(count, seed=0):
    """Shots of a robot 6 % off its profile, from anywhere between 1.8 and 4 m; half of them with measured misses."""
    robot, rng, made = thrower(), np.random.default_rng(seed), []
    need = required_speed_for(robot, robot.target())
    distance = rng.uniform(1.8, 4.0, count)
    center = need.log_speed(distance)
    misses = np.linspace(-0.4, 1.0, 281)
    for number in range(count):
        # Setpoints that are right but for the scatter; the robot throws 6 % harder than the model, and reads 2 cm long.
        speed = float(center.value[number]) + rng.normal(0, 0.02)
        q = float(np.exp(center.value[number] - 0.06)) / thrower_speed_per_rpm()
        values = need.log_speed(distance[number] - 0.02 + misses, 0.0).value
        miss = float(np.interp(speed, values, misses)) + rng.normal(0, 0.05)
        result = "short" if miss < -0.1 else "long" if miss > 0.1 else "in"
        made.append(shot(number + 1, float(distance[number]), q, result, miss_m=miss if number % 2 else None))
    return robot, made


def thrower_speed_per_rpm():
    from fieldtune.robot.exit_speed import model_log_speed

    return float(np.exp(model_log_speed(thrower(), [1000.0])[0]) / 1000.0)


def best_time(work, repeats=7, clock=time.perf_counter):
    times = []
    for _ in range(repeats):
        began = clock()
        work()
        times.append(clock() - began)
    return min(times)


def negative_log_posterior(fit):
    """The same posterior as one function of the unknowns, every need evaluated anew; vectorised over shots."""
    layout, table = fit.layout, fit.table
    need = required_speed_for(fit.robot, fit.robot.target())
    columns, measured = table.columns(layout.prior.basis), np.isfinite(table.miss)
    short, long = table.is_result("short"), table.is_result("long")
    met = chord(table.reading, need.free(table.reading).side, fit.side.bias, fit.side.scatter)

    def evaluate(u):
        points = u[None]
        angle, drag, bias = layout.shape(points)[0]
        speed2, angle2 = layout.variances(points)[0]
        z = table.model + columns @ layout.gain(points)[0] + layout.offsets(points)[0, table.epoch]
        z = z - layout.wear(points)[0] * table.before_last
        distance = table.reading + bias
        center = need.log_speed(distance, 0.0, angle, drag)
        free = need.free_at(center)
        spread2 = speed2 + center.d_angle**2 * angle2
        spread = np.sqrt(spread2)
        low = ndtr((need.log_speed(distance, free.low * met, angle, drag).value - z) / spread)
        high = ndtr((need.log_speed(distance, free.high * met, angle, drag).value - z) / spread)
        chance = np.where(short, low, np.where(long, 1 - high, high - low))
        point = need.log_speed(distance, np.where(measured, table.miss, 0.0), angle, drag)
        sd = np.sqrt(spread2 + (point.d_miss * fit.robot.uncertainty.miss) ** 2)
        density = np.exp(-0.5 * ((point.value - z) / sd) ** 2) / (sd * 2.5066282746) * np.abs(point.d_miss)
        likelihood = (1 - WILD_SHARE) * np.where(measured, density, chance)
        return 0.5 * float(u @ u) - float(np.sum(np.log(likelihood + WILD_SHARE * np.where(measured, 1 / 6, 1 / 3))))

    return evaluate


def test_500_shots_are_learned_fifty_times_faster_than_by_a_general_minimiser():
    robot, shots = log_of_shots(500)
    target, posterior = robot.target(), learn(robot, shots, 1)
    recommend(robot, target, posterior.belief, 3.0)

    def confirm_to_recommendation():
        recommend(robot, target, learn(robot, shots, 1).belief, 3.0)

    whole = best_time(confirm_to_recommendation, clock=time.process_time)
    learning = best_time(lambda: learn(robot, shots, 1))
    evaluate = negative_log_posterior(posterior.fit)
    began = time.perf_counter()
    found = minimize(evaluate, np.zeros(posterior.fit.layout.size), method="BFGS")
    general = time.perf_counter() - began
    print(
        f"\n500 shots: confirm to recommendation {1e3 * whole:.0f} ms of processor, learning {1e3 * learning:.0f} ms;"
        f" BFGS with numerical gradients {1e3 * general:.0f} ms, {general / learning:.0f} times as long"
    )
    # The same hill: ours is at least as high, and not elsewhere.
    assert evaluate(posterior.fit.mode.u) < found.fun + 0.05
    assert general > 50 * learning
    # The goal is 50 ms; twice that leaves room for a slow machine.
    assert whole < 0.100


def test_cost_grows_no_worse_than_linearly():
    times = {}
    for count in (50, 500, 5000):
        robot, shots = log_of_shots(count)
        learn(robot, shots, 1)
        times[count] = best_time(lambda robot=robot, shots=shots: learn(robot, shots, 1), repeats=3)
    print("\n" + ", ".join(f"{count} shots {1e3 * spent:.0f} ms" for count, spent in times.items()))
    assert times[5000] < 100 * times[50]
