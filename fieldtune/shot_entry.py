"""What a person may enter about a shot: checked, completed where one thing implies another, refused in one line."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from fieldtune.errors import InputError
from fieldtune.frozen import frozen
from fieldtune.person_units import amount, how_far
from fieldtune.records import RESULTS, Act, Result, Shot

if TYPE_CHECKING:
    from fieldtune.link.samples import Live
    from fieldtune.robot.model import Robot, Target

_NEAREST_M, _FARTHEST_M = 1e-3, 100.0
_BEYOND = 3.0
"""A setpoint this many times the highest one is a slip of the finger, not a setpoint."""
_FAR_APART = 0.08
"""Share of the setpoint by which a wheel that holds it is never off; chosen on the simulated robots."""


@frozen
class Entry:
    """A checked shot, ready for the log: SI, setpoint and speed in the robot's setpoint unit."""

    distance_m: float
    setpoint: float
    result: Result
    miss_m: float | None
    side_m: float | None
    speed: float | None
    battery_v: float | None


def check_entry(
    robot: Robot,
    target: Target,
    distance_m: float,
    setpoint: float,
    result: str | None,
    miss_m: float | None,
    side_m: float | None,
    speed: float | None,
    battery_v: float | None,
) -> Entry:
    """The entry, its result filled in from the measured miss where it was left out; raises ``InputError``."""
    check_distance(distance_m)
    check_setpoint(robot, setpoint)
    if battery_v is not None:
        check_battery(battery_v)
    for name, value in (("miss", miss_m), ("side miss", side_m)):
        if value is not None and not (math.isfinite(value) and abs(value) <= _FARTHEST_M):
            raise InputError(
                f"{name} {amount(value, 'm', figures=4)}: expected a length of at most "
                f"{amount(_FARTHEST_M, 'm', figures=4)}, such as -0.12 m"
            )
    if speed is not None and not (math.isfinite(speed) and 0 < speed <= _BEYOND * _highest_speed(robot)):
        unit = speed_unit(robot)
        raise InputError(f"speed {speed:g} {unit}: expected what was measured at release, in {unit}")
    if result is not None and result not in RESULTS:
        raise InputError(f"result {result!r}: expected one of {', '.join(RESULTS)}")
    known = next((known for known in RESULTS if known == result), None)
    filled = known or implied_result(robot, target, distance_m, miss_m, side_m)
    if filled is None:
        raise InputError("how did the shot end? give a result (in, short, long, left, right) or the measured miss")
    return Entry(distance_m, setpoint, filled, miss_m, side_m, speed, battery_v)


def implied_result(
    robot: Robot, target: Target, distance_m: float, miss_m: float | None, side_m: float | None
) -> Result | None:
    """What a measured miss says by itself; None where it doesn't settle the matter.

    Far misses across the range alone are ``left`` or ``right``; a miss along it goes before.
    """
    low, high, side = _free(robot, target, distance_m)
    if miss_m is not None and miss_m < low:
        return "short"
    if miss_m is not None and miss_m > high:
        return "long"
    if side_m is not None and abs(side_m) > side:
        return "left" if side_m < 0 else "right"
    return None if miss_m is None else "in"


def _free(robot: Robot, target: Target, distance_m: float) -> tuple[float, float, float]:
    """Misses between which an element scores from there, and half the free side width, metres."""
    from fieldtune.aim.required_speed.choice import required_speed_for

    free = required_speed_for(robot, target).free(distance_m)
    low, high, side = (float(edge[0]) for edge in (free.low, free.high, free.side))
    if not math.isnan(low):
        return low, high, side
    # From where nothing scores by the model, an element that did come in was within the bare opening.
    return target.bare()


def check_distance(distance_m: float) -> None:
    """Raises ``InputError`` unless the distance is one that a field can have."""
    if not (math.isfinite(distance_m) and _NEAREST_M <= distance_m <= _FARTHEST_M):
        raise InputError(
            f"distance {amount(distance_m, 'm', figures=4)}: expected at least 1 mm and at most "
            f"{amount(_FARTHEST_M, 'm', figures=4)}, such as 3.2 m"
        )


