"""Paths in space, written apart from the program: Newton's law in time by Runge and Kutta's classical method.

x goes forward, y up, z right, metres from the exit. Spin turns about a level axis square to the way out, its size kept.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from reference_laws import Flyer, G

FloatArray = NDArray[np.float64]
Gap = Callable[[FloatArray, FloatArray], FloatArray]
STEPS_A_FLIGHT, STEPS_A_HOP, MOST_STEPS = 64, 16, 1500
NODES, WEIGHTS = np.polynomial.legendre.leggauss(40)


@dataclass
class Launches:
    """n launches: ``state`` (6, n) place and velocity, ``spin`` (n,) surface speed (m/s, backspin positive), ``axis``
    (3, n) of it, ``factor`` (n,) on drag."""

    flyer: Flyer
    state: FloatArray
    spin: FloatArray
    axis: FloatArray
    factor: FloatArray

    @classmethod
    def of(
        cls,
        flyer: Flyer,
        speed: FloatArray,
        elevation: FloatArray,
        azimuth: FloatArray,
        spin: FloatArray,
        factor: FloatArray,
        height: FloatArray | float = 0.0,
    ) -> Launches:
        zero = np.zeros_like(speed)
        level = speed * np.cos(elevation)
        way = [level * np.cos(azimuth), speed * np.sin(elevation), level * np.sin(azimuth)]
        state = np.stack([zero, zero + height, zero, *way])
        return cls(flyer, state, spin, np.stack([-np.sin(azimuth), zero, np.cos(azimuth)]), factor)

    def taken(self, which: FloatArray) -> Launches:
        return Launches(self.flyer, self.state[:, which], self.spin[which], self.axis[:, which], self.factor[which])

    def acceleration(self, velocity: FloatArray, lanes: FloatArray | slice = slice(None)) -> FloatArray:
        """Weight, drag against the velocity, lift square to it and to the axis of spin; (3, n)."""
        f, axis = self.flyer, self.axis[:, lanes]
        v = np.maximum(np.sqrt((velocity**2).sum(axis=0)), 1e-9)
        against = f.k * f.drag_of(v, self.spin[lanes]) * self.factor[lanes] * v
        up = f.k * f.lift(self.spin[lanes] / v) * v
        x, y, z = velocity
        lifted = np.stack([axis[1] * z - axis[2] * y, axis[2] * x - axis[0] * z, axis[0] * y - axis[1] * x])
        pull = up * lifted - against * velocity
        pull[1] -= f.fall
        return pull / f.heavier

    def rates(self, state: FloatArray, lanes: FloatArray | slice = slice(None)) -> FloatArray:
        return np.concatenate([state[3:], self.acceleration(state[3:], lanes)])

    def until(
        self, gap: Gap, duration: FloatArray, floor: FloatArray | float, steps: int = STEPS_A_FLIGHT
    ) -> tuple[FloatArray, FloatArray]:
        """States (6, n) and times (n,) where ``gap(state, lanes)`` falls from above zero to zero; nan where it never
        does. ``duration`` (n,) is about how long it takes, ``floor`` the height below which nothing comes any more.
        """
        found, when = np.full_like(self.state, np.nan), np.full(self.state.shape[1], np.nan)
        lanes, q, t = np.arange(self.state.shape[1]), self.state.copy(), np.zeros(self.state.shape[1])
        low = np.broadcast_to(np.asarray(floor, dtype=float), when.shape)
        speed = np.sqrt((q[3:] ** 2).sum(axis=0))
        fade = self.flyer.k * self.flyer.drag(self.flyer.re * np.maximum(speed, 1e-9)) * self.factor * speed
        step = np.maximum(np.minimum(duration / steps, 0.06 / np.maximum(fade, 1e-9)), 1e-5)
        for _ in range(MOST_STEPS):
            h = step[lanes]
            k1 = self.rates(q, lanes)
            k2 = self.rates(q + h / 2 * k1, lanes)
            k3 = self.rates(q + h / 2 * k2, lanes)
            k4 = self.rates(q + h * k3, lanes)
            after = q + h / 6 * (k1 + 2 * k2 + 2 * k3 + k4)
            here = (gap(q, lanes) > 0) & (gap(after, lanes) <= 0)
            if here.any():
                at = self._between(q[:, here], after[:, here], h[here], lanes[here], gap)
                found[:, lanes[here]], when[lanes[here]] = at[0], t[here] + at[1]
            going = ~here & ((after[1] > low[lanes]) | (after[4] > 0))
            lanes, q, t = lanes[going], after[:, going], (t + h)[going]
            if not lanes.size:
                break
        return found, when

    def _between(
        self, q: FloatArray, after: FloatArray, h: FloatArray, lanes: FloatArray, gap: Gap
    ) -> tuple[FloatArray, FloatArray]:
        """The cubic between the ends of a step, halved to the place."""
        d0, d1 = self.rates(q, lanes) * h, self.rates(after, lanes) * h
        low, high, state = np.zeros_like(h), np.ones_like(h), q
        for _ in range(36):
            u = (low + high) / 2
            state = (1 + 2 * u) * (1 - u) ** 2 * q + u * (1 - u) ** 2 * d0 + u * u * (3 - 2 * u) * after
            state = state + u * u * (u - 1) * d1
            above = gap(state, lanes) > 0
            low, high = np.where(above, u, low), np.where(above, high, u)
        return state, low * h


def fall_time(launches: Launches, level: FloatArray | float) -> FloatArray:
    """About how long (s) a parabola takes to come down to a level."""
    up, gap = launches.state[4], launches.state[1] - level
    return (up + np.sqrt(np.maximum(up**2 + 2 * G * gap, (0.2 * up) ** 2 + 1e-8))) / G


@dataclass(frozen=True)
class Floor:
    """Friction and rolling resistance (n,), slope, restitution, air drag along it (1/m), I / (m R^2) or 0."""

    friction: FloatArray
    rolling: FloatArray
    slope: float
    restitution: float
    drag: float
    share: float


def run_out(
    floor: Floor, along: FloatArray, spin: FloatArray, slips_in_air: bool = True
) -> tuple[FloatArray, FloatArray]:
    """Way along the floor (m) to rest, and the farthest point on it; a ball slips first, then rolls."""
    pull, rub = G * math.sin(floor.slope), G * floor.friction * math.cos(floor.slope)
    if not floor.share:
        x = _stopping(along, rub, pull, floor.drag, 1.0)
        return x, np.maximum(x, 0.0)
    v, s, x, far = along.copy(), spin.copy(), np.zeros_like(along), np.zeros_like(along)
    slip = v + s
    way = np.sign(slip)
    step = np.abs(slip) / (rub * (1 + 1 / floor.share)) / 25
    going = np.abs(slip) > 1e-12

    def slowing(at: FloatArray) -> FloatArray:
        return -way * rub - pull - floor.drag * slips_in_air * at * np.abs(at)

    for _ in range(400):
        h = np.where(going, step, 0.0)
        k1 = slowing(v)
        k2 = slowing(v + h / 2 * k1)
        k3 = slowing(v + h / 2 * k2)
        k4 = slowing(v + h * k3)
        dv, ds = h / 6 * (k1 + 2 * k2 + 2 * k3 + k4), -way * rub / floor.share * h
        left = v + s + dv + ds
        part = np.where(left * way < 0, (v + s) / np.where(left == v + s, 1.0, v + s - left), 1.0)
        bend = dv - k1 * h
        x = x + h * part * (v + part * (k1 * h / 2 + part * bend / 3))
        v, s = v + part * (k1 * h + part * bend), s + part * ds
        far = np.maximum(far, x)
        going = going & (left * way > 0)
        if not going.any():
            break
    v = np.where(going, np.nan, v)
    rolls = _stopping(v, G * floor.rolling * math.cos(floor.slope), pull, floor.drag, 1 + floor.share)
    return x + rolls, np.maximum(far, x + rolls)


def _stopping(v: FloatArray, rub: FloatArray, pull: float, drag: float, inertia: float) -> FloatArray:
    """dx = inertia v dv / (slowing + drag v^2) summed over Gauss points; inf on a floor too steep to stop on."""
    way = np.sign(v)
    slowing = rub + way * pull
    with np.errstate(divide="ignore", invalid="ignore"):
        x = np.zeros_like(v)
        for node, weight in zip(NODES, WEIGHTS, strict=True):
            at = np.abs(v) * (node + 1) / 2
            x = x + weight * np.abs(v) / 2 * inertia * at / (slowing + drag * at**2)
    return way * np.where((slowing > 0) | (v == 0), x, np.inf)


def _touch_time(launches: Launches, tilt: float) -> FloatArray:
    """About how long (s) a parabola takes to a sloping floor through the origin, seen square to it."""
    x, y, _, vx, vy, _ = launches.state
    off, away, g = (
        y * math.cos(tilt) - x * math.sin(tilt),
        vy * math.cos(tilt) - vx * math.sin(tilt),
        G * math.cos(tilt),
    )
    return (away + np.sqrt(away**2 + 2 * g * np.maximum(off, 0.0) + 1e-8)) / g


def throw_and_run(launches: Launches, floor: Floor, slips_in_air: bool = True) -> tuple[FloatArray, FloatArray]:
    """Level distances (n,) of rest and of the farthest point, for launches in the x-y plane that land first.

    A bounce gives back ``restitution`` of the speed into the floor; friction acts with mu times the impulse, but no
    longer than it takes to stop the slip (Brody, Phys. Teach. 22 (1984) 494; Garwin, Am. J. Phys. 37 (1969) 88; both
    from memory).
    """
    tilt, one = floor.slope, launches
    n = one.state.shape[1]
    along, spin, x = np.zeros(n), one.spin.copy(), np.zeros(n)
    hopping = np.arange(n)
    for hop in range(80):
        here = Launches(one.flyer, one.state.copy(), one.spin, one.axis, one.factor)
        here.state[1] += 1e-10  # lying on the floor is above it
        time = _touch_time(here, tilt)
        down, _ = here.until(
            lambda q, lanes: q[1] - q[0] * math.tan(tilt), time, -60.0, STEPS_A_HOP if hop else STEPS_A_FLIGHT
        )
        forward = down[3] * math.cos(tilt) + down[4] * math.sin(tilt)
        into = down[3] * math.sin(tilt) - down[4] * math.cos(tilt)
        mu, back = floor.friction[hopping], np.where(floor.restitution * into > 0.01, floor.restitution * into, 0.0)
        most, slip = mu * (into + back), forward + (one.spin if floor.share else 0.0)
        share = floor.share / (1 + floor.share) if floor.share else 1.0
        change = np.sign(slip) * np.minimum(most, share * np.abs(slip))
        forward = forward - change
        turn = one.spin - change / floor.share if floor.share else one.spin
        along[hopping], spin[hopping], x[hopping] = forward, turn, down[0]
        up = back > 0
        hopping = hopping[up]
        if not hopping.size:
            break
        one = one.taken(up)
        one.spin, v, b = turn[up], forward[up], back[up]
        zero = np.zeros_like(v)
        out = [v * math.cos(tilt) - b * math.sin(tilt), v * math.sin(tilt) + b * math.cos(tilt), zero]
        one.state = np.stack([down[0][up], down[0][up] * math.tan(tilt), zero, *out])
    rest, far = run_out(floor, along, spin, slips_in_air)
    return x + rest * math.cos(tilt), x + far * math.cos(tilt)
