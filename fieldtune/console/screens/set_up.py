"""The set-up of a robot: one question at a time, with a drawing of what to measure and where."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Horizontal, Vertical
from textual.events import Key
from textual.widgets import Input

from fieldtune.console import keys, words
from fieldtune.console.screens.set_up_frame import SetUpFrame
from fieldtune.console.widgets.entry_line import edited
from fieldtune.console.widgets.text_block import KeyBar, Part, TextBlock
from fieldtune.errors import FieldtuneError
from fieldtune.setup.sketches import sketch

if TYPE_CHECKING:
    from fieldtune.setup.question import Question
    from fieldtune.setup.set_up import Reply, SetUp

_LONGEST = 20_000
"""Letters that can be typed into an answer."""
_KEYS = [
    Binding("enter", "answer", "Take it", tooltip="Take the answer and go on", id="set-up-answer", key_display="Enter"),
    Binding(
        "tab",
        "skip",
        "Not known",
        tooltip="Go on without: it becomes a wide uncertainty",
        id="set-up-skip",
        key_display="Tab",
    ),
    Binding("up", "back", "Question before", tooltip="Back to the question before", id="set-up-back", key_display="↑"),
    Binding(
        "escape", "leave", "Leave", tooltip="Leave: what was answered is kept", id="set-up-leave", key_display="Esc"
    ),
]
_DONE = [
    Binding(
        "enter",
        "finish",
        "Save and open",
        tooltip="Write the profile and open the console",
        id="set-up-open",
        key_display="Enter",
    ),
    Binding("c", "line", "Save, then its line", tooltip="Write the profile and connect the robot", id="set-up-line"),
    Binding("up", "back", "Question before", tooltip="Back to the last question", id="set-up-last", key_display="↑"),
    Binding("escape", "leave", "Leave", tooltip="Leave: what was answered is kept", id="set-up-out", key_display="Esc"),
]


class SetUpScreen(SetUpFrame):
    """Asks until all is answered. Made for editing, it asks one question and goes back to the list."""

    OWN: ClassVar[list[list[Binding]]] = [_KEYS]

    def __init__(self, set_up: SetUp) -> None:
        super().__init__()
        self.set_up = set_up
        self._text, self._at = "", 0
        self._reply: Reply | None = None
        self._asked: str | None = None

    def compose_body(self) -> ComposeResult:
        with Horizontal(id="set-up-body"):
            with Vertical(id="question-side"):
                yield TextBlock(id="asked")
                yield TextBlock(id="how")
                yield KeyBar([], id="options")
                yield Input(id="typed", compact=True, select_on_focus=False)
                yield TextBlock(id="both")
                yield TextBlock(id="said")
            yield TextBlock(id="sketch")

    @property
    def keys_now(self) -> list[Binding]:
        """The keys of the question, or of the end."""
        return _KEYS if self.set_up.here is not None else _DONE

    def on_mount(self) -> None:
        """The first question."""
        self._show()

    def on_resize(self) -> None:
        """The drawing in its new size."""
        if self.is_mounted:
            self._show()

    # -- keys

    def take(self, event: Key) -> bool:
        """Text goes into the answer; the rest are the keys named at the bottom."""
        question = self.set_up.here
        if event.key in ("ctrl+q", "ctrl+f", "f1", "ctrl+u"):
            return False
        actions = {one.key: one.action for one in (_KEYS if question is not None else _DONE)}
        if event.key in actions:
            getattr(self, f"action_{actions[event.key]}")()
            return True
        if question is None:
            return event.key != "c"
        if question.options:
            if event.character and event.character.isdecimal() and 1 <= int(event.character) <= len(question.options):
                self._take(str(question.options[int(event.character) - 1][0]))
            return True
        changed = edited(self._text, self._at, event)
        if changed is not None and len(changed[0]) <= max(_LONGEST, len(self._text)):
            self._text, self._at = changed
        self._show()
        return True

    def on_input_changed(self, event: Input.Changed) -> None:
        """Pasted text."""
        if event.value != self._text and event.input.value == event.value:
            self._text, self._at = event.value, event.input.cursor_position
            self._show()

    def action_answer(self) -> None:
        """Takes what was typed."""
        question = self.set_up.here
        if question is None:
            return
        if question.options:
            now = self.set_up.now(question)
            if now and self.set_up.editing:
                self._take(now)
            return
        self._take(self._text)

    def _take(self, text: str) -> None:
        self._reply = self.set_up.answer(text)
        if self._reply.taken:
            if self.set_up.editing and self._moved_on():
                self.dismiss(None)
                return
            self._text, self._at = "", 0
        elif self._reply.offer is not None:
            self._text, self._at = self._reply.offer, len(self._reply.offer)
        self._show()

    def _moved_on(self) -> bool:
        question = self.set_up.here
        return question is None or question.key != self._asked or question.form != "spots"

    def action_skip(self) -> None:
        """It isn't known."""
        self._reply = self.set_up.skip()
        if self._reply.taken:
            if self.set_up.editing:
                self.dismiss(None)
                return
            self._text, self._at = "", 0
        self._show()

    def action_back(self) -> None:
        """The question before."""
        if self.set_up.editing:
            self.dismiss(None)
            return
        self._reply = None
        if self.set_up.back():
            question = self.set_up.here
            self._text = "" if question is None or question.options else self.set_up.now(question)
            self._at = len(self._text)
        self._show()

    def action_finish(self) -> None:
        """Writes the profile and opens its console."""
        path = self._finished()
        if path is not None:
            self.start.open_robot(path)

    def action_line(self) -> None:
        """Writes the profile and goes on to its line."""
        path = self._finished()
        if path is not None:
            from fieldtune.console.screens.ports import PortsScreen
            from fieldtune.setup.profile_text import ProfileText

            self.app.switch_screen(PortsScreen(ProfileText.at(path)))

    def _finished(self) -> Path | None:
        from fieldtune.setup.set_up import Reply

        try:
            return self.set_up.finish()
        except FieldtuneError as error:
            self._reply = Reply(False, str(error))
            self._show()
            return None

    # -- what is shown

    def _show(self) -> None:
        if not self.is_mounted:
            return
        made, question = self.set_up, self.set_up.here
        number, of = made.place
        name = made.name or "a robot"
        title = f"{'Change' if made.editing else 'Set up'} {name}"
        units = "bare numbers: US units" if made.us else ""
        step = "" if made.editing else f"   question {number} of {of}" if question is not None else "   all answered"
        self.head(title, (step, "$quiet"), (f"   {units}", "$quiet"))
        self.query_one("#keys", KeyBar).put([[*self.keys_now, *keys.BETWEEN_ROBOTS]])
        self._show_reply()
        if question is None:
            self._show_end()
            return
        if question.key != self._asked:
            self._asked = question.key
            if made.editing and not question.options and question.form != "spots":
                self._text = made.now(question)
                self._at = len(self._text)
        self.query_one("#asked", TextBlock).put((question.ask, "bold $act"))
        self.query_one("#how", TextBlock).put((question.how, "$ink"), (f"\n{self._unit_words(question)}", "$quiet"))
        self._show_entry(question)
        self._show_sketch(question)

    def _unit_words(self, question: Question) -> str:
        now = self.set_up.now(question) if self.set_up.editing or question.form == "spots" else ""
        stands = f"Now: {words.printable(now)}. " if now and question.key != "name" else ""
        if question.form in ("quantity", "sizes", "spots"):
            return f"{stands}A bare number is in {question.units[self.set_up.us]}"
        if question.usual is not None:
            return f"{stands}Enter alone: {question.usual}"
        return stands

    def _show_entry(self, question: Question) -> None:
        options, line = self.query_one("#options", KeyBar), self.query_one("#typed", Input)
        options.display, line.display = bool(question.options), not question.options
        now = self.set_up.now(question)
        rows = [
            [Binding(str(n), "", f"{text}{'   ← now' if self.set_up.editing and str(value) == now else ''}")]
            for n, (value, text) in enumerate(question.options, 1)
        ]
        options.put(rows)
        options.styles.height = len(rows)
        with self.prevent(Input.Changed):
            line.value = self._text[:400]
        line.cursor_position = min(self._at, 400)
        if line.display and not line.has_focus:
            line.focus()
        preview = self.set_up.preview(self._text)
        self.query_one("#both", TextBlock).put((f"= {preview}" if preview else "", "$quiet"))

    def _show_reply(self) -> None:
        reply = self._reply
        parts: list[Part] = [""]
        if reply is not None and reply.said:
            text = words.printable(reply.said)
            parts = [("✓ ", "bold $good"), (text, "$quiet")] if reply.taken else [("✗ ", "bold $bad"), (text, "$bad")]
        self.query_one("#said", TextBlock).put(*parts)

    def _show_sketch(self, question: Question | None) -> None:
        drawn = self.query_one("#sketch", TextBlock)
        size = drawn.size
        lines = sketch(question.sketch, size.width - 2, min(size.height, 18)) if question is not None else []
        drawn.put(("\n".join(lines), "$path"))

    def _show_end(self) -> None:
        self._asked = None
        faults = self.set_up.faults()
        guesses = [
            one for one in self.set_up.all[2:] if self.set_up.profile and self.set_up.profile.is_unmeasured(one.key)
        ]
        doubts = [] if self.set_up.profile is None else [
            one for one in self.set_up.profile.check()[1] if one.severity == "warning"
        ]  # fmt: skip
        self.query_one("#asked", TextBlock).put(("All answered", "bold $act"))
        parts: list[Part] = [(f"✗ {one.key}: {one.message}\n", "$bad") for one in faults[:3]]
        parts += [(f"! {one.key}: {one.message}\n", "$ink") for one in doubts[:6]]
        if guesses:
            names = ", ".join(one.key.rpartition(".")[2].replace("_", " ") for one in guesses)
            parts.append((f"Not measured yet, so the advice stays wide: {names}\n", "$quiet"))
        if not faults:
            parts.append(("The profile is complete. Enter opens the console; c connects the robot first.", "$ink"))
        self.query_one("#how", TextBlock).put(*parts)
        self.query_one("#options", KeyBar).display = self.query_one("#typed", Input).display = False
        self.query_one("#both", TextBlock).put("")
        self._show_sketch(None)
