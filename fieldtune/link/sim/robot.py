"""One simulated robot: takes commands, moves on line by line; and its hidden truth, which is never sent."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.frozen import frozen
from fieldtune.link.limits import Limits
from fieldtune.link.sim.moving_parts import STEP_S, Cocking, Plant, Supply, Wheel
from fieldtune.link.text.checksums import framed
from fieldtune.person_units import amount, how_far
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

if TYPE_CHECKING:
    from fieldtune.aim.required_speed.interface import RequiredSpeed
    from fieldtune.records import Result
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Robot, Target

_OFF_S = 6.0
"""How long a change of battery takes."""
_JAM_N_M = 0.12
"""What an element that is stuck rubs with at the wheel."""
_HOOD_DEG_A_S = 60.0
"""How fast the hood turns, degrees a second."""


class SimulatedRobot:
    """Deterministic by ``seed``; it has a clock of its own, so it runs as fast as ``line`` is called.

    ``rate_hz`` lines a second. ``distance_m`` is the distance reading at which it stands.
    """

    def __init__(
        self,
        robot: Robot,
        seed: int = 0,
        rate_hz: float = 100.0,
        distance_m: float | None = None,
        target: str | None = None,
        say: Callable[[str], None] | None = None,
    ) -> None:
        hidden, noise = np.random.default_rng(seed).spawn(2)
        self.robot = robot
        self.truth = Truth(robot, hidden, target)
        self.outcomes: list[Outcome] = []
        self._noise = noise
        self._say = say or (lambda words: None)
        self._limits = Limits.of(robot)
        self._plant = self._new_plant()
        self._supply = Supply(robot.battery, robot.drive)
        self._off_until_s = self._on_since_s = 0.0
        self._period_s = 1.0 / rate_hz
        self._steps = 0
        self._lines = 0
        self._fire_wanted = 0
        self._fired = False
        spots = [spot.distance for spot in robot.spots]
        self.distance_m = distance_m if distance_m is not None else (spots[len(spots) // 2] if spots else 2.0)
        self.setpoint = self.truth.sensible_setpoint(self.distance_m)
        self.hood_deg = self._hood_wanted = robot.exit_angle_deg

    @property
    def time_s(self) -> float:
        """The robot's own time since it was switched on."""
        return self._steps * STEP_S

    def command(self, text: str) -> str | None:
        """Obeys ``setpoint=2450``, ``hood_deg=48``, ``distance_m=2.4``, ``fire`` or ``battery``; returns what is wrong
        with others.

        ``jam``: an element rubs in the wheels until ``clear``. ``battery``: it is off for a while and comes back on
        another one, still and with its clock at zero.
        """
        name, _, value = text.strip().partition("=")
        name, hood = name.strip(), self.robot.hood
        if name == "fire":
            self._fire_wanted += 1
            return None
        if name == "battery":
            self._change_battery()
            return None
        if name in ("jam", "clear"):
            self._plant.load = _JAM_N_M if name == "jam" else 0.0
            return None
        try:
            number = float(value)
        except ValueError:
            return f"can't do {text.strip()!r}; say setpoint=VALUE, distance_m=METRES, fire, jam or battery"
        if name == "setpoint" and 0 <= number <= self.robot.setpoint.high:
            self.setpoint = number
        elif name == "distance_m" and 0 < number < 50:
            self.distance_m = number
        elif name == "hood_deg" and hood is not None and hood.holds(number):
            self._hood_wanted = number
        else:
            moves = "" if hood is None else f", hood_deg from {hood.low:g} to {hood.high:g}"
            return f"can't do {text.strip()!r}; setpoint goes from 0 to {self.robot.setpoint.high:g}{moves}"
        return None

    def line(self) -> bytes:
        """Moves on by one period, give or take the robot program's unevenness, and says how things stand.

        Nothing while it is off.
        """
        self._lines += 1
        due_s = self._lines * self._period_s + self._noise.uniform(0.0, 0.15) * self._period_s
        self._fired = False
        if due_s < self._off_until_s:
            self._steps = int(due_s / STEP_S)
            return b""
        while self.time_s < due_s:
            self._plant.step(self.setpoint, self._supply)
            self._move_hood()
            self._steps += 1
            if self._fire_wanted and self._plant.ready:
                self._shoot()
        return self._spoken()

    def _new_plant(self) -> Plant:
        def wheel(turning: Flywheel) -> Plant:
            return Wheel(self.robot, turning)

        def cocking(drawn: Drawn) -> Plant:
            return Cocking(self.robot, drawn)

        return self.robot.launcher.mechanism.by_motion(wheel, cocking)

    def _change_battery(self) -> None:
        self._plant = self._new_plant()
        self._supply = self._supply.another(self._noise)
        self.truth.another_battery(self._noise)
        self.setpoint, self._fire_wanted = 0.0, 0
        self._off_until_s = self._on_since_s = self.time_s + _OFF_S

    def _move_hood(self) -> None:
        """On towards the angle asked for, as fast as a small servo turns it."""
        off = self._hood_wanted - self.hood_deg
        self.hood_deg += math.copysign(min(abs(off), _HOOD_DEG_A_S * STEP_S), off)

    def _shoot(self) -> None:
        self._fire_wanted -= 1
        self._fired = True
        quantity = self._plant.quantity
        result, miss, side = self.truth.shoot(quantity, self.distance_m, self.hood_deg)
        speed = float(np.exp(self.truth.log_speed(quantity)))
        self._plant.release(speed)
        hood = self.hood_deg if self.robot.hood is not None else None
        outcome = Outcome(
            len(self.outcomes) + 1, self.time_s, self.distance_m, self.setpoint, quantity, result, miss, side, hood
        )
        self.outcomes.append(outcome)
        self._say(str(outcome))

    def _readings(self) -> dict[str, str]:
        noise, plant = self._noise, self._plant
        said = {"t_ms": str(int((self.time_s - self._on_since_s) * 1000) % 2**32)}
        if isinstance(plant, Wheel):
            per_turn = self._limits.counts_per_turn
            if per_turn is not None:
                counts = int(plant.turns * per_turn)
                said["wheel_counts"] = str(counts % (1 << self._limits.counter_bits))
            else:
                said["wheel_rpm"] = f"{plant.quantity * (1 + 0.003 * noise.standard_normal()):.1f}"
        else:
            said["draw_mm"] = f"{max(plant.quantity + 0.05 * noise.standard_normal(), 0.0):.2f}"
        said["battery_mv"] = str(round(self._supply.voltage * 1000 + 8 * noise.standard_normal()))
        said["current_ma"] = str(max(round(plant.current_a * 1000 + 30 * noise.standard_normal()), 0))
        said["distance_mm"] = str(max(round(self.distance_m * 1000 + 6 * noise.standard_normal()), 0))
        said["setpoint"] = f"{self.setpoint:g}"
        said["power_pct"] = f"{plant.power_pct:.1f}"
        if self.robot.hood is not None:
            said["hood_deg"] = f"{self.hood_deg + 0.1 * noise.standard_normal():.1f}"
        said["fired"] = "1" if self._fired else "0"
        return said

    def _spoken(self) -> bytes:
        """The line in the profile's own layout and names."""
        link, said = self.robot.link, self._readings()
        said |= {name: f"{float(said[name]) / factor:g}" for name, factor in link.scale.items() if name in said}
        if link.columns:
            ours = {theirs: name for name, theirs in link.fields.items()}
            return framed(",".join(said.get(ours.get(name, name), "0") for name in link.columns))
        return framed(",".join(f"{link.fields.get(name, name)}={value}" for name, value in said.items()))

    @property
    def quantity(self) -> float:
        """True wheel rpm, or draw in mm, at this moment."""
        return self._plant.quantity


