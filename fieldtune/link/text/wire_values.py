"""What one line says before it is weighed: the values of its known fields, in the line's own units."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Container, Iterator, Mapping
from operator import attrgetter
from typing import Any, cast

import msgspec

from fieldtune.errors import ProfileError
from fieldtune.line_fields import BY_WIRE_NAME, WIRE_NAMES, LineField, WireName

Number = int | float | None


class WireValues(msgspec.Struct, gc=False):
    """Clock, counter, time of a turn and ``fired`` of one line; ``None`` where the line did not name them.

    A msgspec struct instead of a dataclass: the decoder fills it in C, at 10,000 lines a second. ``AllValues`` has the
    readings of ``line_fields`` beside them.
    """

    t_ms: Number = None
    t_us: Number = None
    wheel_counts: Number = None
    wheel_period_us: Number = None
    fired: bool | int | float | None = None


AllValues = msgspec.defstruct(
    "AllValues", [(name, Number, None) for name in BY_WIRE_NAME], bases=(WireValues,), gc=False
)
EMPTY = AllValues()
UNREADABLE = (msgspec.DecodeError, UnicodeDecodeError, RecursionError)
"""What a JSON decoder raises for text that is none."""
_ROWS = tuple(BY_WIRE_NAME.values())
own_rpm = cast(Callable[[object], Number], attrgetter("wheel_rpm"))
_values_of = cast(Callable[[object], tuple[Number, ...]], attrgetter(*BY_WIRE_NAME))


class NotDataError(ValueError):
    """A line that says nothing usable; ``cause`` is the words it is counted under."""

    def __init__(self, cause: str) -> None:
        super().__init__(cause)
        self.cause = cause


def values_from(found: Mapping[str, Any]) -> WireValues:
    """A line's values by our names."""
    return cast(WireValues, AllValues(**found))


def all_readings(values: WireValues) -> tuple[Number, ...]:
    """The readings in the order of ``BY_WIRE_NAME``, as sent; None where the line does not name one."""
    return _values_of(values)


def readings_of(values: WireValues) -> Iterator[tuple[LineField, WireName, int | float]]:
    """The readings that a line names: their rows, and the values as sent."""
    for (row, wire), value in zip(_ROWS, _values_of(values), strict=True):
        if value is not None:
            yield row, wire, value


def named_fields(values: WireValues) -> frozenset[str]:
    """Which of our fields a line names."""
    return frozenset(name for name in WIRE_NAMES if getattr(values, name) is not None)


def names_on_wire(fields: Mapping[str, str]) -> dict[str, str]:
    """The robot's name -> our name, for every known field. A name given to one field is taken from any other."""
    unknown = [ours for ours in fields if ours not in WIRE_NAMES]
    if unknown:
        raise ProfileError(f"[link.fields] {unknown[0]}: no such field; known are {', '.join(WIRE_NAMES)}")
    taken = list(fields.values())
    twice = [theirs for theirs in taken if taken.count(theirs) > 1]
    if twice:
        raise ProfileError(f"[link.fields] {twice[0]!r} stands for two fields; give each field a name of its own")
    names = {ours: ours for ours in WIRE_NAMES if ours not in fields and ours not in taken}
    return names | {theirs: ours for ours, theirs in fields.items()}


_PYTHON_WORDS = ((b"'", b'"'), (b": True", b": true"), (b": False", b": false"), (b": None", b": null"))


def in_json(body: bytes) -> bytes:
    """Dictionaries as Python prints them with the quotes and words of JSON; anything else as it is."""
    if b"'" in body and b'"' not in body:
        for theirs, ours in _PYTHON_WORDS:
            body = body.replace(theirs, ours)
    return body


_UNIT = 2  # letters
_anything_in = msgspec.json.Decoder().decode


def names_in_json(body: bytes, paths: Container[str] = ()) -> dict[str, Any]:
    """The values in a JSON object and in objects and lists within it, by name.

    With the way to it in front, ``left.rpm``, where that is needed to tell it from others, where the last name is
    hardly more than a unit, or where it is among ``paths``. Raises as of ``UNREADABLE``.
    """
    found: list[tuple[tuple[str, ...], Any]] = []

    def walk(path: tuple[str, ...], value: Any) -> None:
        inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else None
        if inside is None:
            found.append((path, value))
            return
        for name, one in inside:
            walk((*path, str(name)), one)

    walk((), _anything_in(in_json(body)))
    # The number of a value in a list is no name.
    short = [path[-2:] if path[-1:] and path[-1].isdigit() else path[-1:] for path, _ in found]
    times = Counter(short)
    names = {}
    for (path, value), last in zip(found, short, strict=True):
        whole, name = ".".join(path), ".".join(last)
        told_apart = times[last] == 1 and (len(name) > _UNIT or name in paths)
        names[name if told_apart and whole not in paths else whole] = value
    return names


def json_decoder(names: Mapping[str, str]) -> Callable[[bytes], WireValues]:
    """A decoder of one JSON object that fills ``WireValues`` under the robot's own names."""
    if all(theirs == ours for theirs, ours in names.items()) and len(names) == len(WIRE_NAMES):
        return cast(Callable[[bytes], WireValues], msgspec.json.Decoder(AllValues, strict=False).decode)
    theirs_of = {ours: theirs for theirs, ours in names.items()}
    renamed = msgspec.defstruct(
        "RenamedValues",
        [
            (field.name, field.type, msgspec.field(default=None, name=theirs_of.get(field.name, f"\x00{field.name}")))
            for field in msgspec.structs.fields(AllValues)
        ],
        bases=(WireValues,),
        gc=False,
    )
    return cast(Callable[[bytes], WireValues], msgspec.json.Decoder(renamed, strict=False).decode)
