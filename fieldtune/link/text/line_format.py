"""What one line says: name=value pairs, a JSON object or bare columns, told apart line by line.

Then lines that are no layout of ours to the letter, yet can be read in only one way. Robot programs put a log's prefix
in front, units behind, colons for equals signs, names in capitals, an object around the object. Damage looks different
each time, a program's way of printing does not: a line is read this way only when lines of exactly its form keep
coming.
"""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import msgspec

from fieldtune.line_fields import CLOCKS, FIRED, WIRE_NAMES
from fieldtune.link.limits import NEAREST_M
from fieldtune.link.text.bare_columns import Columns, alike
from fieldtune.link.text.hexadecimal import Hexadecimal
from fieldtune.link.text.line_patterns import COLOUR, PLAIN
from fieldtune.link.text.raw_pairs import as_pairs
from fieldtune.link.text.shown_lines import MARK, marked
from fieldtune.link.text.wire_numbers import (
    MaybeThousands,
    NotANumberError,
    SetAside,
    in_ascii,
    is_maybe_grouped,
    is_unit,
    parts_thousands_by_points,
    plain_number,
    stamp_ms,
    value_of,
)
from fieldtune.link.text.wire_values import (
    EMPTY,
    UNREADABLE,
    NotDataError,
    WireValues,
    in_json,
    json_decoder,
    names_in_json,
    names_on_wire,
    values_from,
)

if TYPE_CHECKING:
    from fieldtune.robot.model import LinkSettings

_OF_ANOTHER = re.compile(
    r"(?<!/)\b(target|goal|desired|wanted|commanded|expected|ideal|max|maximum|min|minimum|peak|prev|previous|last|old)"
    r"[ \t_-]+\Z",
    re.IGNORECASE,
)
"""Words in front of a name that make it another quantity than the reading now."""
_TO_THE_TARGET = ("distance_mm", "distance_m")


class LooseReader:
    """Reads ``name=number`` or ``name (unit): number`` wherever it stands, names in any case, units behind.

    ``names``: the robot's name -> ours. By our name, ``scale`` is what the profile multiplies numbers by, and ``like``
    another field that has the same units.
    """

    def __init__(
        self,
        names: Mapping[str, str],
        maybe: MaybeThousands,
        scale: Mapping[str, float],
        hexadecimal: Hexadecimal,
        like: Mapping[str, str],
    ) -> None:
        self._maybe, self._scale, self._hexadecimal, self._like = maybe, scale, hexadecimal, like
        names = {marked(theirs): ours for theirs, ours in names.items()}
        self._ours = {alike(theirs): ours for theirs, ours in names.items()} | dict(names)
        known = "|".join(_as_pattern(name) for name in sorted(names, key=len, reverse=True))
        self._two_numbers = any(theirs.endswith((".0", ".1")) for theirs in names)
        self._name = re.compile(
            rf"(?<![\w.])(?:({known})|([A-Za-z_][\w.-]*))[\"']?(?:[ \t]?[(\[]([^()\[\]=:]{{1,16}})[)\]])?"
            r"(?:[ \t]*(?:[=:]|->)|(?(1)(?:[ \t]+|[ \t]*\[)(?=[+-]?\.?\d)|(?!)))",
            re.IGNORECASE | re.ASCII,
        )

    def read(self, line: bytes) -> tuple[WireValues, dict[str, NotANumberError]]:
        """What a line says, and what is wrong with the values of other fields that it names.

        Where a name comes twice the first counts, and the second is ``name.1``. Raises ``NotDataError`` if it names
        none.
        """
        text = in_ascii(_text(COLOUR.sub(b"", line).replace(b"\x00", b"")))
        text = as_pairs(text, two_numbers=self._two_numbers)
        matches = list(self._name.finditer(text))
        ends = [_begins(text, one.end(), two.start()) for one, two in pairwise(matches)] + [len(text)]
        found: dict[str, int | float] = {}
        aside: dict[str, NotANumberError] = {}
        times: Counter[str] = Counter()
        for match, end in zip(matches, ends, strict=False):
            theirs = marked(match[1] or match[2])
            again = f".{times[alike(theirs)]}" if times[alike(theirs)] else ""
            ours = self._ours.get(theirs + again) or self._ours.get(alike(theirs) + again)
            if ours is None or ours in found or (ours == FIRED and match[0][-1:] in " \t"):  # fired 3 times
                times[alike(theirs)] += ours is None
                continue
            another = _OF_ANOTHER.search(text[: match.start()]) if ours != "setpoint" else None
            if another is not None and not (ours in _TO_THE_TARGET and another[1].casefold() in ("target", "goal")):
                aside.setdefault(ours, NotANumberError(f"behind the word {another[1]} is not the reading now"))
                continue
            times[alike(theirs)] += 1
            try:
                found[ours] = self._value(text[match.end() : end], ours, match[3] or "")
            except NotANumberError as error:
                aside[ours] = error
        if not found and not aside:
            raise NotDataError("no known field")
        if not CLOCKS.keys() & found.keys() and (ms := stamp_ms(text)) is not None:
            found["t_ms"] = ms
        return values_from(found), {ours: wrong for ours, wrong in aside.items() if ours not in found}

    def _value(self, text: str, ours: str, unit: str) -> int | float:
        number = self._hexadecimal.value(ours, text)
        value = (
            value_of(text, self._like.get(ours, ours), unit, self._scale.get(ours, 0.0)) if number is None else number
        )
        tiny = ours == "distance_m" and 0 < value < NEAREST_M and is_maybe_grouped(text)  # 2.450 mm
        self._maybe.points_part_thousands |= parts_thousands_by_points(text)
        if tiny or self._maybe.doubtful(ours, value, text.strip):
            if self._maybe.points_part_thousands:
                return 1000 * value
            raise NotANumberError("can be read in two ways", text.strip())
        return value


