"""What is said once, before anything turns."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.screen import ModalScreen

from fieldtune.console.widgets.text_block import Part, TextBlock

TEXT: tuple[Part, ...] = (
    ("Before anything turns\n\n", "bold $act"),
    ("⚠ Eyes. ", "bold $ink"),
    "Everyone near wears eye protection rated for impact: look up the marking ANSI Z87.1 or EN 166.\n\n",
    ("⚠ Range. ", "bold $ink"),
    "Nobody in front of the launcher or behind the target. Say it aloud before each shot.\n\n",
    ("⚠ Hands. ", "bold $ink"),
    "Keep hands, hair and sleeves off wheels that turn and springs that are cocked; they hold their energy after "
    "power is cut. Let wheels stop and springs down before you reach in.\n\n",
    ("⚠ Who decides. ", "bold $ink"),
    "Event rules, local codes and the qualified person who supervises. This program computes; it doesn't know what "
    "stands around the robot, and no number here means that it is safe.",
)


class CautionScreen(ModalScreen[None]):
    """Shown at the first start with a robot's log; one key and it stays away."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "understood", "Understood", tooltip="Go on to the console", id="caution-understood"),
        Binding("up", "read(-2)", "Up", tooltip="Read what stands above", id="caution-up"),
        Binding("down", "read(2)", "Down", tooltip="Read what stands below", id="caution-down"),
        Binding("q,ctrl+q", "app.leave", "Quit", tooltip="Leave", id="caution-leave"),
    ]

    def compose(self) -> ComposeResult:
        with Vertical(id="caution-box"):
            with VerticalScroll(id="caution-scroll", can_focus=False):
                yield TextBlock(*TEXT, id="caution-text")
            go_on = (("Enter", "bold $act"), " understood, go on   ", ("q", "bold $act"), " leave   ↑ ↓ to read")
            yield TextBlock(*go_on, id="caution-keys")

    def action_read(self, by: int) -> None:
        """Scroll by so many lines."""
        self.query_one("#caution-scroll", VerticalScroll).scroll_relative(y=by, animate=False)

    def action_understood(self) -> None:
        """Go on."""
        self.dismiss(None)
