"""After a new battery or a repair: one spin-up without an element, then one or two shots.

Pure state that the console drives: it passes samples on and tells what each shot taught; ``recalibration_words`` says
what is due and what changed.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

from fieldtune.aim.exit import drive_quantity
from fieldtune.robot.model import Robot
from fieldtune.sizing.battery_watch import BatteryWatch
from fieldtune.sizing.drivetrain import train
from fieldtune.sizing.records import known
from fieldtune.sizing.supply import usual_voltage
from fieldtune.sizing.wheel import wheel_times

Step = Literal["spin", "shoot", "done"]

_SPACING_S, _STEADY_S, _SETTLED_S = 0.02, 1.0, 3.0
_STEADY_SHARE = 0.02
_STARTED_SHARE = 0.1


@dataclass(frozen=True, slots=True)
class SpinReport:
    """What one spin-up showed; None where it could not be seen or foretold.

    ``wanted_rpm``: the setpoint, or for one in % the speed that the drive should turn at without load.
    """

    setpoint: float
    wanted_rpm: float | None
    readback_rpm: float
    spin_up_s: float | None
    spin_up_expected_s: float | None
    sag_v: float | None
    sag_expected_v: float | None
    resistance_ohm: float | None


@dataclass(frozen=True, slots=True)
class Outlook:
    """What was recommended at a distance (m), in the robot's unit, and how likely it was to score; None unknown.

    ``volts``: at which voltage, for a setpoint in % of it.
    """

    distance_m: float
    setpoint: float | None
    chance: float | None
    volts: float | None = None


@dataclass
class Recalibration:
    """``step`` says what is due. ``shots``: how many are wanted at most (one is enough).

    ``watch`` is the battery watch that the same samples are fed to; ``before`` what was recommended with the old
    battery at the distance to shoot from; ``before_ohm`` the old one's resistance.
    """

    robot: Robot
    watch: BatteryWatch | None = None
    before: Outlook | None = None
    before_ohm: float | None = None
    shots: int = 2
    step: Step = "spin"
    spin: SpinReport | None = None
    taken: int = 0
    now: Outlook | None = None
    _still_at: float | None = None
    _recent: deque[tuple[float, float]] = field(default_factory=deque)

    def __post_init__(self) -> None:
        if self.robot.launcher.kind != "flywheel":
            self.step = "shoot"

    def feed(self, t: float, wheel_rpm: float | None, setpoint: float | None, voltage: float | None = None) -> Step:
        """One sample: seconds of the line's clock, rpm at the wheel, setpoint in the robot's unit, volts.

        The spin-up ends by itself once the wheel has been steady at its setpoint for a second. A robot that sends no
        wheel speed or no setpoint is not waited for: ``skip_spin``.
        """
        if self.step == "spin" and wheel_rpm is not None and setpoint is not None and setpoint > 0:
            self._follow(t, wheel_rpm, setpoint, voltage)
        elif wheel_rpm is not None and wheel_rpm < 1.0:
            self._still_at = t
        return self.step

    def skip_spin(self) -> None:
        """Go on to the shots without a spin-up."""
        if self.step == "spin":
            self.step = "shoot"

    def learned(self, taken: int, now: Outlook | None) -> Step:
        """So many shots with the new battery are learned from; ``now`` is what is recommended since."""
        self.taken = taken
        if taken > 0 and now is not None:
            self.now = now
        if self.step == "shoot" and taken >= self.shots:
            self.step = "done"
        return self.step

    def finish(self) -> None:
        """Enough."""
        self.step = "done"

    def _follow(self, t: float, rpm: float, setpoint: float, voltage: float | None) -> None:
        unit, wanted = self.robot.setpoint.unit, self._wanted_rpm(setpoint, voltage)
        recent = self._recent
        if recent and 0 <= t - recent[-1][0] < _SPACING_S:
            return
        top = wanted if wanted is not None else max((r for _, r in recent), default=0.0)
        if recent and not 0 < t - recent[-1][0] <= _STEADY_S:
            recent.clear()
        if rpm < max(_STARTED_SHARE * top, 1.0):
            self._still_at = t
            recent.clear()
            return
        recent.append((t, rpm))
        while recent[-1][0] - recent[0][0] > _SETTLED_S:
            recent.popleft()
        last = [(at, r) for at, r in recent if t - at <= _STEADY_S]
        middle = sum(r for _, r in last) / len(last)
        goal = wanted if unit == "rpm" and wanted is not None else middle
        long_enough = t - recent[0][0] >= 0.9 * _SETTLED_S
        if t - last[0][0] >= 0.8 * _STEADY_S and _all_near(last, goal):
            reached = last[0][0]
        elif long_enough and _all_near(recent, middle):  # it settled, though not where it should
            reached = recent[0][0]
        else:
            return
        settled = [r for _, r in last[len(last) // 2 :]]
        self.spin = self._report(setpoint, wanted, sum(settled) / len(settled), reached)
        self.step = "shoot"

    def _wanted_rpm(self, setpoint: float, voltage: float | None) -> float | None:
        if self.robot.setpoint.unit == "%" and self.robot.drive is None:
            return None
        return known(drive_quantity(self.robot, setpoint, voltage))

    def _report(self, setpoint: float, wanted: float | None, readback: float, reached: float) -> SpinReport:
        now = self.watch.status(setpoint) if self.watch is not None else None
        closed = self.robot.setpoint.unit == "rpm"
        rest, ohm = (now.rest_v, now.resistance_ohm) if now is not None else (None, None)
        return SpinReport(
            setpoint=setpoint,
            wanted_rpm=wanted,
            readback_rpm=readback,
            spin_up_s=None if self._still_at is None else max(reached - self._still_at, 0.0),
            spin_up_expected_s=self._expected(readback, rest, ohm) if closed else None,
            sag_v=now.sag_v if now is not None else None,
            sag_expected_v=now.sag_expected_v if now is not None and closed else None,
            resistance_ohm=self.watch.resistance_measured if self.watch is not None else None,
        )

    def _expected(self, rpm: float, rest_v: float | None, ohm: float | None) -> float | None:
        """Seconds from a tenth of that speed to within 2 % of it at full power."""
        volts = rest_v if rest_v is not None else usual_voltage(self.robot)
        if self.robot.drive is None or volts is None or ohm is None:
            return None
        supply = train(self.robot.drive, ohm)
        ends = (1 - _STEADY_SHARE, _STARTED_SHARE)
        both = [wheel_times(self.robot, supply, volts, rpm * share) for share in ends]
        if both[0] is None or both[1] is None:
            return None
        return known(float(both[0].spin_up_s) - float(both[1].spin_up_s))


def _all_near(readings: Iterable[tuple[float, float]], goal: float) -> bool:
    return all(abs(rpm - goal) <= _STEADY_SHARE * goal for _, rpm in readings)