def _as_pattern(name: str) -> str:
    """Matches a name with other marks between its words, and with any letters where its mark for such stands."""
    gaps = re.sub(r"(?:\\ |_|\\-)+", lambda gap: "[ _-]+" if len(gap[0]) > len("\\ ") else "[ _-]?", re.escape(name))
    return gaps.replace(MARK, r"[^\x00-\x7f]")


def _begins(text: str, least: int, known: int) -> int:
    """Where a name begins of which the last word stands at ``known``: behind the last gap between ``least`` and it."""
    words = _WORDS_AFTER_A_GAP.search(text, least, known)
    return known if words is None else words.start(1)


def _text(line: bytes) -> str:
    """A line as UTF-8, or as Latin-1 where it is none."""
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError:
        return line.decode("latin-1")


_WORDS_AFTER_A_GAP = re.compile(r"(?:[ \t]{2,}|\t)((?:[A-Za-z]\w*[ ])+)\Z", re.ASCII)
_IN_LISTS = bytes(byte for byte in PLAIN if byte not in b'"([;|/:&')
_UNIT_THEN_NAME = re.compile(r"([^;|/:&]*)([;|/:&]).")
"""A unit with the next name behind it, as in ``rpm=40.8 rev/s;volt=9.7``: this is no name, and 40.8 no plain number."""
_UNIT_IN_BRACKETS = re.compile(r"([^()\[\]]+)[(\[].*[)\]]")
_BEHIND_A_BRACKET = re.compile(r".*[(\[{]([^()\[\]{}]+)")
_SPACE_AROUND_EQUALS = re.compile(r"[ \t]*=[ \t]*")
_NAMED_NOT_FINITE = re.compile(rb'"([^"]*)"\s*:\s*(-?(?:NaN|Inf(?:inity)?|\d+[eE]\d{3,}))(?=\s*[,}])', re.IGNORECASE)


