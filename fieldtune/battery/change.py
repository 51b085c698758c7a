"""After a new battery or a repair: one spin-up without an element, then one or two shots.

Pure state that the console drives: it passes samples on and tells what each shot taught. In words: what is due, and
afterwards what changed, one sentence each.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

from fieldtune.battery.ceiling import wheel_times
from fieldtune.battery.resistance import usual_voltage
from fieldtune.frozen import frozen
from fieldtune.person_units import how_far
from fieldtune.records import known
from fieldtune.robot.drivetrain import train
from fieldtune.robot.exit_speed import drive_quantity

if TYPE_CHECKING:
    from fieldtune.battery.watch import BatteryWatch
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Robot

Step = Literal["spin", "shoot", "done"]

_SPACING_S, _STEADY_S, _SETTLED_S = 0.02, 1.0, 3.0
_STEADY_SHARE = 0.02
_STARTED_SHARE = 0.1


@frozen
class SpinReport:
    """What one spin-up showed; None where it could not be seen or predicted.

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


@frozen
class Outlook:
    """What was recommended at a distance (m), in the robot's unit, and how likely it was to score; None unknown.

    ``volts``: at which voltage, for a setpoint in % of it. ``setpoint_90``: what the target's centre needs, with 90 %.
    """

    distance_m: float
    setpoint: float | None
    chance: float | None
    volts: float | None = None
    setpoint_90: tuple[float, float] | None = None


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
        if not self._spins:
            self.step = "shoot"

    @property
    def _spins(self) -> bool:
        """Whether there is a wheel to spin up before a shot."""
        return self.robot.launcher.mechanism.by_motion(lambda _: True, lambda _: False)

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

    def back(self) -> bool:
        """One step back; False where this is the first."""
        if self.step == "done":
            self.step = "shoot"
            return True
        if self.step == "shoot" and self._spins:
            self.step, self.spin = "spin", None
            self._recent.clear()
            return True
        return False

    def _follow(self, t: float, rpm: float, setpoint: float, voltage: float | None) -> None:
        wanted = self._wanted_rpm(setpoint, voltage)
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
        goal = wanted if self.robot.setpoint.scale.is_speed and wanted is not None else middle
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
        if self.robot.setpoint.scale.follows_voltage and self.robot.drive is None:
            return None
        return known(drive_quantity(self.robot, setpoint, voltage))

    def _report(self, setpoint: float, wanted: float | None, readback: float, reached: float) -> SpinReport:
        now = self.watch.status(setpoint) if self.watch is not None else None
        closed = self.robot.setpoint.scale.is_speed
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
        robot = self.robot
        if robot.drive is None or volts is None or ohm is None:
            return None
        supply = train(robot.drive, ohm)

        def spin_up(wheel: Flywheel) -> float | None:
            ends = (1 - _STEADY_SHARE, _STARTED_SHARE)
            both = [wheel_times(robot, wheel, supply, volts, rpm * share) for share in ends]
            if both[0] is None or both[1] is None:
                return None
            return known(float(both[0].spin_up_s) - float(both[1].spin_up_s))

        return robot.launcher.mechanism.by_motion(spin_up, lambda _: None)


def _all_near(readings: Iterable[tuple[float, float]], goal: float) -> bool:
    return all(abs(rpm - goal) <= _STEADY_SHARE * goal for _, rpm in readings)


_SLOWER = 1.3
_OFF_SHARE = 0.005
_OPEN_OFF_SHARE = 0.05


def instruction(guided: Recalibration) -> str:
    """What to do now."""
    if guided.step == "spin":
        thing = guided.robot.launcher.mechanism.noun(guided.robot.setpoint.scale)
        return f"Launcher empty, range clear: bring the {thing} from standstill to its setpoint, hold it a second."
    if guided.step == "shoot":
        where = f" from {how_far(guided.before.distance_m)}" if guided.before is not None else ""
        return f"Shot {guided.taken + 1} of one or two{where}: say where it went."
    return "Done."


