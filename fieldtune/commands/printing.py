"""Printing what a command found: one JSON object, or plain aligned text."""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable, Iterable, Mapping
from typing import TYPE_CHECKING, TextIO

from fieldtune.caution import where_cautions_are
from fieldtune.person_units import amount, digits_of
from fieldtune.person_units import unit as unit_said
from fieldtune.plain_text import say, say_aside, say_json

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

_SILENT_S, _SAID_AGAIN_S = 3.0, 10.0


def give(args: argparse.Namespace, found: Mapping[str, object], text: Iterable[str]) -> None:
    """Prints ``found`` as JSON if that was asked for, otherwise the lines of ``text``."""
    if args.json:
        say_json(plain(found))
    else:
        lines = list(text)
        if lines:
            say("\n".join(lines))


def point_to_cautions(robot: Robot) -> None:
    """One line on standard error beside an answer that has no room for what can hurt."""
    say_aside(where_cautions_are(robot.name))


def plain(value: object) -> object:
    """A value as JSON knows it: records as objects, what isn't a finite number as null."""
    import dataclasses

    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [plain(item) for item in value]
    if isinstance(value, str | bool | int) or value is None:
        return value
    if isinstance(value, float):
        return float(value) if math.isfinite(value) else None
    if hasattr(value, "tolist"):  # numpy
        return plain(value.tolist())
    return str(value)


def record(value: object) -> dict[str, object]:
    """A record as the JSON object to print."""
    found = plain(value)
    return dict(found) if isinstance(found, dict) else {}


def setpoint_words(robot: Robot, value: float | None) -> str:
    """A setpoint with its unit, in as many decimals as the robot's step asks for."""
    return number(value, robot.setpoint.decimals, robot.setpoint.unit)


def number(value: float | None, digits: int = 2, unit: str = "") -> str:
    """A number of that metric unit, as it is said to people; ``-`` where unknown."""
    if value is None or not math.isfinite(value):
        return "-"
    return amount(value, unit, digits).rstrip()


def cell(value: float | None, metric_unit: str, digits: int = 2, signed: bool = False) -> str:
    """A number for a column whose heading names the unit; ``-`` where unknown."""
    return "-" if value is None or not math.isfinite(value) else digits_of(value, metric_unit, digits, signed)


def heading(name: str, metric_unit: str) -> str:
    """A column's heading: ``distance (m)``."""
    return f"{name} ({unit_said(metric_unit)})"


def percent(value: float | None) -> str:
    """A share as whole percent; ``-`` where unknown."""
    return "-" if value is None else f"{100 * value:.0f} %"


def how_far(doing: str) -> Callable[[float, float | None], None]:
    """What says on standard error how far a recording is read, once that takes longer than some seconds."""
    due_s = time.monotonic() + _SILENT_S

    def tell(line_s: float, share: float | None) -> None:
        nonlocal due_s
        if time.monotonic() >= due_s:
            due_s = time.monotonic() + _SAID_AGAIN_S
            say_aside(f"{doing}: {f'{line_s / 60:.0f} min of it' if share is None else percent(share)} so far")

    return tell


def progress_bar(stream: TextIO, usual: int = 10_000) -> Callable[[int, int], None]:
    """What tells on a terminal how far a search of more than ``usual`` choices has got; silent anywhere else."""

    def tell(done: int, total: int) -> None:
        if total > usual and stream.isatty():
            bar = "#" * (30 * done // total)
            end = "\r\033[K" if done >= total else ""
            stream.write(f"\r  [{bar:<30}] {done} of {total} choices{end}")
            stream.flush()

    return tell
