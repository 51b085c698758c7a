"""Odd robots thrown by brute force: Newton's law in time, launch by launch. Shares no code with the program, and of its
numbers only what publications give: the laws are written down here once more.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray
from odd_robots import Odd
from scipy.integrate import solve_ivp

FloatArray = NDArray[np.float64]
G = 9.80665
STEP, LONGEST = 2e-3, 8.0


def density(odd: Odd) -> float:
    """Moist air: CIPM-2007, Picard et al., Metrologia 45 (2008) 149, appendix A."""
    t, p, c = odd.temperature, odd.pressure, odd.temperature - 273.15
    steam = math.exp(1.2378847e-5 * t * t - 1.9121316e-2 * t + 33.93711047 - 6343.1645 / t)
    x = odd.humidity * (1.00062 + 3.14e-8 * p + 5.6e-7 * c * c) * steam / p
    z = 1 - p / t * (
        1.58123e-6
        - 2.9331e-8 * c
        + 1.1043e-10 * c * c
        + (5.707e-6 - 2.051e-8 * c) * x
        + (1.9898e-4 - 2.376e-6 * c) * x * x
    )
    z += (p / t) ** 2 * (1.83e-11 - 0.765e-8 * x * x)
    return 3.483740e-3 * p / (z * t) * (1 - 0.3780 * x)


def viscosity(odd: Odd) -> float:
    """Sutherland's law (U.S. Standard Atmosphere 1976): dry air, a per cent from moist air's at most."""
    return 1.458e-6 * odd.temperature**1.5 / (odd.temperature + 110.4)


def area(odd: Odd) -> float:
    """A ball's cross-section; of others a quarter of the surface (Cauchy)."""
    if odd.shape == "sphere":
        return math.pi * odd.sizes[0] ** 2 / 4
    if odd.shape == "disc":
        d, h = odd.sizes
        return (2 * math.pi * d * d / 4 + math.pi * d * h) / 4
    a, b, c = odd.sizes
    return 2 * (a * b + b * c + c * a) / 4


def drag_coefficient(odd: Odd, speed: FloatArray) -> FloatArray:
    """The published laws that the program names for each surface."""
    if odd.drag is not None:
        return np.full_like(speed, odd.drag)
    if odd.shape != "sphere":
        return np.ones_like(speed)
    re = density(odd) * odd.sizes[0] / viscosity(odd) * np.maximum(speed, 1e-6)
    if odd.surface == "smooth":
        below = 24 / re * (1 + 0.15 * re**0.681) + 0.407 / (1 + 8710 / re)
        step = 1 / (1 + (re / 2.65e5) ** 12)
        return below * step + 0.25 * (re / 1e6) / (1 + re / 1e6) * (1 - step)
    if odd.surface == "seamed":
        return 0.155 + 0.346 / (1 + np.exp((re / (0.218 / 1.5e-5) - 12.19) / 1.309))
    if odd.surface == "dimpled":
        return 0.24 + 0.26 / (1 + (re / 4.5e4) ** 6)
    return np.full_like(speed, {"felt": 0.507, "perforated": 0.50}[odd.surface])


def lift_coefficient(odd: Odd, ratio: FloatArray) -> FloatArray:
    """Lift over the spin ratio, by surface; none for what is no ball."""
    if odd.shape != "sphere":
        return np.zeros_like(ratio)
    a, b = {
        "smooth": (1.8, 1.533), "felt": (0.981, 2.022), "seamed": (0.4, 2.32), "dimpled": (0.45, 2.0),
        "perforated": (1.4, 1.8),
    }[odd.surface]  # fmt: skip
    return ratio / (a + b * np.abs(ratio))


