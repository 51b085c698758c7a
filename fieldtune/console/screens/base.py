"""What every screen has: a line on top, its own body, the standing caution, one line of news, the keys."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar, Protocol, cast

from textual.app import ComposeResult
from textual.binding import Binding
from textual.screen import Screen

from fieldtune.console import keys, words
from fieldtune.console.shooting_state import read_miss
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.console.widgets.text_block import CachedWidget, KeyBar, Part, Rows, TextBlock
from fieldtune.records import Result

if TYPE_CHECKING:
    from fieldtune.console.controller import Controller
    from fieldtune.link.snapshot import Live

Miss = tuple[float | None, float | None]


class _HasController(Protocol):
    """What a screen asks of the app it runs in."""

    controller: Controller


class ConsoleScreen(Screen[None], CachedWidget):
    """A screen of the console. ``tick`` is called twenty times a second with a snapshot of the line."""

    TITLE_WORDS: ClassVar[str] = ""
    OWN: ClassVar[list[Binding]] = []
    """Keys that only this screen has."""
    WHERE_TO_ANSWER: ClassVar[str] = ": Esc"
    """Where an unanswered shot gets its result, if not here."""
    AUTO_FOCUS = ""

    _arrived = False

    @property
    def ready(self) -> bool:
        """Whether everything on the screen is mounted, and not yet taken down."""
        return self._arrived and self.is_running and self.app.is_running

    def on_mount(self) -> None:
        """Show what is known at once, before the first look."""
        self._arrived = True
        self.tick(self.controller.shooting.live)

    @property
    def controller(self) -> Controller:
        """What all screens share."""
        return cast("_HasController", self.app).controller

    def compose(self) -> ComposeResult:
        yield TextBlock(id="top")
        yield TextBlock(id="too-small")
        with Rows(id="body"):
            yield from self.compose_body()
        yield TextBlock(id="caution")
        yield TextBlock(id="news")
        yield KeyBar(self.key_rows(), id="keys")

    def compose_body(self) -> ComposeResult:
        """What is this screen's own."""
        yield from ()

    def key_rows(self) -> list[list[Binding]]:
        """Rows of the key bar."""
        return [[*keys.VIEWS, *keys.ALWAYS]]

    def tick(self, live: Live) -> None:
        """Show what the line says now; subclasses add their own."""
        controller, news = self.controller, self.controller.news
        self.query_one("#top", TextBlock).put(*self._top(live))
        self.query_one("#too-small", TextBlock).put(*self._too_small(live))
        text = words.fitted(words.printable(news.text), self.size.width - 4)
        said: tuple[Part, ...] = (("✗ ", "bold $bad"), (text, "$bad")) if news.bad and text else ((text, "$ink"),)
        self.query_one("#news", TextBlock).put(*said)
        turning = words.moving(live, controller.robot)
        style = "bold $act" if turning else "$quiet"
        caution = words.standing_caution(live, controller.robot)
        self.query_one("#caution", TextBlock).put(("⚠ ", style), (caution, style))

    def _top(self, live: Live) -> list[Part]:
        controller, robot = self.controller, self.controller.robot
        name = self.TITLE_WORDS or words.shorten(robot.title or robot.name, 30)
        target = controller.shooting.target
        what = target.kind if target.name is None else f"{target.kind} {target.name}"
        parts: list[Part] = [(name, "bold $ink"), ("  " + what, "$quiet")]
        if controller.simulated:
            parts.append(("  SIMULATED ROBOT", "bold $mark"))
        count = len(controller.shooting.unanswered)
        if count and self.TITLE_WORDS:
            said = f"  {words.counted(count, 'shot')} without a result{self.WHERE_TO_ANSWER}"
            parts.append((said, "bold $act"))
        good = live.state == "live"
        shape = "●" if good else "○"
        line = f"{shape} line: {words.link_line(live)}"
        room = self.size.width - sum(len(p if isinstance(p, str) else p[0]) for p in parts) - 4
        line = words.shorten(words.printable(line), max(8, room))
        parts.append((" " * max(2, room - len(line) + 4) + line, "$good" if good else "bold $bad"))
        return parts

    def _too_small(self, live: Live) -> list[Part]:
        shooting, robot = self.controller.shooting, self.controller.robot
        said = words.against(words.readback(live, robot), live.setpoint or shooting.recommended, robot)
        advice = f"{words.order(robot)} {words.setpoint(shooting.recommended, robot)}"
        if shooting.recommended is None:
            advice = "No setpoint yet"
        return [(f"{advice} ({said}).", "bold $act"), " Make the window larger: 80 × 21 or more."]

    # the keys that say where a shot went, for every screen on which shots are taken

    def action_result(self, result: Result) -> None:
        """Confirm the unanswered shot, or the one just taken, with this result."""
        self.controller.recorder.confirm(result)

    def action_miss(self) -> None:
        """Type the measured miss of the shot."""
        more, less = self.controller.shooting.target.miss_words
        along = f"12 is {more}, -8 {less}"
        asked: EntryLine[Miss] = EntryLine("How far did it miss?", read_miss, f"cm: {along}; with a side: -8 right 5")
        self.app.push_screen(asked, self._take_miss)

    def _take_miss(self, miss: Miss | None) -> None:
        if miss is not None:
            self.controller.recorder.confirm(None, *miss)

    def action_undo(self) -> None:
        """Undo the last confirmed shot."""
        self.controller.recorder.undo()

    def action_no_shot(self) -> None:
        """Discard the oldest unanswered shot."""
        unanswered = self.controller.shooting.unanswered
        if unanswered:
            unanswered.popleft()
            self.controller.news.say("discarded: that was no shot")
        else:
            self.controller.news.say("there is no shot without a result")

    def action_fire(self) -> None:
        """Launch one element on the simulated robot."""
        self.controller.tell_simulator("fire", "the simulated robot fires")

    def action_set(self) -> None:
        """Set the simulated robot to the recommended setpoint."""
        wanted = self.controller.shooting.recommended
        if wanted is None:
            self.controller.news.say("no setpoint is recommended here", bad=True)
        else:
            done = f"the simulated robot is set to {words.setpoint(wanted, self.controller.robot)}"
            self.controller.tell_simulator(f"setpoint={wanted:g}", done)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Keys for the simulated robot exist only there, and while it isn't known yet whether it is one."""
        return action not in ("fire", "set") or self.controller.line.simulated is not False
