"""Alike lines read together: a layout once seen becomes one decoder, and a chunk of such lines one call of it.

A chunk is read so only if each of its lines has exactly the names, or the number of columns, of the layout. Anything
else, a single odd byte included, sends the whole chunk the careful way, line by line.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from functools import cached_property, partial
from operator import attrgetter, itemgetter
from typing import TYPE_CHECKING, Annotated, Any

import msgspec
import numpy as np

from fieldtune.frozen import frozen
from fieldtune.line_fields import CLOCKS, FIRED
from fieldtune.link.text.bare_columns import NONE
from fieldtune.link.text.wire_numbers import LARGEST
from fieldtune.link.text.wire_values import UNREADABLE, WireValues, in_json, values_from

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray
    from fieldtune.link.text.line_format import LineFormat
    from fieldtune.link.text.wire_numbers import MaybeThousands

_NOT_IN_PAIRS = b'"', b"{", b"(", b"[", b"\t"
_WORD = re.compile(rb"=(?!true|false|null)[A-Za-z_][\w.-]*")
_ODD_NAME = re.compile(r'["\\\x00-\x1f]')
_IN_COLUMNS = b"0123456789+-.eE, \n"
_MOST = 16
_names_in = msgspec.json.Decoder(dict[str, msgspec.Raw]).decode
_lists_in = msgspec.json.Decoder(list[int | float]).decode_lines

_LONG = 2**62

Row = tuple[Any, ...]
Bounds = Mapping[str, tuple[float, float]]
"""Numbers between which each of our names may be; empty where nobody knows."""
Decode = Callable[[bytes, bytes], Sequence[Any] | None]
"""Finds the lines in payloads that have the second argument between them; None if they are other."""
_Getter = Callable[[Any], Any]


@frozen
class Layout:
    """``row_of`` and ``each`` take all values, or one, of what was found of a line.

    ``values`` makes one line's values as they are when it is read alone. ``one_by_one``: alone, each number of such
    a line is looked at by itself. ``bounded``: only lines with readings within bounds are found.
    """

    names: tuple[str, ...]
    values: Callable[[Mapping[str, Any]], WireValues]
    one_by_one: bool
    bounded: bool
    row_of: _Getter
    each: tuple[_Getter, ...]


class LineTable:
    """Lines that all name the same fields: ``names``, ours, in the order of the values in ``rows``. All are finite."""

    ahead: Sequence[WireValues] = ()
    """Lines in front that were read by themselves."""

    def __init__(self, layout: Layout, found: Sequence[Any]) -> None:
        self.names, self.lines, self.bounded = layout.names, len(found), layout.bounded
        self._layout, self._found = layout, found
        self._rows: list[Row] | None = None

    @property
    def rows(self) -> list[Row]:
        """The values of each line."""
        if self._rows is None:  # a cached_property locks, and takes longer than all of this
            self._rows = list(map(self._layout.row_of, self._found))
        return self._rows

    @cached_property
    def columns(self) -> dict[str, FloatArray]:
        """The values of each field (n,). Raises ``OverflowError`` for numbers of some hundred digits."""
        return {
            name: np.fromiter(map(get, self._found), np.float64, self.lines)
            for name, get in zip(self.names, self._layout.each, strict=True)
        }

    def plain(self, maybe: MaybeThousands) -> bool:
        """Whether no number may be meant a thousand times as large, or tells that none is; or is too large."""
        unsure = [i for i, name in enumerate(self.names) if name in maybe]
        if any(abs(row[i]) >= 1 for i in unsure for row in self.rows):
            return False  # between -1 and 1 nothing stands between thousands
        return not self._layout.one_by_one or all(abs(value) <= LARGEST for row in self.rows for value in row)

    def values(self, start: int = 0, end: int | None = None) -> list[WireValues]:
        """Lines of the table, to be weighed one by one."""
        return [self._layout.values(dict(zip(self.names, row, strict=True))) for row in self.rows[start:end]]

    def value(self, place: int) -> WireValues:
        """One of the lines."""
        return self._layout.values(dict(zip(self.names, self.row(place), strict=True)))

    def row(self, place: int) -> Row:
        """The values of one of the lines."""
        row: Row = self._layout.row_of(self._found[place])
        return row


class Layouts:
    """Reads many lines in the layout that the last one had which was read with care."""

    def __init__(self, line_format: LineFormat, bounds: Bounds) -> None:
        self._format, self._bounds = line_format, bounds
        self._known: dict[tuple[str, ...], tuple[Layout, Decode] | None] = {}
        self._now: tuple[Layout, Decode] | None = None

    def learn(self, payload: bytes) -> None:
        """Takes the layout of a line that was read for those to come."""
        key = self._key(payload)
        if key not in self._known:
            if len(self._known) >= _MOST:
                self._known.clear()
            self._known[key] = self._made(key)
        self._now = self._known[key]

    def forget(self) -> None:
        """Other columns may follow."""
        self._known.clear()
        self._now = None

    def read(self, payloads: bytes, between: bytes, lines: int) -> LineTable | None:
        """The ``lines`` payloads, with ``between`` one and the next, if all are in the layout of now."""
        if self._now is None:
            return None
        layout, decode = self._now
        try:
            found = decode(payloads, between)
        except UNREADABLE:
            return None
        if found is None or len(found) != lines:
            return None
        table = LineTable(layout, found)
        doubtful = layout.one_by_one or (self._format.maybe and b"." in payloads)
        return table if not doubtful or table.plain(self._format.maybe) else None

    def _key(self, payload: bytes) -> tuple[str, ...]:
        """What tells a layout from others: how it is written with which words, and its names."""
        try:
            if b"=" in payload:
                words = sorted(set(_WORD.findall(payload)), key=len, reverse=True)
                return (b"".join((b"=", *words)).decode(), *_names_in(_as_json(payload, b"\n", words)))
            if payload.startswith(b"{"):
                if b"{" in payload[1:] or b"[" in payload:
                    return ()
                return ("{", *_names_in(in_json(payload)))
        except UNREADABLE:
            return ()
        return ("", *self._format.columns.order)

    def _made(self, key: tuple[str, ...]) -> tuple[Layout, Decode] | None:
        """A layout; None where nothing is gained, as without a clock."""
        if not key:
            return None
        way, *theirs = key
        names = self._format.names if way else {name: name for name in theirs if name != NONE}
        places = {i: names[name] for i, name in enumerate(theirs) if name in names}
        ours = tuple(places.values())
        if len(ours) < 2 or len(set(ours)) < len(ours) or not CLOCKS.keys() & set(ours):
            return None
        if any(_ODD_NAME.search(name) for name in theirs):
            return None
        if not way:
            each = tuple(itemgetter(place) for place in places)
            return Layout(ours, values_from, False, False, itemgetter(*places), each), _columns(len(theirs))
        keys = [f"_{place}" for place in places]
        words = _WORD.findall(way.encode())
        prepare = partial(_as_json, words=words) if way[:1] == "=" else _json_lines
        values = values_from if words else self._format.values_from
        getters = tuple(map(attrgetter, keys))
        row_of = attrgetter(*keys) if len(ours) < len(theirs) else msgspec.structs.astuple
        layout = Layout(ours, values, bool(words), bool(self._bounds), row_of, getters)
        types = [_type_of(names.get(name), self._bounds) for name in theirs]
        return layout, _named(theirs, types, prepare)


def _named(theirs: Sequence[str], types: list[Any], prepare: Callable[[bytes, bytes], bytes | None]) -> Decode:
    """Decodes objects that have exactly these names, and values of these types."""
    fields = [(f"_{i}", types[i], msgspec.field(name=name)) for i, name in enumerate(theirs)]
    decoder = msgspec.json.Decoder(msgspec.defstruct("Alike", fields, forbid_unknown_fields=True, gc=False))

    def decode(body: bytes, between: bytes) -> Sequence[Any] | None:
        text = prepare(body, between)
        return None if text is None else decoder.decode_lines(text)

    return decode


def _type_of(ours: str | None, bounds: Bounds) -> Any:
    if ours is None:
        return msgspec.Raw
    if ours not in bounds:
        return int | float | bool if ours == FIRED else int | float
    low, high = bounds[ours]
    whole = msgspec.Meta(ge=max(math.ceil(low), -_LONG), le=min(math.floor(high), _LONG))
    return Annotated[int, whole] | Annotated[float, msgspec.Meta(ge=low, le=high)]


def _json_lines(body: bytes, between: bytes) -> bytes | None:
    """The lines, if each is one object: then no object that the decoder finds can begin or end within a line.

    Control characters are no JSON.
    """
    body = in_json(body)
    whole = body[:1] == b"{" and body[-1:] == b"}" and body.count(between) == body.count(b"}%s{" % between)
    if not whole or not body.isascii() or b"\x7f" in body:
        return None
    return body if between == b"\n" else body.replace(between, b"\n")


def _as_json(body: bytes, between: bytes, words: Sequence[bytes]) -> bytes:
    """Lists of name=value as JSON, one replacement for each mark; others become something that can't be decoded.

    ``words``: what stands behind an equals sign and is no number, with it, the longest first.
    """
    for mark in _NOT_IN_PAIRS:
        if mark in body:
            return b"?"
    if b" " in body:
        body = body.replace(b" " + between, between).replace(b", ", b",").replace(b" ", b",")
    for word in words:
        body = body.replace(word, b'="%s"' % word[1:])
    return b'{"%s}' % body.replace(b"=", b'":').replace(b",", b',"').replace(between, b'}\n{"')


def _columns(cells: int) -> Decode:
    """Decodes lines of so many numbers."""

    def decode(body: bytes, between: bytes) -> Sequence[Any] | None:
        body = body.replace(between, b"\n")
        if body.translate(None, _IN_COLUMNS):
            return None
        found = _lists_in(b"[%s]" % body.replace(b"\n", b"]\n["))
        return found if set(map(len, found)) == {cells} else None

    return decode
