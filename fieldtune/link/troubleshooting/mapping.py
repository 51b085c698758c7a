"""Whose name is whose: what a robot's raw lines carry, which of our fields each is likely to be, in which unit.

A person may change each guess. A unit of the robot's becomes one of our fields (battery_v, battery_mv) and a factor.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from fieldtune.line_fields import BY_WIRE_NAME
from fieldtune.link.limits import Limits
from fieldtune.link.text.wire_numbers import is_known
from fieldtune.link.troubleshooting.meanings import MAYBE_MOTORS, MEANINGS, Meaning, meanings
from fieldtune.link.troubleshooting.name_words import KINDS, PARTS, UNITS
from fieldtune.link.troubleshooting.number_courses import (
    LEAST_DIFFERENT,
    STEADIER,
    go_both_ways,
    go_on,
    mostly_stand,
    tells_shots,
)
from fieldtune.link.troubleshooting.raw_names import Reading, Seen
from fieldtune.link.troubleshooting.robot_units import RobotUnit, hertz, motor_rpm, position, positions, robot_unit

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

_BY_UNIT = (("speed", "wheel_rpm"), ("battery", "battery_v"))
"""Kinds that a unit behind the number tells where the name says nothing, as in another language."""
_OF_COLUMNS = (*_BY_UNIT, ("distance", "distance_m"), ("current", "current_a"))
_OTHERS = re.compile(
    r"(^|_)(intake|feeder|index(er)?|conveyor|hopper|magazine|lift|elevator|climb(er)?|chassis|drive_?(train|base))(?=\d|_|$)"
)
"""Other parts of a robot that turn: no speed of theirs is the launcher's."""
_LAUNCHERS, _DRIVES = re.compile(r"shoot|launch|fly|throw"), re.compile(r"(^|_)drive(?=\d|_|$)")
_OF_A_TURN = re.compile(r"rev|turn|count|tick|edge|pulse", re.IGNORECASE)
_SPEEDS = ("speed", "speed2", "setpoint")
_TURNING = (*_SPEEDS, "counts", "period", "current", "power")
_MEASURED = ("battery", "current", "distance", "power", "draw")
_TERMS = {"p", "i", "d"}  # of a controller: no current, and no distance
_HUNDRED = 100.0  # up to it, a battery's number may be percent
_SELDOM = ("share 0 to 1", "cm", "counts per 100 ms")
_PLAYS_FROM_M = 0.2, 15.0
_PAIR_WORDS = (
    r"left|right|upper|lower|top|bottom|front|back|rear|inner|outer"
    r"|links|rechts|gauche|droite|izquierda|derecha|[12ablr]"
)
_ONE_OF_TWO = re.compile(rf"(?:^|(?<=[_ .-]))(?:{_PAIR_WORDS})(?=$|[_ .-])|(?<=[A-Za-z])[12]$")


def guess(seen: Seen, robot: Robot | None = None) -> dict[str, Meaning]:
    """The likeliest meaning of each name, by its words and its numbers; names that say nothing are left out.

    No field is given twice: the first name that fits has it, one that says the launcher's before the others.
    """
    taken: set[str] = set()
    found: dict[str, Meaning] = {}
    speed: str | None = None
    targets, names = _targets(seen), {reading.label.casefold() for reading in seen.readings}
    for reading in sorted(seen.readings, key=_behind_others):
        kind = _kind_of(reading, seen)
        of_control = names >= _TERMS and reading.label.casefold() in _TERMS
        if kind is None or of_control or _in_another_unit(reading, kind, robot):
            continue
        if kind == "counts" and go_both_ways(reading.numbers):  # counts since the last line say no speed
            continue
        if kind == "time" and mostly_stand(reading.numbers):  # whole seconds
            continue
        if kind == "speed" and reading.name in targets:
            kind = targets[reading.name]
            if kind is None:
                continue
        elif kind == "speed" and speed is not None and _are_two(speed, reading.label):
            kind = "speed2"
        speed = reading.label if kind == "speed" and speed is None else speed
        meaning = _in_parts(reading, kind, robot)
        if meaning is None:
            continue
        what = "t" if meaning.ours in ("t_ms", "t_us") else meaning.words
        if what not in taken:
            taken.add(what)
            found[reading.name] = meaning
    return found


