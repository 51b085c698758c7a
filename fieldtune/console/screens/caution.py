"""What is said once, before anything turns."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
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
    "stands around the robot, and none of its numbers says that a thing may be done.\n\n",
)


class CautionScreen(ModalScreen[None]):
    """Shown at the first start with a robot's log; one key and it stays away."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "understood", "Understood", tooltip="Go on to the console", id="caution-understood"),
        Binding("q,ctrl+q", "app.leave", "Quit", tooltip="Leave", id="caution-leave"),
    ]

    def compose(self) -> ComposeResult:
        with Vertical(id="caution-box"):
            go_on = (("Enter", "bold $act"), "  understood, go on      ", ("q", "bold $act"), "  leave")
            yield TextBlock(*TEXT, *go_on, id="caution-text")

    def action_understood(self) -> None:
        """Go on."""
        self.dismiss(None)
