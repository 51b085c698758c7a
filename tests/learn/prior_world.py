"""Robots drawn from the prior itself, and shots of theirs: what simulation-based calibration needs."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from robots import shot

from fieldtune.aim.draws import Belief, log_speed
from fieldtune.aim.situation import situation
from fieldtune.learn.draws import gain_with_offset
from fieldtune.learn.log_posterior import WILD_SHARE
from fieldtune.learn.parameters import Layout, prior_of
from fieldtune.learn.posterior import unknowns_from
from fieldtune.learn.side_miss import SideLayout
from fieldtune.robot.exit_speed import model_log_speed, setpoint_for


def drawn_robot(robot, rng):
    """One robot from the prior, as a belief of one draw."""
    return drawn_epochs(robot, rng, 1)[0]


def drawn_epochs(robot, rng, count):
    """One robot from the prior through ``count`` epochs, as a belief of one draw for each."""
    prior = prior_of(robot, robot.target())
    layout, side = Layout(prior, count, np.zeros(3)), SideLayout.of(robot)
    points, side_points = rng.standard_normal((1, layout.size)), rng.standard_normal((1, 2))
    made = []
    for place in range(count):
        gain = gain_with_offset(layout, points, layout.gain(points), layout.offsets(points)[:, place])
        truth = unknowns_from(layout, gain, points, side, side_points)
        made.append(Belief(prior.basis, truth, np.ones(1), truth, 0, place + 1))
    return made


def after_change(log, new):
    """A log with new shots behind it in a second epoch."""
    return log + [replace(one, shot=one.shot + len(log), uid=f"new-{one.uid}", epoch=2) for one in new]


def within_90(ranks, draws):
    """Which ranks (any shape) among so many draws lie in their 90 % interval."""
    return (ranks + 0.5 >= 0.05 * (draws + 1)) & (ranks + 0.5 <= 0.95 * (draws + 1))


def shots_of(robot, truth, need, distances, rng, measured=False):
    """Shots from these readings, each near the setpoint that the model without corrections would take."""
    made = []
    for number, reading in enumerate(distances, start=1):
        grid = np.geomspace(max(robot.setpoint.low, 1.0), robot.setpoint.high, 400)
        wanted = need.log_speed(reading).value[0] + rng.normal(0, 0.08)
        quantity = grid[int(np.argmin(np.abs(model_log_speed(robot, grid) - wanted)))]
        made.append(_fired(robot, truth, need, number, float(reading), float(quantity), rng, measured))
    return made


def _fired(robot, truth, need, number, reading, quantity, rng, measured):
    own = truth.draws
    distance = reading + own.distance_bias
    center = need.log_speed(distance, 0.0, own.angle_error, own.log_drag)
    # Angle scatter acts as the model takes it, through the need's slope, so that the prior's world is the model's.
    speed = log_speed(robot, truth.basis, own, quantity)[0, 0] + rng.normal(0, own.speed_scatter[0])
    speed -= float(center.d_angle[0]) * rng.normal(0, own.angle_scatter[0])
    setpoint = float(setpoint_for(robot, quantity))
    if rng.random() < WILD_SHARE:
        if measured:
            return shot(number, reading, setpoint, None, miss_m=float(rng.uniform(-3, 3)))
        return shot(number, reading, setpoint, str(rng.choice(["short", "in", "long"])))
    if measured:
        miss = _miss(need, distance, own, speed)
        if miss is None:
            return shot(number, reading, setpoint, "short")
        return shot(number, reading, setpoint, None, miss_m=miss + rng.normal(0, robot.uncertainty.miss))
    side = distance[0] * (own.side_bias[0] + rng.normal(0, own.side_scatter[0]))
    free = need.free(distance, own.angle_error, own.log_drag)
    if abs(side) > free.side[0]:
        return shot(number, reading, setpoint, "left" if side < 0 else "right")
    met = 1.0 if free.ring is None else free.ring.chord(np.array([[side]]))[0, 0]
    low = need.log_speed(distance, free.low * met, own.angle_error, own.log_drag).value[0]
    high = need.log_speed(distance, free.high * met, own.angle_error, own.log_drag).value[0]
    return shot(number, reading, setpoint, "short" if speed < low else "long" if speed > high else "in")


def _miss(need, distance, own, speed):
    """Where this speed crosses the target's plane, on the far branch; None where it never gets up there."""
    grid = np.linspace(-2.0, 6.0, 1601)
    values = need.log_speed(distance[0] + 0 * grid, grid, own.angle_error[0], own.log_drag[0]).value
    good = np.isfinite(values)
    start = int(np.argmin(np.where(good, values, np.inf)))
    far, where = values[start:][good[start:]], grid[start:][good[start:]]
    return float(np.interp(speed, far, where)) if speed > far[0] else None


def hit_probability(robot, need, belief, reading, setpoint):
    """Hit probability (K,) of each draw of a belief."""
    return situation(need, reading, belief.draws).hit(
        log_speed(robot, belief.basis, belief.draws, np.array([setpoint]))
    )[:, 0]
