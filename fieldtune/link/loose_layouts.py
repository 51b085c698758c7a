"""Lines in words, ``wheel: 2450.3 rpm, battery: 12.3 V``, read together: one that was read with care shows how.

What stands between the numbers of such a line decides how it is read, not the numbers. So a line whose words are the
same to the letter gives the same fields, each number times a factor, which trial readings tell.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from operator import itemgetter
from typing import Any

from fieldtune.line_fields import CLOCKS, WIRE_NAMES
from fieldtune.link.layouts import Layout, LineTable
from fieldtune.link.limits import NEAREST_M
from fieldtune.link.wire_numbers import MaybeThousands, NotANumberError
from fieldtune.link.wire_values import NotDataError, WireValues, values_from

_NUMBER = rb"-?[0-9]{1,15}(?:\.[0-9]{1,15})?"
_ALONE = re.compile(rb"(?<![\w.,'+-])" + _NUMBER + rb"(?![\w.]*[0-9])")
_WORDS = re.compile(rb"[A-Za-z:=]")
_GOES_ON = re.compile(rb"[ .,'_+-]*[0-9]")
_FIRST = 1001

Reader = Callable[[bytes], tuple[WireValues, Mapping[str, NotANumberError]]]


class LooseLayout:
    """How to read lines that differ from ``line``, of the form ``form``, in plain numbers only.

    ``read`` reads one of them with care. ``layout`` is None where ``line`` tells too little.
    """

    def __init__(self, line: bytes, form: bytes, read: Reader) -> None:
        self.form, self.layout = form, None
        numbers = list(_ALONE.finditer(line))
        ends = [0, *(number.end() for number in numbers)]
        starts = [*(number.start() for number in numbers), len(line)]
        words = [line[end:start] for end, start in zip(ends, starts, strict=True)]
        if not numbers or not line.isascii() or not all(map(_WORDS.search, words[1:-1])):
            return
        if any(map(_GOES_ON.match, words[1:])):
            return
        try:
            ones, others, now = (
                _fields(read(_filled(words, texts)))
                for texts in (
                    [b"1"] * len(numbers),
                    [b"%d" % (_FIRST + i) for i in range(len(numbers))],
                    [number.group() for number in numbers],
                )
            )
        except NotDataError:
            return
        if not ones.keys() == others.keys() == now.keys() or len(now) < 2 or not CLOCKS.keys() & now.keys():
            return
        fixed = {name: value for name, value in now.items() if ones[name] == others[name]}
        places = {name: round(others[name] / ones[name]) - _FIRST for name in now.keys() - fixed.keys() if ones[name]}
        if len(places) + len(fixed) < len(now) or not set(places.values()) <= set(range(len(numbers))):
            return
        self._match = re.compile(_pattern(words, set(places.values()))).fullmatch
        order = sorted(set(places.values()))
        # A number without a unit stays as it is, whole or not.
        self._taken = [(order.index(places[name]), None if type(ones[name]) is int else ones[name]) for name in places]
        self._fixed = tuple(fixed.values())
        names = (*places, *fixed)
        self._near = names.index("distance_m") if "distance_m" in places else None
        each = tuple(itemgetter(i) for i in range(len(names)))
        self.layout = Layout(names, values_from, True, False, tuple, each)
        if self._rows(line + b"\n") != [tuple(now[name] for name in names)]:
            self.layout = None

    def table(self, body: bytes, maybe: MaybeThousands) -> LineTable | None:
        """The lines, each ended by LF, if all are of this kind and none can be read in two ways."""
        layout = self.layout
        rows = None if layout is None else self._rows(body)
        if layout is None or rows is None:
            return None
        table = LineTable(layout, rows)
        return table if table.plain(maybe) else None

    def _rows(self, body: bytes) -> list[tuple[Any, ...]] | None:
        rows, match, taken, fixed, near = [], self._match, self._taken, self._fixed, self._near
        for line in body.split(b"\n")[:-1]:
            found = match(line)
            if found is None:
                return None
            numbers = [float(text) if b"." in text else int(text) for text in found.groups()]
            row = [numbers[i] if factor is None else numbers[i] * factor for i, factor in taken]
            if near is not None and 0 < row[near] < NEAREST_M:
                return None  # perhaps 2.450 mm
            rows.append((*row, *fixed))
        return rows


def _fields(said: tuple[WireValues, Mapping[str, NotANumberError]]) -> dict[str, Any]:
    """The values of a reading by our names. Raises ``NotDataError`` if any can't be used."""
    values, unusable = said
    if unusable:
        raise NotDataError("unusable value")
    return {name: value for name in WIRE_NAMES if (value := getattr(values, name)) is not None}


def _filled(words: list[bytes], numbers: list[bytes]) -> bytes:
    return b"".join(piece for pair in zip(words, [*numbers, b""], strict=True) for piece in pair)


def _pattern(words: list[bytes], taken: set[int]) -> bytes:
    """A pattern of lines with these words, with a group for each number that is taken."""
    numbers = [b"(%s)" % _NUMBER if i in taken else _NUMBER for i in range(len(words) - 1)]
    return _filled([re.escape(word) for word in words], numbers)