# What a simulated robot really is, and what really becomes of a shot: known to the simulator, never sent.


_FROM_BATTERY_TO_BATTERY = 0.025
_MISSES = np.linspace(-2.5, 2.5, 301)


@frozen
class Hidden:
    """The errors of one simulated robot. Logs are of ratios; distances in metres, angles in radians.

    ``true distance = reading + distance_bias``, as the aim room reads it.
    """

    log_gain: float
    log_gain_slope: float
    angle_error: float
    log_drag: float
    distance_bias: float
    side_bias: float

    @classmethod
    def drawn(cls, robot: Robot, rng: np.random.Generator) -> Hidden:
        """One robot from the profile's [uncertainty]."""
        spread = robot.uncertainty
        gain = robot.launcher.mechanism.level_spread(spread)
        drag = getattr(spread, robot.targets[0].resistance)
        flies = robot.targets[0].by_way(lambda: True, lambda: robot.lands_first)
        angle = spread.exit_angle if flies else 0.0
        draws = rng.standard_normal(6)
        return cls(
            log_gain=gain * draws[0],
            log_gain_slope=0.3 * gain * draws[1],
            angle_error=angle * draws[2],
            log_drag=drag * draws[3],
            distance_bias=spread.distance * draws[4],
            side_bias=0.3 * spread.side_scatter * draws[5],
        )


