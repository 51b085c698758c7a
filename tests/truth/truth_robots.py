"""Hidden robots: what each really does, and the profile a student would have written for it.

A robot's truth is drawn around its profile by as much as the profile's ``[uncertainty]`` says (family "stated"), or by
about twice as much with stranger shapes ("beyond"). The profile is TOML text; the truth never reads it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import numpy as np
from truth_drawing import Nominal, draw_nominal
from truth_physics import Array, Ball, Ground, between, fly

SHAPES: dict[str, Callable[[Array], Array]] = {
    "flat": lambda x: np.zeros_like(x),
    "linear": lambda x: x - 0.5,
    "logistic": lambda x: 1 / (1 + np.exp(-(x - 0.5) / 0.12)) - 0.5,
    "bump": lambda x: np.exp(-(((x - 0.55) / 0.22) ** 2)) - 0.35,
    "saturating": lambda x: 1.4 * x * x / (1 + x * x) - 0.3,
}
SPEEDS = 220
DRAWS = 512


@dataclass
class HiddenRobot:
    """One robot's truth. ``setpoints`` are all the robot program accepts; distances are readings, in metres."""

    name: str
    kind: str
    nominal: Nominal
    level: float
    shape: str
    depth: float
    offset: float
    stiffening: float
    angle: float
    angle_per_range: float
    ball: Ball | None
    ground: Ground | None
    distance_bias: float
    distance_scale: float
    distance_noise: float
    speed_scatter: float
    angle_scatter: float
    side_scatter: float
    side_bias: float
    mass_spread: float
    tail: float
    wild: float
    battery_v: float
    shift: float = 0.0
    power: float = 1.0
    span: tuple[float, float] = (0.0, 1.0)
    readings: Array = field(default_factory=lambda: np.zeros(0))
    hits: Array = field(default_factory=lambda: np.zeros((0, 0)))
    log_speeds: Array = field(default_factory=lambda: np.zeros(0))

    # --- from setpoint to mean exit speed -------------------------------------------------------------------

    def mean_speed(self, setpoint: Array | float) -> Array:
        """Exit speed (m/s) that this setpoint gives on average, now (battery, epoch)."""
        n = self.nominal
        s = np.atleast_1d(np.asarray(setpoint, dtype=float))
        x = (s - n.low) / (n.high - n.low)
        if n.launcher == "flywheel":
            wheel = self.wheel_rpm(s)
            rim = np.pi * n.wheel_diameter * wheel / 60
            share = 0.5 if n.wheels == 1 else (1 + n.speed_ratio) / 2
            speed = rim * share * n.grip
        else:
            draw = np.maximum(s / 1000 + self.offset, 0.0)
            energy = n.preload * draw + n.spring_rate * draw**2 / 2 * (1 + self.stiffening * draw * 1000 / n.high)
            speed = self._from_energy(n.efficiency * energy, draw)
        bent = np.maximum(x, 0.0) ** self.power if self.shape == "power" else SHAPES[self.shape](x)
        return speed * np.exp(self.level + self.shift + self.depth * bent)

    def wheel_rpm(self, setpoint: Array | float) -> Array:
        """What the wheel really turns at: an offset from the setpoint, or what the sagging battery drives."""
        n = self.nominal
        s = np.asarray(setpoint, dtype=float)
        if n.power:
            duty = s / 100
            return n.no_load_wheel_rpm * duty * (self.battery_v - 0.5 * duty) / 12.0 * (1 + self.offset)
        return s * (1 + self.offset) + 200 * self.offset

    def _from_energy(self, energy: Array, draw: Array) -> Array:
        n = self.nominal
        if n.launcher == "striker":
            moving = n.striker_mass + n.spring_mass / 3
            if n.contact == "push":
                return np.sqrt(2 * energy / (moving + n.mass))
            return (1 + n.restitution) * moving / (moving + n.mass) * np.sqrt(2 * energy / moving)
        rise = np.array([n.lifting(d) for d in draw])
        inertia = n.arm_inertia + n.mass * n.arm_length**2
        return n.arm_length * np.sqrt(2 * np.maximum(energy - rise, 1e-6) / inertia)

    def mean_angle(self, log_speed: Array) -> Array:
        low, high = self.span
        return self.angle + self.angle_per_range * ((log_speed - low) / (high - low) - 0.5)

    # --- one launch, and many -------------------------------------------------------------------------------

    def true_distance(self, reading: Array | float) -> Array:
        return np.asarray(reading) * self.distance_scale + self.distance_bias

    def scattered(self, log_speed: Array, z: Array) -> tuple[Array, Array, Array, Array]:
        """Log speed, elevation, mass factor and bearing of launches with standard normals z (..., 4)."""
        z = np.sinh(self.tail * z) / self.tail if self.tail > 0 else z
        mass = np.clip(1 + self.mass_spread * z[..., 2], 0.86, 1.14)
        log_v = log_speed + self.speed_scatter * z[..., 0] - 0.25 * np.log(mass)
        angle = self.mean_angle(log_speed) + self.angle_scatter * z[..., 1]
        return log_v, angle, mass, self.side_bias + self.side_scatter * z[..., 3]

    def judge(self, miss: Array, slope: Array, side: Array) -> tuple[Array, Array, Array]:
        """Whether it scores, and how far outside along and across, as shares of the free half widths."""
        n = self.nominal
        if n.target == "gate":
            along = np.where(miss >= n.extent / 2, 0.0, 2.0)
            return *self._inside(along, side), along
        if n.target == "basket":
            sine = np.where(slope < 0, -slope / np.hypot(1, slope), np.nan)
            half = (n.opening[0] - n.extent / sine) / 2
        elif n.target == "window":
            half = (n.opening[1] - n.extent * np.hypot(1, slope)) / 2
        else:
            half = np.full_like(miss, (n.opening[0] - n.extent) / 2)
        along = np.where(half > 0, np.abs(miss) / np.where(half > 0, half, 1), 9.0)
        return *self._inside(np.where(np.isfinite(along), along, 9.0), side), along

    def _inside(self, along: Array, side: Array) -> tuple[Array, Array]:
        n = self.nominal
        width = n.opening[0] if n.target == "window" else n.opening[-1]
        across = np.abs(side) / ((width - n.extent) / 2)
        round_basket = n.target == "basket" and len(n.opening) == 1
        scores = along**2 + across**2 < 1 if round_basket else (along < 1) & (across < 1)
        return scores, across

    def shoot(self, reading: float, setpoint: float, rng: np.random.Generator) -> dict[str, float | str | None]:
        """One launch from this reading: result word, true miss (None where nothing can be measured), readback."""
        distance = float(self.true_distance(reading)) + self.distance_noise * rng.standard_normal()
        z, wild, fate = rng.standard_normal(4), rng.random(), rng.random()
        blur, volts = rng.standard_normal(), rng.standard_normal()
        log_v, angle, mass, bearing = self.scattered(np.log(self.mean_speed(setpoint))[0], z)
        miss, slope = self.crossing(np.array([np.exp(log_v)]), np.array([angle]), np.array([mass]), distance)
        side = np.array([distance * np.tan(bearing)])
        scores, across, along = self.judge(miss, slope, side)
        word = _word(bool(scores[0]), float(miss[0]), float(side[0]), float(along[0]), float(across[0]))
        measurable = np.isfinite(miss[0]) and abs(miss[0]) < 1.5 and self.nominal.target != "gate"
        shown = float(miss[0]) if measurable else None
        if wild < self.wild:
            word = ("in", "short", "long", "left", "right")[int(fate * 5)]
            shown = None if shown is None else shown + (fate - 0.5)
        speed = None
        if self.nominal.readback:
            speed = float(self.wheel_rpm(setpoint)) * (1 + 0.003 * volts)
        return {"result": word, "miss_m": None if shown is None else round(shown + 0.05 * blur, 3), "speed": speed}

    def crossing(self, speed: Array, angle: Array, mass: Array, distance: float) -> tuple[Array, Array]:
        """Miss and slope at one true distance, integrated directly."""
        n = self.nominal
        if self.ground is not None:
            v, run = self.ground.stopping_table(1.1 * float(speed.max()) + 1)
            return np.interp(speed, v, run) * (1 + 0.5 * (mass - 1)) - distance, np.zeros_like(speed)
        assert self.ball is not None
        rise = n.height - n.exit_height
        if n.target == "basket":
            x, slope = fly(self.ball, speed, angle, 1 / mass, rise, None)
            return x - distance, slope
        y, slope = fly(self.ball, speed, angle, 1 / mass, rise, np.array([distance]))
        return y[0], slope[0]

    # --- tables of the hit rate -----------------------------------------------------------------------------

    def tabulate(self, readings: Array, speeds: int, draws: int) -> tuple[Array, Array]:
        """Log speeds (speeds,) and hit rates (len(readings), speeds) with common scatter draws."""
        grid = np.linspace(self.span[0] - 0.12, self.span[1] + 0.12, speeds)
        z = _normals(draws)
        distances = self.true_distance(readings)
        log_v, angle, mass, bearing = self.scattered(grid[:, None], z[None, :, :])
        if self.ground is not None:
            v, run = self.ground.stopping_table(1.3 * float(np.exp(log_v.max())))
            stop = np.interp(np.exp(log_v), v, run) * (1 + 0.5 * (mass - 1))
            crossings = ((stop - d, np.zeros_like(stop)) for d in distances)
        else:
            crossings = self._flights(distances, log_v, angle, mass, fine=speeds >= SPEEDS)
        rates = []
        for distance, (miss, slope) in zip(distances, crossings, strict=True):
            scores, _, _ = self.judge(miss, slope, distance * np.tan(bearing))
            rates.append(scores.mean(axis=1))
        return grid, np.array(rates)

    def _flights(
        self, distances: Array, log_v: Array, angle: Array, mass: Array, fine: bool
    ) -> Iterator[tuple[Array, Array]]:
        assert self.ball is not None
        n = self.nominal
        rise = n.height - n.exit_height
        axes = [
            np.array([0.85, 1.15]),
            np.linspace(log_v.min(), log_v.max(), 161 if fine else 61),
            np.linspace(angle.min() - 1e-6, angle.max() + 1e-6, 33 if fine else 13),
        ]
        m, v, a = np.meshgrid(*axes, indexing="ij")
        points = [np.broadcast_to(mass, log_v.shape), log_v, angle]
        with np.errstate(invalid="ignore"):
            if n.target == "basket":
                x, slope = fly(self.ball, np.exp(v), a, 1 / m, rise, None)
                both = between(axes, np.stack([x, slope], axis=-1), points)
                for d in distances:
                    yield both[..., 0] - d, both[..., 1]
                return
            y, slope = fly(self.ball, np.exp(v), a, 1 / m, rise, distances)
            both = between(axes, np.moveaxis(np.stack([y, slope]), (0, 1), (-2, -1)), points)
            for j in range(len(distances)):
                yield both[..., 0, j], both[..., 1, j]

    def settle(self) -> bool:
        """Find the working range (oracle's hit rate at least 0.3) and tabulate it; False if there is hardly any."""
        low, high = np.log(self.mean_speed([self.nominal.low, self.nominal.high]))
        self.span = (float(low), float(high))
        rough = np.arange(0.6, 8.01, 0.25)
        _, rates = self.tabulate(rough, 70, 128)
        good = np.flatnonzero(rates.max(axis=1) >= 0.3)
        if good.size < 5:
            return False
        runs = np.split(good, np.flatnonzero(np.diff(good) > 1) + 1)
        run = max(runs, key=len)
        if len(run) < 5:
            return False
        self.readings = np.linspace(rough[run[0]], rough[run[-1]], 12)
        self.log_speeds, self.hits = self.tabulate(self.readings, SPEEDS, DRAWS)
        return True

    def hit_rates(self, setpoints: list[float | None]) -> Array:
        """True hit rate of one setpoint a tabulated reading (None: no shot, 0), in the present epoch and battery."""
        rates = np.zeros(len(setpoints))
        for j, s in enumerate(setpoints):
            if s is not None:
                log_v = np.log(self.mean_speed(self.nominal.allowed(s)))[0]
                rates[j] = np.interp(log_v, self.log_speeds, self.hits[j], left=0.0)
        return rates

    def oracle(self) -> Array:
        """Best hit rate at each tabulated reading over every setpoint the robot program accepts."""
        n = self.nominal
        log_v = np.log(self.mean_speed(n.all_setpoints()))
        return np.array([np.interp(log_v, self.log_speeds, row, left=0.0).max() for row in self.hits])


