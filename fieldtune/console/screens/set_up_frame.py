"""The frame of the screens before and between robots: a line on top, the screen's own body, news, keys."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.screen import ModalScreen, Screen
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from fieldtune.console import keys, words
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

    @property
    def keys_now(self) -> list[Binding]:
        """The keys that do something now."""
        return [binding for row in self.OWN for binding in row]

    def compose(self) -> ComposeResult:
        yield TextBlock(id="top")
        yield from self.compose_body()
        yield TextBlock(id="news")
        yield KeyBar([*self.OWN[:-1], [*self.OWN[-1], *keys.BETWEEN_ROBOTS]], id="keys")

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


class KeysPage(ModalScreen[None]):
    """What each key does, one a line; any of the keys that lead back closes it."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape,enter,f1,question_mark", "dismiss", "Back", tooltip="Back to where one was", id="page-back"),
        Binding("up", "scroll(-3)", "Up", tooltip="Read what stands above", id="page-up"),
        Binding("down", "scroll(3)", "Down", tooltip="Read what stands below", id="page-down"),
    ]

    def __init__(self, bound: list[Binding]) -> None:
        super().__init__()
        self._bound = bound

    def compose(self) -> ComposeResult:
        from fieldtune.console.screens.help import details, rows

        with VerticalScroll(id="keys-page", can_focus=False):
            yield TextBlock(*details([("Keys here  (Esc: back)", rows(self._bound))]))

    def action_scroll(self, by: int) -> None:
        """Scroll by so many lines."""
        self.query_one("#keys-page", VerticalScroll).scroll_relative(y=by, animate=False)


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
