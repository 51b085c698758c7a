"""What to do about values in units that this program can't know: exact lines for the profile, and what they suppose."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldtune.constants import RPM
from fieldtune.line_fields import BY_WIRE_NAME, COUNTER
from fieldtune.link.limits import NEAREST_M, Limits
from fieldtune.link.troubleshooting.mapping import lengths, speeds
from fieldtune.link.troubleshooting.robot_units import RobotUnit, hertz, motor_rpm, position, positions, robot_unit
from fieldtune.link.validation.no_reading import is_code

if TYPE_CHECKING:
    from fieldtune.link.troubleshooting.raw_fields import RawField
    from fieldtune.robot.model import Robot

_SPEED_UNITS = {60.0: "turns a second", 30 / math.pi: "radians a second"}
_SURE, _LARGEST_RAW = 0.06, 2**20  # no converter of a controller has more bits
_MISTAKEN = {
    0.001: "a thousand times too large",
    0.01: "a hundred times too large",
    1000.0: "a thousand times too small",
}
"""Factors between units that are mistaken for each other: mm and m, cm and m, V and mV."""


def other_setpoint(why: str, scale: float) -> list[str]:
    """What to do about a setpoint in percent or another unit, by its value at a speed that the wheel holds.

    ``scale``: by which the profile multiplies it already.
    """
    setpoint, rpm = (float(number) for number in re.findall(r"\d[\d.e+-]*", why)[:2])
    for factor, unit in _SPEED_UNITS.items():
        if abs(rpm / setpoint / factor - 1) < _SURE:
            return [f"setpoint is {setpoint:g} at {rpm:.0f} rpm, so probably in {unit}. Paste into the profile:",
                    "[link.scale]", f"setpoint = {scale * factor:.6g}"]  # fmt: skip
    return [
        f"setpoint is {setpoint:g} while the wheel holds {rpm:.0f} rpm: percent, or a share? Let the program print the"
        " rpm that it tells the wheel to hold. What it drives the motor with is power_pct."
    ]


def ours_of(name: str, robot: Robot) -> str:
    """Our name of a field that the robot calls so."""
    return next((ours for ours, theirs in robot.link.fields.items() if theirs == name), name)


def unit_remedy(name: str, why: str, robot: Robot | None) -> list[str]:
    """How to have a value in a unit that nobody knows; a counter's counts a second follow from the profile."""
    unit = why.removeprefix("has the unknown unit ")
    ours = name if robot is None else ours_of(name, robot)
    own = BY_WIRE_NAME[ours][1].unit if ours in BY_WIRE_NAME else ""
    if not own:
        return []
    by_robot = None if robot is None else robot_unit(unit, robot)
    if by_robot is not None and own == "rpm":
        return [f"{name} {why}. If {by_robot.if_so}, paste into the profile:", "[link.scale]",
                f"{ours} = {by_robot.factor:.6g}"]  # fmt: skip
    of = () if robot is None else hertz(unit, robot)
    if of and own == "rpm":
        return [f"{name} {why}. Paste under [link.scale]: "
                f"{'; or '.join(f'{ours} = {one.factor:.6g}, if {one.if_so}' for one in of)}."]  # fmt: skip
    if unit == "%":
        return _share(name, ours, robot) if own == "rpm" else [f"{name} comes in %: print it in {own}."]
    return [f"{name} {why}. Print it in {own}, or paste into the profile how many {own} one {unit} is: [link.scale],"
            f" {ours} = …. If {unit} is no unit, let the program print a comma before it."]  # fmt: skip


