"""An independent reference for flights: Newton's law over time by scipy's DOP853 at 1e-12, and cases to try it on."""

from __future__ import annotations

import math

import numpy as np
from scipy.integrate import solve_ivp

from fieldtune.physics.air import standard_air
from fieldtune.physics.flying_body import Body, ball

SURFACES = ("smooth", "felt", "seamed", "dimpled", "perforated", "foam")


def reference(body: Body, speed, elevation, spin_ratio, distance, log_drag=0.0):
    """(height, slope, speed, time, apex) at the distance; None where the path turns vertical before."""
    k, spin, scale = body.drag_per_metre, spin_ratio * speed, math.exp(log_drag)

    def motion(_, state):
        vx, vy = state[2], state[3]
        v = math.hypot(vx, vy)
        drag = float(body.drag.coefficient(body.reynolds_per_speed * v) + body.drag.added(spin / v)) * scale
        lift = float(body.lift.coefficient(spin / v))
        return (vx, vy, -k * v * (drag * vx + lift * vy), -body.gravity - k * v * (drag * vy - lift * vx))

    def arrives(_, state):
        return state[0] - distance

    def turns_vertical(_, state):
        return state[2] - 1e-3 * abs(state[3])

    def tops(_, state):
        return state[3]

    arrives.terminal = turns_vertical.terminal = True
    tops.direction = -1
    start = [0.0, 0.0, speed * math.cos(elevation), speed * math.sin(elevation)]
    run = solve_ivp(motion, (0, 300), start, "DOP853", rtol=1e-12, atol=1e-13, events=[arrives, turns_vertical, tops])
    if not run.t_events[0].size:
        return None
    _, y, vx, vy = run.y_events[0][0]
    apex = max([0.0, y] + [state[1] for state in run.y_events[2]])
    return y, vy / vx, math.hypot(vx, vy), run.t_events[0][0], apex


def legal_body(rng: np.random.Generator) -> Body:
    """A ball of 20..400 mm, foam to stone but 1 g .. 5 kg, of any surface."""
    diameter = math.exp(rng.uniform(math.log(0.02), math.log(0.4)))
    density = math.exp(rng.uniform(math.log(20), math.log(2500)))
    mass = min(max(density * math.pi / 6 * diameter**3, 0.001), 5.0)
    return ball(mass, diameter, standard_air(0.0), SURFACES[rng.integers(len(SURFACES))])


def legal_launches(rng: np.random.Generator, n: int):
    """Speeds, elevations, spin ratios, distances and log drags (n,) over all that a profile may ask for."""
    return (
        rng.uniform(0.2, 30, n),
        np.radians(rng.uniform(-10, 85, n)),
        rng.uniform(-1, 1, n) * (rng.random(n) < 0.5),
        np.exp(rng.uniform(math.log(0.05), math.log(20), n)),
        rng.normal(0, 0.15, n),
    )