@frozen
class Outcome:
    """What a spectator saw of one shot, and the state it was shot in; ``miss_m`` None where it did not get there."""

    number: int
    time_s: float
    distance_m: float
    setpoint: float
    quantity: float
    result: Result
    miss_m: float | None
    side_m: float
    hood_deg: float | None = None

    def __str__(self) -> str:
        missed = (
            ""
            if self.miss_m is None
            else f", {amount(abs(self.miss_m), 'm', 2)} {'long' if self.miss_m > 0 else 'short'}"
        )
        aside = f", {amount(abs(self.side_m), 'm', 2)} {'right' if self.side_m > 0 else 'left'}"
        return f"shot {self.number} from {how_far(self.distance_m)}: {self.result}{missed}{aside}"


class Truth:
    """Decides shots with the aim room's own needs and the robot's hidden errors."""

    def __init__(self, robot: Robot, rng: np.random.Generator, target: str | None = None) -> None:
        self.target: Target = robot.target(target)
        self.hidden = Hidden.drawn(robot, rng)
        self._robot = robot
        self._rng = rng
        low, high = drive_quantity(robot, [robot.setpoint.low, robot.setpoint.high])
        self._middle = math.log(max(float(low), 0.05 * float(high)) * float(high)) / 2

    def another_battery(self, rng: np.random.Generator) -> None:
        """The level of all exit speeds moves a little, as it does from one battery to the next."""
        self.hidden = replace(
            self.hidden, log_gain=self.hidden.log_gain + _FROM_BATTERY_TO_BATTERY * rng.standard_normal()
        )

    def log_speed(self, quantity: float) -> float:
        """ln of this robot's mean exit speed at a drive quantity (wheel rpm or draw in mm)."""
        if quantity <= 0:
            return -math.inf
        model = float(model_log_speed(self._robot, quantity))
        hidden = self.hidden
        return model + hidden.log_gain + hidden.log_gain_slope * (math.log(quantity) - self._middle)

    def _required(self, hood_deg: float | None) -> RequiredSpeed:
        """What the target asks for with the hood at an angle, the profile's where None."""
        return required_speed_for(self._robot.with_exit_angle(hood_deg), self.target)

    def shoot(
        self, quantity: float, distance_m: float, hood_deg: float | None = None
    ) -> tuple[Result, float | None, float]:
        """Result, miss along the range (None: out of sight) and side miss of one shot from a distance reading."""
        required = self._required(None if hood_deg is None else round(hood_deg, 1))
        spread, hidden, rng = self._robot.uncertainty, self.hidden, self._rng
        speed_error, angle_error, side_error = rng.standard_normal(3)
        angle = hidden.angle_error + spread.exit_angle_scatter * angle_error
        true_m = distance_m + hidden.distance_bias
        side = float(true_m) * float(hidden.side_bias + spread.side_scatter * side_error)
        launched = self.log_speed(quantity) + spread.exit_speed_scatter * speed_error
        miss = self._miss(required, true_m, launched, angle)
        return self._judged(required, true_m, miss, side, angle), None if math.isinf(miss) else miss, side

    def _miss(self, required: RequiredSpeed, true_m: float, launched: float, angle: float) -> float:
        """Along-range miss of a launch; infinite beyond what is looked at."""
        misses = _MISSES[true_m + _MISSES > 0.02]
        needed = required.log_speed(true_m, misses, angle, self.hidden.log_drag).value
        known = np.isfinite(needed)
        if not known.any():
            return -math.inf
        misses, needed = misses[known], needed[known]
        branch = int(np.argmin(needed))
        misses, needed = misses[branch:], needed[branch:]
        if launched < needed[0]:
            return -math.inf
        if launched > needed[-1]:
            return math.inf
        return float(np.interp(launched, needed, misses))

    def _judged(self, required: RequiredSpeed, true_m: float, miss: float, side: float, angle: float) -> Result:
        free = required.free(true_m, angle, self.hidden.log_drag)
        low, high, half = float(free.low[0]), float(free.high[0]), float(free.side[0])
        if not math.isfinite(low):
            return "short"
        if free.ring is not None and abs(side) < half:
            chord = float(free.ring.chord(np.array([[side]]))[0, 0])
            low, high = low * chord, high * chord
        if miss < low:
            return "short"
        if miss > high:
            return "long"
        if abs(side) >= half:
            return "right" if side > 0 else "left"
        return "in"

    def sensible_setpoint(self, distance_m: float) -> float:
        """The setpoint at which the profile's own physics reaches the target: where such a robot starts from."""
        robot = self._robot
        wanted = float(self._required(None).log_speed(distance_m, 0.0, 0.0, 0.0).value[0])
        settings = np.linspace(robot.setpoint.low, robot.setpoint.high, 400)
        reached = model_log_speed(robot, drive_quantity(robot, settings))
        best = settings[0] if not math.isfinite(wanted) else settings[int(np.argmin(np.abs(reached - wanted)))]
        step = robot.setpoint.step or 1.0
        return float(round(best / step) * step)