def out_of_range(reading: str, fields: Sequence[RawField], robot: Robot) -> list[str]:
    """A reading that this robot never has: by which factor it may be off."""
    limits = Limits.of(robot)
    for field in fields:
        ours = ours_of(field.name, robot)
        row = BY_WIRE_NAME.get(ours, (None, None))[0]
        if row is None or field.value is None or row.name.rsplit("_", 1)[0] != reading or field.ours != ours:
            continue
        low, high = limits.of_readings[row.name]
        if is_code(field.value):
            return [f"{field.name} is {field.text}: so a sensor says that it sees nothing. Is it plugged in, does the"
                    " program read it, and is what it measures within its reach?"]  # fmt: skip
        low = NEAREST_M if row.name == "distance_m" else low
        if low <= abs(field.value) / limits.per[ours] <= high:
            return [f"The {reading} comes and goes: most of the time the line says a number that none can be. That is"
                    " how a sensor says that it sees nothing."]  # fmt: skip
        if field.value.is_integer() and abs(field.value) > _LARGEST_RAW:
            return [f"{field.name} is {field.text}, which can't be. In C, %d of a number with a point prints anything:"
                    " print it with %.2f."]  # fmt: skip
        fits = [
            f
            for f in _MISTAKEN
            if low < f * abs(field.value) / limits.per[ours] <= min(high, 15.0 if row.name == "distance_m" else high)
        ]
        pasted = [f"{ours} = {f:g}, if it is {_MISTAKEN[f]}" for f in fits]
        if row.name == "battery_v" and field.value:
            volts = f"the volts that a meter shows, divided by {field.text}"
            pasted.append(f"{ours} = {'1000 times ' if ours == 'battery_mv' else ''}{volts}, if it is raw")
        if pasted:
            said = f"{field.name} is {field.text}, which can't be. In another unit? Paste under [link.scale]:"
            return [f"{said} {'; or '.join(pasted)}."]
    return [f"The {reading} on the line is one that this robot can't have: is it in another unit? The profile's"
            " [link.scale] says what the robot's numbers are multiplied by."]  # fmt: skip


def sensors_unit(field: RawField) -> str:
    """What to do about a battery or a distance whose number fits no unit, or two; empty for other readings."""
    name, number = field.name, field.text
    if field.ours == "distance_m":
        return (
            f"{name} is {number}: in no unit a distance that this robot shoots from. Look again in front of the target."
        )
    if field.ours != "battery_v":
        return ""
    raw = f'; or, if it is raw, paste battery_v = "{name}" under [link.fields], and under [link.scale] battery_v = '
    factor = f"the volts that a meter shows, divided by {number}" if field.value else ""
    return f"{name} is {number}: percent, or raw? Let the program print volts{raw + factor if factor else ''}."


def open_speed(field: RawField, robot: Robot) -> str:
    """In which units a speed may be that tells none, and what to do; empty where none fits, or the wheel is at rest."""
    if field.ours != "wheel_rpm" or not field.value or not robot.setpoint.scale.is_speed:
        return ""
    number = field.value / field.scale
    units = speeds(number, robot)
    if field.unit:  # rpm, and of no wheel
        units = {unit: rpm for unit, rpm in units.items() if unit == "motor rpm"}
    if not units:
        return ""
    which = ", or ".join(f"{unit} ({abs(number) * rpm:.0f} rpm)" for unit, rpm in units.items())
    scales = ", ".join(f"{rpm:.6g} for {unit}" for unit, rpm in units.items())
    return (
        f'{field.name} is {field.text}: in {which}? Put wheel_rpm = "{field.name}" under [link.fields], and under'
        f" [link.scale] wheel_rpm = … ({scales})."
    )


def _share(name: str, ours: str, robot: Robot | None) -> list[str]:
    """What to do about a speed in percent of one that only the robot's program knows."""
    drive = None if robot is None else robot.drive
    free = "" if drive is None else (
        f" (without load, at nominal voltage, this profile's wheel turns at {drive.no_load_output / RPM:.0f} rpm)"
    )  # fmt: skip
    mapped = "" if name == ours else f" {name} as {ours} under [link.fields], and"
    return [
        f"{name} comes in %: of which rpm? Let the program print rpm; or paste into the profile{mapped} [link.scale]"
        f" {ours} = … with a hundredth of the wheel's rpm at 100 %{free}."
    ]


def share_remedy(fields: Sequence[RawField], robot: Robot) -> list[str]:
    """As ``_share``, of a name that says percent of a speed and isn't read."""
    share = re.compile(r"(rpm|speed|vel\w*|wheel|fly\w*)_?(pct|percent|perc)$", re.IGNORECASE)
    wheel_rpm = {"wheel_rpm", robot.link.fields.get("wheel_rpm", "wheel_rpm")}
    named = next(
        (
            field
            for field in fields
            if field.name not in wheel_rpm
            and ((share.search(field.name) and field.ours is None) or (field.unit == "%" and field.ours == "wheel_rpm"))
        ),
        None,
    )
    return [] if named is None else _share(named.name, "wheel_rpm", robot)


