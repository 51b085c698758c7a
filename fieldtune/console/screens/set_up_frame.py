"""The frame of the screens before and between robots: a line on top, the screen's own body, news, keys."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.binding import Binding
from textual.screen import Screen
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from fieldtune.console import words
from fieldtune.console.widgets.text_block import KeyBar, TextBlock, assemble

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fieldtune.console.start_app import StartApp
    from fieldtune.console.widgets.text_block import Part


class SetUpFrame(Screen[Path | None]):
    """A screen of ``StartApp``. It ends with the profile that it dealt with, None where there is none."""

    OWN: ClassVar[list[list[Binding]]] = [[]]
    """Rows of the screen's own keys, as its key bar shows them."""
    AUTO_FOCUS = ""

    def __init_subclass__(cls, **more: bool) -> None:
        if "OWN" in cls.__dict__:
            cls.BINDINGS = [binding for row in cls.OWN for binding in row]
        super().__init_subclass__(**more)

    @property
    def start(self) -> StartApp:
        """The app."""
        return cast("StartApp", self.app)

    def compose(self) -> ComposeResult:
        yield TextBlock(id="top")
        yield from self.compose_body()
        yield TextBlock(id="news")
        yield KeyBar(self.OWN, id="keys")

    def compose_body(self) -> ComposeResult:
        """What is this screen's own."""
        yield from ()

    def head(self, title: str, *more: Part) -> None:
        """The line on top."""
        self.query_one("#top", TextBlock).put((title, "bold $ink"), *more)

    def say(self, text: str, bad: bool = False) -> None:
        """One line of news at the bottom."""
        said = words.printable(text)
        self.query_one("#news", TextBlock).put((f"✗ {said}", "bold $bad") if bad else (said, "$ink"))

    def action_leave(self) -> None:
        """Back to where one came from."""
        self.dismiss(None)


class ListScreen(SetUpFrame):
    """A list with a sentence on the marked row below it; Enter or a click takes that row."""

    AUTO_FOCUS = "#rows"

    def compose_body(self) -> ComposeResult:
        yield OptionList(id="rows", markup=False)
        yield TextBlock(id="about-row")

    @property
    def rows(self) -> OptionList:
        """The list."""
        return self.query_one("#rows", OptionList)

    @property
    def marked(self) -> int | None:
        """Number of the marked row, None in an empty list."""
        return self.rows.highlighted

    def put_rows(self, rows: Sequence[tuple[str, Sequence[Part]]]) -> None:
        """Shows these rows, each with a key of its own; the mark stays on its number."""
        options, marked = self.rows, self.rows.highlighted or 0
        texts = [(key, assemble(row)) for key, row in rows]
        if [option.id for option in options.options] == [key for key, _ in texts]:
            for number, (_, text) in enumerate(texts):
                options.replace_option_prompt_at_index(number, text)
            return
        options.clear_options()
        options.add_options([Option(text, id=key) for key, text in texts])
        options.highlighted = min(marked, len(texts) - 1) if texts else None

    def about(self, *parts: Part) -> None:
        """The sentence on the marked row."""
        self.query_one("#about-row", TextBlock).put(*parts)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """A click on a row."""
        event.stop()
        self.action_choose()

    def action_choose(self) -> None:
        """Takes the marked row."""
