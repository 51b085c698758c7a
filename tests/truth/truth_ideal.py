"""An ideal learner: told the family of a hidden robot, with all bounds, it weighs every robot of it by the shots.

What nobody could beat on average with the same shots. Required log speeds of a profile's robots are computed with the
trial's own physics for some hundreds of robots of the family and fitted by a quadratic in the family's parameters; the
posterior over the parameters is carried as particles that are reweighed at every shot, resampled and moved
(resample-move: Gilks and Berzuini, J. R. Stat. Soc. B 63 (2001) 127).
"""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr, ndtri
from scipy.stats import qmc
from truth_drawing import Nominal
from truth_families import NAMES, WILD, bounds, build
from truth_physics import Array, Ball, Ground, fly

PARTICLES, SAMPLES, SPEEDS, SWEEPS = 2048, 512, 48, 12
# Misses (m) at which required speeds are tabulated, beside the near and far edge of the free opening.
MISSES = np.array([-1.2, -0.8, -0.5, -0.25, 0.0, 0.25, 0.5, 0.8, 1.2])
_NODES = np.array([0.0469, 0.2308, 0.5, 0.7692, 0.9531])  # Gauss-Legendre on 0..1, five points
_SHARES = np.array([0.1185, 0.2393, 0.2844, 0.2393, 0.1185])
_BLUR = 0.05
# Parameters that change the required speed.
_ON_FLOOR = ("friction_per_speed", "stick", "tilt")
_IN_FLIGHT = ("angle", "exponent", "crisis_depth", "crisis_speed", "spin", "angle_per_range_deg", "level", "loss")
_DISTANCE_NOISE = 0.01


