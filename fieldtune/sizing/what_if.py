"""What if a part were another: a changed copy of a robot, and in words what the change buys and what it costs."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from typing import TYPE_CHECKING

from fieldtune.errors import InputError, ProfileError
from fieldtune.figures import FIGURES, Figure, figures_of
from fieldtune.robot.derived import largest_grip
from fieldtune.robot.profile import read_values
from fieldtune.sizing.hazards import hazards
from fieldtune.sizing.reach import as_taught
from fieldtune.sizing.size import size

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

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

    ``speed_factor``: real exit speed over the model's, as shots taught it before the change.
    """
    if before.launcher.kind != after.launcher.kind:
        return (f"another mechanism: {after.launcher.kind} instead of {before.launcher.kind}; compare them instead",)
    moved = momentum_factor(before, after)
    old, new = size(before, None, speed_factor, sweep=False), size(after, None, speed_factor * moved, sweep=False)
    both = zip(figures_of(old), figures_of(new), strict=True)
    lines = [_line(figure, figure.label, was, now) for (figure, was), (_, now) in both]
    if abs(moved - 1) > _NOTICED:
        lines.insert(0, f"exit speed at the same setpoint: {100 * (moved - 1):+.0f} %, by momentum")
    fastest = "energy of the element at the highest setpoint"
    taught, _ = as_taught(before, speed_factor)
    changed, _ = as_taught(after, speed_factor * moved)
    lines.append(_line(FIGURES["element_energy_j"], fastest, *_energies(taught, changed)))
    new_notes = [f"note: {note}" for note in new.notes if note not in old.notes]
    return (*(line for line in lines if line is not None), *new_notes) or ("nothing that sizing can see",)


def momentum_factor(before: Robot, after: Robot) -> float:
    """Exit speed over the rims' speed after a change, over what it was before it.

    Heavier wheels slow down less in a shot, lighter elements slow them less: the grip goes with the bound that momentum
    sets. 1 where that isn't known of both, or the profile's grip was changed by hand.
    """
    grips = [robot.launcher.mechanism.level.value for robot in (before, after)]
    was, now = largest_grip(before), largest_grip(after)
    return 1.0 if was is None or now is None or grips[0] != grips[1] else now / was


def _energies(before: Robot, after: Robot) -> tuple[float | None, float | None]:
    return hazards(before).element_energy_j, hazards(after).element_energy_j


def _line(figure: Figure, name: str, old: float | None, new: float | None) -> str | None:
    """One figure before and after; None where it did not move."""
    if old is None and new is None:
        return None
    if old is None or new is None:
        word = "now known," if old is None else "no longer known; it was"
        return f"{name}: {word} {figure.said(new if old is None else old)}"
    if abs(new - old) <= _NOTICED * max(abs(old), abs(new)) or figure.said(old) == figure.said(new):
        return None
    change = f" ({100 * (new / old - 1):+.0f} %)" if old and figure.unit != "%" else ""
    return f"{name}: {figure.said(old)} to {figure.said(new)}{change}"


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
