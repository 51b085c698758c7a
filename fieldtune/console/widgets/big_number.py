"""Digits that can be read from two metres: seven bars of solid half-blocks, of a height to suit the window."""

from __future__ import annotations

from functools import lru_cache

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