def _word(scores: bool, miss: float, side: float, along: float, across: float) -> str:
    if scores:
        return "in"
    if np.isfinite(along) and across > max(along, 0.7):
        return "right" if side > 0 else "left"
    return "long" if np.isfinite(miss) and miss > 0 else "short"


def _normals(draws: int) -> Array:
    from scipy.special import ndtri
    from scipy.stats import qmc

    return ndtri(np.clip(qmc.Sobol(4, rng=7).random(draws), 1e-6, 1 - 1e-6))


def hidden_robot(number: int, family: str = "stated", seed: int = 0) -> HiddenRobot:
    """The ``number``-th robot of a family; the same arguments give the same robot."""
    for attempt in range(50):
        rng = np.random.default_rng([seed, number, attempt])
        robot = _draw(rng, number, family)
        if robot.settle() and robot.oracle().mean() > 0.45:
            return robot
    raise RuntimeError(f"no workable robot {number} of family {family}")


def _draw(rng: np.random.Generator, number: int, family: str) -> HiddenRobot:
    n = draw_nominal(rng, number)
    far = 1.0 if family == "stated" else 1.8
    u = n.uncertainty

    def off(sd: float) -> float:
        return float(far * sd * np.clip(rng.standard_normal(), -2.5, 2.5))

    sliding = n.target in ("zone", "gate")
    drag = np.exp(off(u["drag"]))
    per_mass = 0.5 * 1.19 * n.area / n.mass
    exponent, crisis, fall = rng.uniform(-0.15, 0.15) * far, rng.uniform(9, 15), rng.choice([0.0, 0.3])
    ball = Ball(per_mass, n.drag * drag, exponent, crisis, fall, n.spin_ratio)
    ground = Ground(n.friction * np.exp(off(u["friction"])), off(0.02), abs(off(0.1)), 0.0, per_mass * 0.3)
    level = off(u["grip"]) if n.launcher == "flywheel" else off(0.05)
    return HiddenRobot(
        name=f"hidden-{number:03d}",
        kind=f"{n.launcher} {n.target}",
        nominal=n,
        level=level,
        shape=str(rng.choice(list(SHAPES))),
        depth=off(0.05),
        offset=off(0.01) if n.launcher == "flywheel" else off(0.001),
        stiffening=off(0.08),
        angle=n.exit_angle + off(u["exit_angle"]),
        angle_per_range=off(np.radians(1.0)),
        ball=None if sliding else ball,
        ground=ground if sliding else None,
        distance_bias=off(u["distance"]),
        distance_scale=1 + off(0.006),
        distance_noise=0.01 * far,
        speed_scatter=u["exit_speed_scatter"] * np.exp(off(0.25)),
        angle_scatter=u["exit_angle_scatter"] * np.exp(off(0.25)),
        side_scatter=u["side_scatter"] * np.exp(off(0.25)),
        side_bias=off(0.25 * u["side_scatter"]),
        mass_spread=rng.uniform(0.0, 0.03),
        tail=0.0 if family == "stated" else 0.3,
        wild=0.02,
        battery_v=float(rng.uniform(11.8, 13.0)),
    )
