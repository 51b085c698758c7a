"""The encoder's scale: held against the setpoint, ten turns by hand, and full power; one key takes what fits.

A newcomer's question: "is the speed that I read the real one?" In a large window the readback runs along its setpoint,
or beside it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.binding import Binding, BindingType

from fieldtune.console import words
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.screens.essentials import asking
from fieldtune.console.screens.wheel import Trace
from fieldtune.console.widgets.pictures import Pictures
from fieldtune.console.widgets.text_block import Part, TextBlock
from fieldtune.errors import FieldtuneError

if TYPE_CHECKING:
    from fieldtune.console.app import ConsoleApp
    from fieldtune.console.encoder_guard import EncoderGuard
    from fieldtune.link.samples import Live

TURNS = 10
_PLOTTED_S = 10.0


class EncoderScreen(ConsoleScreen):
    """What is known of the scale, and the way to measure it."""

    TITLE_WORDS = "Encoder"
    fits_small = False  # it says in short what is wrong, and what mends it
    OWN: ClassVar[list[Binding]] = [
        Binding(
            "enter",
            "hand",
            "Hand turns",
            tooltip="Begin or end ten turns by hand",
            id="encoder-hand",
            key_display="Enter",
        ),
        Binding("t", "take", "Take the value", tooltip="Write the value that fits into the profile", id="encoder-take"),
    ]
    BINDINGS: ClassVar[list[BindingType]] = [*OWN]

    def __init__(self) -> None:
        super().__init__()
        self._begun: int | None = None

    def compose_body(self) -> ComposeResult:
        self._trace = Trace(self.controller)
        yield TextBlock(id="encoder-words")
        yield Pictures(id="encoder-plot")

    def tick(self, live: Live) -> None:
        super().tick(live)
        self.query_one("#encoder-words", TextBlock).put(*self._words(live))
        guard = self.controller.encoder
        if self.small and not asking(self.controller):
            said = self._words(live) if guard is None or guard.caution is None else self._in_short(guard)
            self.query_one("#small", TextBlock).put(*said)
        plot = self.query_one("#encoder-plot", Pictures)
        if plot.size.height:
            plot.show(self._trace.chart(live, _PLOTTED_S))

    @staticmethod
    def _in_short(guard: EncoderGuard) -> list[Part]:
        """What is wrong, and the key that mends it, in a small window."""
        verdict = guard.verdict
        if verdict is None:
            return []
        take = "" if verdict.change is None else f"t takes {verdict.change.words} into the profile.\n"
        return [(take, "bold $act"), (f"{verdict.words[:1].upper()}{verdict.words[1:]}.", "bold $bad")]

    def _words(self, live: Live) -> list[Part]:
        robot, guard = self.controller.robot, self.controller.encoder
        if guard is None:
            return [("The line is being opened", "$quiet")]
        encoder, verdict = robot.encoder, guard.verdict
        profile = "no encoder" if encoder is None else f"{encoder.counts_per_turn:g} counts a turn, on the {encoder.on}"
        parts: list[Part] = [("By the profile  ", "$quiet"), (f"{profile}\n", "$ink")]
        parts += [
            ("Readback        ", "$quiet"),
            (f"{'unknown' if live.wheel_rpm is None else f'{live.wheel_rpm:.0f} rpm'}\n", "$ink"),
        ]
        parts += [("Setpoint        ", "$quiet"), (f"{words.setpoint(live.setpoint, robot)}\n\n", "$ink")]
        if verdict is None:
            parts.append(("Not checked yet. Any of these three settles it:\n\n", "bold $act"))
        elif verdict.settled:
            parts.append((f"● {verdict.words}\n\n", "bold $good"))
        else:
            parts.append((f"✗ {verdict.words[:1].upper()}{verdict.words[1:]}.\n", "bold $bad"))
            parts.append(("  Until it is settled, measured speeds are kept in the log and not learned from.\n", "$ink"))
            if verdict.change is not None:
                parts.append((f"  t takes {verdict.change.words} into the profile.\n", "bold $act"))
            parts.append("\n")
        hand = (
            f"1  Motors off, nothing may start to turn. Enter, turn the wheel {TURNS} times by hand, the way it throws;"
            " Enter again.\n"
        )
        if self._begun is not None:
            now = guard.counts(self.controller.line)
            so_far = "no counts on the line" if now is None else f"{now - self._begun} counts so far"
            hand = f"1  Turning: {so_far}. Enter after exactly {TURNS} turns.\n"
        parts.append((hand, "bold $act" if self._begun is not None else "$ink"))
        parts.append(("2  Let the robot program hold a middle speed for two seconds, and send its setpoint.\n", "$ink"))
        parts.append(("3  Let it run at full power for three seconds, and send power_pct.\n", "$ink"))
        return parts

    def action_hand(self) -> None:
        """Begins ten turns by hand, or ends them."""
        guard = self.controller.encoder
        now = None if guard is None else guard.counts(self.controller.line)
        if guard is None or now is None:
            self.controller.news.say(
                "the line carries no wheel_counts now: map that field first (Ctrl-O, then c)", bad=True
            )
        elif self._begun is None:
            self._begun = now
        else:
            begun, self._begun = self._begun, None
            guard.turned_by_hand(now - begun, TURNS)
        self.controller.show()

    def action_take(self) -> None:
        """Writes the value that fits into the profile, and opens the robot anew with it."""
        controller, guard = self.controller, self.controller.encoder
        verdict = None if guard is None else guard.verdict
        if guard is None or verdict is None or verdict.change is None:
            controller.news.say("there is no value to take", bad=True)
            return
        try:
            guard.take(verdict.change)
        except FieldtuneError as error:
            controller.news.say(str(error), bad=True)
        else:
            cast("ConsoleApp", self.app).action_leave_for("again", f"taken: {verdict.change.words}")
