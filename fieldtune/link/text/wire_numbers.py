"""Numbers as people's programs print them: with marks between thousands, a comma for the point, a unit behind.

What can be read in two ways is not read at all: 2,450 is two thousand and some to one program and two and a half to
another, and a speed in a unit that nobody named is no speed.
"""

from __future__ import annotations

import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Container, Iterator
from functools import lru_cache

from fieldtune.errors import FieldtuneError
from fieldtune.line_fields import BY_WIRE_NAME, CLOCKS, COUNTER, FIRED, PERIOD
from fieldtune.link.text.unit_words import COUNTED, NO_UNITS, OTHER_SPELLINGS, SAYS_YES_OR_NO, STATE
from fieldtune.units import LENGTH, TIME, parse

_PLAIN = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", re.ASCII)
_NOT_FINITE = re.compile(r"[+-]?(?:nan|inf|infinity)\Z", re.IGNORECASE | re.ASCII)
_HEXADECIMAL = re.compile(r"0[xX]([0-9A-Fa-f]+)(?!\w)")
_BLANKS_AND_COMMA = re.compile(r"[+-]?\d{1,3}(?: \d{3})+,\d+(?![\d,.])")
_POINTS_THEN_COMMA = r"\d{1,3}(?:\.\d{3})+,\d+"
_DECIMAL_COMMA = re.compile(rf"[+-]?(?:{_POINTS_THEN_COMMA}|\d+,(?:\d{{1,2}}|\d{{4,}}))(?![\d.,])", re.ASCII)
_POINTS_AND_COMMA = re.compile(rf"[+-]?{_POINTS_THEN_COMMA}(?![\d.,])", re.ASCII)
_GROUPED = re.compile(
    r"[+-]?\d{1,3}(?:(?P<mark>[' _])\d{3}(?:(?P=mark)\d{3})*|(?:,\d{3})+(?=\.\d)|(?:,\d{3}){2,}"
    r"|(?P<dots>(?:\.\d{3}){2,}))(?(dots)|(?:\.\d+)?)(?![\d'_,])",
    re.ASCII,
)
_MAYBE_GROUPED = re.compile(r"[+-]?[1-9]\d{0,2}\.\d{3}(?!\d)", re.ASCII)
_THOUSANDS = {"wheel_rpm": 20.0, "wheel2_rpm": 20.0, "setpoint": 20.0, "battery_mv": 60.0, "distance_mm": 20.0}
"""Fields whose usual values have a place for a mark between thousands, and the least value that can't be one of those
thousands: 2.450 may be two and a half rpm, or two thousand and some."""
_AS_TYPED = str.maketrans("−–’′″”≈\u00a0\u2009\u202f\u2007", "--''\"\"~    ")
_CALL = re.compile(r"(?:np|numpy)\.\w+\(")
_EXPONENTS = re.compile(r"(?:\D|(?<=[^\s\d.])[1-3](?![\d.]))*")
_BEHIND = re.compile(r"(?:\s*[,;|&/*(\[{<>])+\s*[\"']?\s*\Z")
_SIMPLE = re.compile(r"\s*([+-]?\d{1,15}(?:\.\d{1,15})?)[ \t]*([A-Za-z/]+)?\s*(?:[,;|]\s*[\"']?\s*)?\Z", re.ASCII)
"""A plain number, and a unit at most: what nearly all values are."""
_CLOSED = " \t)]}>,;|*"
_IN_BRACKETS = re.compile(r"\s*[(\[|]\s*([^()\[\]|\d\s][^()\[\]|]*?)\s*(?:[)\]|]|\Z)")
_UP_TO_A_SEPARATOR = re.compile(r"[\w\s%°^./'\"²³⁻¹*<>=:+~-]*")
_SECOND_NUMBER = re.compile(r",\d|[(\[].*\d|[^\w\s,;|&(){}\[\]#]\s*[+-]?\d")
"""Behind the words that follow a number: one that may be its decimals, or another reading of the same quantity."""
LARGEST = 1e20
"""No counter has more than 64 bits, about 1.8e19."""
_TIME_OF_DAY = r"(\d{1,3}):([0-5]\d):([0-5]\d[.,]\d{2,9})(?!\d)"
_STAMP = re.compile(
    rf"(?:\W*[A-Z]{{1,8}}\W+)?[\s\[(]*(?:\d{{4}}-\d\d-\d\d[T ])?{_TIME_OF_DAY}(?:Z\b|[+-]\d\d:?\d\d(?!\d))?"
    r"|\s*\[\s*(\d+\.\d{2,9})\s*\]",
    re.ASCII,
)
"""A time in front of a line (hours, minutes, seconds as of ISO 8601; or seconds in brackets), behind a log's level."""
_NEXT_NAME = re.compile(
    r"(?P<unit>[ \t]?[A-Za-z%°/]{1,6})?[ \t]+(?!(?:out|from|per|and|was|max|min)\b)"
    r"(?P<name>[A-Za-z_]\w(?:\w+|(?<=\d)))[ \t]+[+-]?\.?\d",
    re.ASCII,
)
_STAMP_BEHIND = re.compile(r"[ \t]\d{10,19}\s*\Z", re.ASCII)
"""The time since 1970 at the end of a line, in seconds or parts of them."""
_SAME_SCALE = 0.02
_OF_ANOTHER = re.compile(r"[(\[]\s*(?:target|goal|set|setpoint|sp|want|wanted|of|max)\b", re.IGNORECASE)
"""What stands in brackets behind a reading, and is another quantity."""


