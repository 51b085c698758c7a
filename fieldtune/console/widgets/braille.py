"""A drawing surface of braille dots: four rows and two columns of dots in every character cell.

Dots are square on screens whose cells are twice as high as wide, so that one scale serves both axes. Nothing here
knows about Textual or colours: a layer is a number, and what it looks like is the widget's business.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from fieldtune.arrays import FloatArray, IntArray

# Unicode braille patterns (block U+2800): bit of the dot at row r, column c of a cell.
_BITS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]], dtype=np.int64)


@dataclass(frozen=True, slots=True)
class Label:
    """Text of our own laid over the dots, at a cell."""

    row: int
    column: int
    text: str
    layer: int


@dataclass(frozen=True, slots=True)
class View:
    """Metres to dots: ``dots_per_m`` on both axes, ``left_m`` at dot column 0, ``bottom_m`` at the lowest dot row."""

    left_m: float
    bottom_m: float
    dots_per_m: float
    dot_rows: int

    def column(self, x: FloatArray | float) -> FloatArray:
        """Dot column of a horizontal position in metres; any shape."""
        return (np.asarray(x, dtype=float) - self.left_m) * self.dots_per_m

    def row(self, y: FloatArray | float) -> FloatArray:
        """Dot row, counted downwards, of a height in metres; any shape."""
        return self.dot_rows - 1 - (np.asarray(y, dtype=float) - self.bottom_m) * self.dots_per_m


@dataclass(slots=True)
class Canvas:
    """Layers of dots over ``rows`` x ``columns`` cells, a background tint, and labels on top.

    ``tint`` (2 rows, columns) holds 0 for no tint, else the number of the tint, for the upper and the lower half of
    each cell. A higher layer gives the cell its colour.
    """

    rows: int
    columns: int
    dots: dict[int, NDArray[np.bool_]] = field(default_factory=dict)
    tint: IntArray = field(init=False)
    labels: list[Label] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.tint = np.zeros((2 * self.rows, self.columns), dtype=np.int64)

    def layer(self, number: int) -> NDArray[np.bool_]:
        """The dots of one layer, shape (4 rows, 2 columns), made when first asked for."""
        if number not in self.dots:
            self.dots[number] = np.zeros((self.rows * 4, self.columns * 2), dtype=bool)
        return self.dots[number]

    def put(
        self, number: int, column: FloatArray, row: FloatArray, within: tuple[int, int, int, int] | None = None
    ) -> None:
        """Set dots at the nearest positions; those outside (or not finite) are left out. Shapes (n,).

        ``within``: first and last dot row, first and last dot column; the whole canvas where None.
        """
        ok = np.isfinite(column) & np.isfinite(row)
        c, r = np.rint(column[ok]).astype(int), np.rint(row[ok]).astype(int)
        top, bottom, left, right = within or (0, self.rows * 4 - 1, 0, self.columns * 2 - 1)
        inside = (c >= left) & (c <= right) & (r >= top) & (r <= bottom)
        self.layer(number)[r[inside], c[inside]] = True

    def line(
        self,
        number: int,
        column: FloatArray,
        row: FloatArray,
        gap: int = 1,
        within: tuple[int, int, int, int] | None = None,
        thick: bool = False,
    ) -> None:
        """A line through points (n,), every ``gap``-th dot of it, ``thick``: two wide; ``within`` as for ``put``."""
        if len(column) < 2:
            self.put(number, column, row, within)
            return
        steps = np.maximum(np.abs(np.diff(column)), np.abs(np.diff(row)))
        along = np.concatenate([[0.0], np.cumsum(np.where(np.isfinite(steps), steps, 0.0))])
        wanted = np.arange(0.0, min(along[-1], 20_000.0) + 0.5, gap)
        columns, rows = np.interp(wanted, along, column), np.interp(wanted, along, row)
        self.put(number, columns, rows, within)
        if thick:
            self.put(number, columns, rows + 1, within)
            self.put(number, columns + 1, rows, within)

    def circle(self, number: int, column: float, row: float, radius: float) -> None:
        """A circle of ``radius`` dots."""
        turn = np.linspace(0.0, 2 * np.pi, max(12, int(radius * 8)))
        self.put(number, column + radius * np.cos(turn), row + radius * np.sin(turn))

    def write(self, row: int, column: int, text: str, layer: int) -> None:
        """Lay text over the dots, shifted to stay inside; too narrow a canvas leaves it out."""
        if 0 <= row < self.rows and len(text) <= self.columns:
            self.labels.append(Label(row, max(0, min(column, self.columns - len(text))), text, layer))

    def compose(self, without: frozenset[int] = frozenset()) -> tuple[IntArray, IntArray]:
        """Braille bits and the topmost layer of each cell (0 where empty), both (rows, columns).

        ``without``: layers that are left out.
        """
        bits = np.zeros((self.rows, self.columns), dtype=np.int64)
        top = np.zeros((self.rows, self.columns), dtype=np.int64)
        for number in sorted(self.dots.keys() - without):
            cells = self.dots[number].reshape(self.rows, 4, self.columns, 2)
            mine = np.einsum("rick,ik->rc", cells.astype(np.int64), _BITS)
            bits |= mine
            top[mine > 0] = number
        return bits, top
