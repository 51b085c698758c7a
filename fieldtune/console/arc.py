"""The picture of the shot, drawn line by line for people who would rather look than read."""

from __future__ import annotations

from itertools import groupby
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Size
from textual.strip import Strip
from textual.widget import Widget

from fieldtune.console import scene as parts
from fieldtune.console.braille import Canvas
from fieldtune.console.lane import draw_slide
from fieldtune.console.scene import Scene, draw_flight

_LAYERS = {
    0: "arc--floor",
    parts.FLOOR: "arc--floor",
    parts.ROBOT: "arc--robot",
    parts.TARGET: "arc--target",
    parts.EDGE: "arc--edge",
    parts.NOW: "arc--now",
    parts.PATH: "arc--path",
    parts.ELEMENT: "arc--element",
}
_TINTS = {parts.BAND: "arc--band", parts.FREE: "arc--free"}


class ArcView(Widget):
    """Path, its 90 % band, robot and target to scale, on Textual's line API.

    ``show`` takes a new scene; the strips are made once a change, not once a line.
    """

    COMPONENT_CLASSES: ClassVar[set[str]] = {*_LAYERS.values(), *_TINTS.values()}

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._scene: Scene | None = None
        self._strips: list[Strip] = []
        self._made_for: object = None

    def show(self, scene: Scene) -> None:
        """Draw this scene from now on; nothing is repainted when it is the one already shown."""
        if scene is not self._scene:
            self._scene = scene
            self._made_for = None
            self.refresh()

    def notify_style_update(self) -> None:
        """A new theme: draw again in its colours."""
        super().notify_style_update()
        self._made_for = None

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
        draw = draw_slide if self._scene.target.on_floor else draw_flight
        return paint(draw(self._scene, size.height, size.width), *self._styles())

    def _styles(self) -> tuple[dict[int, Style], dict[int, Style]]:
        inks = {layer: self.get_component_rich_style(name) for layer, name in _LAYERS.items()}
        tints = {tint: Style(bgcolor=self.get_component_rich_style(name).bgcolor) for tint, name in _TINTS.items()}
        return inks, tints


def paint(canvas: Canvas, inks: dict[int, Style], tints: dict[int, Style]) -> list[Strip]:
    """Strips of a canvas: neighbouring cells of one style become one segment."""
    bits, top = canvas.compose()
    glyphs = [[chr(0x2800 + bit) if bit else " " for bit in row] for row in bits.tolist()]
    layers, shades = top.tolist(), canvas.tint.tolist()
    for label in canvas.labels:
        span = slice(label.column, label.column + len(label.text))
        glyphs[label.row][span] = list(label.text)
        layers[label.row][span] = [label.layer] * len(label.text)
    styles: dict[tuple[int, int], Style] = {}
    strips = []
    for characters, inks_row, shades_row in zip(glyphs, layers, shades, strict=True):
        segments = []
        at = 0
        for key, run in groupby(zip(inks_row, shades_row, strict=True)):
            length = sum(1 for _ in run)
            style = styles.get(key)
            if style is None:
                base = inks[key[0]]
                style = styles[key] = base + tints[key[1]] if key[1] else base
            segments.append(Segment("".join(characters[at : at + length]), style))
            at += length
        strips.append(Strip(segments, canvas.columns))
    return strips
