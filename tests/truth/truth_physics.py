"""Nature, written a second time: flight by Runge-Kutta in time, slides by quadrature over speed.

Nothing here comes from the package under test. SI throughout; arrays broadcast; a flight batch is integrated at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
GRAVITY = 9.81
STEP_S = 0.02
STEPS = 125


@dataclass(frozen=True)
class Ball:
    """A flying element: drag coefficient ``drag * (v / 8)**exponent``, falling by ``crisis_depth`` around
    ``crisis_speed``; lift from spin, both per mass through ``area_over_mass`` (half density times area over mass).
    Arrays hold one element a launch."""

    area_over_mass: float
    drag: float | Array
    exponent: float | Array
    crisis_speed: float | Array
    crisis_depth: float | Array
    spin_ratio: float | Array

    def coefficients(self, speed: Array) -> tuple[Array, Array]:
        fall = self.crisis_depth / (1 + np.exp(-(speed - self.crisis_speed) / 0.8))
        drag = self.drag * (np.maximum(speed, 0.3) / 8.0) ** self.exponent * (1 - fall)
        s = self.spin_ratio
        return drag, np.broadcast_to(np.asarray(0.55 * s / (0.45 + np.abs(s))), speed.shape)

    def acceleration(self, vx: Array, vy: Array, lightness: Array) -> tuple[Array, Array]:
        speed = np.hypot(vx, vy)
        drag, lift = self.coefficients(speed)
        pull = self.area_over_mass * lightness * speed
        return pull * (-drag * vx - lift * vy), pull * (-drag * vy + lift * vx) - GRAVITY


def _rk4(ball: Ball, vx: Array, vy: Array, light: Array, dt: float) -> tuple[Array, Array, Array, Array]:
    """Changes of x, y, vx, vy over one step."""
    a1, b1 = ball.acceleration(vx, vy, light)
    u2, w2 = vx + dt / 2 * a1, vy + dt / 2 * b1
    a2, b2 = ball.acceleration(u2, w2, light)
    u3, w3 = vx + dt / 2 * a2, vy + dt / 2 * b2
    a3, b3 = ball.acceleration(u3, w3, light)
    u4, w4 = vx + dt * a3, vy + dt * b3
    a4, b4 = ball.acceleration(u4, w4, light)
    return (
        dt / 6 * (vx + 2 * u2 + 2 * u3 + u4),
        dt / 6 * (vy + 2 * w2 + 2 * w3 + w4),
        dt / 6 * (a1 + 2 * a2 + 2 * a3 + a4),
        dt / 6 * (b1 + 2 * b2 + 2 * b3 + b4),
    )


def _hermite(f: Array, p0: Array, p1: Array, m0: Array, m1: Array) -> Array:
    f2, f3 = f * f, f * f * f
    return (2 * f3 - 3 * f2 + 1) * p0 + (f3 - 2 * f2 + f) * m0 + (3 * f2 - 2 * f3) * p1 + (f3 - f2) * m1


def _crossing_fraction(p0: Array, p1: Array, m0: Array, m1: Array, level: Array | float) -> Array:
    """Fraction of a step at which the cubic through both ends meets ``level``, by secant steps kept inside."""
    low, high = np.zeros_like(p0), np.ones_like(p0)
    rising = p1 > p0
    for _ in range(18):
        middle = (low + high) / 2
        beyond = (_hermite(middle, p0, p1, m0, m1) > level) == rising
        low, high = np.where(beyond, low, middle), np.where(beyond, middle, high)
    return (low + high) / 2


def fly(
    ball: Ball, speed: Array, angle: Array, lightness: Array, rise: float, planes: Array | None
) -> tuple[Array, Array]:
    """Where paths cross and with which slope (rising positive).

    ``planes`` None: (x of the descending crossing of height ``rise`` above the exit, slope), each of the batch's
    shape, nan where there is none. Otherwise (y - rise at each upright plane's distance, slope), shapes
    (len(planes), *batch); planes (n,), or (n, launches) where each launch has its own.
    """
    speed, angle, lightness = np.broadcast_arrays(speed, angle, lightness)
    shape = speed.shape
    vx, vy = (speed * np.cos(angle)).ravel(), (speed * np.sin(angle)).ravel()
    light = lightness.ravel()
    x, y = np.zeros_like(vx), np.zeros_like(vx)
    count = 1 if planes is None else len(planes)
    found, slope = np.full((count, vx.size), np.nan), np.full((count, vx.size), np.nan)
    for _ in range(STEPS):
        dx, dy, du, dw = _rk4(ball, vx, vy, light, STEP_S)
        nx, ny, nu, nw = x + dx, y + dy, vx + du, vy + dw
        for j in range(count):
            if planes is None:
                hit = np.flatnonzero((y >= rise) & (ny < rise))
                track, ends = rise, (y[hit], ny[hit], vy[hit] * STEP_S, nw[hit] * STEP_S)
                other = (x[hit], nx[hit], vx[hit] * STEP_S, nu[hit] * STEP_S)
            else:
                plane = np.broadcast_to(planes[j], x.shape)
                hit = np.flatnonzero((x < plane) & (nx >= plane))
                track, ends = plane[hit], (x[hit], nx[hit], vx[hit] * STEP_S, nu[hit] * STEP_S)
                other = (y[hit] - rise, ny[hit] - rise, vy[hit] * STEP_S, nw[hit] * STEP_S)
            if hit.size:
                f = _crossing_fraction(*ends, track)
                found[j, hit] = _hermite(f, *other)
                slope[j, hit] = (vy[hit] + f * dw[hit]) / (vx[hit] + f * du[hit])
        x, y, vx, vy = nx, ny, nu, nw
    if planes is None:
        return found[0].reshape(shape), slope[0].reshape(shape)
    return found.reshape(count, *shape), slope.reshape(count, *shape)


@dataclass(frozen=True)
class Ground:
    """A floor whose friction changes with speed: ``friction * (1 + slope_per_speed * v + stick * exp(-v / 0.4))``.

    ``tilt`` rises away from the launcher (radians); ``drag`` is a quadratic deceleration, 1/m.
    """

    friction: float
    per_speed: float
    stick: float
    tilt: float
    drag: float

    def deceleration(self, v: Array) -> Array:
        mu = self.friction * np.maximum(0.2, 1 + self.per_speed * v + self.stick * np.exp(-v / 0.4))
        return GRAVITY * (mu * np.cos(self.tilt) + np.sin(self.tilt)) + self.drag * v * v

    def stopping_table(self, fastest: float) -> tuple[Array, Array]:
        """Speeds and the distances they carry: the integral of v dv over the deceleration."""
        v = np.linspace(0, fastest, 4001)
        pull = v / self.deceleration(v)
        return v, np.concatenate([[0.0], np.cumsum((pull[1:] + pull[:-1]) / 2 * np.diff(v))])


def between(grids: list[Array], values: Array, points: list[Array]) -> Array:
    """Multilinear interpolation on even grids; values (g1, g2, ..., extra...) -> (points..., extra...)."""
    index, weight = [], []
    for grid, point in zip(grids, points, strict=True):
        place = (point - grid[0]) / (grid[1] - grid[0])
        cell = np.clip(np.floor(place).astype(int), 0, len(grid) - 2)
        index.append(cell)
        weight.append(np.clip(place - cell, 0.0, 1.0))
    extra = (1,) * (values.ndim - len(grids))
    total: Array | float = 0.0
    for corner in range(2 ** len(grids)):
        bits = [(corner >> axis) & 1 for axis in range(len(grids))]
        share = np.ones_like(weight[0])
        for w, bit in zip(weight, bits, strict=True):
            share = share * (w if bit else 1 - w)
        picked = values[tuple(i + bit for i, bit in zip(index, bits, strict=True))]
        total = total + share.reshape(share.shape + extra) * picked
    return np.asarray(total)