def changed(guided: Recalibration) -> tuple[str, ...]:
    """What changed, one sentence each; once it is done, that nothing was measured where that is so."""
    lines = [*_spin_lines(guided.spin, guided.before_ohm, guided.robot), *_shot_lines(guided)]
    return tuple(lines) or (("Nothing was measured.",) if guided.step == "done" else ())


def _spin_lines(spin: SpinReport | None, before_ohm: float | None, robot: Robot) -> list[str]:
    if spin is None:
        return []
    lines = [_readback_line(spin, robot)]
    if spin.spin_up_s is not None and spin.spin_up_expected_s is not None:
        slow = spin.spin_up_s > _SLOWER * spin.spin_up_expected_s and spin.spin_up_s - spin.spin_up_expected_s > 0.15
        words = "slower than" if slow else "as"
        tail = ": look for rubbing, a loose belt, or a limit in the robot program" if slow else ""
        lines.append(f"Spin-up took {spin.spin_up_s:.1f} s, {words} predicted ({spin.spin_up_expected_s:.1f} s){tail}.")
    elif spin.spin_up_s is not None:
        lines.append(f"Spin-up took {spin.spin_up_s:.1f} s.")
    if spin.sag_v is not None:
        most = "" if spin.sag_expected_v is None else f" (full power from standstill: {spin.sag_expected_v:.1f} V)"
        lines.append(f"The voltage sagged by {spin.sag_v:.1f} V{most}.")
    if spin.resistance_ohm is not None:
        was = "" if before_ohm is None else f", {1000 * before_ohm:.0f} before"
        lines.append(f"Resistance of battery and wiring: {1000 * spin.resistance_ohm:.0f} mΩ{was}.")
    return lines


def _readback_line(spin: SpinReport, robot: Robot) -> str:
    said = f"The wheel held {spin.readback_rpm:.0f} rpm"
    open_loop = robot.setpoint.scale.follows_voltage
    if open_loop:
        said += f" at {spin.setpoint:.0f} %"
    if not spin.wanted_rpm:
        return said + "."
    off = spin.readback_rpm / spin.wanted_rpm - 1
    if abs(off) <= (_OPEN_OFF_SHARE if open_loop else _OFF_SHARE):
        return said + (", as the profile's drive should." if open_loop else ", its setpoint.")
    way = "above" if off > 0 else "below"
    if open_loop:
        return f"{said}, {100 * abs(off):.0f} % {way} what the profile's drive should turn at: shots will tell."
    return f"{said}, {100 * abs(off):.1f} % {way} its setpoint: look at the speed control or the encoder."


def _shot_lines(guided: Recalibration) -> list[str]:
    was, now, unit = guided.before, guided.now, guided.robot.setpoint.unit
    if was is None or was.setpoint is None:
        return []
    digits = guided.robot.setpoint.decimals
    open_loop = guided.robot.setpoint.scale.follows_voltage
    volts = f" and {was.volts:.1f} V" if open_loop and was.volts is not None else ""
    before = f"At {how_far(was.distance_m)}{volts} the setpoint was {was.setpoint:.{digits}f} {unit}"
    if now is None or now.setpoint is None:
        return [f"{before}."]
    by = now.setpoint - was.setpoint
    if abs(by) < guided.robot.setpoint.step / 2:
        lines = [f"{before}, and stays there."]
    else:
        size = guided.robot.setpoint.scale.difference_words(f"{abs(by):.{digits}f}")
        more = f"{size} {'more' if by > 0 else 'less'} ({100 * by / was.setpoint:+.1f} %)"
        lines = [f"{before} and is now {now.setpoint:.{digits}f} {unit}: {more}."]
    if was.chance is not None and now.chance is not None:
        lines.append(f"Chance {_percent(was.chance)} before, {_percent(now.chance)} now.")
    return lines


def _percent(share: float) -> str:
    return "over 99 %" if 0.995 <= share < 1 else f"{100 * share:.0f} %"
