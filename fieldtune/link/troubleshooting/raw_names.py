"""What raw lines carry: names or columns, with what came under each lately."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from fieldtune.frozen import frozen
from fieldtune.link.text.raw_pairs import WITH_UNIT, cells_of, is_cell, number_in, pairs, uncoloured
from fieldtune.link.text.unit_words import COUNTED

_KEPT = 60
_COLUMN_NAME = re.compile(r"(?:[A-Za-z_]|·(?=[A-Za-z]))[\w.·]*")
_WORDY_COLUMN_NAME = re.compile(r"(?:[A-Za-z_]|·(?=[A-Za-z]))[\w. ·]*(?:[(\[][^()\[\]]*[)\]])?")
_WITH_NUMBER = re.compile(r" [+-]?\.?\d")
_NUMBER_ALONE = re.compile(r"[+-]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][+-]?\d+)?")
_UNIT_CELLS = frozenset(
    ("rpm", "RPM", "V", "mV", "m", "mm", "cm", "in", "ft", "A", "mA", "ms", "rad/s", "rps", "deg/s")
)


@dataclass(slots=True)
class Reading:
    """A name on the line, or a column's number, with what came under it lately."""

    name: str
    texts: list[str] = field(default_factory=list)

    @property
    def numbers(self) -> list[float]:
        """Those that are finite numbers."""
        found = []
        for text in self.texts:
            number = number_in(text)
            if number is not None and math.isfinite(number):
                found.append(number)
            elif text.casefold() in ("true", "false"):
                found.append(float(text.casefold() == "true"))
        return found

    @property
    def label(self) -> str:
        """What the robot calls it: of a column, the name in a row of column names; empty where there is none."""
        named = self.name.partition(" (")[2].rstrip(")") if self.name.startswith("column ") else self.name
        return re.sub(r"[\s()\[\]]+", " ", named).strip()

    @property
    def behind(self) -> str:
        """The unit that stands behind its number on the line; empty where none does."""
        text = self.texts[-1].strip() if self.texts else ""
        counted = COUNTED.search(text)
        if counted is not None:
            return counted.group()
        if text.endswith('"'):
            return '"'
        match = WITH_UNIT.fullmatch(text)
        return match[2] or "" if match else ""


@frozen
class Seen:
    """What raw lines carry. ``columns``: bare numbers, told apart by their place, so that their order matters."""

    readings: tuple[Reading, ...]
    columns: bool


def read_names(lines: Iterable[str]) -> Seen:
    """The names, or columns, that the lines carry, in the order in which they come; empty where they say nothing."""
    named: dict[str, Reading] = {}
    rows: list[list[str]] = []
    header: list[str] = []
    lines = list(lines)
    for line in map(uncoloured, lines[:1] + lines[1:][-_KEPT:]):  # the first may be a row of column names
        text = re.sub(r"\*[0-9A-Fa-f]{2}\s*$", "", line.strip().rpartition("$")[2])
        cells = _cells(text.strip().strip("[]()"))
        if cells and all(_NUMBER_ALONE.fullmatch(cell) for cell in cells):
            rows.append(cells)
            continue
        if names := _row_of_names(text, cells):
            header = names
            continue
        found = pairs(text)
        for name, value in found:
            named.setdefault(name, Reading(name)).texts.append(value)
        if not found and (mixed := cells_of(text)):
            rows.append(mixed)
    if rows and not named:
        return Seen(tuple(_columns(rows, header)), True)
    return Seen(tuple(one for one in named.values() if one.numbers), False)


def _cells(text: str) -> list[str]:
    """A line of columns, cut where its reader cuts it: a comma is a cell's own where something else stands between."""
    mark = next((mark for mark in ";\t|" if mark in text), None)
    for cells in (text.strip(f"{mark} ").split(mark), text.replace(", ", " ").split()):
        cells = [cell.strip() for cell in cells]
        if len(cells) > 1 and all(map(_NUMBER_ALONE.fullmatch, cells)):
            return cells
    return [cell for cell in re.split(r"[,;\t ]+", text) if cell]


def _row_of_names(text: str, cells: list[str]) -> list[str]:
    """The names in a row of column names, perhaps with units; empty where it is none."""
    if len(cells) > 1 and all(map(_COLUMN_NAME.fullmatch, cells)):
        return cells
    mark = next((mark for mark in ";\t|," if mark in text), "")
    names = [name.strip() for name in text.strip(" #|").split(mark)] if mark else []
    readings = all(map(_WITH_NUMBER.search, names))  # speed 1800, batt 10.3
    return names if len(names) > 1 and not readings and all(map(_WORDY_COLUMN_NAME.fullmatch, names)) else []


def _columns(rows: list[list[str]], header: Sequence[str]) -> list[Reading]:
    """The columns of the kind of row that comes most often; a word behind a number is its unit."""
    kinds = Counter(tuple(map(is_cell, row)) for row in rows)
    kind = kinds.most_common(1)[0][0]
    rows = [row for row in rows if tuple(map(is_cell, row)) == kind] if not all(kind) else rows
    columns: list[Reading] = []
    for row in rows:
        columns += [Reading(f"column {number + 1}") for number in range(len(columns), len(row))]
        for place, (reading, cell) in enumerate(zip(columns, row, strict=False)):
            behind = row[place + 1] if is_cell(cell) and place + 1 < len(row) and not is_cell(row[place + 1]) else ""
            reading.texts.append(f"{cell} {behind}" if behind in _UNIT_CELLS else cell)
    if len(header) == len(columns):
        for reading, name in zip(columns, header, strict=True):
            reading.name += f" ({name})"
    return columns