def _are_two(speed: str, label: str) -> bool:
    """Whether names are those of two wheels: alike but for left and right, or the same twice on a line."""
    return label == f"{speed}.1" or _ONE_OF_TWO.sub("", speed) == _ONE_OF_TWO.sub("", label)


def _behind_others(reading: Reading) -> int:
    name = _in_words(reading.label)
    return 0 if _LAUNCHERS.search(name) else 2 if _DRIVES.search(name) else 1


def _targets(seen: Seen) -> dict[str, str | None]:
    """Of two numbers behind one name, such as 1800/1850, the kind of each where it isn't the name's: the one that is
    told is steadier than what is measured, and of a wheel at rest nothing shows which is which."""
    by_name = {reading.name: reading for reading in seen.readings}
    found: dict[str, str | None] = {}
    for name, first in by_name.items():
        second = by_name.get(name[:-1] + "1") if name.endswith(".0") else None
        if second is not None:
            few, many = sorted((len(set(one.numbers)), one.name) for one in (first, second))
            if few[0] * STEADIER <= many[0]:
                found[few[1]] = "setpoint"
            elif many[0] < LEAST_DIFFERENT:
                found[few[1]] = found[many[1]] = None
    return found


def _in_words(label: str) -> str:
    """A name in small letters, its words apart: ``DistanceInches`` is ``distance_inches``."""
    return re.sub(r"[ .-]", "_", re.sub(r"(?<=[a-z])(?=[A-Z])", "_", label).casefold())


def _units_named(label: str) -> set[str]:
    """Units that a name tells; its capitals part words only where it tells none as it is, unlike in ``vbat_mV``."""
    names = label.casefold().replace(" ", "_"), _in_words(label)
    return next(filter(None, ({unit for unit, words in UNITS if re.search(words, name)} for name in names)), set())


def _in_another_unit(reading: Reading, kind: str, robot: Robot | None) -> bool:
    """Whether a name says a unit that readings of this kind don't have: a share of a speed, a distance's degrees."""
    named = _units_named(reading.label)
    if kind == "counts":
        return bool(named & {"%"}) or (bool(named & {"deg", "rad"}) and (robot is None or not positions(robot)))
    return bool(named & {"%", "deg", "rad"}) and not named & {one.unit for one in MEANINGS[kind]}


def _kind_of(reading: Reading, seen: Seen) -> str | None:
    name, numbers = _in_words(reading.label), reading.numbers
    if name:
        by_unit = next((kind for kind, ours in _BY_UNIT if reading.behind and is_known(reading.behind, ours)), None)
        if by_unit is not None and not any(re.search(words, name) for _, words in KINDS):
            return by_unit
        kinds = (kind for kind, words in KINDS if re.search(words, name))
        kind = next((kind for kind in kinds if kind != "fired" or tells_shots(numbers)), None)
        if by_unit is not None and kind in _MEASURED and not is_known(reading.behind, MEANINGS[kind][0].ours):
            return by_unit  # v=1258rpm is no voltage
        if kind == "current" and go_on(numbers):  # a log's level and time, as in I (12345)
            return "time"
        return None if kind in _TURNING and _OTHERS.search(name) else kind or None
    if reading.behind:
        return next((kind for kind, ours in _OF_COLUMNS if is_known(reading.behind, ours)), None)
    first = next((one for one in seen.readings if one.numbers), None)
    return "time" if reading is first and go_on(numbers) else None


def _in_parts(reading: Reading, kind: str, robot: Robot | None) -> Meaning | None:
    """As ``_in_unit``, also where a name says that the number is so many times the reading: ``rpm_x10``."""
    label = _in_words(reading.label)
    for words, share_of in PARTS:
        if (found := re.search(words, label)) and kind in (*_SPEEDS, *_MEASURED):
            share, name = share_of(found), label[: found.start()] + label[found.end() :]
            meaning = _in_unit(Reading(name, [f"{share * one:.9g}" for one in reading.numbers]), kind, robot)
            unit = "" if meaning is None else f"{1 / share:g} a {meaning.unit}"
            return None if meaning is None else replace(meaning, unit=unit, scale=share * meaning.scale)
    return _in_unit(reading, kind, robot)