def fraction_remedy(name: str, why: str, robot: Robot | None, ours: str = "") -> list[str]:
    """What to do about a counter that is a position in turns, radians or degrees. ``ours``: our name, if known."""
    ours = ours or (name if robot is None else ours_of(name, robot))
    units = () if robot is None else positions(robot)
    if ours != COUNTER or not units:
        return [f"{name} {why}: print it as a plain number in the unit that the README's table names."]
    said = "; ".join(f"{one.factor:.6g} for {one.unit}" for one in units)
    return [
        f"{name} {why}: print the counter itself, with no mark between thousands. If it is a position, paste how many"
        f" counts one is under [link.scale]: {COUNTER} = … ({said})."
    ]


def supposed(fields: Sequence[RawField], robot: Robot | None) -> list[str]:
    """What the factors that are to be pasted rest on, where a name tells no more."""
    said: list[str] = []
    names = {field.name for field in fields if field.ours != "power_pct"}  # 118/255 are two numbers, and no setpoint
    for field in fields if robot is not None else ():
        if field.name.endswith(".1") and f"{field.name[:-2]}.0" in names:
            name, open_yet = field.name[:-2], field.ours is None
            which = ": which one is the setpoint shows while the wheel turns" if open_yet else ""
            said.append(f"{name}.0 and {name}.1 are the two numbers behind {name}{which}.")
        if robot is None or field.problem:
            continue
        if field.ours == COUNTER and field.scale == 1.0 and field.value is not None and not field.value.is_integer():
            said += fraction_remedy(field.name, "is no whole number", robot, COUNTER)
        if lengths_too := _other_lengths(field, robot):
            said.append(lengths_too)
        if field.scale == 1.0:
            said += _other_speeds(field, robot)
            continue
        if field.ours == COUNTER:
            others = [one for one in positions(robot) if not math.isclose(one.factor, field.scale)]
            told = position(field.unit or field.name, robot)
            unit = next(one.unit for one in positions(robot) if math.isclose(one.factor, field.scale))
            others = [one for one in others if told and one.unit.split()[-1] == told.unit.split()[-1]]
            if others:
                said.append(f"{field.name} is taken as {unit}. {COUNTER} under [link.scale] is {_or(others)}.")
        elif (motor := motor_rpm(field.name, robot)) is not None and math.isclose(motor.factor, field.scale):
            said.append(f"{field.name} is taken as {motor.unit}, {1 / motor.factor:.4g} times the wheel's.")
    return said


def _other_speeds(field: RawField, robot: Robot) -> list[str]:
    """In which units of this robot a speed may be that is taken as rpm though its name doesn't say so."""
    named = field.unit or "rpm" in field.name.casefold() or field.name.startswith("column ")
    if field.ours != "wheel_rpm" or named or not field.value or not robot.setpoint.scale.is_speed:
        return []
    units = {unit: rpm for unit, rpm in speeds(field.value, robot).items() if rpm != 1.0}
    others = ", ".join(f"{rpm:.6g} for {unit}" for unit, rpm in units.items())
    return [f"{field.name} is taken as rpm of the wheel. wheel_rpm under [link.scale] is {others}."] if others else []


def _other_lengths(field: RawField, robot: Robot) -> str:
    """In which units a distance may be that names none, where there are several; empty elsewhere."""
    if field.ours not in ("distance_m", "distance_mm") or field.unit or field.value is None:
        return ""
    ours, own = field.ours, BY_WIRE_NAME[field.ours][1].per
    units = {unit: metres * own for unit, metres in lengths(field.name, field.value / field.scale, robot).items()}
    taken = next((unit for unit, factor in units.items() if math.isclose(factor, field.scale)), "")
    others = ", ".join(f"{factor:.6g} for {unit}" for unit, factor in units.items() if unit != taken)
    return f"{field.name} is taken as {taken}. {ours} under [link.scale] is {others}." if others and taken else ""


def _or(units: Sequence[RobotUnit]) -> str:
    return ", ".join(f"{one.factor:.6g} for {one.unit}" for one in units)
