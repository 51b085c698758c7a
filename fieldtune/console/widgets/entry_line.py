"""One typed line at the bottom of the screen; what can't be read is explained and may be corrected at once."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar, Generic, TypeVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.events import Key
from textual.screen import ModalScreen
from textual.widgets import Input

from fieldtune.console import words
from fieldtune.console.widgets.text_block import Part, TextBlock
from fieldtune.errors import FieldtuneError

if TYPE_CHECKING:
    from fieldtune.console.controller import Controller

T = TypeVar("T")
_WARNED_S = 0.5


def edited(text: str, at: int, event: Key) -> tuple[str, int] | None:
    """A typed text and the place of the cursor after a key; None for a key that edits nothing."""
    if event.key == "backspace":
        return text[: max(0, at - 1)] + text[at:], max(0, at - 1)
    if event.key == "delete":
        return text[:at] + text[at + 1 :], at
    places = {"left": max(0, at - 1), "right": min(len(text), at + 1), "home": 0, "end": len(text)}
    if event.key in places:
        return text, places[event.key]
    if event.is_printable and event.character:
        return text[:at] + event.character + text[at:], at + len(event.character)
    return None


class Asking(ModalScreen[T]):
    """A question at the bottom of the screen; the standing caution stays, which it would lie over."""

    def compose(self) -> ComposeResult:
        with Vertical(id="entry"):
            yield from self.compose_question()
            yield TextBlock(id="entry-caution")

    def compose_question(self) -> ComposeResult:
        """The question, and what it is answered with."""
        yield from ()

    def on_mount(self) -> None:
        """Keep the caution up to date."""
        self._warn()
        self.set_interval(_WARNED_S, self._warn)

    def _warn(self) -> None:
        controller: Controller | None = getattr(self.app, "controller", None)
        if controller is not None:
            said = words.standing_caution(controller.shooting.live, controller.robot, controller.moved_last)
            self.query_one("#entry-caution", TextBlock).put((f"⚠ {said}", "bold $act"))


class EntryLine(Asking[T | None], Generic[T]):
    """Asks for one line and hands back what ``read`` makes of it, or ``None`` when left with Esc."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "Back", tooltip="Leave without changing anything", id="entry-leave")
    ]

    def __init__(self, question: str, read: Callable[[str], T], unit: str = "", value: str = "") -> None:
        super().__init__()
        self._question, self._read, self._unit = question, read, unit
        self._text, self._at = value, len(value)
        self._error = ""
        self._arrived = False

    def compose_question(self) -> ComposeResult:
        yield TextBlock((self._question, "bold $act"), id="entry-question")
        yield Input(self._text, id="entry-line", compact=True, select_on_focus=False)
        yield TextBlock(id="entry-hint")

    def on_mount(self) -> None:
        """Show what was typed before there was a line to show it on."""
        self._arrived = True
        self._show()

    def take(self, event: Key) -> bool:
        """Acts on a key, mounted or not, as by fast hands on a slow laptop; whether it was one for this line."""
        if event.key == "enter":
            self._submit()
            return True
        if (changed := edited(self._text, self._at, event)) is None:
            return False
        self._text, self._at = changed
        self._error = ""
        self._show()
        return True

    def on_input_changed(self, event: Input.Changed) -> None:
        """Pasted text."""
        if event.value != self._text and event.input.value == event.value:
            self._text, self._at = event.value, event.input.cursor_position

    def _show(self) -> None:
        if not self._arrived:
            return
        line = self.query_one("#entry-line", Input)
        with self.prevent(Input.Changed):
            line.value = self._text
        line.cursor_position = self._at
        hint: tuple[Part, ...] = ((f"{self._unit}   Enter: take it   Esc: back".strip(), "$quiet"),)
        if self._error:
            hint = (("✗ ", "bold $bad"), (self._error, "$bad"))
        self.query_one("#entry-hint", TextBlock).put(*hint)

    def _submit(self) -> None:
        """Read the line; a mistake is explained and the line stays open."""
        try:
            found = self._read(self._text)
        except FieldtuneError as error:
            self._error, offer = str(error), getattr(error, "offer", None)
            if isinstance(offer, str):
                self._text, self._at = offer, len(offer)
            self._show()
        else:
            self.dismiss(found)

    def action_leave(self) -> None:
        """Back without an answer."""
        self.dismiss(None)


class Question(Asking[bool]):
    """A yes-or-no question: y for yes, n or Esc for no."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y", "answer(True)", "Yes", tooltip="Do it", id="question-yes"),
        Binding("n,escape", "answer(False)", "No", tooltip="Leave everything as it is", id="question-no"),
    ]

    def __init__(self, question: str) -> None:
        super().__init__()
        self._question = question

    def compose_question(self) -> ComposeResult:
        yield TextBlock((self._question, "bold $act"), id="entry-question")
        yield TextBlock(("y", "bold $act"), " Yes   ", ("n", "bold $act"), " No", id="entry-hint")

    def action_answer(self, yes: bool) -> None:
        """Hand the answer back."""
        self.dismiss(yes)


class LeaveQuestion(Asking[bool | None]):
    """Before the console ends with something open: y keeps it, n discards it, Esc stays."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("y,enter", "answer(True)", "Keep", tooltip="Quit, and keep what is open", id="leave-keep"),
        Binding("n", "answer(False)", "Discard", tooltip="Quit, and discard what is open", id="leave-discard"),
        Binding("escape", "answer(None)", "Stay", tooltip="Don't quit", id="leave-stay"),
    ]

    def __init__(self, question: str, keep: str = "Keep and quit", discard: str = "Discard and quit") -> None:
        super().__init__()
        self._question, self._keep, self._discard = question, keep, discard

    def compose_question(self) -> ComposeResult:
        yield TextBlock((self._question, "bold $act"), id="entry-question")
        keys = ("y", "bold $act"), f" {self._keep}   ", ("n", "bold $act"), f" {self._discard}   "
        yield TextBlock(*keys, ("Esc", "bold $act"), " Stay", id="entry-hint")

    def action_answer(self, keep: bool | None) -> None:
        """Hand the answer back."""
        self.dismiss(keep)