def exit_speed(odd: Odd, setpoint: float) -> float:
    """Exit speed (m/s) at a setpoint (rpm or mm)."""
    m, of = odd.mass, odd.mechanism
    if odd.kind == "flywheel":
        rim = setpoint * math.pi / 30 * of["wheel_diameter"] / 2
        return of["grip"] * rim * ((1 + of["speed_ratio"]) / 2 if of["wheels"] == 2 else 0.5)
    d = setpoint / 1000
    if odd.kind == "striker":
        energy = of["efficiency"] * (of["spring_rate"] * d * d / 2 + of["preload"] * d)
        moving = of["striker_mass"] + of["spring_mass"] / 3
        if of["push"]:
            return math.sqrt(2 * energy / (moving + m))
        before = math.sqrt(2 * energy / moving)
        return (1 + of["restitution"]) * moving * before / (moving + m)
    length, inertia = of["arm_length"], of["arm_inertia"]
    work = of["torque"] / length * d if "torque" in of else of["spring_rate"] * d * d / 2 + of["preload"] * d
    rise = length * (math.sin(of["release_angle"]) - math.sin(of["release_angle"] - d / length))
    rod = 3 * inertia / length**2  # a uniform rod's mass, lifted at half its length
    left = of["efficiency"] * work - (m + rod / 2) * G * rise
    return math.sqrt(max(2 * left / (m + inertia / length**2), 0.0))


def spin_share(odd: Odd) -> float:
    """Surface speed of the spin over the exit speed, backspin positive."""
    if odd.kind != "flywheel":
        return 0.0
    ratio = odd.mechanism.get("speed_ratio", 1.0)
    return 1.0 if odd.mechanism["wheels"] == 1 else (1 - ratio) / (1 + ratio)


def inertia(odd: Odd) -> float:
    """I / (m R^2) as it rolls; 0 for what only slides."""
    if odd.shape != "sphere":
        return 0.0
    density = odd.mass / (math.pi / 6 * odd.sizes[0] ** 3)
    hollow = odd.surface == "perforated" or density < {"seamed": 200, "smooth": 150}.get(odd.surface, 0)
    return 2 / 3 if hollow else 0.55 if odd.surface == "felt" else 0.4


