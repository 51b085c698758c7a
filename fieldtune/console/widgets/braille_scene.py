"""A scene in braille dots: to one scale, the floor's distances below it, a slide's speed below those."""

from __future__ import annotations

import numpy as np

from fieldtune.arrays import FloatArray
from fieldtune.console.widgets.braille import Canvas, View
from fieldtune.console.widgets.painting import BAND, FILL, GOOD
from fieldtune.scene import Area, Circle, Part, Scene

FLOOR, ROBOT, TARGET, EDGE, GHOST, NOW, PATH, ELEMENT = 1, 2, 3, 4, 5, 6, 7, 8
"""Layers of dots; a higher one gives a cell its colour."""
INKS = ("rule", "rule", "quiet", "mark", "path", "quiet", "act", "path", "act")
"""Name of each layer's ink, by its number."""
KEEPS = frozenset({EDGE, PATH})
"""Layers whose cells keep their tint."""
FLAT = frozenset({EDGE})
"""Layers that are drawn only where there are no tints to tell the same."""
_LAYERS: dict[Part, int] = {
    "robot": ROBOT, "target": TARGET, "opening": TARGET, "edge": EDGE, "ghost": GHOST, "now": NOW,
    "path": PATH, "element": ELEMENT,
}  # fmt: skip
_TINTS: dict[Part, int] = {"band": BAND, "filled": FILL, "filled well": GOOD}
_GAPS: dict[Part, int] = {"opening": 3, "edge": 2, "ghost": 4, "now": 3}
"""Every how many dots a line has one: a shape beside the colour."""
_GAPS_ABOVE: dict[Part, int] = {"opening": 3, "edge": 2, "path": 2}
_LEAST_RADIUS = 1.5
_STEPS = (0.5, 1, 2, 5, 10, 20, 50)


