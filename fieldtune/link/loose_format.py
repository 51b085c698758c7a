"""Lines that are no layout of ours to the letter, yet can be read in only one way; and text that is no damage.

Robot programs put a log's prefix in front, units behind, colons for equals signs, names in capitals, an object around
the object. Damage looks different each time, a program's way of printing does not: a line is read this way only when
lines of exactly its form keep coming.
"""

from __future__ import annotations

import re
from collections import Counter, deque
from collections.abc import Mapping

from fieldtune.link.number_text import NotANumberError, value_of
from fieldtune.link.wire_values import NotDataError, WireValues, values_from

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
        self._set_aside.update(aside)
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
