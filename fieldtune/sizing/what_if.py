"""What if a part were another: a changed copy of a robot, and in words what the change buys and what it costs."""

from __future__ import annotations

import copy
import re
import tomllib
from collections.abc import Mapping

from fieldtune.errors import InputError, ProfileError
from fieldtune.robot.model import Robot
from fieldtune.robot.profile import read_values
from fieldtune.sizing.hazards import hazards
from fieldtune.sizing.results import CockingSize, FlywheelSize
from fieldtune.sizing.size import size

_STAGES = re.compile(r"\s*(\d+\s*[:/]\s*\d+)(\s*[, ]\s*\d+\s*[:/]\s*\d+)*\s*")
_NOTICED = 0.01


def what_if(robot: Robot, changes: Mapping[str, str]) -> Robot:
    """The robot with some keys of its profile changed, read and checked as a profile is.

    ``changes``: key path to value as text, ``{"launcher.wheel_diameter": "110 mm", "drive.gears": "20:30 18:36"}``; an
    empty text leaves the key out. Units as in a profile. Raises ``InputError`` naming the key where a value can't be
    taken, or where the robot was not read from a profile.
    """
    if robot.path is None:
        raise InputError(f"robot {robot.name} was not read from a profile, so nothing in it can be tried out")
    try:
        values = tomllib.loads(robot.path.read_text(encoding="utf-8-sig"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as fault:
        raise ProfileError(f"{robot.path}: can't be read again: {fault}") from None
    values = copy.deepcopy(values)
    for key, text in changes.items():
        _put(values, key, text)
    changed, problems = read_values(values, robot.path)
    errors = [problem for problem in problems if problem.severity == "error"]
    if changed is None or errors:
        first = errors[0]
        raise InputError(f"{first.key}: {first.message}")
    return changed


def what_it_buys(before: Robot, after: Robot, speed_factor: float = 1.0) -> tuple[str, ...]:
    """What a change buys and costs, one line a figure that moved by more than 1 %, with both values.

    ``speed_factor``: real exit speed over the model's, as shots taught it, for both robots.
    """
    old, new = (size(robot, speed_factor=speed_factor, sweep=False) for robot in (before, after))
    if before.launcher.kind != after.launcher.kind:
        return (f"another mechanism: {after.launcher.kind} instead of {before.launcher.kind}; compare them instead",)
    lines = []
    if isinstance(old, FlywheelSize) and isinstance(new, FlywheelSize):
        lines = _wheel_lines(old, new)
    elif isinstance(old, CockingSize) and isinstance(new, CockingSize):
        lines = _cocking_lines(old, new)
    energy = _line("energy of the element at the highest setpoint", *_energies(before, after), "J", 2)
    new_notes = [f"note: {note}" for note in new.notes if note not in old.notes]
    return (*(line for line in (*lines, energy) if line is not None), *new_notes) or ("nothing that sizing can see",)


def _wheel_lines(old: FlywheelSize, new: FlywheelSize) -> list[str | None]:
    return [
        _line("farthest on a low battery", old.farthest_m, new.farthest_m, "m", 2),
        _line("ceiling on a low battery", old.ceiling_rpm_low, new.ceiling_rpm_low, "rpm", 0),
        _line("needed at the farthest spot", old.needed_rpm.far, new.needed_rpm.far, "rpm", 0),
        _line("spin-up", old.spin_up_s, new.spin_up_s, "s", 3),
        _line("drop a shot", old.drop_rpm, new.drop_rpm, "rpm", 0),
        _line("recovery", old.recovery_s, new.recovery_s, "s", 3),
        _line("current at spin-up", old.peak_current_a, new.peak_current_a, "A", 1),
        _line("rim speed", old.rim_speed_mps, new.rim_speed_mps, "m/s", 1),
    ]


def _cocking_lines(old: CockingSize, new: CockingSize) -> list[str | None]:
    return [
        _line("farthest on a low battery", old.farthest_m, new.farthest_m, "m", 2),
        _line("exit speed at the longest draw", old.exit_speed_max_mps, new.exit_speed_max_mps, "m/s", 2),
        _line("draw needed at the farthest spot", old.needed_mm.far, new.needed_mm.far, "mm", 0),
        _line("energy stored", old.spring_energy_j, new.spring_energy_j, "J", 2),
        _line("torque needed", old.crank_torque_max_nm, new.crank_torque_max_nm, "N m", 2),
        _line("torque given over needed", old.torque_margin, new.torque_margin, "", 2),
        _line("time to cock", old.cock_time_s, new.cock_time_s, "s", 2),
        _line("stress in the wire", old.spring_stress_mpa, new.spring_stress_mpa, "MPa", 0),
        _line("energy into the stop", old.stop_energy_j, new.stop_energy_j, "J", 2),
    ]


def _energies(before: Robot, after: Robot) -> tuple[float | None, float | None]:
    return hazards(before).element_energy_j, hazards(after).element_energy_j


def _line(name: str, old: float | None, new: float | None, unit: str, digits: int) -> str | None:
    """One figure before and after; None where it did not move."""
    if old is None and new is None:
        return None
    tail = f" {unit}" if unit else ""
    if old is None or new is None:
        known, word = (new, "now known") if old is None else (old, "no longer known; it was")
        return f"{name}: {word} {known:.{digits}f}{tail}"
    if abs(new - old) <= _NOTICED * max(abs(old), abs(new)):
        return None
    change = f" ({new / old - 1:+.0%})" if old else ""
    return f"{name}: {old:.{digits}f} to {new:.{digits}f}{tail}{change}"


def _put(values: dict[str, object], key: str, text: str) -> None:
    """Set one key path in the tables; missing tables are made."""
    parts = [part.strip() for part in key.split(".")]
    if not all(parts):
        raise InputError(f"key {key!r}: expected a path such as launcher.wheel_diameter")
    table = values
    for part in parts[:-1]:
        inner = table.setdefault(part, {})
        if not isinstance(inner, dict):
            raise InputError(f"key {key!r}: {part} is a value, not a table")
        table = inner
    if not text.strip():
        table.pop(parts[-1], None)
        return
    table[parts[-1]] = _value(parts[-1], text.strip())


def _value(key: str, text: str) -> object:
    """Text as TOML would have it; what is no TOML value is a string, so that quantities need no quotes."""
    if key == "gears" and _STAGES.fullmatch(text):
        pairs = re.findall(r"(\d+)\s*[:/]\s*(\d+)", text)
        return [[int(a), int(b)] for a, b in pairs]
    if re.fullmatch(r"-?\d+(\.\d+)?|true|false|\[.*\]|\"[^\"]*\"", text):
        try:
            return tomllib.loads(f"value = {text}")["value"]
        except tomllib.TOMLDecodeError:
            return text
    return text
