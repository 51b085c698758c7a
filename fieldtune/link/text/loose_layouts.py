"""Lines in words, ``wheel: 2450.3 rpm, battery: 12.3 V``, read together: one that was read with care shows how.

What stands between the numbers of such a line decides how it is read, not the numbers. So a line whose words are the
same to the letter gives the same fields, each number times a factor, which trial readings tell.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from itertools import repeat
from operator import itemgetter
from typing import Any

import msgspec

from fieldtune.line_fields import CLOCKS, WIRE_NAMES
from fieldtune.link.limits import NEAREST_M
from fieldtune.link.text.layouts import Bounds, Layout, LineTable
from fieldtune.link.text.wire_numbers import LARGEST, MaybeThousands, NotANumberError
from fieldtune.link.text.wire_values import NotDataError, WireValues, values_from

_NUMBER = rb"-?[0-9]{1,15}+(?:\.[0-9]{1,15}+)?+"
_GROUP, _MOST = rb"(%s)" % _NUMBER, 10**16
_ALONE = re.compile(rb"(?<![\w.,'+-])" + _NUMBER + rb"(?![\w.]*[0-9])")
_WORDS = re.compile(rb"[A-Za-z:=]")
_GOES_ON = re.compile(rb"[ .,'_+-]*[0-9]")
_FIRST = 1001
_numbers_in = msgspec.json.Decoder(list[int | float]).decode

Reader = Callable[[bytes], tuple[WireValues, Mapping[str, NotANumberError]]]


class LooseLayout:
    """How to read lines that differ from ``line``, of the form ``form``, in plain numbers only.

    ``read`` reads one of them with care. ``layout`` is None where ``line`` tells too little.
    """

    def __init__(self, line: bytes, form: bytes, read: Reader, bounds: Bounds) -> None:
        self.form, self.layout = form, None
        numbers = list(_ALONE.finditer(line))
        ends = [0, *(number.end() for number in numbers)]
        starts = [*(number.start() for number in numbers), len(line)]
        words = [line[end:start] for end, start in zip(ends, starts, strict=True)]
        if len(numbers) < 2 or not line.isascii() or not all(map(_WORDS.search, words[1:-1])):
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
        self._find = re.compile(_filled([re.escape(word) for word in words], [_GROUP] * len(numbers)) + b"\n").findall
        self._numbers, self._letters = len(numbers), sum(map(len, words)) + 1
        # A number without a unit stays as it is, whole or not.
        self._taken = [(place, None if type(ones[name]) is int else ones[name]) for name, place in places.items()]
        self._fixed = tuple(map(repeat, fixed.values()))
        names = (*places, *fixed)
        self._near = names.index("distance_m") if "distance_m" in places else None
        each = tuple(itemgetter(i) for i in range(len(names)))
        large = any(_MOST * abs(factor or 1) > LARGEST for _, factor in self._taken)
        self.layout = Layout(names, values_from, large, False, tuple, each)
        known = () if bounds.keys() & fixed.keys() else bounds.keys() & places.keys()
        self._bounds = [(names.index(name), *bounds[name]) for name in known]
        if self._rows(line + b"\n")[0] != [tuple(now[name] for name in names)]:
            self.layout = None

    def table(self, body: bytes, maybe: MaybeThousands) -> LineTable | None:
        """The lines, each ended by LF, if all are of this kind and none can be read in two ways."""
        layout = self.layout
        rows, bounded = ([], False) if layout is None else self._rows(body)
        if layout is None or not rows:
            return None
        table = LineTable(layout, rows)
        table.bounded = bounded
        return table if table.plain(maybe) else None

    def _rows(self, body: bytes) -> tuple[list[tuple[Any, ...]], bool]:
        """The values of each line, none if they are other; and whether all are within bounds that are known."""
        found, each = self._find(body), self._numbers
        texts = b",".join(map(b",".join, found))
        if not found or len(texts) + 1 + len(found) * (self._letters - each) != len(body):
            return [], False  # something stands between
        try:
            numbers = _numbers_in(b"[%s]" % texts)
        except msgspec.DecodeError:  # zeros in front
            numbers = [float(text) if b"." in text else int(text) for text in texts.split(b",")]
        columns = [
            numbers[place::each] if factor is None else [number * factor for number in numbers[place::each]]
            for place, factor in self._taken
        ]
        if self._near is not None and any(0 < metres < NEAREST_M for metres in columns[self._near]):
            return [], False  # perhaps 2.450 mm
        bounded = all(low <= min(columns[i]) and max(columns[i]) <= high for i, low, high in self._bounds)
        return list(zip(*columns, *self._fixed, strict=False)), bounded and bool(self._bounds)


def _fields(said: tuple[WireValues, Mapping[str, NotANumberError]]) -> dict[str, Any]:
    """The values of a reading by our names. Raises ``NotDataError`` if any can't be used."""
    values, unusable = said
    if unusable:
        raise NotDataError("unusable value")
    return {name: value for name in WIRE_NAMES if (value := getattr(values, name)) is not None}


def _filled(words: list[bytes], numbers: list[bytes]) -> bytes:
    return b"".join(piece for pair in zip(words, [*numbers, b""], strict=True) for piece in pair)