def accelerations(
    odd: Odd, vx: FloatArray, vy: FloatArray, spin: FloatArray, drag: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Gravity, drag against the velocity, lift square to it; below 100 kg/m^3 the displaced air buoys, and half of it
    moves along (potential flow of a sphere)."""
    v = np.hypot(vx, vy)
    first, last = odd.sizes[0], odd.sizes[-1]
    volume = {1: math.pi / 6 * first**3, 2: math.pi / 4 * first**2 * last, 3: math.prod(odd.sizes)}[len(odd.sizes)]
    air = density(odd) * volume if odd.mass < 100 * volume else 0.0
    moved = odd.mass + air / 2
    k = density(odd) * area(odd) / (2 * moved) * v
    share = np.abs(spin) / np.maximum(v, 1e-9)
    known = odd.drag is not None or odd.shape != "sphere"
    b, c = (0.0, 0.0) if known else {"felt": (0.28, 0.9), "dimpled": (0.18, 0.0)}.get(odd.surface, (0.0, 0.0))
    d, up = (
        k * (drag_coefficient(odd, v) + b * share / (1 + c * share)) * drag,
        k * lift_coefficient(odd, spin / np.maximum(v, 1e-9)),
    )
    return -d * vx - up * vy, -G * (odd.mass - air) / moved - d * vy + up * vx


def crossing(
    odd: Odd, speed: float, angle: float, distance: float, drag: float = 1.0
) -> tuple[float, float, float, float]:
    """Height, slope, time and apex (m above the exit) where one launch is at a distance: scipy's DOP853 at 1e-10."""
    spin = np.array([spin_share(odd) * speed])

    def motion(_: float, q: FloatArray) -> list[float]:
        ax, ay = accelerations(odd, q[2:3], q[3:4], spin, np.array([drag]))
        return [q[2], q[3], float(ax[0]), float(ay[0])]

    def there(_: float, q: FloatArray) -> float:
        return float(q[0] - distance)

    def top(_: float, q: FloatArray) -> float:
        return float(q[3])

    there.terminal, top.direction = True, -1  # type: ignore[attr-defined]
    start = [0.0, 0.0, speed * math.cos(angle), speed * math.sin(angle)]
    run = solve_ivp(motion, (0, 60), start, "DOP853", rtol=1e-10, atol=1e-11, events=[there, top])
    if not run.t_events[0].size:
        return math.nan, math.nan, math.nan, math.nan
    _, y, vx, vy = run.y_events[0][0]
    return y, vy / vx, float(run.t_events[0][0]), max([0.0, y, *(q[1] for q in run.y_events[1])])


class Throws:
    """n launches carried in time by Runge-Kutta's classical method until each meets a place, found within its step."""

    def __init__(
        self, odd: Odd, x: FloatArray, y: FloatArray, vx: FloatArray, vy: FloatArray, spin: FloatArray, drag: FloatArray
    ) -> None:
        self.odd, self.spin, self.drag = odd, spin, drag
        self.state = np.stack([x, y, vx, vy])

    def _rates(self, q: FloatArray, lanes: FloatArray) -> FloatArray:
        ax, ay = accelerations(self.odd, q[2], q[3], self.spin[lanes], self.drag[lanes])
        return np.stack([q[2], q[3], ax, ay])

    def until(self, gap: object, step: float = STEP) -> FloatArray:
        """States (4, n) where ``gap(state, lanes)`` (n,) falls from above zero to below; nan where it never does."""
        found = np.full_like(self.state, np.nan)
        lanes = np.arange(self.state.shape[1])
        q = self.state.copy()
        for _ in range(int(LONGEST / step)):
            k1 = self._rates(q, lanes)
            k2 = self._rates(q + step / 2 * k1, lanes)
            k3 = self._rates(q + step / 2 * k2, lanes)
            k4 = self._rates(q + step * k3, lanes)
            after = q + step / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
            here = (gap(q, lanes) > 0) & (gap(after, lanes) <= 0)  # type: ignore[operator]
            if here.any():
                found[:, lanes[here]] = self._between(q[:, here], after[:, here], lanes[here], gap, step)
            going = ~here & (after[1] > -25) & (np.abs(after[0]) < 200)
            q, lanes = after[:, going], lanes[going]
            if not lanes.size:
                break
        return found

    def _between(self, q: FloatArray, after: FloatArray, lanes: FloatArray, gap: object, step: float) -> FloatArray:
        """Cubic between the ends of a step, halved to the place."""
        d0, d1 = self._rates(q, lanes) * step, self._rates(after, lanes) * step
        low, high = np.zeros(len(lanes)), np.ones(len(lanes))
        for _ in range(40):
            u = (low + high) / 2
            state = (
                q * (1 + 2 * u) * (1 - u) ** 2
                + d0 * u * (1 - u) ** 2
                + after * u**2 * (3 - 2 * u)
                + d1 * u**2 * (u - 1)
            )
            above = gap(state, lanes) > 0  # type: ignore[operator]
            low, high = np.where(above, u, low), np.where(above, high, u)
        return state


def through_ring(radius: float, r: float, sine: FloatArray, depth: FloatArray, aside: FloatArray) -> NDArray[np.bool_]:
    """A ball of radius r going straight through a level ring: seen along its path the ring is an ellipse, and no point
    of it may come nearer than r."""
    inside = (depth / radius) ** 2 + (aside / radius) ** 2 < 1
    nearest = np.full(len(depth), np.inf)
    for turn in np.linspace(0, 2 * math.pi, 240, endpoint=False):
        gap = np.hypot(radius * math.cos(turn) - aside, (radius * math.sin(turn) - depth) * sine)
        nearest = np.minimum(nearest, gap)
    return inside & (nearest > r)


def rest_distance(odd: Odd, speed: FloatArray, angle: FloatArray, factor: FloatArray) -> FloatArray:
    """Horizontal distance (n,) at which launches come to rest on the floor."""
    mu, tilt = odd.friction * factor, odd.slope
    spin, alpha = spin_share(odd) * speed, inertia(odd)
    x, along = np.zeros_like(speed), speed.copy()
    drop = odd.height - odd.lying
    if drop > 2e-3 or odd.angle > max(tilt, 0.0) + math.radians(0.5):
        vx, vy, y = speed * np.cos(angle), speed * np.sin(angle), np.full_like(speed, drop)
        step = STEP
        for _ in range(400):
            throws = Throws(odd, x, y, vx, vy, spin, np.ones_like(speed))
            throws.state[1] += 1e-9  # on the floor is above it
            down = throws.until(lambda q, lanes: q[1] - q[0] * math.tan(tilt), step)
            x, y = down[0], down[0] * math.tan(tilt)
            along = down[2] * math.cos(tilt) + down[3] * math.sin(tilt)
            into = down[2] * math.sin(tilt) - down[3] * math.cos(tilt)
            back = odd.restitution * into
            slip = along + spin if alpha else along
            change = np.sign(slip) * np.minimum(
                mu * (into + back), np.abs(slip) * (alpha / (1 + alpha) if alpha else 1.0)
            )
            along, spin = along - change, spin - (change / alpha if alpha else 0.0)
            if np.nanmax(back) < 0.01:
                break
            vx = along * math.cos(tilt) - back * math.sin(tilt)
            vy = along * math.sin(tilt) + back * math.cos(tilt)
            step = max(min(STEP, float(np.nanmax(back)) / 40), 1e-4)
    return x + _run(odd, along, spin, mu, factor) * math.cos(tilt)


def _run(odd: Odd, along: FloatArray, spin: FloatArray, mu: FloatArray, factor: FloatArray) -> FloatArray:
    """Way along the floor to rest."""
    front = {"sphere": area(odd), "disc": odd.sizes[0] * odd.sizes[-1], "block": sum(odd.sizes[:2]) / 2 * odd.sizes[-1]}
    usual = 0.5 if odd.shape == "sphere" else 1.0
    c = density(odd) * front[odd.shape] * (usual if odd.drag is None else odd.drag) / (2 * odd.mass)
    if odd.shape != "sphere":
        return np.sign(along) * _stopping(np.abs(along), mu, np.sign(along) * odd.slope, c)
    alpha, slip = inertia(odd), along + spin
    rub, pull = np.sign(slip) * G * mu * math.cos(odd.slope), G * math.sin(odd.slope)
    # Stepped in time until the touching point no longer slips, midpoint rule, air included.
    shape = np.broadcast_shapes(np.shape(along), np.shape(rub))
    v, s, slid = (np.broadcast_to(np.asarray(x, dtype=float), shape).copy() for x in (along, spin, 0.0))
    step = 1.5 * np.max(np.abs(slip) / np.abs(rub * (1 + 1 / alpha) + pull)) / 3000
    going = np.ones(shape, dtype=bool)
    for _ in range(9000):
        middle = v - step / 2 * (rub + pull + c * v * np.abs(v))
        slower = rub + pull + c * middle * np.abs(middle)
        gap, closing = v + s, slower + rub / alpha
        share = np.where(going, np.clip(gap / np.where(closing * np.sign(gap) > 0, closing, np.inf) / step, 0, 1), 0.0)
        share = np.where(going & (closing * np.sign(gap) <= 0), 1.0, share)
        slid += share * step * (v + (v - share * step * slower)) / 2
        v, s = v - share * step * slower, s - share * step * rub / alpha
        going &= share >= 1
        if not going.any():
            break
    rolls = v
    way = np.sign(rolls)
    return slid + way * (1 + alpha) * _stopping(np.abs(rolls), odd.rolling * factor, way * odd.slope, c)


def _stopping(v: FloatArray, mu: FloatArray, slope: FloatArray, c: float) -> FloatArray:
    """dx = v dv / (g (mu cos + sin) + c v^2), summed over 24 Gauss points."""
    nodes, weights = np.polynomial.legendre.leggauss(24)
    a = G * (mu * np.cos(slope) + np.sin(slope))
    x = np.zeros_like(v)
    for node, weight in zip(nodes, weights, strict=True):
        at = v * (node + 1) / 2
        x += weight * v / 2 * at / (a + c * at**2)
    return x
