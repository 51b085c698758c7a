"""Lines that are no layout of ours to the letter, yet can be read in only one way; and text that is no damage.

Robot programs put a log's prefix in front, units behind, colons for equals signs, names in capitals, an object around
the object. Damage looks different each time, a program's way of printing does not: a line is read this way only when
lines of exactly its form keep coming.
"""

from __future__ import annotations

import re
from collections import Counter, deque
from collections.abc import Mapping

from fieldtune.link.wire import NotDataError, Wire, number

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
