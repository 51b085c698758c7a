"""What one line of the wire says: our field names, the robot's own names for them, and the fast decoder for both."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any, cast

import msgspec

from fieldtune.errors import ProfileError

Number = int | float | None


class Wire(msgspec.Struct, gc=False):
    """The known fields of one line, in the wire's units; ``None`` where the line did not name them.

    A msgspec struct instead of a dataclass: the decoder fills it in C, at 10,000 lines a second.
    """

    t_ms: Number = None
    t_us: Number = None
    wheel_counts: Number = None
    wheel_rpm: Number = None
    wheel2_rpm: Number = None
    battery_mv: Number = None
    battery_v: Number = None
    current_ma: Number = None
    current_a: Number = None
    distance_mm: Number = None
    distance_m: Number = None
    setpoint: Number = None
    power_pct: Number = None
    draw_mm: Number = None
    fired: bool | int | float | None = None


FIELDS: tuple[str, ...] = Wire.__struct_fields__
EMPTY = Wire()
_NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\Z", re.ASCII)
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)\Z", re.IGNORECASE | re.ASCII)


class NotDataError(ValueError):
    """A line that says nothing usable; ``cause`` is the word it is counted under."""

    def __init__(self, cause: str) -> None:
        super().__init__(cause)
        self.cause = cause


def number(text: str) -> int | float:
    """A decimal number as robots print it (leading zeros, signs and bare points allowed).

    Raises ``NotDataError`` for anything else, and for numbers that are not finite.
    """
    if not _NUMBER.match(text):
        raise NotDataError("non-finite" if _NOT_FINITE.match(text) else "undecodable")
    try:
        return int(text)
    except ValueError:
        value = float(text)
    if not math.isfinite(value):
        raise NotDataError("non-finite")
    return value


def names_on_wire(fields: Mapping[str, str]) -> dict[str, str]:
    """The robot's name -> our name, for every known field. A name given to one field is taken from any other."""
    unknown = [ours for ours in fields if ours not in FIELDS]
    if unknown:
        raise ProfileError(f"[link.fields] {unknown[0]}: no such field; known are {', '.join(FIELDS)}")
    taken = list(fields.values())
    twice = [theirs for theirs in taken if taken.count(theirs) > 1]
    if twice:
        raise ProfileError(f"[link.fields] {twice[0]!r} stands for two fields; give each field a name of its own")
    names = {ours: ours for ours in FIELDS if ours not in fields and ours not in taken}
    return names | {theirs: ours for ours, theirs in fields.items()}


def json_decoder(names: Mapping[str, str]) -> Callable[[bytes], Wire]:
    """A decoder of one JSON object that fills a ``Wire`` under the robot's own names."""
    if all(theirs == ours for theirs, ours in names.items()) and len(names) == len(FIELDS):
        return msgspec.json.Decoder(Wire, strict=False).decode
    types = {info.name: info.type for info in msgspec.structs.fields(Wire)}
    theirs_of = {ours: theirs for theirs, ours in names.items()}
    renamed = msgspec.defstruct(
        "RenamedWire",
        [(ours, types[ours], msgspec.field(default=None, name=theirs_of.get(ours, f"\x00{ours}"))) for ours in FIELDS],
        gc=False,
    )
    return cast(Callable[[bytes], Wire], msgspec.json.Decoder(renamed, strict=False).decode)


def from_pairs(pairs: Iterable[tuple[str, str]], names: Mapping[str, str]) -> Wire:
    """A ``Wire`` from (name, number text) pairs; unknown names are passed over, whatever they hold."""
    found: dict[str, Any] = {}
    for name, text in pairs:
        ours = names.get(name)
        if ours is not None and text:
            found[ours] = number(text)
    return Wire(**found)
