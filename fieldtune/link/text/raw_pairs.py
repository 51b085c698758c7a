"""Names and numbers in text that robots print, whatever stands between them, for those that look at raw lines.

``as_pairs`` also serves those that read lines: a tag, a tuple and a second number behind a name become name=value.
"""

from __future__ import annotations

import re
from functools import lru_cache

from fieldtune.link.text.unit_words import COUNTED
from fieldtune.link.text.wire_numbers import NotANumberError, is_unit, leading_number
from fieldtune.link.text.wire_values import UNREADABLE, names_in_json

_FIGURE = r"[+-]?(?:0[xX][0-9A-Fa-f]+|\d+(?:[.,']\d+)*\.?(?: \d{3}(?!\d))*(?:(?<= \d{3}),\d+)?|\.\d+)(?:[eE][+-]?\d+)?"
_LETTER = r"(?:[A-Za-z_]|·(?=[A-Za-z]))"  # of another language's, shown as a mark, in a word with others
_PAIR = re.compile(
    rf"((?!(?<=\d)Z[ \t]){_LETTER}(?:[A-Za-z0-9_ .-]|(?<=[A-Za-z])·|·(?=[A-Za-z])){{0,39}}?)[\"']?"
    r"(?:[ \t]?[(\[](?P<unit>[A-Za-z%°/]{1,8})[)\]])?[ \t]*[=:][ \t]*"
    r"(?:[\"']|~[ \t]*|<(?=[^<>,;]*>)|\((?=[^(),]*\))|\[(?=[^\[\],;]*\]))?"
    rf"(?P<value>{_FIGURE}(?!\d|[-:]\d)[A-Za-z%°]{{0,8}}|(?i:true|false)\b)"
)
_GAP = re.compile(r"[ \t]{2,}")
WITH_UNIT = re.compile(
    rf"({_FIGURE})(?:(?![ \t]{{2,}}[A-Za-z]\w* [A-Za-z])[ \t]*([A-Za-z%°/]{{1,8}}(?:-1(?![\d.]))?|1/min)"
    r"(?![A-Za-z0-9_·])(?![ \t\"']*(?:[(\[][A-Za-z%°/]{1,8}[)\]][ \t]*)?[=:]))?"
)
_COUNTED_NUMBER = re.compile(rf"{_FIGURE}[ \t]*[(\[]?{COUNTED.pattern}(?![ \t\"']*[=:])", re.IGNORECASE)
NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_COLOUR = re.compile(r"·\[[0-9;?]*[A-Za-z]")
_NAME_THEN_NUMBER = re.compile(rf"(?<![\w.])([A-Za-z_/][\w./-]*)[ \t]+({_FIGURE}(?![\w:]*\d)[A-Za-z%°]{{0,8}})")
_ANY_NUMBER = re.compile(r"(?<![\w.])[+-]?\.?\d(?!/min)")
_CELL = re.compile(rf"{NUMBER.pattern}[A-Za-z%°]{{0,3}}")
_TAG = re.compile(r"<([A-Za-z_][\w.-]*)>\s*(?=[+-]?\.?\d)")
_END_TAG = re.compile(r"</[\w.-]*>|/?>\s*\Z")
_ATTRIBUTES = re.compile(r"<[\w.-]+\s+(?=[\w.-]+=[\"'])")
_IN_BRACKETS = re.compile(r"([A-Za-z_]\w*)[ \t]+\([ \t]*([+-]?\d+(?:\.\d+)?)[ \t]*\)(?!\s*[:=])", re.ASCII)
_TUPLE = re.compile(r"([\"'])([A-Za-z_][\w .-]*)\1\s*,\s*(?=[+-]?\.?\d)")
_DECIMAL = r"[+-]?\d+(?:\.\d+)?"
_TWO_NUMBERS = re.compile(
    rf"(?<![\w.])([A-Za-z_][\w.-]*)([\"']?[ \t]*[=:][ \t]*|[ \t]+)({_DECIMAL})([ \t]*[A-Za-z]{{1,5}})?"
    rf"[ \t]*(?:/|[-=]>|→|of(?=[ \t]))[ \t]*({_DECIMAL})(?![\d.]*[/-])"
    r"([ \t]*[A-Za-z]{1,5}(?:/[a-z]+)?\b(?![ \t]*[=:\d]))?",
    re.ASCII,
)
_TARGET = re.compile(
    r"[(\[]\s*(target|goal|set|setpoint|sp|want|wanted)\b\s*[=:]?\s*(?=[+-]?\d)", re.IGNORECASE | re.ASCII
)
_NEXT_BY_BLANK = re.compile(rf"[ \t]+([A-Za-z_][\w.-]*)(?P<unit>(?!))?[ \t]+(?P<value>{_FIGURE})(?![\w:]*\d)")
_UNIT_OR_NAME, _NEXT_NUMBER = re.compile(r"[ \t]([A-Za-z]+)\Z"), re.compile(r"[ \t]+[+-]?\.?\d")
_UNIT = re.compile(r"[A-Za-z%°/]{1,8}")
_PARTS = re.compile(r"[|;]|,[ \t]")
_PART = re.compile(rf"[ \t]*([A-Za-z_][\w./-]*)[ \t]+({_FIGURE}[ \t]*(?:{_UNIT.pattern})?)[ \t]*")
_LEAST_PAIRS = 2


