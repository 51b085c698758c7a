"""What one line says: name=value pairs, a JSON object or bare columns, told apart line by line."""

from __future__ import annotations

import re
from collections.abc import Iterator

import msgspec

from fieldtune.link.wire import EMPTY, NotDataError, Wire, from_pairs, json_decoder, names_on_wire
from fieldtune.robot.model import LinkSettings

_SPACE_AROUND_EQUALS = re.compile(r"[ \t]*=[ \t]*")
_STRANGE = re.compile(rb"[^\t -~]")
_NOT_FINITE = re.compile(rb":\s*-?(?:NaN|Inf)", re.IGNORECASE)


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
            endless = "out of range" in str(error) or _NOT_FINITE.search(body)
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
