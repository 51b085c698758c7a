"""The picture of a shot: from the side for a throw, from above for a slide, drawn row by row in braille dots."""

from __future__ import annotations

from typing import ClassVar

import numpy as np
from rich.segment import Segment
from rich.style import Style
from textual.geometry import Size
from textual.strip import Strip

from fieldtune.console.widgets import side_view as parts
from fieldtune.console.widgets.braille import Canvas, View
from fieldtune.console.widgets.side_view import (
    BAND,
    EDGE,
    ELEMENT,
    FLOOR,
    FREE,
    NOW,
    PATH,
    ROBOT,
    TARGET,
    Scene,
    body_length,
    draw_flight,
)
from fieldtune.console.widgets.text_block import CachedWidget


def draw_slide(scene: Scene, rows: int, columns: int) -> Canvas:
    """The whole picture for a zone or a gate, ``rows`` x ``columns`` cells."""
    canvas = Canvas(rows, columns)
    speed_rows = 0 if rows < 9 else max(3, rows // 3)
    plan = _frame(scene, rows - speed_rows - 1, columns)
    _ground(canvas, plan, scene, rows - speed_rows - 1)
    if scene.picture is not None and len(scene.picture.x) > 1:
        _run(canvas, plan, scene)
        if speed_rows:
            _speeds(canvas, plan, scene, rows - speed_rows, speed_rows)
    return canvas


def _frame(scene: Scene, rows: int, columns: int) -> View:
    """Scale of the plan: the lane's middle line (side 0) in the middle row."""
    distance = scene.distance_m or 1.0
    back = body_length(scene.robot) + 0.06
    right = distance + scene.target.opening[0] / 2 + 0.15
    if scene.picture is not None and scene.picture.end_high_m is not None:
        right = max(right, min(scene.picture.end_high_m, 1.5 * distance + 0.5) + 0.1)
    wide = max(scene.target.opening[-1], body_length(scene.robot)) + 0.1
    scale = min((2 * columns - 1) / (back + right), (4 * rows - 2) / wide)
    spare = (2 * columns - 1) / scale - (back + right)
    return View(-back - spare / 2, -(4 * rows - 1) / (2 * scale), scale, 4 * rows)


def _ground(canvas: Canvas, view: View, scene: Scene, scale_row: int) -> None:
    """The robot's box from above, the zone or gate, and the distance scale under the plan."""
    length, target = body_length(scene.robot), scene.target
    half = length / 2
    _box(canvas, view, ROBOT, -length, -0.01, half)
    size = scene.robot.element.extent / 2
    canvas.line(ROBOT, view.column(np.array([-0.5 * length, -0.01])), view.row(np.array([size, size])))
    canvas.line(ROBOT, view.column(np.array([-0.5 * length, -0.01])), view.row(np.array([-size, -size])))
    right = view.left_m + 2 * canvas.columns / view.dots_per_m
    every = next((step for step in (0.5, 1, 2, 5, 10, 20, 50) if step * view.dots_per_m >= 16), 100.0)
    for metres in np.arange(0.0, right, every):
        canvas.write(scale_row, int(float(view.column(metres)) / 2), f"╵{metres:g} m", FLOOR)
    if scene.distance_m is None:
        return
    shape = target.outline(scene.distance_m)
    for line in shape.lines:
        x, y = np.array(line).T
        canvas.line(TARGET, view.column(x), view.row(y))
        _fill(canvas, view, shape.free[0], shape.free[1], target.width / 2, FREE)
    for line in shape.edges:
        x, y = np.array(line).T
        canvas.line(TARGET, view.column(x), view.row(y), gap=3)
    for x, y in shape.marks:
        canvas.circle(TARGET, float(view.column(x)), float(view.row(y)), 2.0)


def _run(canvas: Canvas, view: View, scene: Scene) -> None:
    """The middle line of the slide, where 90 % of slides end, and the element at the middle end."""
    picture = scene.picture
    if picture is None:
        return
    radius = scene.robot.element.extent / 2
    if picture.end_low_m is not None and picture.end_high_m is not None:
        _fill(canvas, view, picture.end_low_m, picture.end_high_m, radius, BAND)
        for end in (picture.end_low_m, picture.end_high_m):
            canvas.line(EDGE, view.column(np.full(2, end)), view.row(np.array([-1.6, 1.6]) * radius), gap=2)
    ends = np.array([picture.x[0], picture.x[-1]])
    canvas.line(PATH, view.column(ends), view.row(np.zeros(2)), gap=2)
    if scene.now is not None and len(scene.now.x) > 1:
        canvas.circle(NOW, float(view.column(scene.now.x[-1])), float(view.row(0.0)), radius * view.dots_per_m)
    at = ends[1] if scene.flown is None else ends[0] + min(scene.flown, 1.0) * (ends[1] - ends[0])
    canvas.circle(ELEMENT, float(view.column(at)), float(view.row(0.0)), max(1.5, radius * view.dots_per_m))


def _speeds(canvas: Canvas, view: View, scene: Scene, first_row: int, rows: int) -> None:
    """Speed over the same distance scale; its height is not to scale, so the numbers are written beside it."""
    picture = scene.picture
    if picture is None:
        return
    top = float(np.nanmax(picture.speed))
    if not np.isfinite(top) or top <= 0:
        return
    dot = 4 * (first_row + rows) - 1 - picture.speed / top * (4 * rows - 3)
    canvas.line(PATH, view.column(picture.x), dot)
    canvas.line(FLOOR, np.array([0.0, 2.0 * canvas.columns]), np.full(2, 4.0 * (first_row + rows) - 1), gap=2)
    canvas.write(first_row, int(float(view.column(0.0)) / 2) - 9, f"{picture.speed[0]:.2f} m/s", PATH)
    end = int(float(view.column(picture.x[-1])) / 2)
    canvas.write(first_row + rows - 2, end + 1, f"{picture.speed[-1]:.2f} m/s", PATH)


def _box(canvas: Canvas, view: View, layer: int, left: float, right: float, half: float) -> None:
    x = np.array([left, right, right, left, left])
    canvas.line(layer, view.column(x), view.row(np.array([-half, -half, half, half, -half])))


def _fill(canvas: Canvas, view: View, left: float, right: float, half: float, tint: int) -> None:
    c0, c1 = np.rint(view.column(np.array([left, right])) / 2).astype(int)
    r0, r1 = np.floor(view.row(np.array([half, -half])) / 4).astype(int)
    canvas.tint[max(r0, 0) : max(r1 + 1, 0), max(c0, 0) : max(c1, c0 + 1, 0)] = tint


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
        draw = self._scene.target.by_way(lambda: draw_flight, lambda: draw_slide)
        return paint(draw(self._scene, size.height, size.width), *self._styles())

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
