"""What one line says: name=value pairs, a JSON object or bare columns, told apart line by line."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import msgspec

from fieldtune.line_fields import FIRED
from fieldtune.link.loose_format import header_columns
from fieldtune.link.number_text import NotANumberError, plain_number, value_of
from fieldtune.link.wire_values import EMPTY, NotDataError, WireValues, json_decoder, names_on_wire, values_from

if TYPE_CHECKING:
    from fieldtune.robot.model import LinkSettings

_SPACE_AROUND_EQUALS = re.compile(r"[ \t]*=[ \t]*")
_STRANGE = re.compile(rb"[^\t -~]")
_NAMED_NOT_FINITE = re.compile(rb'"([^"]*)"\s*:\s*(-?(?:NaN|Inf(?:inity)?|\d+[eE]\d{3,}))(?=\s*[,}])', re.IGNORECASE)
_PYTHON_WORDS = ((b"'", b'"'), (b": True", b": true"), (b": False", b": false"), (b": None", b": null"))


class LineFormat:
    """Reads lines without their framing. ``names``: the robot's name -> ours.

    ``set_aside`` counts single values that can't be used, by what is wrong with them; the rest of their line counts.
    """

    def __init__(self, settings: LinkSettings) -> None:
        self.names = names_on_wire(settings.fields)
        self.set_aside: Counter[str] = Counter()
        self._decode_json = json_decoder(self.names)
        self._empty = self._decode_json(b"{}")
        self._columns = settings.columns

    def take_header(self, line: bytes) -> bool:
        """Whether a line names the columns that follow; notes them, unless the profile names them already."""
        columns = header_columns(line, self.names)
        if columns is not None and not self._columns:
            self._columns = columns
        return columns is not None

    def json(self, body: bytes) -> WireValues:
        """The fields of a JSON object, or of a dictionary as Python prints it. Raises ``NotDataError``."""
        _refuse_strange(body)
        try:
            values = self._decode_json(body)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
            values = self._json_mended(body)
        if values == self._empty:
            raise NotDataError("no known field")
        return values

    def _json_mended(self, body: bytes) -> WireValues:
        """With Python's quotes and words put right, and values that aren't finite set aside."""
        if b"'" in body and b'"' not in body:
            for theirs, ours in _PYTHON_WORDS:
                body = body.replace(theirs, ours)
        aside = [(name.decode(), text.decode().lower()) for name, text in _NAMED_NOT_FINITE.findall(body)]
        if aside:
            body = _NAMED_NOT_FINITE.sub(rb'"\1":null', body)
        try:
            values = self._decode_json(body)
        except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
            raise NotDataError("undecodable") from None
        self._note(aside, nothing_else=values == self._empty)
        return values

    def _note(self, aside: list[tuple[str, str]], *, nothing_else: bool) -> None:
        """Counts known values that are not finite; raises ``NotDataError`` where the line says nothing else."""
        known = [f"{name} is {text}" for name, text in aside if name in self.names]
        self.set_aside.update(known)
        if known and nothing_else:
            raise NotDataError("non-finite")

    def read(self, payload: bytes) -> WireValues:
        """The fields of what a line says, in whichever layout. Raises ``NotDataError``."""
        _refuse_strange(payload)
        if b"=" not in payload:
            return self.json(payload.strip()) if payload.lstrip()[:1] == b"{" else self._bare_columns(payload)
        if b" " in payload or b"\t" in payload or b'"' in payload:
            return self._pairs(payload)
        # A name=value list is one replace away from JSON, and the JSON decoder is five times faster than splitting.
        try:
            values = self._decode_json(b'{"' + payload.replace(b"=", b'":').replace(b",", b',"') + b"}")
        except msgspec.DecodeError:
            return self._pairs(payload)
        if values == self._empty:
            raise NotDataError("no known field")
        return values

    def _pairs(self, payload: bytes) -> WireValues:
        return self._values(_split_pairs(payload.decode("ascii")))

    def _values(self, pairs: Iterable[tuple[str, str]]) -> WireValues:
        """Values from (name, text) pairs; unknown names are passed over, whatever they hold."""
        found: dict[str, int | float] = {}
        aside: list[tuple[str, str]] = []
        for name, text in pairs:
            ours = self.names.get(name)
            if ours is None or not text:
                continue
            try:
                found[ours] = value_of(text, ours) if ours == FIRED and text[:1].isalpha() else plain_number(text)
            except NotANumberError as error:
                if not str(error):
                    raise NotDataError("undecodable") from None
                aside.append((name, str(error).removeprefix("is ")))
        self._note(aside, nothing_else=not found)
        values = values_from(found)
        if values == EMPTY:
            raise NotDataError("no known field")
        return values

    def _bare_columns(self, payload: bytes) -> WireValues:
        if not self._columns:
            raise NotDataError("undecodable")
        text = payload.decode("ascii").replace(";", ",")
        values = [cell.strip() for cell in text.split(",")] if "," in text else text.split()
        if len(values) == len(self._columns) + 1 and not values[-1]:
            values.pop()  # many programs end each value with a comma
        if len(values) != len(self._columns):
            raise NotDataError("columns")
        theirs_of = {ours: theirs for theirs, ours in self.names.items()}
        return self._values((theirs_of.get(name, name), v) for name, v in zip(self._columns, values, strict=True))


def _split_pairs(text: str) -> Iterator[tuple[str, str]]:
    for token in _SPACE_AROUND_EQUALS.sub("=", text).replace(",", " ").split():
        name, equals, value = token.partition("=")
        if not equals or not name or "=" in value:
            raise NotDataError("undecodable")
        yield name, value


def _refuse_strange(payload: bytes) -> None:
    """Printable ASCII, blanks and tabs, or ``NotDataError``: nothing else may come any further."""
    if _STRANGE.search(payload):
        raise NotDataError("undecodable")
