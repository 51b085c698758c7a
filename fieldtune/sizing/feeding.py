"""How fast elements may follow each other: the feeder's time, the wheel's way back, and how near the aim needs it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from fieldtune.battery.ceiling import back_time
from fieldtune.battery.resistance import usual_voltage
from fieldtune.figures import FIGURES
from fieldtune.frozen import frozen
from fieldtune.records import known
from fieldtune.robot.drivetrain import train

if TYPE_CHECKING:
    from fieldtune.robot.flywheel import Flywheel
    from fieldtune.robot.model import Robot


@frozen
class Feeding:
    """Highest rate of fire at a wheel setpoint (rpm), and what limits it.

    ``recovery_s``: until the wheel is back as ``size`` counts it; ``good_range_s``: until it is within the setpoint's
    good range. The longest of feeder and good range counts; ``limit`` is ``aim`` where the good range asks for more
    than recovery does, ``recovery`` where it asks for less. None where something is unknown.
    """

    setpoint: float
    interval_s: float | None
    recovery_s: float | None
    good_range_s: float | None
    per_minute: float | None
    limit: Literal["feeder", "recovery", "aim"] | None
    words: str

    @property
    def rate_words(self) -> str:
        """The rate as people read it, no higher than what a drive can be said to limit."""
        return FIGURES["shots_per_minute"].said(self.per_minute)


def feeding(robot: Robot, setpoint: float, good_low: float | None, battery_v: float | None = None) -> Feeding | None:
    """The rate at a setpoint whose good range begins at ``good_low``; None for what has no wheel that is held.

    ``battery_v``: at rest, a half-charged battery's where None. From a drop the wheel comes back at full power, an
    exponential towards its no-load speed (``physics.motor``).
    """
    if not robot.setpoint.scale.is_speed:
        return None
    return robot.launcher.mechanism.by_motion(
        lambda wheel: _of_wheel(robot, wheel, setpoint, good_low, battery_v), lambda _: None
    )


def _of_wheel(
    robot: Robot, wheel: Flywheel, setpoint: float, good_low: float | None, battery_v: float | None
) -> Feeding:
    volts = battery_v if battery_v is not None else usual_voltage(robot)
    recovery = near = None
    ohms = robot.battery.resistance if robot.battery is not None else None
    if robot.drive is not None and ohms is not None and volts is not None:
        supply = train(robot.drive, ohms)
        usual = back_time(robot, wheel, supply, volts, setpoint)
        recovery = None if usual is None else known(usual)
        if good_low is not None and (good := back_time(robot, wheel, supply, volts, setpoint, good_low)) is not None:
            near = known(good)
    fed, back = robot.feed_interval, recovery if near is None else near
    if back is None:
        return Feeding(
            setpoint, fed, recovery, near, None, None, "rate of fire unknown: drive or wheel inertia missing"
        )
    aims = near is not None and recovery is not None and near > recovery
    limit: Literal["feeder", "recovery", "aim"] = "aim" if aims else "recovery"
    if fed is not None and fed >= back:
        limit = "feeder"
    longest = max(back, fed or 0.0)
    rate = 60 / longest if longest > 0 else None
    return Feeding(setpoint, fed, recovery, near, rate, limit, _words(rate, limit, back, fed))


def _words(rate: float | None, limit: str, back: float, fed: float | None) -> str:
    if rate is None:
        return "a shot does not take the wheel out of its good range, and no feeder interval is given"
    why = {
        "feeder": f"the feeder takes {fed or 0:.2g} s, the wheel is good again after {back:.2g} s",
        "recovery": f"the wheel needs {back:.2g} s to be good again",
        "aim": f"its narrow good range needs the wheel back for {back:.2g} s, longer than recovery alone",
    }[limit]
    most = FIGURES["shots_per_minute"].most or rate
    return f"{f'over {most:.0f}' if rate > most else f'up to {rate:.0f}'} shots a minute: {why}"
