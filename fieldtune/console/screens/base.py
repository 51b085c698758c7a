"""What every screen has: a line on top, its own middle, the standing caution, one line of news, the keys."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, cast

from textual.app import ComposeResult
from textual.binding import Binding
from textual.screen import Screen

from fieldtune.console import keys, words
from fieldtune.console.widgets.text_line import KeyBar, Part, Plate, Rows, Still

if TYPE_CHECKING:
    from fieldtune.console.controller import Stage
    from fieldtune.link.snapshot import Live


class Board(Screen[None], Still):
    """A screen of the console. ``tick`` is called twenty times a second with a snapshot of the line."""

    TITLE_WORDS: ClassVar[str] = ""
    OWN: ClassVar[list[Binding]] = []
    """Keys that only this screen has."""
    WHERE_TO_ANSWER: ClassVar[str] = ": Esc"
    """Where a waiting shot gets its result, if not here."""
    AUTO_FOCUS = ""

    _arrived = False

    @property
    def ready(self) -> bool:
        """Whether everything on the screen is there to be told things: mounted, and not yet taken down."""
        return self._arrived and self.is_running and self.console.is_running

    def on_mount(self) -> None:
        """Show what is known at once, before the first look."""
        self._arrived = True
        self.tick(self.console.live)

    @property
    def console(self) -> Stage:
        """The running console."""
        return cast("Stage", self.app)

    def compose(self) -> ComposeResult:
        yield Plate(id="top")
        yield Plate(id="too-small")
        with Rows(id="body"):
            yield from self.compose_body()
        yield Plate(id="caution")
        yield Plate(id="news")
        yield KeyBar(self.key_rows(), id="keys")

    def compose_body(self) -> ComposeResult:
        """The middle of the screen."""
        yield from ()

    def key_rows(self) -> list[list[Binding]]:
        """Rows of the key bar."""
        return [[*keys.VIEWS, *keys.ALWAYS]]

    def tick(self, live: Live) -> None:
        """Show what the line says now; subclasses add their own."""
        console = self.console
        self.query_one("#top", Plate).put(*self._top(live))
        self.query_one("#too-small", Plate).put(*self._too_small(live))
        self.query_one("#news", Plate).put(*console.news)
        turning = words.moving(live, console.robot)
        style = "bold $act" if turning else "$quiet"
        self.query_one("#caution", Plate).put(("⚠ ", style), (words.standing_caution(live, console.robot), style))

    def _top(self, live: Live) -> list[Part]:
        console, robot = self.console, self.console.robot
        name = self.TITLE_WORDS or words.shorten(robot.title or robot.name, 30)
        target = console.desk.target
        what = target.kind if target.name is None else f"{target.kind} {target.name}"
        parts: list[Part] = [(name, "bold $ink"), ("  " + what, "$quiet")]
        if console.sim:
            parts.append(("  SIMULATED ROBOT", "bold $mark"))
        waits = len(console.desk.waiting)
        if waits and self.TITLE_WORDS:
            parts.append(
                (f"  {waits} shot{'s' if waits > 1 else ''} waiting for a result{self.WHERE_TO_ANSWER}", "bold $act")
            )
        good = live.state == "live"
        shape = "●" if good else "○"
        line = f"{shape} line: {words.link_line(live)}"
        room = self.size.width - sum(len(p if isinstance(p, str) else p[0]) for p in parts) - 4
        line = words.shorten(words.printable(line), max(8, room))
        parts.append((" " * max(2, room - len(line) + 4) + line, "$good" if good else "bold $bad"))
        return parts

    def _too_small(self, live: Live) -> list[Part]:
        desk, robot = self.console.desk, self.console.robot
        said = words.against(words.readback(live, robot), live.setpoint or desk.advised, robot)
        advice = f"{words.order(robot)} {words.setpoint(desk.advised, robot)}"
        if desk.advised is None:
            advice = "No setpoint yet"
        return [(f"{advice} ({said}).", "bold $act"), " Make the window larger: 80 × 21 or more."]
