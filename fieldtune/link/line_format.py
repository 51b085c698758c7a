"""What one line of the wire says: our field names, the robot's own names for them, and the fast decoder for both."""
# MERGED: Lines that are no layout of ours to the letter, yet can be read in only one way; and text that is no damage.
#
# Robot programs put a log's prefix in front, units behind, colons for equals signs, names in capitals, an object
# around
# the object. Damage looks different each time, a program's way of printing does not: a line is read this way only
# when
# lines of exactly its form keep coming.
#
# MERGED: What one line says: name=value pairs, a JSON object or bare columns, told apart line by line.

from __future__ import annotations

import math
import re
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import Any, cast

import msgspec

from fieldtune.errors import ProfileError
from fieldtune.robot.model import LinkSettings

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


_NUMBER_RUN = re.compile(rb"[0-9.+-]+")
_COLOUR = re.compile(rb"\x1b\[[0-9;?]*[A-Za-z]")
_SAID = re.compile(
    r'(?<![\w.])"?([A-Za-z_]\w*)"?[ \t]*[=:][ \t]*"?([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)'
    r"([A-Za-zµ%]*)(?![\w.%])(?:[ \t]+([A-Za-zµ%]+)(?![\w]*[ \t]*[=:]))?"
)
_UNITS = {"t_ms": "ms", "t_us": "us", "wheel_counts": "counts", "wheel_rpm": "rpm", "wheel2_rpm": "rpm"} | {
    f"{name}_{unit}": unit for name in ("battery", "current", "distance") for unit in ("mv", "v", "ma", "a", "mm", "m")
}
_UNITS |= {"power_pct": "%", "draw_mm": "mm"}
_KNOWN_UNITS = frozenset(_UNITS.values())
_REMEMBERED = 48
_DIGITS, _PLAIN = b"0123456789", b"\t" + bytes(range(32, 127))
_LETTERS = bytes(byte for byte in _PLAIN if chr(byte).isalpha())
_OFTEN = 3


class Forms:
    """The forms of the lines that were refused lately: a form is the line with its numbers taken out."""

    def __init__(self) -> None:
        self._lately: deque[bytes] = deque()
        self._count: Counter[bytes] = Counter()

    def often(self, line: bytes) -> bool:
        """Notes a line; whether as many of its form came lately as damage would not make."""
        form = _NUMBER_RUN.sub(b"#", line)
        self._lately.append(form)
        self._count[form] += 1
        if len(self._lately) > _REMEMBERED:
            oldest = self._lately.popleft()
            self._count[oldest] -= 1
            if not self._count[oldest]:
                del self._count[oldest]
        return self._count[form] >= _OFTEN


def looks_like_text(line: bytes, names: Mapping[str, str]) -> bool:
    """Whether a line is words for a person, which a damaged line of readings is not: it would keep names or digits."""
    letters, digits = len(line) - len(line.translate(None, _LETTERS)), len(line) - len(line.translate(None, _DIGITS))
    plain = not line.translate(None, _PLAIN)
    return plain and letters > digits and not any(name.encode() in line for name in names)


def loose(line: bytes, names: Mapping[str, str]) -> Wire:
    """What a line says as ``name=number`` or ``name: number``, wherever it stands, names in any case, own units behind.

    ``names``: the robot's name -> ours. Raises ``NotDataError`` if nothing is said, something is said twice, or in
    another unit.
    """
    text = _COLOUR.sub(b"", line).replace(b"\x00", b"").decode("ascii", "replace")
    folded = {theirs.casefold(): ours for theirs, ours in names.items()}
    found: dict[str, int | float] = {}
    for theirs, value, attached, apart in _SAID.findall(text):
        ours = names.get(theirs) or folded.get(theirs.casefold())
        if ours is None:
            continue
        unit, own = (attached or apart).casefold().replace("µ", "u"), _UNITS.get(ours, "")
        strange = unit != own and (bool(attached) or unit in _KNOWN_UNITS)
        if ours in found or strange:
            raise NotDataError("undecodable")
        found[ours] = number(value)
    if not found:
        raise NotDataError("no known field")
    return Wire(**found)


def said(wire: Wire) -> frozenset[str]:
    """Which of our fields a line names."""
    return frozenset(name for name in wire.__struct_fields__ if getattr(wire, name) is not None)


_SPACE_AROUND_EQUALS = re.compile(r"[ \t]*=[ \t]*")
_STRANGE = re.compile(rb"[^\t -~]")
_NOT_FINITE_JSON = re.compile(rb":\s*-?(?:NaN|Inf)", re.IGNORECASE)


class Fields:
    """Reads lines without their framing. ``names``: the robot's name -> ours."""

    def __init__(self, settings: LinkSettings) -> None:
        self.names = names_on_wire(settings.fields)
        self._decode_json = json_decoder(self.names)
        self._empty = self._decode_json(b"{}")
        self._columns = tuple(self._ours(name) for name in settings.columns)

    def _ours(self, name: str) -> str:
        """A column's name as the wire would name the field; ``-`` skips."""
        return "" if name == "-" else next((theirs for theirs, ours in self.names.items() if ours == name), name)

    def json(self, body: bytes) -> Wire:
        """The fields of a JSON object. Raises ``NotDataError``."""
        _plain(body)
        try:
            wire = self._decode_json(body)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as error:
            endless = "out of range" in str(error) or _NOT_FINITE_JSON.search(body)
            raise NotDataError("non-finite" if endless else "undecodable") from None
        if wire == self._empty:
            raise NotDataError("no known field")
        return wire

    def read(self, payload: bytes) -> Wire:
        """The fields of what a line says, in whichever layout. Raises ``NotDataError``."""
        _plain(payload)
        if b"=" not in payload:
            return self.json(payload.strip()) if payload.lstrip()[:1] == b"{" else self._bare_columns(payload)
        if b" " not in payload and b"\t" not in payload and b'"' not in payload:
            # A name=value list is one replace away from JSON, and the JSON decoder is five times faster than splitting.
            try:
                wire = self._decode_json(b'{"' + payload.replace(b"=", b'":').replace(b",", b',"') + b"}")
            except msgspec.DecodeError:
                return self._slow_fields(payload)
        else:
            return self._slow_fields(payload)
        if wire == self._empty:
            raise NotDataError("no known field")
        return wire

    def _slow_fields(self, payload: bytes) -> Wire:
        return _told(from_pairs(self._pairs(payload.decode("ascii")), self.names))

    def _pairs(self, text: str) -> Iterator[tuple[str, str]]:
        for token in _SPACE_AROUND_EQUALS.sub("=", text).replace(",", " ").split():
            name, equals, value = token.partition("=")
            if not equals or not name or "=" in value:
                raise NotDataError("undecodable")
            yield name, value

    def _bare_columns(self, payload: bytes) -> Wire:
        if not self._columns:
            raise NotDataError("undecodable")
        text = payload.decode("ascii").replace(";", ",")
        values = [cell.strip() for cell in text.split(",")] if "," in text else text.split()
        if len(values) == len(self._columns) + 1 and not values[-1]:
            values.pop()  # many programs end each value with a comma
        if len(values) != len(self._columns):
            raise NotDataError("columns")
        return _told(from_pairs(zip(self._columns, values, strict=True), self.names))


def _told(wire: Wire) -> Wire:
    """The record, if it says anything at all."""
    if wire == EMPTY:
        raise NotDataError("no known field")
    return wire


def _plain(payload: bytes) -> None:
    """Printable ASCII, blanks and tabs, or ``NotDataError``: nothing else may come any further."""
    if _STRANGE.search(payload):
        raise NotDataError("undecodable")
