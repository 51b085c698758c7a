"""After a new battery or a repair: one spin-up without an element, one or two shots, then what changed, in words.

Pure state that the console drives: it feeds samples, asks for the instruction, and passes on what each shot taught.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

from fieldtune.robot.model import Robot
from fieldtune.sizing.battery_watch import BatteryWatch
from fieldtune.sizing.drivetrain import train
from fieldtune.sizing.records import known
from fieldtune.sizing.supply import usual_voltage
from fieldtune.sizing.wheel import wheel_times

Step = Literal["spin", "shoot", "done"]

_STEADY_S = 1.0
_STEADY_SHARE = 0.02
_STARTED_SHARE = 0.1
_WORTH_SAYING = 0.02
_SLOWER = 1.3
_MANY_SAMPLES = 2000


@dataclass(frozen=True, slots=True)
class SpinReport:
    """What one spin-up showed; None where it could not be seen or foretold."""

    setpoint: float
    readback: float
    spin_up_s: float | None
    spin_up_expected_s: float | None
    sag_v: float | None
    sag_expected_v: float | None
    resistance_ohm: float | None


@dataclass(frozen=True, slots=True)
class ShotTaught:
    """A shot of the recalibration: distance (m), and the exit speed believed there before and after it (m/s)."""

    distance_m: float
    speed_before_mps: float
    speed_after_mps: float


@dataclass
class Recalibration:
    """``step`` and ``instruction`` say what is due. ``shots`` is how many are wanted (one or two)."""

    robot: Robot
    setpoint: float
    shots: int = 2
    step: Step = "spin"
    spin: SpinReport | None = None
    taught: list[ShotTaught] = field(default_factory=list)
    next_distance_m: float | None = None
    _started: float | None = None
    _steady_since: float | None = None
    _near: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.watch = BatteryWatch(self.robot)
        if self.robot.launcher.kind != "flywheel":
            self.step = "shoot"

    @property
    def instruction(self) -> str:
        """What to do now."""
        unit = self.robot.setpoint.unit
        if self.step == "spin":
            return f"launcher empty, range clear: from standstill, go to {self.setpoint:.0f} {unit} and hold it"
        if self.step == "shoot":
            where = f" from {self.next_distance_m:.2f} m" if self.next_distance_m is not None else ""
            return f"shot {len(self.taught) + 1} of {self.shots}{where}: say where it went"
        return "done"

    def feed(
        self,
        t: float,
        wheel_rpm: float | None,
        voltage: float | None,
        current: float | None = None,
        setpoint: float | None = None,
    ) -> Step:
        """One sample, as ``BatteryWatch.feed``; the spin-up ends by itself once the wheel is steady for a second."""
        self.watch.feed(t, wheel_rpm, voltage, current, setpoint)
        if self.step == "spin" and wheel_rpm is not None and self.robot.setpoint.unit == "rpm":
            self._follow(t, wheel_rpm)
        return self.step

    def skip_spin(self) -> None:
        """Go on to the shots without a spin-up, as for a robot that sends no speed."""
        if self.step == "spin":
            self.step = "shoot"

    def suggest(self, distance_m: float) -> None:
        """Where the next shot teaches most (m), as the session says."""
        self.next_distance_m = distance_m

    def shot(self, distance_m: float, speed_before_mps: float, speed_after_mps: float) -> Step:
        """A shot was confirmed: exit speed believed at its setpoint before and after it was learned from, m/s."""
        self.taught.append(ShotTaught(distance_m, speed_before_mps, speed_after_mps))
        if self.step == "shoot" and len(self.taught) >= self.shots:
            self.step = "done"
        return self.step

    def finish(self) -> None:
        """Enough."""
        self.step = "done"

    def changed(self) -> tuple[str, ...]:
        """What changed, one line each; a line that nothing did where that is so."""
        lines = [*_spin_lines(self.spin), *_shot_lines(self.taught)]
        return tuple(lines) or ("nothing measured yet",)

    def _follow(self, t: float, rpm: float) -> None:
        if rpm < _STARTED_SHARE * self.setpoint:
            self._started, self._steady_since = t, None
            self._near.clear()
            return
        if abs(rpm - self.setpoint) > _STEADY_SHARE * self.setpoint:
            self._steady_since = None
            if len(self._near) > _MANY_SAMPLES:
                self._near.clear()
            return
        if self._steady_since is None:
            self._steady_since = t
            self._near.clear()
        self._near.append(rpm)
        if t - self._steady_since >= _STEADY_S:
            self.spin, self.step = self._report(self._steady_since), "shoot"

    def _report(self, reached: float) -> SpinReport:
        now = self.watch.status(self.setpoint)
        return SpinReport(
            setpoint=self.setpoint,
            readback=sum(self._near) / len(self._near),
            spin_up_s=None if self._started is None else reached - self._started,
            spin_up_expected_s=self._expected(now.rest_v, now.resistance_ohm),
            sag_v=now.sag_v,
            sag_expected_v=now.sag_expected_v,
            resistance_ohm=self.watch.resistance_measured,
        )

    def _expected(self, rest_v: float | None, ohm: float | None) -> float | None:
        """Seconds from a tenth of the setpoint to within 2 % of it at full power."""
        volts = rest_v if rest_v is not None else usual_voltage(self.robot)
        if self.robot.drive is None or volts is None or ohm is None:
            return None
        supply = train(self.robot.drive, ohm)
        ends = (1 - _STEADY_SHARE, _STARTED_SHARE)
        both = [wheel_times(self.robot, supply, volts, self.setpoint * share) for share in ends]
        if both[0] is None or both[1] is None:
            return None
        return known(float(both[0].spin_up_s) - float(both[1].spin_up_s))


def _spin_lines(spin: SpinReport | None) -> list[str]:
    if spin is None:
        return []
    lines = []
    off = spin.readback / spin.setpoint - 1
    if abs(off) > 0.005:
        way = "above" if off > 0 else "below"
        lines.append(f"readback settles {abs(off):.1%} {way} the setpoint: look at the speed control or the encoder")
    if spin.spin_up_s is not None and spin.spin_up_expected_s is not None:
        longer = spin.spin_up_s > _SLOWER * spin.spin_up_expected_s and spin.spin_up_s - spin.spin_up_expected_s > 0.15
        words = "slower than" if longer else "as"
        tail = ": look for rubbing, a loose belt, or a limit in the robot program" if longer else ""
        lines.append(f"spin-up {spin.spin_up_s:.2f} s, {words} foretold ({spin.spin_up_expected_s:.2f} s){tail}")
    if spin.sag_v is not None and spin.sag_expected_v is not None:
        lines.append(f"voltage sagged by {spin.sag_v:.2f} V (full power from standstill: {spin.sag_expected_v:.2f} V)")
    if spin.resistance_ohm is not None:
        lines.append(f"resistance of pack and wiring {1000 * spin.resistance_ohm:.0f} mohm")
    return lines


def _shot_lines(taught: list[ShotTaught]) -> list[str]:
    if not taught:
        return []
    level = math.exp(sum(math.log(s.speed_after_mps / s.speed_before_mps) for s in taught)) - 1
    count = "one shot" if len(taught) == 1 else f"{len(taught)} shots"
    if abs(level) < _WORTH_SAYING / 4:
        return [f"exit speed as before, by {count}"]
    way = "higher" if level > 0 else "lower"
    return [f"exit speed {abs(level):.1%} {way} than before at the same setpoint, by {count}; setpoints moved with it"]
