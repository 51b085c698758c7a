"""What raw lines hold: names, values and units as the robot prints them, and which of our fields each probably is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fieldtune.frozen import frozen
from fieldtune.line_fields import WIRE_NAMES
from fieldtune.link.text.raw_pairs import cells_of, is_cell, pairs, uncoloured
from fieldtune.link.text.wire_numbers import NotANumberError, is_known, value_of
from fieldtune.link.troubleshooting.mapping import guess
from fieldtune.link.troubleshooting.meanings import MAYBE_MOTORS, Meaning
from fieldtune.link.troubleshooting.raw_names import Reading, read_names

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

_COLUMNS_AT_LEAST, _MORE = 2, 4  # and how many times as many lines of bare numbers make a line with names one beside


@frozen
class RawField:
    """One value of a raw line. ``name``: the robot's own, or ``column 3``; ``unit``: what stands behind, if anything.

    ``ours``: the field that it probably is, None where nothing suggests one; ``scale``: what a bare number is to be
    multiplied by, ``sure`` whether anything tells. ``value``: in that field's unit, else as printed; None if it can't
    be converted, and ``problem`` says why.
    """

    name: str
    text: str
    unit: str = ""
    ours: str | None = None
    value: float | None = None
    problem: str = ""
    scale: float = 1.0
    sure: bool = True


def raw_fields(lines: Sequence[str], robot: Robot | None = None) -> list[RawField]:
    """The values of the kind of line that comes most often, each of our fields guessed once at most.

    Lines of one value each are of one kind.
    """
    lines = [uncoloured(line) for line in lines]
    named = [(line, names) for line in lines if (names := tuple(name for name, _ in pairs(line)))]
    bare = [line for line in lines if not pairs(line) and sum(map(is_cell, cells_of(line))) >= _COLUMNS_AT_LEAST]
    if named and len(bare) > _MORE * len(named):
        lines = [line for line in lines if not pairs(line)]
    elif named:
        shape = Counter(names for _, names in named).most_common(1)[0][0]
        lines = [line for line, names in named if names == shape or len(names) == len(shape) == 1]
    seen = read_names(lines)
    if seen.columns and len(seen.readings) < _COLUMNS_AT_LEAST:
        return []
    meanings = guess(seen, robot)
    return [_field(reading, meanings.get(reading.name), robot) for reading in seen.readings]


def _field(reading: Reading, meaning: Meaning | None, robot: Robot | None) -> RawField:
    name, text = reading.name, reading.texts[-1]
    ours = name if name in WIRE_NAMES else None if meaning is None else meaning.ours
    like = ours or name
    if ours == "setpoint" and robot is not None and robot.setpoint.scale.is_speed:
        like = "wheel_rpm"
    converted = ours == name or (reading.behind and is_known(reading.behind, like))  # where it is read
    scale = 1.0 if meaning is None or converted else meaning.scale
    try:
        value = float(value_of(text, like, scale=0.0 if scale == 1.0 else scale)) * scale
        sure = (
            meaning is None or meaning.sure or ours == name or (bool(reading.behind) and meaning.unit != MAYBE_MOTORS)
        )
        return RawField(name, text, reading.behind, ours, value, "", scale, sure)
    except NotANumberError as error:
        return RawField(name, text, reading.behind, ours, None, str(error))


def profile_lines(fields: Sequence[RawField]) -> list[str]:
    """What to paste into the profile so that these fields are read; empty where nothing is known of them."""
    if fields and all(field.name.startswith("column ") for field in fields):
        order = ", ".join(f'"{field.ours or "-"}"' for field in fields)
        ours, said = list(fields), ["[link.columns]", f"order = [{order}]"]
    else:
        ours = [field for field in fields if field.ours and field.ours != field.name and not field.problem]
        said = ["[link.fields]", *(f'{field.ours} = "{_quoted(field.name)}"' for field in ours)] if ours else []
    scaled = [f"{field.ours} = {field.scale:.6g}" for field in ours if field.ours and field.scale != 1.0]
    return [*said, "[link.scale]", *scaled] if scaled else said


def _quoted(name: str) -> str:
    return name.replace("\\", "\\\\").replace('"', '\\"')
