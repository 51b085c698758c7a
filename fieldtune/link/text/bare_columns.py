"""Bare numbers in columns: which column is which field, by the profile or by a row of column names.

A row of names may carry units, ``speed (rpm)``; cells may be quoted, hold a unit, or have a comma for the point where
something else separates them.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Mapping

import msgspec

from fieldtune.link.text.wire_numbers import MaybeThousands, NotANumberError, SetAside, in_ascii, value_of
from fieldtune.link.text.wire_values import NotDataError, WireValues, values_from

NONE = "-"
_decode_numbers = msgspec.json.Decoder(list[int | float]).decode
_BLANKS = re.compile(r"[ \t]+")
_NAME_AND_UNIT = re.compile(r"([^()\[\]]*[^()\[\]\s])\s*(?:[(\[]\s*([^()\[\]]+?)\s*[)\]])?")
_NO_NAMES = re.compile(rb"=|\d{3}|[\d.]{5}")
"""What a row of column names has none of."""
_SURELY_DECIMALS = re.compile(r"(?<![\d.,])\d+,(?:\d{1,2}|\d{4,})(?![\d.,])", re.ASCII)
_MAYBE_DECIMALS = re.compile(r"(?<![\d.,])(\d+),(\d{3})(?![\d.,])", re.ASCII)
_MARKED = ";\t|"
"""What separates columns wherever it stands between cells; a comma may also be a cell's own."""


def alike(name: str) -> str:
    """A name without what people write differently: ``Wheel RPM`` and ``wheel_rpm`` are alike."""
    return re.sub(r"[\s_-]+", "", name).casefold()


class Columns:
    """Reads lines of bare numbers. ``order``: field names from the profile, ours or the robot's; none known if empty.

    ``names``: the robot's name -> ours. ``set_aside`` counts cells that can't be used, by what is wrong with them.
    ``like``: by our name, another field that has the same units.
    """

    def __init__(
        self, order: tuple[str, ...], names: Mapping[str, str], set_aside: SetAside, like: Mapping[str, str]
    ) -> None:
        self._like = like
        known = set(names.values())
        self._order = tuple(name if name in known else names.get(name, NONE) for name in order)
        self._units = ("",) * len(order)
        self._by_profile = bool(order)
        self._set_aside = set_aside
        self._names = {alike(theirs): ours for theirs, ours in names.items()} | dict(names)

    def __bool__(self) -> bool:
        return bool(self._order)

    @property
    def order(self) -> tuple[str, ...]:
        """Our names of the columns, or ``-``; empty where none are known, or cells have units."""
        return () if any(self._units) else self._order

    def take_header(self, line: bytes) -> bool:
        """Whether a line names columns. Those that follow are in its order, unless the profile says another one."""
        found = None if _NO_NAMES.search(line) else self._header(line)
        if found is None:
            return False
        order, units = found
        if not self._by_profile:
            self._order, self._units = order, units
        elif order != self._order:
            self._set_aside.note("the row of column names", "is not what the profile says: the profile is followed")
        return True

    def _header(self, line: bytes) -> tuple[tuple[str, ...], tuple[str, ...]] | None:
        """Our names and the units that stand with them, in the order of a line that names columns."""
        try:
            text = line.removeprefix(b"\xef\xbb\xbf").decode("utf-8").strip().lstrip("#").strip()
        except UnicodeDecodeError:
            return None
        marks = [mark for mark in (*_MARKED, ",") if mark in text]
        cells = _split(text, marks[0]) if marks else _BLANKS.split(text)
        order, units = [], []
        for cell in cells:
            match = _NAME_AND_UNIT.fullmatch(cell)
            name, unit = (match[1], match[2] or "") if match else (cell, "")
            order.append(self._names.get(name) or self._names.get(alike(name)) or NONE)
            units.append(unit)
        named = [name for name in order if name != NONE]
        if len(named) < 2 or len(set(named)) < len(named) or any(re.match(r"[\d.+-]", cell) for cell in cells):
            return None
        return tuple(order), tuple(units)

    def plain(self, payload: bytes, maybe: MaybeThousands) -> WireValues | None:
        """What a line of plain numbers between commas says, quickly; None for any other, which is read with care."""
        order = self._order
        if any(self._units) or (b"." in payload and any(ours in maybe for ours in order)):
            return None
        try:
            numbers = _decode_numbers(b"[%s]" % payload)
        except msgspec.DecodeError:
            return None
        if len(numbers) != len(order):
            return None
        found = {ours: number for ours, number in zip(order, numbers, strict=True) if ours != NONE}
        return values_from(found) if found else None

    def pairs(self, payload: bytes) -> Iterator[tuple[str, str]]:
        """Our names and the cells of a line of plain numbers. Raises ``NotDataError`` where it isn't as many cells."""
        if not self._order or any(self._units):
            raise NotDataError("undecodable")  # with units it is read with more care
        text = payload.decode("ascii")
        mark = next((mark for mark in _MARKED if mark in text), "," if "," in text else None)
        cells = [cell.strip() for cell in text.split(mark)]
        if len(cells) == len(self._order) + 1 and not cells[-1]:
            cells.pop()  # many programs end each value with a comma
        if len(cells) != len(self._order):
            raise NotDataError("columns")
        return zip(self._order, cells, strict=True)

    def read(self, line: bytes) -> tuple[WireValues, dict[str, NotANumberError]]:
        """What a line says with units, quotes and decimal commas, and what is wrong with cells that can't be used.

        Raises ``NotDataError`` if it has not as many cells, or nothing like a number in any.
        """
        text = _with_points(in_ascii(line.decode("utf-8", "replace")).strip().strip("[](){}"))
        ways = [cells for cells in self._ways(text) if len(cells) == len(self._order)]
        if not ways:
            raise NotDataError("columns")
        found, aside = min((self._cells(cells) for cells in ways), key=lambda way: len(way[1]))
        if not found and not any(wrong.example or "unit" in str(wrong) for wrong in aside.values()):
            raise NotDataError("undecodable")
        return values_from(found), aside

    def _cells(self, cells: list[str]) -> tuple[dict[str, int | float], dict[str, NotANumberError]]:
        """The values of cells, and what is wrong with those that can't be used."""
        found: dict[str, int | float] = {}
        aside: dict[str, NotANumberError] = {}
        for ours, unit, cell in zip(self._order, self._units, cells, strict=True):
            if ours == NONE or not cell:
                continue
            try:
                found[ours] = value_of(cell, self._like.get(ours, ours), unit)
            except NotANumberError as error:
                aside[ours] = error
        return found, aside

    @staticmethod
    def _ways(text: str) -> Iterator[list[str]]:
        """The ways in which a line may be cut into cells, the surest first."""
        for mark in _MARKED:
            if mark in text:
                yield _split(text, mark)
                return
        yield _split(text, ",")
        yield [cell.rstrip(",") for cell in _BLANKS.split(text)]


def _with_points(text: str) -> str:
    """A line with points for its decimal commas, where another number shows that they are: 9,980;1577,4."""
    apart = any(mark in text for mark in _MARKED)
    return _MAYBE_DECIMALS.sub(r"\1.\2", text) if apart and _SURELY_DECIMALS.search(text) else text


def _split(text: str, mark: str) -> list[str]:
    """Cells without blanks and quotes around them, and without the empty ones of a mark at either end of the line."""
    row = next(csv.reader([text.strip().strip(mark)], delimiter=mark, skipinitialspace=True), [])
    return [cell.strip(" \t\"'") for cell in row]
