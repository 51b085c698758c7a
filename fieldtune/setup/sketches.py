"""Small drawings of what to measure, and where, in braille dots.

A drawing is a text of strokes on a field 100 wide and 60 high, y upwards: ``l x y x y …`` a line, ``c x y r`` a circle,
``a x y r from to`` an arc in degrees, ``m x y x y`` the length that is asked for, with ticks at its ends, and
``t x y words``. No drawing shows a robot that there is: they are sketches of this project's own.
"""

from __future__ import annotations

import math
import tomllib
from functools import lru_cache
from importlib.resources import files
from itertools import pairwise

_WIDE, _HIGH = 100.0, 60.0
_BITS = ((0x01, 0x08), (0x02, 0x10), (0x04, 0x20), (0x40, 0x80))
_BRAILLE = 0x2800


@lru_cache(maxsize=1)
def drawings() -> dict[str, str]:
    """All drawings by name."""
    text = files(__package__).joinpath("sketches.toml").read_text(encoding="utf-8")
    return {name: str(strokes) for name, strokes in tomllib.loads(text).items()}


def sketch(name: str, columns: int, rows: int) -> list[str]:
    """The drawing of that name in so many cells, as lines of text; empty where there is none or no room."""
    strokes = drawings().get(name, "") if name else ""
    if not strokes or columns < 16 or rows < 5:
        return []
    dots = min(2 * columns / _WIDE, 4 * rows / _HIGH)
    wide, high = max(1, int(_WIDE * dots / 2)), max(1, math.ceil(_HIGH * dots / 4))
    cells = [[0] * wide for _ in range(high)]
    words: list[tuple[int, int, str]] = []

    def point(x: float, y: float) -> None:
        column, row = round(x * dots), 4 * high - 1 - round(y * dots)
        if 0 <= column < 2 * wide and 0 <= row < 4 * high:
            cells[row // 4][column // 2] |= _BITS[row % 4][column % 2]

    for stroke in strokes.split(";"):
        kind, *rest = stroke.split()
        if kind == "t":
            words.append(
                (high - 1 - int(float(rest[1]) * dots / 4), int(float(rest[0]) * dots / 2), " ".join(rest[2:]))
            )
            continue
        for x, y in _points(kind, [float(number) for number in rest], 1 / dots):
            point(x, y)
    lines = ["".join(chr(_BRAILLE + bits) if bits else " " for bits in row) for row in cells]
    for row, column, text in words:
        if 0 <= row < high and len(text) <= wide:
            column = min(column, wide - len(text))
            lines[row] = lines[row][:column] + text + lines[row][column + len(text) :]
    inked = [number for number, line in enumerate(lines) if line.strip()]
    return [line.rstrip() for line in lines[inked[0] : inked[-1] + 1]]


def _points(kind: str, at: list[float], step: float) -> list[tuple[float, float]]:
    if kind in ("c", "a"):
        x, y, r = at[:3]
        begin, end = (0.0, 360.0) if kind == "c" else (at[3], at[4])
        count = max(8, int(math.radians(end - begin) * r / step))
        turns = [math.radians(begin + (end - begin) * i / count) for i in range(count + 1)]
        return [(x + r * math.cos(turn), y + r * math.sin(turn)) for turn in turns]
    corners = list(zip(at[::2], at[1::2], strict=True))
    found: list[tuple[float, float]] = []
    for (x1, y1), (x2, y2) in pairwise(corners):
        count = max(1, int(math.hypot(x2 - x1, y2 - y1) / step))
        found += [(x1 + (x2 - x1) * i / count, y1 + (y2 - y1) * i / count) for i in range(count + 1)]
    if kind == "m":
        (x1, y1), (x2, y2) = corners
        size = math.hypot(x2 - x1, y2 - y1) or 1.0
        across, along = (y2 - y1) / size, (x2 - x1) / size
        for x, y in corners:
            found += _points("l", [x - 3 * across, y + 3 * along, x + 3 * across, y - 3 * along], step)
    return found
