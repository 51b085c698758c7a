"""A drawing surface of braille dots, four rows and two columns in every cell, and a scene drawn on it.

Dots are square on screens whose cells are twice as high as wide, so that one scale serves both axes. Nothing here
knows about Textual or colours: a layer is a number, and what it looks like is the widget's business.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from fieldtune.arrays import FloatArray, IntArray
from fieldtune.console.widgets.tints import BAND, FILL, GOOD
from fieldtune.frozen import frozen
from fieldtune.person_units import amount, back, unit
from fieldtune.scene import Area, Circle, Part, Scene

# Unicode braille patterns (block U+2800): bit of the dot at row r, column c of a cell.
_BITS = np.array([[0x01, 0x08], [0x02, 0x10], [0x04, 0x20], [0x40, 0x80]], dtype=np.int64)


@frozen
class Label:
    """Text of our own laid over the dots, at a cell."""

    row: int
    column: int
    text: str
    layer: int


@frozen
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


# A scene in braille dots: to one scale, the floor's distances below it, a slide's speed below those.


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
    """Floor line with a tick each metre or foot from the exit, and the distance written at them."""
    canvas.line(FLOOR, np.array([0.0, 2.0 * canvas.columns]), view.row(np.zeros(2)))
    for metres, text in _marks(canvas, view):
        column = float(view.column(metres))
        canvas.line(FLOOR, np.array([column, column]), view.row(0.0) + np.array([0.0, 2.0]))
        if column / 2 + len(text) < canvas.columns:
            canvas.write(canvas.rows - 1, int(column / 2) + 1, text, FLOOR)


def _distances(canvas: Canvas, view: View, row: int) -> None:
    for metres, text in _marks(canvas, view):
        canvas.write(row, int(float(view.column(metres)) / 2), f"╵{text}", FLOOR)


def _marks(canvas: Canvas, view: View) -> list[tuple[float, str]]:
    """Distances (m) that are marked, as many as there is room for, and what is written there."""
    foot = back(1.0, "m")
    every = next((step for step in _STEPS if step * foot * view.dots_per_m >= 16), 100.0)
    end = (view.left_m + 2 * canvas.columns / view.dots_per_m) / foot
    return [(float(at) * foot, f"{at:g} {unit('m')}") for at in np.arange(0.0, end, every)]


def _speeds(canvas: Canvas, view: View, speeds: tuple[FloatArray, FloatArray], first_row: int, rows: int) -> None:
    """Speed over the same distance scale; its height is not to scale, so the numbers are written beside it."""
    x, speed = speeds
    top = float(np.nanmax(speed))
    if not np.isfinite(top) or top <= 0:
        return
    canvas.line(PATH, view.column(x), 4 * (first_row + rows) - 1 - speed / top * (4 * rows - 3))
    canvas.line(FLOOR, np.array([0.0, 2.0 * canvas.columns]), np.full(2, 4.0 * (first_row + rows) - 1), gap=2)
    canvas.write(first_row, int(float(view.column(0.0)) / 2) - 9, amount(speed[0], "m/s", 2), PATH)
    end = int(float(view.column(x[-1])) / 2)
    canvas.write(first_row + rows - 2, end + 1, amount(speed[-1], "m/s", 2), PATH)