def _in_unit(reading: Reading, kind: str, robot: Robot | None) -> Meaning | None:
    """The meaning in the unit that the reading, or its size, tells; None where it can't be one of them."""
    options, name = meanings(kind, robot), reading.label.casefold().replace(" ", "_")
    said = reading.behind or name
    if kind in ("speed", "speed2") and robot is not None:
        by_robot = robot_unit(said, robot) or _hertz(reading, said, robot)
        if by_robot is None and {reading.behind.casefold(), *_units_named(reading.label)} <= {"", "rpm"}:
            by_robot = motor_rpm(name, robot)
        if by_robot is not None:
            return Meaning(options[0].words, by_robot.unit, options[0].ours, by_robot.factor)
    if kind == "counts":
        return _position(said, options, robot)
    if kind in _SPEEDS and robot is not None and reading.behind.casefold() == "rpm" and _of_the_motor(reading, robot):
        return replace(options[0], unit=MAYBE_MOTORS, sure=False)
    behind = next((one for one in options if reading.behind and one.unit.casefold() == reading.behind.casefold()), None)
    if behind is not None or unknown_unit(reading, options[0].ours, robot):
        return behind or replace(options[0], sure=False)  # of a unit that nobody knows no number tells another
    if reading.behind and is_known(reading.behind, options[0].ours):
        return Meaning(options[0].words, reading.behind, options[0].ours)  # converted where it is read
    named = _units_named(reading.label)
    if kind == "period":
        return _period(reading, options, named, robot)
    by_name = next((one for one in options if one.unit in named), None)
    if by_name is not None:
        return by_name
    named_rpm = "rpm" in named
    return options[0] if named_rpm and kind == "setpoint" else _by_size(kind, _size(reading), robot)


def _of_the_motor(reading: Reading, robot: Robot) -> bool:
    """Whether rpm are more than the robot's program ever asks of the wheel, and may be the motor's before its gears."""
    motor, scale = motor_rpm("motor", robot), robot.setpoint.scale
    if motor is None or not scale.is_speed or _size(reading) <= 1.1 * robot.setpoint.high:
        return False
    return _size(reading) * motor.factor <= 1.1 * robot.setpoint.high


def unknown_unit(reading: Reading, ours: str, robot: Robot | None) -> str:
    """What stands behind a reading's numbers and is no unit of our field; empty where nothing does."""
    if ours == "setpoint" and robot is not None and reading.behind == robot.setpoint.unit:
        return ""
    like = "wheel_rpm" if ours == "setpoint" else ours
    return "" if not reading.behind or is_known(reading.behind, like) else reading.behind


def _by_size(kind: str, size: float, robot: Robot | None) -> Meaning:
    """The unit in which a reading of this size is one that robots have; a speed, one that this wheel holds."""
    options = MEANINGS[kind]
    fits = [one for one in options if _plausible(kind, size * one.scale, one, robot)]
    if robot is None or kind not in _SPEEDS or not robot.setpoint.scale.is_speed:
        tells = bool(fits) and (fits[0].unit != "0.1 V" or size > _HUNDRED)
        return replace((fits or options)[0], sure=tells or kind not in (*_SPEEDS, "power", "battery", "distance"))
    held = _held(kind, size, robot)
    usual = [one for one in held if one in options]
    best = (usual or fits or options)[0]
    return best if usual[:1] == [options[0]] or (usual and len(held) == 1) else replace(best, sure=False)


def _held(kind: str, size: float, robot: Robot) -> list[Meaning]:
    """In which units a speed of this size is one at which this robot shoots."""
    low, high = 0.9 * robot.setpoint.low, 1.1 * robot.setpoint.high
    own = meanings(kind, robot) if kind != "setpoint" else MEANINGS[kind]
    return [one for one in own if one.unit not in _SELDOM and low <= size * one.scale <= high]


def speeds(number: float, robot: Robot) -> dict[str, float]:
    """Rpm that one is in each unit in which a speed of this number is one at which this robot shoots."""
    return {one.unit: one.scale for one in _held("speed", abs(number), robot)}


def lengths(name: str, number: float, robot: Robot) -> dict[str, float]:
    """Metres that one is in each unit in which a distance of this number is one that the robot has.

    Empty where the name tells the unit.
    """
    options = MEANINGS["distance"]
    if _units_named(Reading(name).label) & {one.unit for one in options}:
        return {}
    fits = [one for one in options if _plausible("distance", number * one.scale, one, robot)]
    return {one.unit: one.scale / BY_WIRE_NAME[one.ours][1].per for one in fits}