def uncoloured(line: str) -> str:
    """A raw line made harmless, without what is left of a terminal's colours."""
    return _COLOUR.sub("", line)


@lru_cache(maxsize=4096)
def number_in(text: str) -> float | None:
    """The number that a text begins with, of 2,450 the one with thousands; None where it begins with none."""
    try:
        value, rest = leading_number(text.lstrip(" \t~("))
    except NotANumberError:
        return None
    thousands = re.match(r",(\d{3})(?!\d)", rest)
    return float(value) if thousands is None else float(f"{value}{thousands[1]}")


def as_pairs(text: str, *, two_numbers: bool = True) -> str:
    """A text with ``<name>12``, ``('name', 12)`` as ``name=12``; and ``name: 12/15`` as ``name.0=12 name.1=15``."""
    if "<" in text:
        text = _TAG.sub(r" \1=", _ATTRIBUTES.sub(" ", _END_TAG.sub(" ", text)))
    if "(" in text:
        text = _IN_BRACKETS.sub(r"\1=\2", text)
    if "'," in text or '",' in text:
        text = _TUPLE.sub(r"\2=", text)
    if two_numbers:
        text = _TWO_NUMBERS.sub(_told_apart, text)
    return text


def _told_apart(two: re.Match[str]) -> str:
    """Two numbers behind one name, each with a name of its own; a unit behind the last is that of both."""
    name, _, first, unit, second, last = two.groups()
    return f"{name}.0={first}{unit or last or ''}, {name}.1={second}{last or unit or ''}"


def pairs(text: str) -> list[tuple[str, str]]:
    """Names and values of one line, each name once; a value with the unit that stands behind it.

    Where nothing stands between names and numbers but blanks, each number has to have a name.
    """
    found: dict[str, str] = {}
    if text[:1] == "{" and ("{" in text[1:] or "[" in text):
        try:
            said = ((name, str(value)) for name, value in names_in_json(text.encode()).items())
            return [pair for pair in said if "".join(pair).isprintable()]  # escapes in JSON become what they stand for
        except UNREADABLE:
            pass
    text, at, inches = _TARGET.sub(r" \1=", as_pairs(text)), 0, 0
    while match := (_NEXT_BY_BLANK.match(text, at) if found else None) or _PAIR.search(text, at):
        start = match.start("value")
        with_unit = _COUNTED_NUMBER.match(text, start) or WITH_UNIT.match(text, start)
        value, at = (
            (with_unit.group(), max(match.end(), with_unit.end())) if with_unit else (match["value"], match.end())
        )
        if (word := _UNIT_OR_NAME.search(value)) and not is_unit(word[1]) and _NEXT_NUMBER.match(text, at):
            value, at = value[: word.start()], at - len(word[0])
        if text[at : at + 1] == '"' and (text.count('"', 0, at) - inches) % 2 == 0:  # and no quote that ends a text
            value, at, inches = f'{value}"', at + 1, inches + 1
        value, unit = value.strip(" ,;'"), match["unit"]
        _put(found, match[1].strip(), f"{value} {unit}" if unit and value[-1:].isdigit() else value)
    if not found:
        return _apart_by_blanks(text)
    for part in _PARTS.split(text):  # some with a mark between name and number, others with a blank
        if (one := _PART.fullmatch(part)) is not None:
            found.setdefault(one[1], one[2].strip())
    return list(found.items())


def _put(found: dict[str, str], name: str, value: str) -> None:
    """Takes a value under its name without what stands before a gap, such as a log's level; the second of a name as
    ``name.1``."""
    short = _GAP.split(name)[-1]
    name = name if short in found else short
    found.setdefault(f"{name}.1" if name in found else name, value)


def _apart_by_blanks(text: str) -> list[tuple[str, str]]:
    """Names and values of ``rpm 1800 batt 12.1 V``; none where a number has no name."""
    named = list(_NAME_THEN_NUMBER.finditer(text))
    alone = len(named) == 1 and named[0][0] == text.strip()
    # A time in front; of numbers with their units behind, a unit comes last.
    stamp = len(named) >= _LEAST_PAIRS and NUMBER.match(text.lstrip()) is not None and text.rstrip()[-1:].isdigit()
    if (len(named) < _LEAST_PAIRS and not alone) or len(named) != len(_ANY_NUMBER.findall(text)) - stamp:
        return []
    found: dict[str, str] = {}
    for one, end in zip(named, [*(after.start() for after in named[1:]), len(text)], strict=True):
        unit = text[one.end() : end].strip(" \t,;|")
        found.setdefault(one[1], f"{one[2]} {unit}" if _UNIT.fullmatch(unit) else one[2])
    return list(found.items())


def cells_of(text: str) -> list[str]:
    """The cells of a line of columns: numbers, perhaps with a unit, and words; empty where it is no such line."""
    cells = [cell for cell in re.split(r"[,;|\t ]+", text.strip().strip("[](){}")) if cell]
    numbers = sum(is_cell(cell) for cell in cells)
    plain = all(re.fullmatch(r"[\w.+/%°-]+", cell) for cell in cells)
    return cells if plain and numbers and (numbers >= _LEAST_PAIRS or numbers == len(cells)) else []


def is_cell(cell: str) -> bool:
    """Whether a cell is a number, perhaps with a unit."""
    return _CELL.fullmatch(cell) is not None