def check_setpoint(robot: Robot, setpoint: float) -> None:
    """Raises ``InputError`` for a setpoint that no robot program of this kind can hold."""
    accepted = robot.setpoint
    most = accepted.scale.certain_top or _BEYOND * accepted.high
    if not (math.isfinite(setpoint) and 0 < setpoint <= most):
        raise InputError(
            f"setpoint {setpoint:g} {accepted.unit}: {robot.name} takes "
            f"{accepted.low:g} to {accepted.high:g} {accepted.unit}"
        )


def setpoint_caution(robot: Robot, setpoint: float) -> str | None:
    """A word about a setpoint outside of what the robot program accepts."""
    accepted = robot.setpoint
    if accepted.low <= setpoint <= accepted.high:
        return None
    return (
        f"setpoint {setpoint:g} {accepted.unit} lies outside what {robot.name} takes "
        f"({accepted.low:g} to {accepted.high:g} {accepted.unit}): check it"
    )


def hood_then(robot: Robot, given: float | None, line: Live | None) -> float | None:
    """Exit angle (degrees) of a shot: as given, else as the line says, else the profile's; None without a hood.

    Raises ``InputError`` for an angle that the hood can't have.
    """
    if robot.hood is None and given is not None:
        raise InputError(f"{robot.name} has no hood: its exit angle is the profile's")
    if robot.hood is None or given is not None:
        return given
    now = None if line is None else line.hood_deg
    return now if now is not None and robot.hood.holds(now) else robot.exit_angle_deg


def check_battery(battery_v: float) -> None:
    """Raises ``InputError`` for a voltage that no robot's battery has."""
    if not (math.isfinite(battery_v) and 0.1 <= battery_v <= 100):
        raise InputError(f"battery {battery_v:g} V: expected at least 0.1 V and at most 100 V, such as 9.6 V")


def check_words(what: str, text: str, most: int = 200) -> str:
    """One line of free text, trimmed; raises ``InputError`` when it is empty, long, or holds control characters."""
    words = text.strip()
    if not words or len(words) > most or not words.isprintable():
        raise InputError(f"{what}: expected one line of plain text, at most {most} characters")
    return words


def contradictions(
    robot: Robot,
    target: Target,
    distance_m: float,
    setpoint: float,
    result: str | None,
    miss_m: float | None,
    side_m: float | None,
    speed: float | None,
) -> tuple[str, ...]:
    """What doesn't fit together in an entry, one line each, to be settled before anything is learned from it."""
    found = []
    unit = robot.setpoint.unit
    if speed is not None and unit == speed_unit(robot) and abs(speed - setpoint) > _FAR_APART * setpoint:
        found.append(f"it left at {speed:.0f} {unit}, but the setpoint was {setpoint:g} {unit}")
    if result is not None and (miss_m is not None or side_m is not None):
        implied = implied_result(robot, target, distance_m, miss_m, side_m)
        if implied is not None and implied != result:
            found.append(f"the measured miss says {implied}, the result says {result}")
    return tuple(found)


def act_words(act: Act, shot: Shot | None) -> str:
    """What an act was, as one says what was undone: ``shot 3 (in, 2.00 m)``; ``shot``: the one it was about."""
    if act.act == "shot" and shot is not None:
        return f"shot {shot.shot} ({shot.result}, {how_far(shot.distance_m)})"
    said = {
        "shot": f"shot {act.shot}",
        "correct": f"the correction of shot {act.shot}",
        "exclude": f"leaving out shot {act.shot}",
        "include": f"letting shot {act.shot} count again",
        "swap": f"the battery change to period {act.epoch}",
        "label": f"the name of the battery in period {act.epoch}",
        "discard": "discarding a shot that was seen",
        "measure": f"a measurement in battery period {act.epoch}",
    }
    return said[act.act]


def speed_unit(robot: Robot) -> str:
    """Unit in which a measured speed is given: rpm of the wheel, or mm of draw."""
    return robot.launcher.mechanism.measured[0]


def _highest_speed(robot: Robot) -> float:
    """A bound for a measured speed, in its unit."""
    if not robot.setpoint.scale.follows_voltage:
        return robot.setpoint.high
    from fieldtune.robot.derived import no_load_wheel_rpm

    free = no_load_wheel_rpm(robot)  # a wheel driven by power has no highest speed of its own but the motor's
    return math.inf if free is None else free
