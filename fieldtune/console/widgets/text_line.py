"""Widgets that hand out the rows they last painted for as long as nothing about them has changed.

Each partial repaint asks every widget in the neighbourhood for its rows; most of them have not changed.
"""
# MERGED: The pieces a screen is made of: a line that repaints only when it changed, big digits, a gauge, the key bar.

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from textual.binding import Binding
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.widget import Widget
from textual.widgets import Static

from fieldtune.console.widgets.big_number import big_digits, width_of


class Still(Widget):
    """Keeps its finished rows until it is refreshed, restyled, resized or asked for another part."""

    _kept: tuple[Region, Size, list[Strip]] | None = None

    def refresh(self, *regions: Region, **what: Any) -> Any:
        """Something changed: the rows are made again when next asked for."""
        self._kept = None
        return super().refresh(*regions, **what)

    def notify_style_update(self) -> None:
        """A new theme or style."""
        self._kept = None
        super().notify_style_update()

    def render_lines(self, crop: Region) -> list[Strip]:
        """The rows of that part of the widget."""
        kept = self._kept
        if kept is None or kept[0] != crop or kept[1] != self.outer_size:
            kept = self._kept = crop, self.outer_size, super().render_lines(crop)
        return kept[2]


class Rows(Vertical, Still):
    """Widgets one below the other."""


class Columns(Horizontal, Still):
    """Widgets side by side."""


Part = str | tuple[str, str]


def assemble(parts: Iterable[Part]) -> Content:
    """Text and (text, style) pairs as content; nothing in the text is ever read as markup."""
    return Content.assemble(*parts)


class Plate(Static, Still):
    """Lines of text put together from parts; the same parts again cost nothing."""

    def __init__(self, *parts: Part, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(assemble(parts), id=id, classes=classes, markup=False)
        self.parts: tuple[Part, ...] = parts

    def put(self, *parts: Part) -> None:
        """Show these parts from now on."""
        if parts != self.parts:
            before, self.parts = self.plain, parts
            fits = _fits(before, self.plain, self.size.width)
            self.update(assemble(parts), layout=self.display and self.styles.is_auto_height and not fits)

    @property
    def plain(self) -> str:
        """What stands there, without styles."""
        return "".join(part if isinstance(part, str) else part[0] for part in self.parts)


def _fits(before: str, after: str, width: int) -> bool:
    """Whether the new text takes as many rows as the old one, so that nothing has to be laid out again."""
    old, new = before.split("\n"), after.split("\n")
    return len(old) == len(new) and max(map(len, old)) <= width and max(map(len, new)) <= width and bool(before)


class BigNumber(Still):
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


class Gauge(Still):
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

    def put(
        self,
        span: tuple[float, float] | None,
        low: float | None = None,
        high: float | None = None,
        mark: float | None = None,
        pointer: float | None = None,
    ) -> None:
        """Show these values from now on."""
        before = self._seen()
        self.span, self.low, self.high, self.mark, self.pointer = span, low, high, mark, pointer
        if self._seen() != before:
            self.refresh()

    def _seen(self) -> tuple[object, ...]:
        """What tells one picture of the gauge from another: a pointer that moves by less than a cell does not."""
        if self.span is None or self.span[1] <= self.span[0]:
            return ()
        cells = (None if v is None else self._cell(v) for v in (self.low, self.high, self.mark, self.pointer))
        beyond = self.pointer is not None and not self.span[0] <= self.pointer <= self.span[1]
        return (*cells, beyond)

    def render(self) -> Content:
        """The strip."""
        wide = self.size.width
        if self.span is None or wide < 10 or self.span[1] <= self.span[0]:
            return Content("─" * wide).stylize("$rule")
        cells = [("─", "$rule")] * wide
        if self.low is not None and self.high is not None:
            for at in range(self._cell(self.low), self._cell(self.high) + 1):
                cells[at] = ("━", "bold $good")
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


class KeyBar(Still):
    """The keys of a screen with their plain names; a click does the same as the key.

    A row keeps its first keys and the last two (all keys, quit) where the window is too narrow for all of them.
    """

    def __init__(self, rows: Iterable[Iterable[Binding]], *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.rows = _shown(rows)

    def put(self, rows: Iterable[Iterable[Binding]]) -> None:
        """Show these keys from now on, in as many rows as before."""
        self.rows = _shown(rows)
        self.refresh()

    def get_content_height(self, container: Size, viewport: Size, width: int) -> int:
        """One line a row."""
        return len(self.rows)

    def render(self) -> Content:
        """The rows, shortened to the width."""
        return Content("\n").join([Content("  ").join([_named(b) for b in self._fitting(row)]) for row in self.rows])

    def _fitting(self, row: list[Binding]) -> list[Binding]:
        kept = list(row)
        while len(kept) > 3 and sum(len(_name(b)) + 2 for b in kept) - 2 > self.size.width:
            del kept[-3]
        return kept


def _shown(rows: Iterable[Iterable[Binding]]) -> list[list[Binding]]:
    return [[binding for binding in row if binding.show] for row in rows]


def _name(binding: Binding) -> str:
    return f"{binding.key_display or binding.key} {binding.description}"


def _named(binding: Binding) -> Content:
    shown, key = binding.key_display or binding.key, binding.key.split(",")[0]
    return Content.from_markup(f"[@click=app.simulate_key({key!r})][b $act]{shown}[/] {binding.description}[/]")
