"""What a simulated robot really is, and what really becomes of a shot: known to the simulator, never sent."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.required_speed.choice import required_speed_for
from fieldtune.robot.exit_speed import drive_quantity, model_log_speed

if TYPE_CHECKING:
    from fieldtune.aim.required_speed.interface import RequiredSpeed
    from fieldtune.records import Result
    from fieldtune.robot.model import Robot, Target

_FROM_BATTERY_TO_BATTERY = 0.025
_MISSES = np.linspace(-2.5, 2.5, 301)


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
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

    def __str__(self) -> str:
        missed = "" if self.miss_m is None else f", {abs(self.miss_m):.2f} m {'long' if self.miss_m > 0 else 'short'}"
        aside = f", {abs(self.side_m):.2f} m {'right' if self.side_m > 0 else 'left'}"
        return f"shot {self.number} from {self.distance_m:.2f} m: {self.result}{missed}{aside}"


class Truth:
    """Decides shots with the aim room's own needs and the robot's hidden errors."""

    def __init__(self, robot: Robot, rng: np.random.Generator, target: str | None = None) -> None:
        self.target: Target = robot.target(target)
        self.hidden = Hidden.drawn(robot, rng)
        self._robot = robot
        self._rng = rng
        self._required: RequiredSpeed = required_speed_for(robot, self.target)
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

    def shoot(self, quantity: float, distance_m: float) -> tuple[Result, float | None, float]:
        """Result, miss along the range (None: out of sight) and side miss of one shot from a distance reading."""
        spread, hidden, rng = self._robot.uncertainty, self.hidden, self._rng
        speed_error, angle_error, side_error = rng.standard_normal(3)
        angle = hidden.angle_error + spread.exit_angle_scatter * angle_error
        true_m = distance_m + hidden.distance_bias
        side = float(true_m) * float(hidden.side_bias + spread.side_scatter * side_error)
        launched = self.log_speed(quantity) + spread.exit_speed_scatter * speed_error
        miss = self._miss(true_m, launched, angle)
        return self._judged(true_m, miss, side, angle), None if math.isinf(miss) else miss, side

    def _miss(self, true_m: float, launched: float, angle: float) -> float:
        """Along-range miss of a launch; infinite beyond what is looked at."""
        misses = _MISSES[true_m + _MISSES > 0.02]
        needed = self._required.log_speed(true_m, misses, angle, self.hidden.log_drag).value
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

    def _judged(self, true_m: float, miss: float, side: float, angle: float) -> Result:
        free = self._required.free(true_m, angle, self.hidden.log_drag)
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
        wanted = float(self._required.log_speed(distance_m, 0.0, 0.0, 0.0).value[0])
        settings = np.linspace(robot.setpoint.low, robot.setpoint.high, 400)
        reached = model_log_speed(robot, drive_quantity(robot, settings))
        best = settings[0] if not math.isfinite(wanted) else settings[int(np.argmin(np.abs(reached - wanted)))]
        step = robot.setpoint.step or 1.0
        return float(round(best / step) * step)