class NotANumberError(ValueError):
    """A value that can't be used; its text says why: ``is nan``, ``has the unknown unit ticks/s``.

    ``example``: the value, where that is part of the reason.
    """

    def __init__(self, why: str, example: str = "") -> None:
        super().__init__(why)
        self.example = example[:24]


def plain_number(text: str) -> int | float:
    """A decimal number as robots print it (leading zeros, signs and bare points allowed).

    Raises ``NotANumberError`` with no text for anything else, and with one for numbers that nothing counts up to.
    """
    if not _PLAIN.fullmatch(text):
        raise NotANumberError(f"is {text.lower()}" if _NOT_FINITE.match(text) else "")
    try:
        value: int | float = int(text)
    except ValueError:
        value = float(text)
    return _not_too_large(value)


def _not_too_large(value: int | float) -> int | float:
    if abs(value) > LARGEST:
        raise NotANumberError("is too large")
    return value


def in_ascii(text: str) -> str:
    """Text with signs, blanks, marks and digits as they are typed on any keyboard, where that says the same."""
    if text.isascii():
        return text
    text = text.translate(_AS_TYPED).replace("\u207b\u00b9", "-1")
    return "".join(str(unicodedata.decimal(c)) if not c.isascii() and c.isdecimal() else c for c in text)


def value_of(text: str, wire_name: str, unit: str = "", scale: float = 0.0) -> int | float:
    """The value of the field ``wire_name`` in that field's unit, from whatever stands behind its name.

    ``unit``: the one that stands with the name, for numbers without one. ``scale``: what the profile multiplies numbers
    by, if it does: then a unit nobody knows does no harm, and one that the scale stands for isn't converted twice.
    Raises ``NotANumberError`` with the reason in words.
    """
    simple = _SIMPLE.match(text)
    if simple is not None:
        digits, symbol = simple[1], simple[2] or unit
        if not symbol or is_known(symbol, wire_name):
            return _converted(float(digits) if "." in digits else int(digits), symbol, wire_name, scale)
    bare = _bare(in_ascii(text))
    if wire_name == FIRED and bare.casefold() in SAYS_YES_OR_NO:
        return SAYS_YES_OR_NO[bare.casefold()]
    if _NOT_FINITE.match(bare):
        raise NotANumberError(f"is {bare.lower()}")
    if wire_name in CLOCKS and (ms := stamp_ms(bare)) is not None:
        return ms if wire_name == "t_ms" else 1000 * ms
    value, rest = leading_number(bare)
    _not_too_large(value)
    try:
        return _converted(value, _unit_behind(rest, wire_name, bare) or unit, wire_name, scale)
    except NotANumberError as error:
        if scale and not error.example:
            return value
        lengths = _several_lengths(bare, wire_name)
        if lengths is None:
            raise
        return lengths


