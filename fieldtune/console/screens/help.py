"""What the keys do, where one is."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll

from fieldtune.console import keys
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.screens.main import ShootingScreen
from fieldtune.console.widgets.text_block import Part, TextBlock

Row = tuple[str, str, str]
"""Key, name, what it does."""


class _Scroll(VerticalScroll, inherit_bindings=False):
    """Scrolls up and down only: left and right are results, here as everywhere."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("up", "scroll_up", "Up", tooltip="A line up", id="help-up", show=False),
        Binding("down", "scroll_down", "Down", tooltip="A line down", id="help-down", show=False),
        Binding("pageup,home", "page_up", "Page up", tooltip="A page up", id="help-page-up", show=False),
        Binding("pagedown,end", "page_down", "Page down", tooltip="A page down", id="help-page-down", show=False),
    ]


class ReadingScreen(ConsoleScreen):
    """A page to read, about the screen from which it was opened."""

    AUTO_FOCUS = "#help-scroll"
    fits_small = True

    def compose_body(self) -> ComposeResult:
        with _Scroll(id="help-scroll"):
            yield TextBlock(*self.page(), id="help-page")

    def page(self) -> list[Part]:
        """What is to be read."""
        return []


class HelpScreen(ReadingScreen):
    """What the keys do where one was, made from the bindings themselves, so that the page can't be out of date."""

    TITLE_WORDS = "Help"

    def page(self) -> list[Part]:
        where = self.asked_on
        name = "the main screen" if where is None or not where.TITLE_WORDS else where.TITLE_WORDS
        here = [] if where is None else [*where.OWN]
        if where is None or isinstance(where, ShootingScreen):
            here += [*keys.DISTANCES[:10], keys.FOLLOW, *keys.DISTANCES[10:]]
            here += keys.SIMULATED if self.controller.simulated else []
        groups = [(f"On {name}", rows(here)), ("After a shot, on every screen", rows(keys.RESULTS))]
        return [
            ("/ finds anything by name; = says what figures mean; the space bar does nothing\n", "bold $act"),
            *details([group for group in groups if group[1]]),
            ("Views and more\n", "bold $act"),
            *columns(rows([*keys.VIEWS, *keys.ROBOTS, *keys.ALWAYS, keys.ANOTHER_PORT, *keys.TAKING])),
        ]


def rows(bindings: list[Binding]) -> list[Row]:
    """Key, name and meaning of each binding; spots share one row, and so do keys of one name."""
    found: list[Row] = []
    for binding in bindings:
        if found and found[-1][1] == binding.description:
            continue
        if not binding.action.startswith("spot("):
            shown = binding.key_display or binding.key.split(",")[0]
            found.append((shown, binding.description, binding.tooltip))
        elif binding.key == "1":
            found.append(("1–9", "Spot", "Shoot from the named spot of that number"))
    return found


def columns(bound: list[Row], wide: int = 26) -> list[Part]:
    """Keys with their names only, side by side."""
    across, parts = 3, list[Part]()
    high = -(-len(bound) // across)
    for row in range(high):
        for key, name, _ in bound[row::high]:
            parts += [(f"  {key:<6}", "bold $ink"), (f"{name:<{wide - 8}}", "$ink")]
        parts.append("\n")
    return parts


def details(groups: list[tuple[str, list[Row]]]) -> list[Part]:
    """What each key does, one a line."""
    parts: list[Part] = []
    for title, bound in groups:
        parts.append((f"{title}\n", "bold $act"))
        for key, name, does in bound:
            parts += [(f"  {key:<5}", "bold $ink"), (f"{name:<17} ", "$ink"), (f"{does}\n", "$quiet")]
    return parts
