"""What one line says before it is weighed: the values of its known fields, in the line's own units.

Numbers are read as people's programs print them: with marks between thousands, a comma for the point, a unit behind.
What can be read in two ways is not read at all: 2,450 is two thousand and some to one program and two and a half to
another, and a speed in a unit that nobody named is no speed.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from operator import attrgetter
from typing import Any, cast

import msgspec

from fieldtune.errors import FieldtuneError, ProfileError
from fieldtune.line_fields import BY_WIRE_NAME, CLOCKS, COUNTER, FIRED, WIRE_NAMES, LineField, WireName
from fieldtune.units import TIME, parse

_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)\Z", re.IGNORECASE | re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,(?:\d{1,2}|\d{4,})(?![\d.,])", re.ASCII)
_GROUPED = re.compile(
    r"[+-]?\d{1,3}(?:(?P<mark>[' ])\d{3}(?:(?P=mark)\d{3})*|(?:,\d{3})+(?=\.\d)|(?:,\d{3}){2,})(?:\.\d+)?(?![\d',])"
)
_UNIT = re.compile(r"[ \t]*([A-Za-z°%µ][A-Za-z0-9°%µ/^]*)?")
_ENDS = " \t\"'()[]{}<>,;|*"
_YES, _NO = ("true", "yes"), ("false", "no")


class NotANumberError(ValueError):
    """A value that can't be used; its text says why: ``is nan``, ``has the unknown unit ticks/s``."""


def plain_number(text: str) -> int | float:
    """A decimal number as robots print it (leading zeros, signs and bare points allowed).

    Raises ``NotANumberError`` with no text for anything else, and with one for numbers that are not finite.
    """
    if not _PLAIN.fullmatch(text):
        raise NotANumberError(f"is {text.lower()}" if _NOT_FINITE.match(text) else "")
    try:
        return int(text)
    except ValueError:
        value = float(text)
    if not math.isfinite(value):
        raise NotANumberError("is too large")
    return value


def value_of(text: str, wire_name: str) -> int | float:
    """The value of the field ``wire_name`` in that field's unit, from whatever stands behind its name.

    Raises ``NotANumberError`` with the reason in words.
    """
    bare = text.strip(_ENDS)
    if wire_name == FIRED and bare.casefold() in (*_YES, *_NO):
        return int(bare.casefold() in _YES)
    if _NOT_FINITE.match(bare):
        raise NotANumberError(f"is {bare.lower()}")
    found = _GROUPED.match(bare) or _DECIMAL_COMMA.match(bare)
    if found is not None:
        digits = found.group()
        value = float(re.sub(r"[', ]", "", digits) if "," not in digits or "." in digits or digits.count(",") > 1
                      else digits.replace(",", "."))  # fmt: skip
    else:
        found = _PLAIN.match(bare)
        if found is None:
            raise NotANumberError("is no number")
        value = plain_number(found.group())
    rest = bare[found.end() :]
    unit = _UNIT.match(rest)
    symbol, behind = (unit.group(1) or "", rest[unit.end() :]) if unit else ("", rest)
    if re.match(r"['.,]?\d", behind) or (re.search(r"\d", behind) and not re.match(r"[ \t]*[,;|\])}]", behind)):
        raise NotANumberError(f"can be read in two ways: {bare[:24]}")
    return value * _factor(symbol, wire_name) if symbol else value


@lru_cache(maxsize=256)
def _factor(symbol: str, wire_name: str) -> float:
    """What a value with this unit behind is multiplied by to be in the field's own unit."""
    row, own = BY_WIRE_NAME.get(wire_name, (None, None))
    if wire_name == COUNTER and symbol.casefold() in ("counts", "count", "ticks", "tick", "pulses"):
        return 1.0
    dimension = TIME if wire_name in CLOCKS else row.dimension if row else None
    unit = {"t_ms": "ms", "t_us": "us"}.get(wire_name) or (own.unit if own else "")
    if symbol == unit:
        return 1.0
    if dimension is None:
        raise NotANumberError(f"has the unit {symbol}, which can't be converted")
    try:
        return parse(f"1 {symbol}", dimension) / parse(f"1 {unit}", dimension)
    except FieldtuneError:
        raise NotANumberError(f"has the unknown unit {symbol}") from None


_MOST_CAUSES = 24


def note_aside(causes: Counter[str], words: str) -> None:
    """Counts a value that can't be used by what is wrong with it, in words that nothing on a screen obeys.

    A noisy line spoils values in ever new ways: beyond some dozens, the rest is counted together.
    """
    cause = "".join(letter if letter.isprintable() else "·" for letter in words)
    causes[cause if cause in causes or len(causes) < _MOST_CAUSES else "other values that can't be used"] += 1


Number = int | float | None


class WireValues(msgspec.Struct, gc=False):
    """Clock, counter and ``fired`` of one line; ``None`` where the line did not name them.

    A msgspec struct instead of a dataclass: the decoder fills it in C, at 10,000 lines a second. ``AllValues`` has the
    readings of ``line_fields`` beside them.
    """

    t_ms: Number = None
    t_us: Number = None
    wheel_counts: Number = None
    fired: bool | int | float | None = None


AllValues = msgspec.defstruct(
    "AllValues", [(name, Number, None) for name in BY_WIRE_NAME], bases=(WireValues,), gc=False
)
EMPTY = AllValues()
_ROWS = tuple(BY_WIRE_NAME.values())
_values_of = cast(Callable[[object], tuple[Number, ...]], attrgetter(*BY_WIRE_NAME))


class NotDataError(ValueError):
    """A line that says nothing usable; ``cause`` is the words it is counted under."""

    def __init__(self, cause: str) -> None:
        super().__init__(cause)
        self.cause = cause


def values_from(found: Mapping[str, Any]) -> WireValues:
    """A line's values by our names."""
    return cast(WireValues, AllValues(**found))


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