def stamp_ms(text: str) -> float | None:
    """The time with which a text begins, in milliseconds, if it is told to hundredths of a second at least."""
    found = _STAMP.match(text)
    if found is None:
        return None
    hours, minutes, seconds, since = found.groups()
    if since is not None:
        return 1000 * float(since)
    return 1000 * (3600 * int(hours) + 60 * int(minutes) + float(seconds.replace(",", ".")))


def _converted(value: int | float, symbol: str, wire_name: str, scale: float) -> int | float:
    if not symbol:
        return value
    factor = _factor(symbol, wire_name)
    return value if scale and abs(factor / scale - 1) < _SAME_SCALE else value * factor


def _bare(text: str) -> str:
    """A value without the quotes and brackets around it, and without what begins the next name."""
    if text.lstrip()[:1] == "<" and ">" not in text:
        raise NotANumberError("is a bound and no reading", text.strip())
    text = _BEHIND.sub("", text).strip().rstrip(_CLOSED).lstrip(" \t{<~")
    if text[:1] in ("'", '"'):
        return text[1:].partition(text[0])[0].strip()
    call = _CALL.match(text)
    if call is not None:
        return text[call.end() :].strip()
    if text[:1] in ("[", "("):
        text = text[1:].strip()
        if "," in text or ";" in text:
            raise NotANumberError("holds several values", text)
    return text


def leading_number(bare: str) -> tuple[int | float, str]:
    """The number at the beginning of a text, and the rest."""
    found = _HEXADECIMAL.match(bare)
    if found is not None:
        return int(found[1], 16), bare[found.end() :]
    found = _BLANKS_AND_COMMA.match(bare)
    if found is not None:
        return float(found.group().replace(" ", "").replace(",", ".")), bare[found.end() :]
    found = _GROUPED.match(bare)
    if found is not None:
        digits = re.sub(r"[', _]", "", found.group())
        return float(digits.replace(".", "") if found["dots"] else digits), bare[found.end() :]
    found = _DECIMAL_COMMA.match(bare)
    if found is not None:
        return float(found.group().replace(".", "").replace(",", ".")), bare[found.end() :]
    found = _PLAIN.match(bare)
    if found is None:
        raise NotANumberError("is no number")
    return plain_number(found.group()), bare[found.end() :]


def _unit_behind(rest: str, wire_name: str, bare: str) -> str:
    """The unit in what stands behind a number, empty where none does; words that are none are passed over."""
    in_brackets = _IN_BRACKETS.match(rest)
    if in_brackets is not None and is_unit(in_brackets[1]):
        return in_brackets[1]
    next_name = _NEXT_NAME.match(rest)
    if next_name is not None and not is_unit(next_name["name"]):
        unit = (next_name["unit"] or "").strip()
        if not unit or is_known(unit, wire_name):
            return unit
    near = _UP_TO_A_SEPARATOR.match(_STAMP_BEHIND.sub("", rest))
    words = near.group() if near else ""
    further, whole = rest[len(words) :], words.strip()
    if whole and is_known(whole, wire_name):
        return whole
    if STATE.fullmatch(whole):
        return ""
    counted = COUNTED.match(whole.lstrip("(["))
    if counted is not None:
        return counted.group()
    if re.search(r"\d", words) or (_SECOND_NUMBER.match(further) and not _OF_ANOTHER.match(further)):
        raise NotANumberError("can be read in two ways", bare)
    first = whole.split()[0] if whole else ""
    return first if first and is_known(first, wire_name) else whole


@lru_cache(maxsize=256)
def is_known(symbol: str, wire_name: str) -> bool:
    """Whether a value with this unit behind can be read as that field."""
    try:
        _factor(symbol, wire_name)
    except NotANumberError:
        return False
    return True


@lru_cache(maxsize=64)
def is_unit(symbol: str) -> bool:
    """Whether a symbol is a unit of any kind; nobody's status word is."""
    for name in (*BY_WIRE_NAME, "t_ms"):
        if is_known(symbol, name):
            return True
    return "/" in symbol


def _several_lengths(bare: str, wire_name: str) -> float | None:
    """Feet and inches, whole and parts of an inch: what the profile's quantities may be, too."""
    row, own = BY_WIRE_NAME.get(wire_name, (None, None))
    if row is None or own is None or row.dimension is not LENGTH:
        return None
    try:
        return parse(bare, LENGTH) / parse(f"1 {own.unit}", LENGTH)
    except FieldtuneError:
        return None