def draw(scene: Scene, rows: int, columns: int) -> Canvas:
    """The whole picture on ``rows`` x ``columns`` cells."""
    canvas = Canvas(rows, columns)
    view = frame(scene, rows, columns)
    if scene.from_above:
        speed_rows = _speed_rows(rows)
        _distances(canvas, view, rows - speed_rows - 1)
        if speed_rows and scene.speeds is not None:
            _speeds(canvas, view, scene.speeds, rows - speed_rows, speed_rows)
    else:
        _floor(canvas, view)
    gaps = _GAPS_ABOVE if scene.from_above else _GAPS
    for shape in scene.shapes:
        if isinstance(shape, Area):
            _tint(canvas, view, shape)
        elif isinstance(shape, Circle):
            _circle(canvas, view, shape)
        else:
            thick = shape.part == "path"  # it has to read as one line
            canvas.line(
                _LAYERS[shape.part], view.column(shape.x), view.row(shape.y), gap=gaps.get(shape.part, 1), thick=thick
            )
    if scene.note is not None:
        x, y, words = scene.note
        row = min(max(0, int(float(view.row(y)) // 4)), view.dot_rows // 4 - 1)
        canvas.write(row, int(float(view.column(x)) / 2) + 2, words, PATH)
    _key(canvas, scene)
    return canvas


_MEANS: tuple[tuple[Part, str, int, str], ...] = (
    ("path", "━", PATH, "path"),
    ("band", "▒", EDGE, "90 % of shots"),
    ("now", "┄", NOW, "at the speed now"),
    ("ghost", "·", GHOST, "last shot"),
)


def _key(canvas: Canvas, scene: Scene) -> None:
    """What the lines mean, in the top row, as far as there is room."""
    there, at = {shape.part for shape in scene.shapes}, 1
    if canvas.rows < 12:
        return
    for part, shape, layer, words in _MEANS:
        if part in there and at + len(words) + 2 <= canvas.columns:
            canvas.write(0, at, shape, layer)
            canvas.write(0, at + 2, words, ROBOT)
            at += len(words) + 5


def frame(scene: Scene, rows: int, columns: int) -> View:
    """The scale at which everything fits: floor at the bottom, or the lane's middle line in the middle."""
    wide, high, dot_columns = scene.right - scene.left, scene.high - scene.low, 2 * columns
    if scene.from_above:
        dot_rows = 4 * (rows - _speed_rows(rows) - 1)
        scale = min((dot_columns - 1) / wide, (dot_rows - 2) / high)
        bottom = -(dot_rows - 1) / (2 * scale)
    else:
        dot_rows = 4 * rows
        scale = min((dot_columns - 1) / wide, (dot_rows - 6) / high)
        bottom = scene.low - 4.5 / scale
    spare = (dot_columns - 1) / scale - wide
    return View(scene.left - spare / 2, bottom, scale, dot_rows)


def _speed_rows(rows: int) -> int:
    """Rows below the plan of a slide that show its speed; none where there is little room."""
    return 0 if rows < 9 else max(3, rows // 3)


def _circle(canvas: Canvas, view: View, shape: Circle) -> None:
    layer, radius = _LAYERS[shape.part], shape.radius * view.dots_per_m
    if shape.part == "element" or not shape.radius:
        radius = max(_LEAST_RADIUS, radius)
    canvas.circle(layer, float(view.column(shape.x)), float(view.row(shape.y)), radius)
    if shape.part == "element" and view.dot_rows == 4 * canvas.rows:  # in flight it is seen as a ball, not as a ring
        canvas.circle(layer, float(view.column(shape.x)), float(view.row(shape.y)), radius / 2)


def _tint(canvas: Canvas, view: View, shape: Area) -> None:
    """Every half-cell whose middle lies between the edges, at least one a column; at least one column."""
    if not len(shape.x):
        return
    centres = view.left_m + (2 * np.arange(canvas.columns) + 0.5) / view.dots_per_m
    if not ((centres >= shape.x[0]) & (centres <= shape.x[-1])).any():
        centres[int(np.argmin(np.abs(centres - (shape.x[0] + shape.x[-1]) / 2)))] = shape.x[0]
    low, high = (np.interp(centres, shape.x, edge, left=np.nan, right=np.nan) for edge in (shape.low, shape.high))
    known = np.isfinite(low) & np.isfinite(high)
    top = np.where(known, view.row(np.nan_to_num(high)) / 2, 1e6)
    bottom = np.where(known, view.row(np.nan_to_num(low)) / 2, -1e6)
    half, first = np.arange(2 * canvas.rows)[:, None], np.rint(top)
    inside = (half >= first) & (half < np.maximum(np.rint(bottom), first + 1)) & (half < view.dot_rows // 2)
    canvas.tint[inside] = _TINTS[shape.part]


def _floor(canvas: Canvas, view: View) -> None:
    """Floor line with a tick each metre from the exit, and the distance written at some of them."""
    canvas.line(FLOOR, np.array([0.0, 2.0 * canvas.columns]), view.row(np.zeros(2)))
    for metres in _marks(canvas, view):
        column = float(view.column(metres))
        canvas.line(FLOOR, np.array([column, column]), view.row(0.0) + np.array([0.0, 2.0]))
        text = f"{metres:g} m"
        if column / 2 + len(text) < canvas.columns:
            canvas.write(canvas.rows - 1, int(column / 2) + 1, text, FLOOR)


def _distances(canvas: Canvas, view: View, row: int) -> None:
    for metres in _marks(canvas, view):
        canvas.write(row, int(float(view.column(metres)) / 2), f"╵{metres:g} m", FLOOR)


def _marks(canvas: Canvas, view: View) -> FloatArray:
    """Distances (m) that are marked, as many as there is room for."""
    every = next((step for step in _STEPS if step * view.dots_per_m >= 16), 100.0)
    return np.arange(0.0, view.left_m + 2 * canvas.columns / view.dots_per_m, every)


def _speeds(canvas: Canvas, view: View, speeds: tuple[FloatArray, FloatArray], first_row: int, rows: int) -> None:
    """Speed over the same distance scale; its height is not to scale, so the numbers are written beside it."""
    x, speed = speeds
    top = float(np.nanmax(speed))
    if not np.isfinite(top) or top <= 0:
        return
    canvas.line(PATH, view.column(x), 4 * (first_row + rows) - 1 - speed / top * (4 * rows - 3))
    canvas.line(FLOOR, np.array([0.0, 2.0 * canvas.columns]), np.full(2, 4.0 * (first_row + rows) - 1), gap=2)
    canvas.write(first_row, int(float(view.column(0.0)) / 2) - 9, f"{speed[0]:.2f} m/s", PATH)
    end = int(float(view.column(x[-1])) / 2)
    canvas.write(first_row + rows - 2, end + 1, f"{speed[-1]:.2f} m/s", PATH)
