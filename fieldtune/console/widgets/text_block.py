"""What every screen is made of: text and key bars that are painted again only when they change.

Each partial repaint asks every widget in the neighbourhood for its rows; most of them have not changed.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from textual.binding import Binding
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.events import MouseMove
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.style import Style
from textual.widget import Widget
from textual.widgets import Static

from fieldtune.plain_text import printable


class CachedWidget(Widget):
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


class Rows(Vertical, CachedWidget):
    """Widgets one below the other."""


class Columns(Horizontal, CachedWidget):
    """Widgets side by side."""


Part = str | tuple[str, str]


def assemble(parts: Iterable[Part]) -> Content:
    """Text and (text, style) pairs as content; nothing in the text is ever read as markup, or obeyed by a terminal."""
    return Content.assemble(
        *(_harmless(part) if isinstance(part, str) else (_harmless(part[0]), part[1]) for part in parts)
    )


def _harmless(text: str) -> str:
    return "\n".join(map(printable, text.split("\n")))


class TextBlock(Static, CachedWidget):
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


class KeyBar(CachedWidget):
    """The keys of a screen with their plain names; a click does the same as the key.

    A row keeps its first keys and the last two (all keys, quit) where the window is too narrow for all of them. What a
    key does is said in full where the mouse rests on it.
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

    def on_mouse_move(self, event: MouseMove) -> None:
        """The tooltip of the key under the mouse."""
        key = event.style.meta.get("key")
        told = {binding.key: binding.tooltip for row in self.rows for binding in row}
        said = told.get(str(key)) or None
        if said != self.tooltip:
            self.tooltip = said

    def _fitting(self, row: list[Binding]) -> list[Binding]:
        kept = list(row)
        last = 3 if any(b.action == "find" for b in kept) else 2
        while len(kept) > 1 and sum(len(_name(b)) + 2 for b in kept) - 2 > self.size.width:
            del kept[-last - 1 if len(kept) > last + 1 else -2]
        return kept


def _shown(rows: Iterable[Iterable[Binding]]) -> list[list[Binding]]:
    return [[binding for binding in row if binding.show] for row in rows]


def _name(binding: Binding) -> str:
    return f"{binding.key_display or binding.key} {binding.description}"


def _named(binding: Binding) -> Content:
    shown, key = binding.key_display or binding.key, binding.key.split(",")[0]
    name = Content.from_markup(f"[@click=app.simulate_key({key!r})][b $act]{shown}[/] {binding.description}[/]")
    return name.stylize(Style.from_meta({"key": binding.key}))
