"""Widgets that hand out the rows they last painted for as long as nothing about them has changed.

Each partial repaint asks every widget in the neighbourhood for its rows; most of them have not changed.
"""

from __future__ import annotations

from typing import Any

from textual.containers import Horizontal, Vertical
from textual.geometry import Region, Size
from textual.strip import Strip
from textual.widget import Widget


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
