"""Every key on one page."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll

from fieldtune.console import keys
from fieldtune.console.screens import NAMES, screen_class
from fieldtune.console.screens.base import ConsoleScreen
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


class HelpScreen(ConsoleScreen):
    """All keys with what they do, made from the bindings themselves, so that the page can't be out of date."""

    TITLE_WORDS = "Help"
    AUTO_FOCUS = "#help-scroll"

    def compose_body(self) -> ComposeResult:
        with _Scroll(id="help-scroll"):
            yield TextBlock(*columns(self._groups(own=False)), id="help-columns")
            yield TextBlock(*details(self._groups()), id="help-page")

    def _groups(self, own: bool = True) -> list[tuple[str, list[Row]]]:
        """The keys in groups; ``own``: also those of single screens, whose key bars show them anyway."""
        groups = [group for group in keys.GROUPS if self.controller.simulated or group[0] != "Simulated robot"]
        groups = [(title, [*bound, *keys.ROBOTS] if title == "Always" else bound) for title, bound in groups]
        found = [screen_class(name) for name in NAMES] if own else []
        groups += [(f"On screen {one.TITLE_WORDS}", one.OWN) for one in found if one.OWN]
        return [(title, rows(bindings)) for title, bindings in groups]


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


def columns(groups: list[tuple[str, list[Row]]], across: int = 3, wide: int = 26) -> list[Part]:
    """All keys with their names side by side, so that the whole keyboard fits the smallest window."""
    lines: list[tuple[str, str]] = []
    for title, bound in groups:
        lines.append((title, ""))
        lines += [(f"  {key}", name) for key, name, _ in bound]
    high = -(-len(lines) // across)
    parts: list[Part] = []
    for row in range(high):
        for key, name in lines[row::high]:
            if not name:
                parts.append((f"{key:<{wide}}", "bold $act"))
            else:
                parts += [(f"{key:<8}", "bold $ink"), (f"{name:<{wide - 8}}", "$ink")]
        parts.append("\n")
    return [*parts, ("\nThe space bar does nothing, anywhere. ↓ for what each key does\n", "$quiet")]


def details(groups: list[tuple[str, list[Row]]]) -> list[Part]:
    """What each key does, one a line."""
    parts: list[Part] = []
    for title, bound in groups:
        parts.append((f"{title}\n", "bold $act"))
        for key, name, does in bound:
            parts += [(f"  {key:<5}", "bold $ink"), (f"{name:<18}", "$ink"), (f"{does}\n", "$quiet")]
    return parts
