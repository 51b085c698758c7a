"""What views with pictures have in common: pictures beside their words, or one after the other in a small window."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, VerticalScroll

from fieldtune.charts.chart import Chart
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.widgets.pictures import Pictures

_BIG = (116, 36)
"""Columns and rows from which pictures and words stand side by side."""


def turn_key(view: str) -> Binding:
    """The key that turns to the next picture, or to the words, of that view."""
    return Binding("tab", "turn(1)", "Next picture", tooltip="The next picture, and then the words", id=f"{view}-turn",
                   key_display="Tab")  # fmt: skip


def scroll_keys(view: str) -> list[Binding]:
    """The keys that turn back, in a small window from the first picture to the words, and move long words."""
    return [
        Binding("shift+tab", "turn(-1)", "Back", tooltip="The picture before, and before the first the words",
                id=f"{view}-turn-back", show=False),
        Binding("pagedown", "scroll_words(1)", "More", tooltip="More of the words", id=f"{view}-words-more",
                key_display="PgDn", show=False),
        Binding("pageup", "scroll_words(-1)", "Back up", tooltip="Back up in the words", id=f"{view}-words-up",
                show=False),
    ]  # fmt: skip


class _Words(VerticalScroll, inherit_bindings=False):
    """Words that may be longer than the window: a scroll bar marks it."""


class PicturedScreen(ConsoleScreen):
    """Pictures and words. Subclasses give the words' widgets and call ``show_pictures`` with their charts."""

    WORDS_FIRST = False
    """Whether a small window begins with the words."""

    def __init__(self) -> None:
        super().__init__()
        self._page = 0

    def compose_body(self) -> ComposeResult:
        with Horizontal(classes="pictured"):
            yield Pictures(id="pictures", columns=2)
            with _Words(id="picture-words", can_focus=False):
                yield from self.compose_words()

    def compose_words(self) -> ComposeResult:
        """The words beside the pictures."""
        yield from ()

    @property
    def side_by_side(self) -> bool:
        """Whether there is room for pictures beside words."""
        return self.size.width >= _BIG[0] and self.size.height >= _BIG[1]

    def show_pictures(self, *charts: Chart | None) -> None:
        """Shows these pictures, and words or pictures where there isn't room for both."""
        pictures, words = self.query_one("#pictures", Pictures), self.query_one("#picture-words")
        shown = [chart for chart in charts if chart is not None]
        page = self._page
        if self.side_by_side:
            words.display, pictures.display = True, bool(shown)
            words.set_class(not shown, "-alone")
        else:
            page = (page - (self.WORDS_FIRST or self.small)) % (len(shown) + 1)
            words.display, pictures.display = page == len(shown), page < len(shown)
            words.set_class(True, "-alone")
        pictures.show(*shown, page=page)

    def action_turn(self, by: int) -> None:
        """The next or last picture, or the words."""
        self._page += by
        self.controller.show()

    def action_scroll_words(self, by: int) -> None:
        """Half a window of words up or down."""
        words = self.query_one("#picture-words", _Words)
        words.scroll_relative(y=by * max(1, words.size.height // 2), animate=False)
