"""One typed line at the bottom of the screen; what can't be read is explained and may be corrected at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar, Generic, TypeVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.events import Key
from textual.screen import ModalScreen
from textual.widgets import Input

from fieldtune.console.widgets.text_block import TextBlock
from fieldtune.errors import FieldtuneError

T = TypeVar("T")


class EntryLine(ModalScreen[T | None], Generic[T]):
    """Asks for one line and hands back what ``read`` makes of it, or ``None`` when left with Esc."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Back", tooltip="Leave without changing anything", id="entry-leave")
    ]

    def __init__(self, question: str, read: Callable[[str], T], unit: str = "", value: str = "") -> None:
        super().__init__()
        self._question, self._read, self._unit, self._value = question, read, unit, value
        self._early: list[Key] = []

    def compose(self) -> ComposeResult:
        with Vertical(id="entry"):
            yield TextBlock((self._question, "bold $act"), id="entry-question")
            yield Input(self._value, id="entry-line", compact=True, select_on_focus=False)
            yield TextBlock((f"{self._unit}   Enter: take it   Esc: back".strip(), "$quiet"), id="entry-hint")

    def on_mount(self) -> None:
        """Write down what was typed before there was a line to write on."""
        early, self._early = self._early, []
        for event in early:
            self.take(event)

    def take(self, event: Key) -> bool:
        """A key that was typed while the line opened, as by fast hands on a slow laptop; whether it was taken."""
        typed = event.character if event.is_printable else None
        if typed is None and event.key != "enter":
            return False
        if not self.is_mounted:
            self._early.append(event)
            return True
        line = self.query_one("#entry-line", Input)
        if typed is None:
            line.post_message(Input.Submitted(line, line.value))
        else:
            line.insert_text_at_cursor(typed)
        return True

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Read the line; a mistake is explained and the line stays open."""
        try:
            self.dismiss(self._read(event.value))
        except FieldtuneError as error:
            self.query_one("#entry-hint", TextBlock).put(("✗ ", "bold $bad"), (str(error), "$bad"))

    def action_leave(self) -> None:
        """Back without an answer."""
        self.dismiss(None)


class Question(ModalScreen[bool]):
    """A yes-or-no question: y for yes, n or Esc for no."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "answer(True)", "Yes", tooltip="Do it", id="question-yes"),
        Binding("n,escape", "answer(False)", "No", tooltip="Leave everything as it is", id="question-no"),
    ]

    def __init__(self, question: str) -> None:
        super().__init__()
        self._question = question

    def compose(self) -> ComposeResult:
        with Vertical(id="entry"):
            yield TextBlock((self._question, "bold $act"), id="entry-question")
            yield TextBlock(("y", "bold $act"), " Yes   ", ("n", "bold $act"), " No", id="entry-hint")

    def action_answer(self, yes: bool) -> None:
        """Hand the answer back."""
        self.dismiss(yes)