@lru_cache(maxsize=256)
def _factor(symbol: str, wire_name: str) -> float:
    """What a value with this unit behind is multiplied by to be in the field's own unit."""
    row, own = BY_WIRE_NAME.get(wire_name, (None, None))
    if wire_name == COUNTER and symbol.casefold() in ("counts", "count", "ticks", "tick", "pulses"):
        return 1.0
    dimension = TIME if wire_name in (*CLOCKS, PERIOD) else row.dimension if row else None
    unit = {"t_ms": "ms", "t_us": "us", PERIOD: "us"}.get(wire_name) or (own.unit if own else "")
    if symbol == unit or symbol.casefold() in NO_UNITS:
        return 1.0
    shown = "".join(letter if letter.isprintable() else "·" for letter in symbol[:24])
    if dimension is None:
        raise NotANumberError(f"has the unit {shown}, which can't be converted")
    symbol = OTHER_SPELLINGS.get(symbol.casefold(), symbol)
    try:
        if _EXPONENTS.fullmatch(symbol):  # else there is a second number in it
            return parse(f"1 {symbol}", dimension) / parse(f"1 {unit}", dimension)
    except FieldtuneError:
        pass
    raise NotANumberError(f"has the unknown unit {shown}")


_MOST_CAUSES = 24


class SetAside(Counter[str]):
    """Values that can't be used, counted by what is wrong with them, in words that nothing on a screen obeys.

    A noisy line spoils values in ever new ways: beyond some dozens, the rest is counted together.
    """

    def __init__(self) -> None:
        super().__init__()
        self._told: dict[str, str] = {}

    def note(self, name: str, why: str, example: str = "") -> None:
        """Counts one value; the first example of each reason stands for all."""
        words = f"{name} {why}"
        cause = self._told.get(words)
        if cause is None:
            whole = f"{words}: {example}" if example else words
            cause = "".join(letter if letter.isprintable() else "·" for letter in whole)
            cause = cause if len(self) < _MOST_CAUSES else "other values that can't be used"
            if len(self) <= _MOST_CAUSES:
                self._told[words] = cause
        self[cause] += 1


def parts_thousands_by_points(text: str) -> bool:
    """Whether a number has a point between thousands and a comma before its decimals: 1.261,9."""
    return _POINTS_AND_COMMA.match(text.strip()) is not None


def is_maybe_grouped(text: str) -> bool:
    """Whether a number's point may stand between thousands."""
    return _MAYBE_GROUPED.match(text.strip()) is not None


class MaybeThousands:
    """Values such as 2.450, until the robot shows what its point means: by 2450.1, or by 2.45.

    ``speed_setpoint``: whether the setpoint is a wheel's speed, whose values are large. ``known``: fields whose numbers
    the profile multiplies, so that somebody has looked at them.
    """

    def __init__(self, speed_setpoint: bool = False, known: Container[str] = ()) -> None:
        large = {name: most for name, most in _THOUSANDS.items() if speed_setpoint or name != "setpoint"}
        self.points_part_thousands = False
        """Whether another number on the line, such as 1.261,9, has shown that they do."""
        self._open = {name: most for name, most in large.items() if name not in known}

    @classmethod
    def settled(cls) -> MaybeThousands:
        """Of a robot that has shown that no point of its stands between thousands."""
        made = cls()
        made._open.clear()
        return made

    def __contains__(self, wire_name: str) -> bool:
        return wire_name in self._open

    def __bool__(self) -> bool:
        return bool(self._open)

    def __iter__(self) -> Iterator[str]:
        return iter(tuple(self._open))

    def doubtful(self, wire_name: str, value: float, text: Callable[[], str]) -> bool:
        """Whether a value may be meant a thousand times as large. ``text``: gives how it stands on the line."""
        most = self._open.get(wire_name)
        if most is None or abs(value) < 1:
            return False
        shown = text() if abs(value) < most else ""
        if _MAYBE_GROUPED.match(shown):
            return True
        if abs(value) >= 1000 or "." in shown:
            del self._open[wire_name]
        return False
