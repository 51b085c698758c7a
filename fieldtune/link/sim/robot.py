"""One simulated robot: takes commands, moves on line by line, and keeps what a spectator would have seen."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.link.framing import framed
from fieldtune.link.limits import Limits
from fieldtune.link.sim.hidden_truth import Outcome, Truth
from fieldtune.link.sim.moving_parts import STEP_S, Cocking, Plant, Supply, Wheel

if TYPE_CHECKING:
    from fieldtune.robot.drawn import Drawn
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Robot

_OFF_S = 6.0
"""How long a change of battery takes."""


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

    @property
    def time_s(self) -> float:
        """The robot's own time since it was switched on."""
        return self._steps * STEP_S

    def command(self, text: str) -> str | None:
        """Obeys ``setpoint=2450``, ``distance_m=2.4``, ``fire`` or ``battery``; returns what is wrong with others.

        ``battery``: it is off for a while and comes back on another one, still and with its clock at zero.
        """
        name, _, value = text.strip().partition("=")
        name = name.strip()
        if name == "fire":
            self._fire_wanted += 1
            return None
        if name == "battery":
            self._change_battery()
            return None
        try:
            number = float(value)
        except ValueError:
            return f"can't do {text.strip()!r}; say setpoint=VALUE, distance_m=METRES, fire or battery"
        if name == "setpoint" and 0 <= number <= self.robot.setpoint.high:
            self.setpoint = number
        elif name == "distance_m" and 0 < number < 50:
            self.distance_m = number
        else:
            return f"can't do {text.strip()!r}; setpoint goes from 0 to {self.robot.setpoint.high:g}"
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

    def _shoot(self) -> None:
        self._fire_wanted -= 1
        self._fired = True
        quantity = self._plant.quantity
        result, miss, side = self.truth.shoot(quantity, self.distance_m)
        speed = float(np.exp(self.truth.log_speed(quantity)))
        self._plant.release(speed)
        outcome = Outcome(
            len(self.outcomes) + 1, self.time_s, self.distance_m, self.setpoint, quantity, result, miss, side
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
