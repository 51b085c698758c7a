"""Pictures side by side: scenes and charts, as many as there is room for, painted only where they changed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.geometry import Region, Size
from textual.message import Message
from textual.strip import Strip

from fieldtune.charts.chart import Chart
from fieldtune.console import themes
from fieldtune.console.drawing import Drawing
from fieldtune.console.widgets import braille
from fieldtune.console.widgets.chart_view import Frame, chart_strips
from fieldtune.console.widgets.text_block import CachedWidget
from fieldtune.console.widgets.tints import Palette, paint
from fieldtune.scene import Scene

if TYPE_CHECKING:
    from textual.app import App
    from textual.events import Click, MouseMove

Drawn = Scene | Chart
_LEADS = 0.55
"""Share of the height for a picture that has a row to itself."""
WIDE, HIGH = 52, 13
"""Cells that a picture gets at least before another one is put beside or below it."""
_PALETTES: dict[tuple[str, Drawing], Palette] = {}


def palette_of(app: App[object]) -> Palette:
    """Colours of the theme that is on, as this terminal can show them."""
    drawing = getattr(app, "drawing", Drawing())
    found = _PALETTES.get((app.theme, drawing))
    if found is None:
        colours = themes.colours_of(app.theme, drawing.colours != "many")
        found = _PALETTES[app.theme, drawing] = Palette(colours, drawing)
    return found


def strips_of(picture: Drawn, rows: int, columns: int, palette: Palette) -> tuple[list[Strip], Frame | None]:
    """Strips of a picture; of a chart also where its values lie."""
    if isinstance(picture, Chart):
        return chart_strips(picture, rows, columns, palette)
    drawn = braille.draw(picture, rows, columns)
    return paint(drawn, braille.INKS, braille.KEEPS, palette, braille.FLAT), None


@dataclass(slots=True)
class _Slot:
    """One picture's place, and what was painted there."""

    region: Region
    picture: Drawn | None = None
    strips: list[Strip] | None = None
    frame: Frame | None = None


class Pictures(CachedWidget):
    """``show`` takes pictures; those that are the same objects as before cost nothing.

    Where there isn't room for all, ``page`` says which come first. ``columns``: at most so many side by side; ``lead``:
    the first has the upper half to itself.
    """

    @dataclass
    class Pointed(Message):
        """The pointer is at a value of a chart; ``pressed``: it was clicked there."""

        chart: Chart
        x: float
        y: float
        pressed: bool

    def __init__(self, *, id: str | None = None, columns: int = 3, lead: bool = False) -> None:
        super().__init__(id=id)
        self._lead = lead
        self._pictures: tuple[Drawn, ...] = ()
        self._columns = columns
        self._page = 0
        self._slots: list[_Slot] = []
        self._made_for: tuple[Size, int, int, Palette] | None = None

    @property
    def pictures(self) -> tuple[Drawn, ...]:
        """What is shown, or would be if there were room."""
        return self._pictures

    @property
    def first(self) -> Drawn | None:
        """The picture that stands first."""
        return self._pictures[self._page % len(self._pictures)] if self._pictures else None

    def show(self, *pictures: Drawn | None, page: int = 0) -> None:
        """Draw these from now on."""
        shown = tuple(picture for picture in pictures if picture is not None)
        same = page == self._page and len(shown) == len(self._pictures)
        if same and all(one is other for one, other in zip(shown, self._pictures, strict=True)):
            return
        self._pictures, self._page = shown, page
        self._paint()

    def notify_style_update(self) -> None:
        """A new theme: draw again in its colours."""
        super().notify_style_update()
        self._made_for = None

    def _paint(self) -> None:
        """Paints what changed, and asks for those rows to be shown."""
        size = self.size
        if not size.width or not size.height:
            return
        key = (size, len(self._pictures), self._page, palette_of(self.app))
        anew = key != self._made_for
        if anew:
            self._slots, self._made_for = _slots(size, len(self._pictures), self._columns, self._lead), key
        count = max(1, len(self._pictures))
        for number, slot in enumerate(self._slots):
            picture = self._pictures[(self._page + number) % count] if self._pictures else None
            if picture is slot.picture and not anew:
                continue
            before, slot.picture = slot.strips, picture
            slot.strips, slot.frame = self._strips(picture, slot.region)
            if not anew:
                self._refresh_rows(slot, before)
        if anew:
            self.refresh()

    def _strips(self, picture: Drawn | None, region: Region) -> tuple[list[Strip] | None, Frame | None]:
        if picture is None or region.width < 8 or region.height < 3:
            return None, None
        return strips_of(picture, region.height, region.width, palette_of(self.app))

    def _refresh_rows(self, slot: _Slot, before: list[Strip] | None) -> None:
        if before is None or slot.strips is None:
            self.refresh(slot.region)
            return
        changed = [y for y, (old, new) in enumerate(zip(before, slot.strips, strict=True)) if list(old) != list(new)]
        if changed:
            x, y, width, _ = slot.region
            self.refresh(*(Region(x, y + row, width, 1) for row in changed))

    def render_line(self, y: int) -> Strip:
        """One row of cells."""
        if self._made_for is None or self._made_for[0] != self.size:
            self._paint()
        paper = palette_of(self.app).style("ink", "paper")
        row, at = list[Strip](), 0
        for slot in self._slots:
            x, top, width, height = slot.region
            if not top <= y < top + height:
                continue
            if x > at:
                row.append(Strip.blank(x - at, paper))
            row.append(slot.strips[y - top] if slot.strips is not None else Strip.blank(width, paper))
            at = x + width
        if at < self.size.width:
            row.append(Strip.blank(self.size.width - at, paper))
        return Strip.join(row)

    # -- the pointer

    def on_mouse_move(self, event: MouseMove) -> None:
        """Read the value under the pointer."""
        self._point(event.x, event.y, False)

    def on_click(self, event: Click) -> None:
        """Choose the value under the pointer."""
        self._point(event.x, event.y, True)

    def _point(self, x: int, y: int, pressed: bool) -> None:
        for slot in self._slots:
            if slot.region.contains(x, y) and slot.frame is not None and isinstance(slot.picture, Chart):
                value = slot.frame.values(y - slot.region.y, x - slot.region.x)
                if value is not None:
                    self.post_message(self.Pointed(slot.picture, *value, pressed))


def _slots(size: Size, count: int, columns: int, lead: bool = False, top: int = 0) -> list[_Slot]:
    """Places for as many of ``count`` pictures as there is room for, a blank column between neighbours."""
    if not count:
        return []
    if lead:
        if count == 1 or size.height < 2 * HIGH:
            return [_Slot(Region(0, 0, size.width, size.height))]
        high = round(_LEADS * size.height)
        below = _slots(Size(size.width, size.height - high), count - 1, columns, top=high)
        return [_Slot(Region(0, 0, size.width, high)), *below]
    across = max(1, min(columns, count, size.width // WIDE))
    down = max(1, min(-(-count // across), size.height // HIGH))
    across = max(1, min(across, -(-count // down)))
    shown = min(count, across * down)
    slots, left_high = [], size.height
    for row in range(down):
        left_over = min(across, shown - row * across)
        high, left = left_high // (down - row), 0
        left_high -= high
        for column in range(left_over):
            wide = (size.width - left) // (left_over - column)
            last = column == left_over - 1
            slots.append(_Slot(Region(left, top, wide - (0 if last else 1), high)))
            left += wide
        top += high
    return slots