def _size(reading: Reading) -> float:
    sizes = sorted(abs(number) for number in reading.numbers)
    return sizes[(9 * len(sizes)) // 10] if sizes else 0.0


def _hertz(reading: Reading, said: str, robot: Robot) -> RobotUnit | None:
    """Of the wheel's turns, or the encoder's counts: by which speed the wheel may have."""
    units = hertz(said, robot)
    fits = [one for one in units if _turns_so(_size(reading) * one.factor, robot)]
    return (fits or units or (None,))[0]


def _position(said: str, options: Sequence[Meaning], robot: Robot | None) -> Meaning:
    """The angle turned so far, in a unit that is told; counts else."""
    by_name = position(said, robot) if robot is not None else None
    return options[0] if by_name is None else next(one for one in options if one.unit == by_name.unit)


def _period(reading: Reading, options: Sequence[Meaning], named: set[str], robot: Robot | None) -> Meaning | None:
    """The time of a turn or of a count, by which speed the wheel may have; None where it is that of a loop."""
    of_wheel = 0.0 in reading.numbers or _OF_A_TURN.search(reading.label) is not None
    if not of_wheel and len(set(reading.numbers)) < LEAST_DIFFERENT:
        return None
    fits = [
        one
        for one in options
        if (one.unit in named or not named & {"ms", "µs"})
        and _turns_so(60e6 / max(_size(reading) * one.scale, 1e-9), robot)
    ]
    return fits[0] if fits else replace(options[0], sure=False) if of_wheel else None


def _plays_from(robot: Robot) -> tuple[float, float]:
    """Distances (m) at which a robot may stand, with room on either side."""
    places = [*(spot.distance for spot in robot.spots), *(robot.field_range or ())]
    return (0.4 * min(places), 2.5 * max(places)) if places else _PLAYS_FROM_M


def _plausible(kind: str, size: float, meaning: Meaning, robot: Robot | None) -> bool:
    """Whether a reading of that size, in our field's unit, is one that robots have."""
    if kind == "battery":
        low, high = (3.0, 60.0) if robot is None else Limits.of(robot).of_readings["battery_v"]
        return max(low, 1.0) <= (size / 1000 if meaning.ours == "battery_mv" else size) <= high
    if kind == "distance":
        nearest, farthest = _PLAYS_FROM_M if robot is None else _plays_from(robot)
        return nearest <= (size / 1000 if meaning.ours == "distance_mm" else size) <= farthest
    if kind == "current":
        return (size / 1000 if meaning.ours == "current_ma" else size) <= 300
    if kind == "power":
        return size <= 101 and (size > 1.5 if meaning.scale == 1.0 else meaning.unit == "share 0 to 1" or size > 5)
    if kind in ("speed", "speed2") or (kind == "setpoint" and robot is not None):
        return _turns_so(size, robot)
    return True


def _turns_so(rpm: float, robot: Robot | None) -> bool:
    """Whether the wheel may turn at this speed while it is up."""
    high = 6000.0 if robot is None else robot.setpoint.high
    return 0.12 * high <= rpm <= 1.3 * high


def as_profile(mapping: Mapping[str, Meaning], seen: Seen) -> dict[str, object]:
    """Keys of the profile, by their paths, that make the line read so; the value None takes a key out.

    Names that are ours already need no key, and a number with its unit behind it is converted where it is read.
    """
    bare = {
        reading.name
        for reading in seen.readings
        if reading.name in mapping and not (reading.behind and is_known(reading.behind, mapping[reading.name].ours))
    }
    keys: dict[str, object] = {}
    if seen.columns:
        order = [mapping[one.name].ours if one.name in mapping else "-" for one in seen.readings]
        keys["link.columns.order"] = order
    else:
        keys |= {f"link.fields.{one.ours}": name for name, one in mapping.items() if one.ours != name}
    keys |= {
        f"link.scale.{one.ours}": float(f"{one.scale:.6g}")
        for name, one in mapping.items()
        if one.scale != 1.0 and name in bare
    }
    return keys
