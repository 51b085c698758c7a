"""From a canvas to strips of cells: inks on tints, smooth edges by half-blocks, and the same without any colour.

A cell keeps its tint only under the path's ink, which has a colour of its own on each, or under nothing: every other
ink stands on plain paper. So few pairs of colours meet, and each has its contrast (``themes``).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from rich.segment import Segment
from rich.style import Style
from textual.strip import Strip

from fieldtune.arrays import IntArray
from fieldtune.console.drawing import Drawing
from fieldtune.console.painting import PICTURED

if TYPE_CHECKING:
    from fieldtune.console.widgets.braille import Canvas

BRAILLE = 0x2800
TINTS = ("paper", "fill", "band", "good", "chance1", "chance2", "chance3", "chance4", "chance5", "chance6")
"""Names of the tints, by their number; 0 is none."""
FILL, BAND, GOOD, CHANCE = 1, 2, 3, 4
"""How much of the opening scores, and that much where it is good; where 90 % run; the lowest level of hit chance."""
_TEXTURES = " ▒░▓ ░░▒▒▓"
"""What stands for a tint where there are no colours, or too few."""
_UPPER, _LOWER = 0x1B, 0xE4
"""Dots of a braille character in the upper and in the lower half of its cell."""


class Palette:
    """Styles for inks and tints by name; one palette a theme and terminal."""

    def __init__(self, colours: dict[str, str], drawing: Drawing) -> None:
        self.colours, self.drawing = colours, drawing
        self._styles: dict[tuple[str, str], Style] = {}

    def style(self, ink: str, paper: str) -> Style:
        """Ink on paper, each the name of a colour."""
        found = self._styles.get((ink, paper))
        if found is None:
            colour = self.colours.get(f"{ink}-on-{paper}", self.colours[ink])
            tinted = paper in TINTS[1:] or (ink in TINTS[1:] and ink != "good")  # ``good`` is an ink as well
            picture = {PICTURED: True} if tinted else None
            found = self._styles[ink, paper] = Style(color=colour, bgcolor=self.colours[paper], meta=picture)
        return found

    @property
    def flat(self) -> bool:
        """Whether tints have to be told by characters."""
        return self.drawing.colours != "many"


def paint(
    canvas: Canvas, inks: Sequence[str], keeps: frozenset[int], palette: Palette, flat: frozenset[int] = frozenset()
) -> list[Strip]:
    """Strips of a canvas. ``inks``: the ink's name by layer; ``keeps``: layers whose cells keep their tint.

    ``flat``: layers that are left out where there are tints.
    """
    bits, layers = canvas.compose(without=frozenset() if palette.flat else flat)
    upper, lower = canvas.tint[0::2], canvas.tint[1::2]
    inked = (bits > 0) & ~np.isin(layers, list(keeps))
    both = np.where(inked, 0, np.maximum(upper, lower))  # below dots there is one background
    glyphs, ink, paper = _glyphs(bits, palette.drawing), layers.copy(), both
    split = (bits == 0) & (upper != lower)
    if palette.flat:
        textures = np.array([ord(character) for character in _TEXTURES], dtype=np.int64)
        bare = (bits == 0) & (both > 0)
        glyphs, ink = np.where(bare, textures[both], glyphs), np.where(bare, -both - 1, ink)
        paper = np.zeros_like(both)
    elif palette.drawing.glyphs != "ascii":
        glyphs = np.where(split, ord("▄"), glyphs)
        paper = np.where(split, upper, both)
        ink = np.where(split, -lower - 1, ink)  # below zero: the ink is a tint
    for label in canvas.labels:
        span = slice(label.column, label.column + len(label.text))
        glyphs[label.row, span] = [ord(character) for character in label.text]
        ink[label.row, span], paper[label.row, span] = label.layer, 0
    return _strips(glyphs, ink, paper, inks, palette)


def _glyphs(bits: IntArray, drawing: Drawing) -> IntArray:
    """Characters of the dots."""
    if drawing.glyphs == "braille":
        return np.where(bits > 0, bits + BRAILLE, ord(" "))
    if drawing.glyphs == "ascii":  # dots stay recognisable: the filter makes them marks of ASCII
        return np.where(bits > 0, bits + BRAILLE, ord(" "))
    above, below = (bits & _UPPER) > 0, (bits & _LOWER) > 0
    return np.select([above & below, above, below], [ord("█"), ord("▀"), ord("▄")], ord(" "))


def _strips(glyphs: IntArray, ink: IntArray, paper: IntArray, inks: Sequence[str], palette: Palette) -> list[Strip]:
    """Neighbouring cells of one style become one segment."""
    keys = ink * len(TINTS) + paper
    styles: dict[int, Style] = {}
    for key in set(keys.ravel().tolist()):
        layer, tint = divmod(key, len(TINTS))
        styles[key] = palette.style(inks[layer] if layer >= 0 else TINTS[-layer - 1], TINTS[tint])
    strips, wide = [], glyphs.shape[1]
    for row, text in zip(keys, glyphs.astype("<u4"), strict=True):
        characters = text.tobytes().decode("utf-32-le")
        starts = [0, *(np.flatnonzero(row[1:] != row[:-1]) + 1).tolist()]
        runs = zip(starts, [*starts[1:], wide], row[starts].tolist(), strict=True)
        strips.append(Strip([Segment(characters[a:b], styles[key]) for a, b, key in runs], wide))
    return strips
