"""What one line says: name=value pairs, a JSON object or bare columns, told apart line by line.

Then lines that are no layout of ours to the letter, yet can be read in only one way. Robot programs put a log's prefix
in front, units behind, colons for equals signs, names in capitals, an object around the object. Damage looks different
each time, a program's way of printing does not: a line is read this way only when lines of exactly its form keep
coming.
"""

from __future__ import annotations

import re
from collections import Counter, deque
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING

import msgspec

from fieldtune.line_fields import FIRED
from fieldtune.link.wire_values import (
    EMPTY,
    NotANumberError,
    NotDataError,
    WireValues,
    json_decoder,
    names_on_wire,
    note_aside,
    plain_number,
    value_of,
    values_from,
)

if TYPE_CHECKING:
    from fieldtune.robot.model import LinkSettings

_NUMBERS = re.compile(rb"[0-9.,'+-]+(?: [0-9]{3}(?![0-9]))*")
_COLOUR = re.compile(rb"\x1b\[[0-9;?]*[A-Za-z]")
_REMEMBERED = 48
_OFTEN = 3
_DIGITS, _PLAIN = b"0123456789", b"\t" + bytes(range(32, 127))
_LETTERS = bytes(byte for byte in _PLAIN if chr(byte).isalpha())
_SEPARATORS = re.compile(r"[\s,;|]+")


class LinePatterns:
    """The forms of the lines that were refused lately: a form is the line with its numbers taken out."""

    def __init__(self) -> None:
        self._lately: deque[bytes] = deque()
        self._count: Counter[bytes] = Counter()

    def often(self, line: bytes) -> bool:
        """Notes a line; whether as many of its form came lately as damage would not make."""
        form = _NUMBERS.sub(b"#", line)
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


def is_readings(line: bytes, names: Mapping[str, str]) -> bool:
    """Whether a line is of readings, if damaged ones: neither words for a person nor bytes at another speed."""
    return not line.translate(None, _PLAIN) and not looks_like_text(line, names)


def alike(name: str) -> str:
    """A name without what people write differently: ``Wheel RPM`` and ``wheel_rpm`` are alike."""
    return re.sub(r"[\s_-]+", "", name).casefold()


class LooseReader:
    """Reads ``name=number`` or ``name: number`` wherever it stands, names in any case, units behind.

    ``names``: the robot's name -> ours. ``set_aside`` counts values that can't be used, by what is wrong with them.
    """

    def __init__(self, names: Mapping[str, str], set_aside: Counter[str]) -> None:
        self._set_aside = set_aside
        self._ours = {alike(theirs): ours for theirs, ours in names.items()} | dict(names)
        known = "|".join(
            re.sub(r"(?:\\ |_|\\-)+", "[ _-]?", re.escape(name)) for name in sorted(names, key=len, reverse=True)
        )
        self._name = re.compile(
            rf"(?<![\w.])(?:({known})|([A-Za-z_][\w.-]*))[\"']?[ \t]*[=:]", re.IGNORECASE | re.ASCII
        )

    def named_texts(self, line: bytes) -> list[tuple[str, str]]:
        """(name, what stands behind it) in order, control characters taken out."""
        text = _COLOUR.sub(b"", line).replace(b"\x00", b"").decode("ascii", "replace")
        found = list(self._name.finditer(text))
        ends = [match.start() for match in found[1:]] + [len(text)]
        return [(m.group(1) or m.group(2), text[m.end() : end]) for m, end in zip(found, ends, strict=False)]

    def read(self, line: bytes) -> WireValues:
        """What a line says. Raises ``NotDataError`` if nothing, or something twice."""
        found: dict[str, int | float] = {}
        aside: list[str] = []
        for theirs, text in self.named_texts(line):
            ours = self._ours.get(theirs) or self._ours.get(alike(theirs))
            if ours is None:
                continue
            if ours in found:
                raise NotDataError("undecodable")
            try:
                found[ours] = value_of(text, ours)
            except NotANumberError as error:
                aside.append(f"{theirs} {error}")
        for words in aside:
            note_aside(self._set_aside, words)
        if not found:
            raise NotDataError("unusable value" if aside else "no known field")
        return values_from(found)


def header_columns(line: bytes, names: Mapping[str, str]) -> tuple[str, ...] | None:
    """Our names in the order of a line that names columns (``-`` for others); None if it is no such line.

    ``names``: the robot's name -> ours.
    """
    try:
        text = line.decode("ascii").strip().lstrip("#").strip()
    except UnicodeDecodeError:
        return None
    cells = [cell.strip(" \t\"'") for cell in (text.split(",") if "," in text else _SEPARATORS.split(text))]
    known = {alike(theirs): ours for theirs, ours in names.items()}
    ours = [names.get(cell) or known.get(alike(cell)) or "-" for cell in cells]
    named = [name for name in ours if name != "-"]
    if len(named) < 2 or len(set(named)) < len(named) or any(re.match(r"[\d.+-]", cell) for cell in cells):
        return None
    return tuple(ours)


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
        self._theirs = {ours: theirs for theirs, ours in self.names.items()}
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
        for words in known:
            note_aside(self.set_aside, words)
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
        return self._values((self._theirs.get(name, name), v) for name, v in zip(self._columns, values, strict=True))


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