class LineFormat:
    """Reads lines without their framing. ``names``: the robot's name -> ours.

    ``set_aside`` counts single values that can't be used, by what is wrong with them; the rest of their line counts.
    """

    def __init__(self, settings: LinkSettings, *, speed_setpoint: bool = False) -> None:
        self.names = names_on_wire(settings.fields)
        self.set_aside = SetAside()
        self.maybe = MaybeThousands(speed_setpoint, settings.scale)
        """Values whose point may stand between thousands; ``speed_setpoint``: the setpoint is a wheel's speed."""
        self.hexadecimal = Hexadecimal()
        self.like = {"setpoint": "wheel_rpm"} if speed_setpoint else {}
        self.columns = Columns(settings.columns, self.names, self.set_aside, self.like)
        self._theirs = {ours: theirs for theirs, ours in self.names.items()}
        self._decode_json = json_decoder(self.names)
        self._empty = self._decode_json(b"{}")

    def values_from(self, found: Mapping[str, Any]) -> WireValues:
        """A line's values by our names, of the kind that JSON and plain name=value become here."""
        return type(self._empty)(**found)

    def note(self, ours: str, wrong: NotANumberError) -> None:
        """Counts a value of one of our fields that can't be used, under the robot's name."""
        self.set_aside.note(self._theirs.get(ours, ours), str(wrong), wrong.example)

    def json(self, body: bytes) -> WireValues:
        """The fields of a JSON object, or of a dictionary as Python prints it. Raises ``NotDataError``."""
        _refuse_strange(body)
        if b"{" in body[1:] or b"[" in body:
            return self._nested(body)
        try:
            values = self._decode_json(body)
        except UNREADABLE:
            values = self._json_mended(body)
        if values == self._empty:
            raise NotDataError("no known field")
        if self.maybe and b"." in body:
            self._leave_out_doubtful(values, body)
        if b':"' in body or b': "' in body:
            self._leave_out_not_finite(values)
        return values

    def _nested(self, body: bytes) -> WireValues:
        """The fields of a JSON object with others within it."""
        try:
            said = names_in_json(body, self.names)
        except UNREADABLE:
            raise NotDataError("undecodable") from None
        known = [(name, value) for name, value in said.items() if name in self.names and value is not None]
        return self._values(
            (name, str(value).lower() if isinstance(value, bool) else str(value)) for name, value in known
        )

    def _leave_out_doubtful(self, values: WireValues, body: bytes) -> None:
        """Sets values aside that may be meant a thousand times as large."""
        for ours in self.maybe:
            value = getattr(values, ours)
            if value is None:
                continue
            name = re.escape(self._theirs[ours].encode())

            def text(name: bytes = name) -> str:
                found = re.search(rb"(?<![\w.-])" + name + rb"[\"']?\s*[=:]\s*[\"']?([-+.\d]+)", body)
                return found[1].decode() if found else ""

            if self.maybe.doubtful(ours, value, text):
                setattr(values, ours, None)
                self.set_aside.note(self._theirs[ours], "can be read in two ways", text())
        if values == self._empty:
            raise NotDataError("unusable value")

    def _leave_out_not_finite(self, values: WireValues) -> None:
        """Sets aside what stands in quotes as nan or inf, which the JSON decoder takes for numbers."""
        for ours in WIRE_NAMES:
            value = getattr(values, ours)
            if isinstance(value, float) and not math.isfinite(value):
                setattr(values, ours, None)
                self.set_aside.note(self._theirs[ours], f"is {value}")
        if values == self._empty:
            raise NotDataError("non-finite")

    def _json_mended(self, body: bytes) -> WireValues:
        """With Python's quotes and words put right, and values that aren't finite set aside."""
        body = in_json(body)
        aside = [(name.decode(), text.decode().lower()) for name, text in _NAMED_NOT_FINITE.findall(body)]
        if aside:
            body = _NAMED_NOT_FINITE.sub(rb'"\1":null', body)
        try:
            values = self._decode_json(body)
        except UNREADABLE:
            raise NotDataError("undecodable") from None
        known = [(name, text) for name, text in aside if name in self.names]
        for name, text in known:
            self.set_aside.note(name, f"is {text}")
        if known and values == self._empty:
            raise NotDataError("non-finite")
        return values

    def read(self, payload: bytes) -> WireValues:
        """The fields of what a line says, in whichever layout. Raises ``NotDataError``."""
        _refuse_strange(payload)
        if b"=" not in payload:
            if payload.lstrip()[:1] == b"{":
                return self.json(payload.strip())
            numbers = None if self.hexadecimal else self.columns.plain(payload, self.maybe)
            if numbers is not None:
                return numbers
            return self._values((self._theirs.get(ours, ours), text) for ours, text in self.columns.pairs(payload))
        # What a plain list of name=value has none of: such lines are read with more care.
        if self.hexadecimal or b"\t" in payload or payload.translate(None, _IN_LISTS):
            return self._pairs(payload)
        # A name=value list is one replace away from JSON, and the JSON decoder is five times faster than splitting.
        plain = payload.strip().replace(b", ", b",").replace(b" ", b",") if b" " in payload else payload
        try:
            values = self._decode_json(b'{"' + plain.replace(b"=", b'":').replace(b",", b',"') + b"}")
        except msgspec.DecodeError:
            return self._pairs(payload)
        if values == self._empty:
            raise NotDataError("no known field")
        if self.maybe and b"." in payload:
            self._leave_out_doubtful(values, payload)
        return values

    def _pairs(self, payload: bytes) -> WireValues:
        return self._values(_split_pairs(payload.decode("ascii")))

    def _values(self, pairs: Iterable[tuple[str, str]]) -> WireValues:
        """Values from (name, text) pairs; unknown names are passed over, whatever they hold."""
        found: dict[str, int | float] = {}
        aside: list[tuple[str, NotANumberError]] = []
        for name, text in pairs:
            ours = self.names.get(name)
            if ours is None and (_within(name) or {f"{name}.0", f"{name}.1"}) & self.names.keys():
                # A unit with the name, State(rpm=, two numbers behind it, or two of that name: read with more care.
                raise NotDataError("undecodable")
            if ours is None or not text:
                continue
            try:
                number: int | float | None = self.hexadecimal.value(ours, text)
                if number is None:
                    number = value_of(text, ours) if ours == FIRED and text[:1].isalpha() else plain_number(text)
            except NotANumberError as error:
                if not str(error):
                    raise NotDataError("undecodable") from None
                aside.append((name, error))
                continue
            if self.maybe.doubtful(ours, number, text.__str__):
                aside.append((name, NotANumberError("can be read in two ways", text)))
            else:
                found[ours] = number
        for name, wrong in aside:
            self.set_aside.note(name, str(wrong), wrong.example)
        if aside and not found:
            raise NotDataError("unusable value" if any(wrong.example for _, wrong in aside) else "non-finite")
        values = values_from(found)
        if values == EMPTY:
            raise NotDataError("no known field")
        return values


def _within(name: str) -> set[str]:
    """The name in ``rpm(krpm)``, and the one in ``State(rpm``; empty where there are no such brackets."""
    found = _UNIT_IN_BRACKETS.fullmatch(name) or _BEHIND_A_BRACKET.fullmatch(name)
    return {found[1]} if found else set()


def _split_pairs(text: str) -> Iterator[tuple[str, str]]:
    for token in _SPACE_AROUND_EQUALS.sub("=", text).replace(",", " ").split():
        name, equals, value = token.partition("=")
        if not equals or not name or "=" in value:
            raise NotDataError("undecodable")
        parts = _UNIT_THEN_NAME.match(name)
        if parts is not None and (parts[2] in ";|&" or parts[1][:1].isdigit() or is_unit(parts[1])):
            raise NotDataError("undecodable")
        yield name, value


def _refuse_strange(payload: bytes) -> None:
    """Printable ASCII, blanks and tabs, or ``NotDataError``: nothing else may come any further."""
    if payload.translate(None, PLAIN):
        raise NotDataError("undecodable")
