"""Many lines at once: lines that differ only in their numbers are read as one table instead of one by one.

A fast robot prints thousands of alike lines a second. What stands between their numbers is learned from the last line
that was read with full care; a chunk is taken as a table only if every line of it has exactly that shape. Anything
else, a single odd byte included, sends the whole chunk the careful way.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import msgspec
import numpy as np
from numpy.typing import NDArray

from fieldtune.link.wire import FIELDS, NotDataError, Wire

FloatArray = NDArray[np.float64]
Bytes = NDArray[np.uint8]
IntArray = NDArray[np.int64]

FEWEST_LINES = 12
EXACT = 2.0**53
_RUN = re.compile(rb"[0-9.-]+")
_NUMERIC = b"0123456789.-"
_BLANK = ord("z")
_BLANKED = bytes(byte if byte in _NUMERIC else _BLANK for byte in range(256))
_MARK, _COMMA, _FIRST = b"#", 44, 1001
_decode_numbers = msgspec.json.Decoder(list[float]).decode
_DOLLAR, _STAR, HH_BLANK = 36, 42, 95
_HEX = np.full(256, -4096, dtype=np.int64)
_HEX[np.frombuffer(b"0123456789ABCDEF", np.uint8)] = np.arange(16)
_HEX[np.frombuffer(b"abcdef", np.uint8)] = np.arange(10, 16)


@dataclass(frozen=True, slots=True)
class Block:
    """Lines as columns, by our field names: each (n,) float64, all finite."""

    columns: dict[str, FloatArray]
    lines: int

    def wires(self) -> list[Wire]:
        """The same lines one by one."""
        names = list(self.columns)
        rows = zip(*(column.tolist() for column in self.columns.values()), strict=True)
        return [Wire(**dict(zip(names, row, strict=True))) for row in rows]

    def last(self) -> Wire:
        """The last line."""
        return Wire(**{name: float(column[-1]) for name, column in self.columns.items()})


class Shape:
    """What stands between the numbers of one payload, and which number is which field."""

    def __init__(self, payload: bytes, read: Callable[[bytes], Wire]) -> None:
        """Learns from a payload that ``read`` accepts; raises ``NotDataError`` if it has no such shape."""
        self._marked, texts = _numbers(payload + b"\n")
        self._count = self._marked.count(_MARK)
        if not self._count or _MARK in payload or texts.count(b",") != self._count:
            raise NotDataError("undecodable")
        # Each number is replaced by one of its own, to see in which field it comes out; digits of names stay.
        at, pieces = 0, []
        for i, match in enumerate(_RUN.finditer(payload)):
            named = payload[match.start() - 1 : match.start()].isalpha()
            pieces += [payload[at : match.start()], match.group() if named else b"%d" % (_FIRST + i)]
            at = match.end()
        wire = read(b"".join(pieces) + payload[at:])
        found = {name: value for name in FIELDS if (value := getattr(wire, name)) is not None}
        self.order = {name: int(value) - _FIRST for name, value in found.items()}
        if not all(0 <= column < self._count for column in self.order.values()):
            raise NotDataError("undecodable")

    def table(self, payloads: bytes, lines: int) -> Block | None:
        """The payloads, each ended by LF, as a table; None if any has another shape."""
        marked, texts = _numbers(payloads)
        if marked != self._marked * lines:
            return None
        try:
            values = np.array(_decode_numbers(b"[%s]" % texts[:-1]))
        except msgspec.DecodeError:
            return None
        if np.abs(values).max() > EXACT:
            return None  # whole numbers beyond this are no longer whole as floats
        table = values.reshape(lines, self._count)
        return Block({name: table[:, column] for name, column in self.order.items()}, lines)


def _numbers(payloads: bytes) -> tuple[bytes, bytes]:
    """The text with each run of number characters as one mark, and the runs alone, each ended by a comma."""
    blanked = np.frombuffer(payloads.translate(_BLANKED), np.uint8)
    numeric = blanked != _BLANK
    before = np.empty_like(numeric)
    before[0], before[1:] = False, numeric[:-1]
    behind = (before > numeric).view(np.uint8)
    texts = (blanked - behind * np.uint8(_BLANK - _COMMA)).tobytes().translate(None, b"z")
    marked = np.where(numeric > before, np.uint8(_MARK[0]), np.frombuffer(payloads, np.uint8))
    return marked.tobytes().translate(None, _NUMERIC), texts


def frames_hold(buffer: Bytes, ends: IntArray) -> bytes | None:
    """Lines, ended at ``ends``, that are all ``$payload*HH`` with right checksums, with HH blanked; None otherwise."""
    dollars, stars = np.flatnonzero(buffer == _DOLLAR), np.flatnonzero(buffer == _STAR)
    lines = len(ends)
    if len(dollars) != lines or len(stars) != lines or dollars[0] != 0:
        return None
    if (dollars[1:] != ends[:-1] + 1).any() or (stars != ends - 3).any() or (stars == dollars + 1).any():
        return None
    bounds = np.empty(2 * lines, dtype=np.int64)
    bounds[::2], bounds[1::2] = dollars + 1, stars
    sums = np.bitwise_xor.reduceat(buffer, bounds)[::2]
    if (16 * _HEX[buffer[stars + 1]] + _HEX[buffer[stars + 2]] != sums).any():
        return None
    blanked = buffer.copy()
    blanked[stars + 1], blanked[stars + 2] = HH_BLANK, HH_BLANK
    return blanked.tobytes()