class Ideal:
    """Knows profile, the family's bounds and the battery voltage at each shot; shots come from one of ``readings``."""

    def __init__(self, nominal: Nominal, family: str, readings: Array) -> None:
        self.n, self.family, self.readings = nominal, family, readings
        limits = bounds(family)
        self.free = np.flatnonzero(limits[:, 1] > limits[:, 0])
        self.low, self.span = limits[:, 0], limits[:, 1] - limits[:, 0]
        sliding = nominal.target in ("zone", "gate")
        acting = {"drag", "distance", "scale", *(_ON_FLOOR if sliding else _IN_FLIGHT)}
        self.acting = np.array([k for k, place in enumerate(self.free) if NAMES[place] in acting])
        self._fit_required()
        self.begin()

    def begin(self) -> None:
        """Forget all shots; what the target asks of the exit speed is kept."""
        self.rng = np.random.default_rng(3)
        self.u = qmc.Sobol(len(self.free), rng=5).random(PARTICLES)
        self.weight = np.full(PARTICLES, 1 / PARTICLES)
        self.shots: list[tuple[int, float, float, str, float | None]] = []

    # --- what the target asks of the exit speed ---------------------------------------------------------------

    def values(self, u: Array) -> dict[str, Array]:
        full = np.repeat(self.low[None], len(u), axis=0)
        full[:, self.free] += u * self.span[self.free]
        return {name: full[:, k] for k, name in enumerate(NAMES)}

    def _fit_required(self) -> None:
        u = qmc.Sobol(len(self.free), rng=11).random(SAMPLES)
        self.half, here = self._required(u, 0.0)
        _, steeper = self._required(u, 0.02)
        per_angle = (steeper - here) / 0.02
        per_angle = np.where(np.isfinite(per_angle[:, :, 4]), per_angle[:, :, 4], per_angle[:, :, -2])
        here[:, :, 4] = np.where(np.isfinite(here[:, :, 4]), here[:, :, 4], here[:, :, -2])
        outputs = np.concatenate([here, per_angle[:, :, None]], axis=2)
        design = _quadratic(u[:, self.acting])
        self.surface = np.full((design.shape[1], *outputs.shape[1:]), np.nan)
        for j in range(outputs.shape[1]):
            for k in range(outputs.shape[2]):
                good = np.isfinite(outputs[:, j, k])
                if good.sum() > 1.3 * design.shape[1]:
                    self.surface[:, j, k] = np.linalg.lstsq(design[good], outputs[good, j, k], rcond=1e-6)[0]

    def _required(self, u: Array, steeper: float) -> tuple[Array, Array]:
        """Half the free depth (readings,), m, and far log speeds (robots, readings, misses and both edges)."""
        v = self.values(u)
        low, high = (self.mean_log_speed(u, np.array([s]), 12.5)[:, 0] for s in (self.n.low, self.n.high))
        grid = np.linspace(low - 0.25, high + 0.25, SPEEDS, axis=1)
        slope_at = (grid - low[:, None]) / (high - low)[:, None] - 0.5
        angle = self.n.exit_angle + (v["angle"] * self.n.uncertainty["exit_angle"])[:, None] + steeper
        angle = angle + np.radians(v["angle_per_range_deg"])[:, None] * slope_at
        distance = self.readings[None] * v["scale"][:, None] + (v["distance"] * self.n.uncertainty["distance"])[:, None]
        miss, along = self._crossings(v, grid, angle, distance)
        wanted = np.full((len(u), len(self.readings), len(MISSES) + 2), np.nan)
        half = np.full(miss.shape[:2], np.nan)
        for i in range(len(u)):
            for j in range(len(self.readings)):
                good = np.flatnonzero(np.isfinite(miss[i, j]))
                if len(good) < 3:
                    continue
                # The far branch: behind the last place where the miss falls with the speed.
                falls = np.flatnonzero(np.diff(miss[i, j, good]) <= 0)
                good = good[falls[-1] + 1 :] if len(falls) else good
                if len(good) < 3:
                    continue
                far, speed = miss[i, j, good], grid[i, good]
                wanted[i, j, : len(MISSES)] = np.interp(MISSES, far, speed, left=np.nan, right=np.nan)
                edge = along[i, j, good]
                known = np.isfinite(edge)
                if known.sum() > 2 and np.all(np.diff(edge[known]) > 0):
                    # An edge beyond the branch: every speed from the branch's start, or up to its end, goes in.
                    wanted[i, j, -2:] = np.interp([-1, 1], edge[known], speed[known])
                    half[i, j] = np.interp(
                        0, edge[known], np.abs(far[known] / np.where(edge[known] == 0, 1, edge[known]))
                    )
        return np.nanmedian(half, axis=0), wanted

    def _crossings(self, v: dict[str, Array], grid: Array, angle: Array, distance: Array) -> tuple[Array, Array]:
        """Misses (m) and misses over the free half depth, (robots, readings, speeds)."""
        n, count = self.n, grid.shape[1]
        if n.target in ("zone", "gate"):
            miss = np.empty((*distance.shape, count))
            for i in range(len(grid)):
                friction = n.friction * np.exp(v["drag"][i] * n.uncertainty["friction"])
                rest = 0.5 * 1.19 * n.area / n.mass * 0.3
                ground = Ground(friction, v["friction_per_speed"][i], v["stick"][i], v["tilt"][i], rest)
                speed, run = ground.stopping_table(float(np.exp(grid[i].max())))
                miss[i] = np.interp(np.exp(grid[i]), speed, run)[None] - distance[i][:, None]
            if n.target == "gate":
                return miss, (miss - n.extent / 2) / 0.25 - 1
            return miss, miss / ((n.opening[0] - n.extent) / 2)
        each = {
            name: np.repeat(v[name], count) for name in ("drag", "exponent", "crisis_speed", "crisis_depth", "spin")
        }
        ball = Ball(
            0.5 * 1.19 * n.area / n.mass, n.drag * np.exp(each["drag"] * n.uncertainty["drag"]), each["exponent"],
            each["crisis_speed"], each["crisis_depth"], n.spin_ratio + each["spin"],
        )  # fmt: skip
        rise = n.height - n.exit_height
        speed = np.exp(grid).ravel()
        with np.errstate(invalid="ignore"):
            if n.target == "basket":
                x, slope = (a.reshape(grid.shape) for a in fly(ball, speed, angle.ravel(), np.ones(1), rise, None))
                half = (n.opening[0] - n.extent * np.hypot(1, slope) / np.where(slope < 0, -slope, np.nan)) / 2
                miss = x[:, None] - distance[:, :, None]
                return miss, miss / np.where(half > 0, half, np.nan)[:, None]
            planes = np.repeat(distance.T, count, axis=1)
            y, slope = fly(ball, speed, angle.ravel(), np.ones(1), rise, planes)
            y, slope = (a.reshape(len(self.readings), *grid.shape).swapaxes(0, 1) for a in (y, slope))
            half = (n.opening[1] - n.extent * np.hypot(1, slope)) / 2
            return y, y / np.where(half > 0, half, np.nan)

    def mean_log_speed(self, u: Array, setpoints: Array, battery_v: float) -> Array:
        """Log exit speeds (robots, setpoints)."""
        v, n = self.values(u), self.n
        plain = build(n, np.array([0.0 if k != "scale" else 1.0 for k in NAMES]), self.family, battery_v)
        x = np.maximum((setpoints - n.low) / (n.high - n.low), 0.0)
        level = v["level"] * (n.uncertainty["grip"] if n.launcher == "flywheel" else 0.05)
        return np.log(plain.mean_speed(setpoints)) + level[:, None] + v["loss"][:, None] * x ** v["bend"][:, None]

    # --- chances ---------------------------------------------------------------------------------------------

    def chances(self, u: Array, j: int, log_speed: Array) -> tuple[Array, Array, Array]:
        """Probabilities (robots, s) of short, in and long with a good side, and (robots, 1) of a good side."""
        v, n = self.values(u), self.n
        needed = np.einsum("pk,ko->po", _quadratic(u[:, self.acting]), self.surface[:, j])
        center, near, far, by_angle = needed[:, 4], needed[:, -3], needed[:, -2], needed[:, -1]
        if n.target == "gate":
            far = np.full_like(near, np.inf)
        sd = self._scatter(v, by_angle, j, center)
        distance = self.readings[j] * v["scale"] + v["distance"] * n.uncertainty["distance"]
        width = n.opening[0] if n.target == "window" else n.opening[-1]
        free = (width - n.extent) / 2
        bias, side_sd = (
            v["side_bias"] * n.uncertainty["side_scatter"],
            n.uncertainty["side_scatter"] * np.exp(v["log_side_scatter"]),
        )
        left, right = (ndtr((edge / distance - bias) / side_sd) for edge in (-free, free))
        good = (right - left)[:, None]
        short, inside, long = (np.zeros(log_speed.shape) for _ in range(3))
        round_basket = n.target == "basket" and len(n.opening) == 1
        for node, share in zip(_NODES, _SHARES, strict=True) if round_basket else ((0.5, 1.0),):
            chord = np.ones(len(u))
            if round_basket:
                at = bias + side_sd * ndtri(np.clip(left + node * (right - left), 1e-9, 1 - 1e-9))
                chord = np.sqrt(np.clip(1 - (at * distance / free) ** 2, 0.0, 1.0))
            low = center + chord * (near - center) if np.isfinite(near).all() else near
            high = center + chord * (far - center) if np.isfinite(far).all() else far
            below = _cumulative((low[:, None] - log_speed) / sd[:, None], v["tail"])
            above = 1 - _cumulative((high[:, None] - log_speed) / sd[:, None], v["tail"])
            short, long = short + share * below, long + share * above
            inside = inside + share * np.maximum(1 - below - above, 0.0)
        return np.nan_to_num(short, nan=1.0), np.nan_to_num(inside), np.nan_to_num(long), good * np.ones((1, 1))

    def _scatter(self, v: dict[str, Array], by_angle: Array, j: int, center: Array) -> Array:
        n = self.n
        speed = n.uncertainty["exit_speed_scatter"] * np.exp(v["log_speed_scatter"])
        angle = n.uncertainty["exit_angle_scatter"] * np.exp(v["log_angle_scatter"])
        return np.sqrt(speed**2 + (by_angle * angle) ** 2 + (0.25 * v["mass_spread"]) ** 2 + 1e-8)

    def _log_likelihood(self, u: Array, shot: tuple[int, float, float, str, float | None]) -> Array:
        j, setpoint, battery_v, result, miss = shot
        log_speed = self.mean_log_speed(u, np.array([setpoint]), battery_v)
        wild = WILD.get(self.family, 0.02)
        if miss is None:
            short, inside, long, good = (a[:, 0] for a in self.chances(u, j, log_speed))
            own = {"short": short * good, "in": inside * good, "long": long * good}.get(result, 1 - good)
            return np.log((1 - wild) * own + wild / 5)
        v = self.values(u)
        needed = np.einsum("pk,ko->po", _quadratic(u[:, self.acting]), self.surface[:, j])
        place = int(np.clip(np.searchsorted(MISSES, miss) - 1, 0, len(MISSES) - 2))
        per_metre = (needed[:, place + 1] - needed[:, place]) / (MISSES[place + 1] - MISSES[place])
        wanted = needed[:, place] + per_metre * (miss - MISSES[place])
        sd = np.hypot(self._scatter(v, needed[:, -1], j, needed[:, 4]), per_metre * np.hypot(_BLUR, _DISTANCE_NOISE))
        gap = (wanted - log_speed[:, 0]) / sd
        density = np.exp(
            -0.5 * np.where(v["tail"] > 0, np.arcsinh(v["tail"] * gap) / np.maximum(v["tail"], 1e-9), gap) ** 2
        )
        density = np.nan_to_num(density * np.abs(per_metre) / sd / 2.5066)
        return np.log((1 - wild) * density + wild / 3)

    # --- learning and aiming -----------------------------------------------------------------------------------

    def confirm(self, distance: float, setpoint: float, battery_v: float, result: str, miss: float | None) -> None:
        shot = (int(np.argmin(np.abs(self.readings - distance))), setpoint, battery_v, result, miss)
        self.shots.append(shot)
        mass = np.log(self.weight) + self._log_likelihood(self.u, shot)
        mass = np.exp(mass - mass.max())
        self.weight = np.maximum(mass / mass.sum(), 1e-300)
        if 1 / np.sum(self.weight**2) < PARTICLES / 2:
            self._renew()

    def _renew(self) -> None:
        """Resample, then move every particle by Metropolis steps that bounce off the family's bounds."""
        ends = np.cumsum(self.weight)
        chosen = np.searchsorted(ends / ends[-1], (np.arange(PARTICLES) + 0.5) / PARTICLES)
        self.u, self.weight = self.u[np.minimum(chosen, PARTICLES - 1)], np.full(PARTICLES, 1 / PARTICLES)
        height = sum(self._log_likelihood(self.u, shot) for shot in self.shots)
        root = np.linalg.cholesky(np.cov(self.u.T) + 1e-8 * np.eye(self.u.shape[1]))
        for sweep in range(SWEEPS):
            size = (1.2, 0.6, 0.3)[sweep % 3] / np.sqrt(self.u.shape[1]) * 2
            trial = self.u + size * self.rng.standard_normal(self.u.shape) @ root.T
            trial = 1 - np.abs(1 - np.abs(trial) % 2)
            reached = sum(self._log_likelihood(trial, shot) for shot in self.shots)
            better = np.log(self.rng.random(PARTICLES)) < reached - height
            self.u = np.where(better[:, None], trial, self.u)
            height = np.where(better, reached, height)

    def aims(self, battery_v: float) -> list[float | None]:
        """The setpoint with the highest chance at each reading."""
        pick = self.rng.choice(PARTICLES, 600, p=self.weight / self.weight.sum())
        u, setpoints = self.u[pick], np.linspace(self.n.low, self.n.high, 241)
        speeds, found = self.mean_log_speed(u, setpoints, battery_v), []
        for j in range(len(self.readings)):
            _, inside, _, good = self.chances(u, j, speeds)
            found.append(self.n.allowed(float(setpoints[np.argmax((inside * good).mean(axis=0))])))
        return found


def _cumulative(x: Array, tail: Array) -> Array:
    """Probability below x of a standard normal whose tails were stretched by sinh (tail 0: not at all)."""
    t = np.maximum(tail, 1e-9)[:, None]
    return np.asarray(ndtr(np.where(tail[:, None] > 0, np.arcsinh(t * x) / t, x)))


def _quadratic(u: Array) -> Array:
    """1, u, and all products of two, around the middle of the box."""
    x = 2 * u - 1
    i, k = np.triu_indices(x.shape[1])
    return np.column_stack([np.ones(len(x)), x, x[:, i] * x[:, k]])
