"""What a robot program has to print, as a program to copy: by language, to the clipboard or into a file."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import VerticalScroll

from fieldtune.console.screens.set_up_frame import SetUpFrame
from fieldtune.console.widgets.text_block import TextBlock
from fieldtune.errors import FieldtuneError
from fieldtune.link.senders import LANGUAGES, sender_file, sender_text

_WORDS = {"c": "C, bare microcontroller", "cpp": "C++", "java": "Java", "micropython": "MicroPython"}
_CHOICES = [
    Binding(
        str(number), f"language('{language}')", _WORDS[language], id=f"sender-{language}",
        tooltip=f"The program in {_WORDS[language]}",
    )
    for number, language in enumerate(LANGUAGES, 1)
]  # fmt: skip
_KEYS = [
    Binding(
        "y", "copy", "Copy", tooltip="To the clipboard, where the terminal lets programs do that", id="sender-copy"
    ),
    Binding(
        "w", "write", "Write to a file", tooltip="Into the folder where the console was started", id="sender-write"
    ),
    Binding("up", "scroll(-3)", "Up", tooltip="Read what stands above", id="sender-up", show=False),
    Binding("down", "scroll(3)", "Down", tooltip="Read what stands below", id="sender-down", show=False),
    Binding("pageup", "scroll(-15)", "Page up", tooltip="A page up", id="sender-page-up", show=False),
    Binding("pagedown", "scroll(15)", "Page down", tooltip="A page down", id="sender-page-down", show=False),
    Binding("escape", "leave", "Back", tooltip="Back to the line", id="sender-leave", key_display="Esc"),
]


class SenderScreen(SetUpFrame):
    """The example programs."""

    OWN: ClassVar[list[list[Binding]]] = [_CHOICES, _KEYS]

    def __init__(self) -> None:
        super().__init__()
        self._language = LANGUAGES[0]

    def compose_body(self) -> ComposeResult:
        with VerticalScroll(id="sender-text", can_focus=False):
            yield TextBlock(id="sender-program")

    def on_mount(self) -> None:
        """The first language."""
        self.action_language(self._language)

    def action_language(self, language: str) -> None:
        """The program in that language."""
        self._language = language
        self.head("Robot program", (f"   {_WORDS[language]}: prints the line that the console reads", "$quiet"))
        self.query_one("#sender-program", TextBlock).put((sender_text(language), "$ink"))
        self.query_one("#sender-text", VerticalScroll).scroll_home(animate=False)

    def action_scroll(self, by: int) -> None:
        """Scroll by so many lines."""
        self.query_one("#sender-text", VerticalScroll).scroll_relative(y=by, animate=False)

    def action_copy(self) -> None:
        """To the clipboard."""
        self.app.copy_to_clipboard(sender_text(self._language))
        self.say("copied, if this terminal allows it; w writes a file")

    def action_write(self) -> None:
        """Into a file that isn't there yet."""
        from fieldtune.files import write_whole

        try:
            path = write_whole(sender_file(self._language), sender_text(self._language))
        except FieldtuneError as error:
            self.say(str(error), bad=True)
        else:
            self.say(f"written: {path.resolve()}")
