"""The picture of the shot, drawn line by line for people who would rather look than read."""

from __future__ import annotations

from typing import ClassVar

import numpy as np
from rich.segment import Segment
from rich.style import Style
from textual.geometry import Size
from textual.strip import Strip

from fieldtune.console.widgets import braille as parts
from fieldtune.console.widgets.braille import Canvas
from fieldtune.console.widgets.text_block import CachedWidget
from fieldtune.scene import Scene

_LAYERS = {
    0: "path--floor",
    parts.FLOOR: "path--floor",
    parts.ROBOT: "path--robot",
    parts.TARGET: "path--target",
    parts.EDGE: "path--edge",
    parts.NOW: "path--now",
    parts.PATH: "path--path",
    parts.ELEMENT: "path--element",
}
_SHADES = 16  # more than there are tints
_BRAILLE = 0x2800
_TINTS = {parts.BAND: "path--band", parts.FREE: "path--free"}


class PathView(CachedWidget):
    """Path, its 90 % band, robot and target to scale, on Textual's line API.

    ``show`` takes a new scene; the strips are made once a change, not once a line.
    """

    COMPONENT_CLASSES: ClassVar[set[str]] = {*_LAYERS.values(), *_TINTS.values()}

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._scene: Scene | None = None
        self._strips: list[Strip] = []
        self._made_for: Size | None = None
        self._inks: tuple[dict[int, Style], dict[int, Style]] | None = None

    def show(self, scene: Scene) -> None:
        """Draw this scene from now on; nothing is repainted when it is the one already shown."""
        if scene is not self._scene:
            self._scene = scene
            self._made_for = None
            self.refresh()

    def notify_style_update(self) -> None:
        """A new theme: draw again in its colours."""
        super().notify_style_update()
        self._made_for = self._inks = None

    def render_line(self, y: int) -> Strip:
        """One row of cells."""
        size = self.size
        if self._made_for != size:
            self._strips = self._make(size)
            self._made_for = size
        return self._strips[y] if y < len(self._strips) else Strip.blank(size.width, self.rich_style)

    def _make(self, size: Size) -> list[Strip]:
        if self._scene is None or size.width < 8 or size.height < 3:
            return [Strip.blank(size.width, self.rich_style)] * size.height
        return paint(parts.draw(self._scene, size.height, size.width), *self._styles())

    def _styles(self) -> tuple[dict[int, Style], dict[int, Style]]:
        if self._inks is None:
            inks = {layer: self.get_component_rich_style(name) for layer, name in _LAYERS.items()}
            tints = {tint: Style(bgcolor=self.get_component_rich_style(name).bgcolor) for tint, name in _TINTS.items()}
            self._inks = inks, tints
        return self._inks


def paint(canvas: Canvas, inks: dict[int, Style], tints: dict[int, Style]) -> list[Strip]:
    """Strips of a canvas: neighbouring cells of one style become one segment."""
    bits, layers = canvas.compose()
    glyphs = np.where(bits > 0, bits + _BRAILLE, ord(" "))
    for label in canvas.labels:
        span = slice(label.column, label.column + len(label.text))
        glyphs[label.row, span] = [ord(character) for character in label.text]
        layers[label.row, span] = label.layer
    keys = layers * _SHADES + canvas.tint
    styles = {key: _style(key, inks, tints) for key in np.unique(keys).tolist()}
    strips = []
    for row, text in zip(keys, glyphs.astype("<u4"), strict=True):
        characters = text.tobytes().decode("utf-32-le")
        starts = [0, *(np.flatnonzero(row[1:] != row[:-1]) + 1).tolist()]
        runs = zip(starts, [*starts[1:], canvas.columns], row[starts].tolist(), strict=True)
        strips.append(Strip([Segment(characters[a:b], styles[key]) for a, b, key in runs], canvas.columns))
    return strips


def _style(key: int, inks: dict[int, Style], tints: dict[int, Style]) -> Style:
    """Ink and tint of a cell."""
    layer, tint = divmod(key, _SHADES)
    return inks[layer] + tints[tint] if tint else inks[layer]
