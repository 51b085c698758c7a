"""Numbers to be read from two metres: big digits of solid half-blocks, and a gauge of one row."""

from __future__ import annotations

from functools import lru_cache

from textual.content import Content

from fieldtune.console.widgets.text_block import CachedWidget, assemble

# Which of the seven bars each character lights: top, upper left, upper right, middle, lower left, lower right, bottom.
_BARS = {
    "0": "1110111", "1": "0010010", "2": "1011101", "3": "1011011", "4": "0111010", "5": "1101011",
    "6": "1101111", "7": "1010010", "8": "1111111", "9": "1111011", "-": "0001000", "–": "0001000", " ": "0000000",
}  # fmt: skip
_BLOCK = {(False, False): " ", (True, False): "▀", (False, True): "▄", (True, True): "█"}


@lru_cache(maxsize=256)
def big_digits(text: str, rows: int) -> tuple[str, ...]:
    """``rows`` lines of block characters for digits, ``.``, ``-`` and blanks; other characters are left out.

    A digit is ``2 rows - 1`` half-cells high and about as wide as three quarters of that.
    """
    high = 2 * rows - 1
    glyphs = [_glyph(character, high) for character in text if character in _BARS or character == "."]
    lines = []
    for row in range(rows):
        upper = [glyph[2 * row] for glyph in glyphs]
        lower = [glyph[2 * row + 1] if 2 * row + 1 < high else [False] * len(glyph[0]) for glyph in glyphs]
        cells = ("".join(_BLOCK[pair] for pair in zip(a, b, strict=True)) for a, b in zip(upper, lower, strict=True))
        lines.append(" ".join(cells))
    return tuple(lines)


def width_of(text: str, rows: int) -> int:
    """Cells that ``big_digits`` takes for the text."""
    return len(big_digits(text, rows)[0])


def _glyph(character: str, high: int) -> list[list[bool]]:
    """Half-cells of one character, ``high`` rows of equal width."""
    thick, wide = (2, 5) if high < 8 else (2, 7)
    if character == ".":
        return [[row >= high - 1 - (high > 8)] * 2 for row in range(high)]
    top, upper_left, upper_right, middle, lower_left, lower_right, bottom = (bar == "1" for bar in _BARS[character])
    half = high // 2
    grid = [[False] * wide for _ in range(high)]
    for row in range(high):
        left, right = (upper_left, upper_right) if row < half else (lower_left, lower_right)
        if row == half:
            left, right = upper_left or lower_left, upper_right or lower_right
        for column in range(thick):
            grid[row][column] = left
            grid[row][wide - 1 - column] = right
    for row, lit in ((0, top), (half, middle), (high - 1, bottom)):
        if lit:
            grid[row] = [True] * wide
    return grid


class BigNumber(CachedWidget):
    """A number as large as its box allows, its unit beside it in plain text."""

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.text, self.unit = "–", ""

    def put(self, text: str, unit: str) -> None:
        """Show this number from now on."""
        if (text, unit) != (self.text, self.unit):
            self.text, self.unit = text, unit
            self.refresh()

    def render(self) -> Content:
        """Rows of block digits that fit the box, the unit on the last of them."""
        rows = max(1, self.size.height)
        while rows > 3 and width_of(self.text, rows) + len(self.unit) + 1 > self.size.width:
            rows -= 1
        if rows < 3:
            return Content(f"{self.text} {self.unit}")
        lines = list(big_digits(self.text, rows))
        lines[-1] = f"{lines[-1]} {self.unit}"
        return Content("\n".join(lines))


class Gauge(CachedWidget):
    """A strip of one row: the stretch that is good, the wanted value in it, and a marker that moves.

    ``low``..``high`` is drawn thick, ``mark`` as a cross bar, ``pointer`` as a triangle; an arrow at either end says
    that the pointer is beyond it. Shapes tell everything; colours only help.
    """

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.span: tuple[float, float] | None = None
        self.low: float | None = None
        self.high: float | None = None
        self.mark: float | None = None
        self.pointer: float | None = None
        self.good = True

    def put(
        self,
        span: tuple[float, float] | None,
        low: float | None = None,
        high: float | None = None,
        mark: float | None = None,
        pointer: float | None = None,
        good: bool = True,
    ) -> None:
        """Show these values from now on; ``good``: ``low`` to ``high`` is what one wants."""
        before = self._seen()
        self.span, self.low, self.high, self.mark, self.pointer, self.good = span, low, high, mark, pointer, good
        if self._seen() != before:
            self.refresh()

    def _seen(self) -> tuple[object, ...]:
        """What tells one picture of the gauge from another: a pointer that moves by less than a cell does not."""
        if self.span is None or self.span[1] <= self.span[0]:
            return ()
        cells = (None if v is None else self._cell(v) for v in (self.low, self.high, self.mark, self.pointer))
        beyond = self.pointer is not None and not self.span[0] <= self.pointer <= self.span[1]
        return (*cells, beyond, self.good)

    def render(self) -> Content:
        """The strip."""
        wide = self.size.width
        if self.span is None or wide < 10 or self.span[1] <= self.span[0]:
            return Content("─" * wide).stylize("$rule")
        cells = [("─", "$rule")] * wide
        if self.low is not None and self.high is not None:
            for at in range(self._cell(self.low), self._cell(self.high) + 1):
                cells[at] = ("━", "bold $good" if self.good else "bold $mark")
        if self.mark is not None:
            cells[self._cell(self.mark)] = ("╋", "bold $ink")
        if self.pointer is not None:
            shape = "▲"
            if self.pointer < self.span[0]:
                shape = "◀"
            elif self.pointer > self.span[1]:
                shape = "▶"
            cells[self._cell(self.pointer)] = (shape, "bold $act")
        return assemble(cells)

    def _cell(self, value: float) -> int:
        left, right = self.span or (0.0, 1.0)
        share = (value - left) / (right - left)
        return min(self.size.width - 1, max(0, round(share * (self.size.width - 1))))
