"""What every screen has: a line on top, its own body, the standing caution, one line of news, the keys."""

from __future__ import annotations

import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Protocol, cast

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.screen import Screen

from fieldtune.console import keys, main_words, taking_away, words
from fieldtune.console.screens.essentials import asking, essentials
from fieldtune.console.typed import miss_example, read_miss
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.console.widgets.text_block import CachedWidget, KeyBar, Part, Rows, TextBlock
from fieldtune.errors import FieldtuneError
from fieldtune.records import Result

if TYPE_CHECKING:
    from fieldtune.console.controller import Controller
    from fieldtune.console.widgets.pictures import Pictures
    from fieldtune.link.samples import Live

Miss = tuple[float | None, float | None]
USUAL_WIDTH, USUAL_HEIGHT = 80, 21
"""Below that a window shows the essential lines only, or what a view has of its own."""
_NARROW = 60
"""Columns below which the line on top is said in short."""


class _HasController(Protocol):
    """What a screen asks of the app it runs in."""

    controller: Controller


class ConsoleScreen(Screen[None], CachedWidget):
    """A screen of the console. ``tick`` is called twenty times a second with a snapshot of the line."""

    TITLE_WORDS: ClassVar[str] = ""
    OWN: ClassVar[list[Binding]] = []
    """Keys that only this screen has."""
    BINDINGS: ClassVar[list[BindingType]] = [*keys.RESULTS, keys.FOLLOW, keys.ANOTHER_PORT, *keys.TAKING]
    AUTO_FOCUS = ""

    asked_on: ConsoleScreen | None = None
    """The screen from which this one was opened, and what stood on it: for help and meanings."""
    asked_text = ""
    _arrived = False
    _controller: Controller | None = None

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
        """What all screens share; also where a screen that was left meanwhile is still working something out."""
        if self._controller is None:
            self._controller = cast("_HasController", self.app).controller
        return self._controller

    def compose(self) -> ComposeResult:
        yield TextBlock(id="top")
        yield TextBlock(id="small")
        yield TextBlock(id="asking")
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
        return [keys.RESULTS, [*self.OWN, *keys.VIEWS, *keys.ROBOTS, *keys.ALWAYS]]

    def tick(self, live: Live) -> None:
        """Show what the line says now; subclasses add their own."""
        controller = self.controller
        self.query_one("#top", TextBlock).put(*self._top(live))
        if self.small:
            self.set_class(self.fits_small, "-fits")
            room = self.query_one("#small").content_size
            said = essentials(live, controller, room.width, room.height)
            self.query_one("#small", TextBlock).put(*said)
        self._ask()
        self.query_one("#news", TextBlock).put(*self._news())
        style = "bold $act" if controller.moved_last else "$quiet"
        caution = words.standing_caution(live, controller.robot, controller.moved_last)
        self.query_one("#caution", TextBlock).put(("⚠ ", style), (caution, style))

    @property
    def small(self) -> bool:
        """Whether the window holds no more than the essential lines."""
        return self.size.width < USUAL_WIDTH or self.size.height < USUAL_HEIGHT

    @property
    def fits_small(self) -> bool:
        """Whether a small window shows what this screen has of its own: a question comes first, and is whole there."""
        return bool(self.TITLE_WORDS) and not self._question()

    def _question(self) -> str:
        """What is asked now, in one line; empty where nothing is."""
        shooting = self.controller.shooting
        return asking(self.controller) or shooting.offer or main_words.dip_question(shooting)

    def _ask(self) -> None:
        """One line on what the result keys are for, where the screen doesn't say it anyway."""
        line = self.query_one("#asking", TextBlock)
        said = self._question() if self.TITLE_WORDS and (not self.small or self.fits_small) else ""
        line.put((f" ▶  {said}", "bold $act-ink") if said else "")
        line.display = bool(said)

    def _news(self) -> list[Part]:
        news = self.controller.news
        rows = 3 if self.small else 2 if news.bad else 1  # no other place says the remedy
        text = words.fitted(words.printable(news.text), rows * (self.size.width - 4) - 8 * (rows - 1))
        return [("✗ ", "bold $bad"), (text, "$bad")] if news.bad and text else [(text, "$ink")]

    def _top(self, live: Live) -> list[Part]:
        controller, robot = self.controller, self.controller.robot
        if self.size.width < _NARROW:
            return self._top_in_short(live)
        name = self.TITLE_WORDS or words.shorten(robot.title or robot.name, 30)
        target = controller.shooting.target
        what = target.kind if target.name is None else f"{target.kind} {target.name}"
        parts: list[Part] = [(name, "bold $ink"), ("  " + what, "$quiet")]
        if controller.simulated:
            parts.append(("  SIMULATED ROBOT", "bold $mark"))
        good = live.state == "live"
        shape = "●" if good else "○"
        line = f"{shape} line: {words.link_line(live)}"
        room = self.size.width - sum(len(p if isinstance(p, str) else p[0]) for p in parts) - 4
        line, style = words.printable(line), "$good" if good else "bold $bad"
        line = f"{shape} live" if self.small and good and len(line) > room else line
        if len(line) > room:  # whole, on rows of its own
            pieces = textwrap.wrap(line, self.size.width - 4)[:3]
            return [*parts, ("".join(f"\n{piece}" for piece in pieces), style)]
        return [*parts, (" " * max(2, room - len(line) + 4) + line, style)]

    def _top_in_short(self, live: Live) -> list[Part]:
        """The same in one row of a narrow window, or in some where the line has to be mended."""
        good, robot = live.state == "live", self.controller.robot
        shape = "● live" if good else f"○ {words.printable(words.link_line(live))}"
        simulated = "  SIMULATED" if self.controller.simulated else ""
        room = self.size.width - len(simulated) - (len(shape) if good else 0) - 4
        name = words.shorten(self.TITLE_WORDS or robot.title or robot.name, max(8, room))
        return [(name, "bold $ink"), (simulated, "bold $mark"), (f"  {shape}", "$good" if good else "bold $bad")]

    # the keys that say where a shot went

    def action_result(self, result: Result) -> None:
        """This result for the shot that is asked about, or the one just taken."""
        self._was_a_shot()
        self.controller.recorder.result(result)
        self.controller.show()

    def _was_a_shot(self) -> bool:
        """Takes a dip of the wheel that is asked about as a shot; False where none is."""
        dip = self.controller.shooting.asks_about_dip
        if dip:
            self.controller.recorder.keep(self.controller.shooting.settle_unsure(shot=True))
        return dip

    def action_miss(self) -> None:
        """Type the measured miss of the shot."""
        more, less = self.controller.shooting.target.miss_words
        asked: EntryLine[Miss] = EntryLine("How far did it miss?", read_miss, miss_example(more, less))
        self.app.push_screen(asked, self._take_miss)

    def _take_miss(self, miss: Miss | None) -> None:
        if miss is not None:
            self._was_a_shot()
            self.controller.recorder.result(None, *miss)
            self.controller.show()

    def action_undo(self) -> None:
        """Undo the last thing done here."""
        self.controller.recorder.undo()

    def action_redo(self) -> None:
        """Do again what was undone last."""
        self.controller.recorder.redo()

    def action_no_shot(self) -> None:
        """Nothing was launched."""
        if self.controller.shooting.asks_about_dip or self.controller.shooting.asked_just_now:
            self.controller.shooting.settle_unsure(shot=False)
        else:
            self.controller.recorder.discard()
        self.controller.show()

    def action_follow(self) -> None:
        """Use the robot's own distance reading: for a result that waits for a word, or from now on."""
        controller = self.controller
        if controller.shooting.answer is not None and controller.shooting.answer.robot_elsewhere:
            controller.recorder.yes(robot_distance=True)
        else:
            try:
                controller.shooting.follow()
            except FieldtuneError as error:
                controller.news.say(str(error), bad=True)
            controller.advisor.ask_if_changed()
        controller.show()

    def action_yes(self) -> None:
        """Confirm a result although something about it was odd, or that a dip of the wheel was a shot."""
        shooting = self.controller.shooting
        if shooting.asked_just_now:
            self.controller.recorder.keep(shooting.settle_unsure(shot=True))
        elif not self._was_a_shot():
            self.controller.recorder.yes()
        self.controller.show()

    def action_another_port(self) -> None:
        """Read the next port, where several robots are plugged in."""
        self.controller.another_port()
        self.controller.show()

    # what is taken from the screen

    def action_save_picture(self) -> None:
        """Save the picture as an SVG file."""
        pictures = next(iter(self.query("Pictures").results()), None)

        def saved() -> Path:
            return taking_away.save_picture(cast("Pictures | None", pictures), self.controller, self.TITLE_WORDS,
                                            Path.cwd())  # fmt: skip

        self._taken(lambda: f"saved: {saved()}")

    def action_copy_view(self) -> None:
        """Copy the view as text."""
        self.app.copy_to_clipboard(taking_away.view_text(self))
        self.controller.news.say("copied: this view as text, where the terminal allows it")

    def action_copy_setpoint(self) -> None:
        """Copy the recommended setpoint."""

        def copied() -> str:
            digits = taking_away.setpoint_digits(self.controller)
            self.app.copy_to_clipboard(digits)
            return f"copied: {digits}, where the terminal allows it"

        self._taken(copied)

    def _taken(self, take: Callable[[], str]) -> None:
        try:
            self.controller.news.say(take())
        except FieldtuneError as error:
            self.controller.news.say(str(error), bad=True)

    def action_fire(self) -> None:
        """Launch one element on the simulated robot."""
        self.controller.tell_simulator("fire", "the simulated robot fires")

    def action_set(self) -> None:
        """Set the simulated robot to the recommended setpoint."""
        wanted = self.controller.shooting.recommended
        if not self.controller.shooting.aim_holds:
            self.controller.news.say("the setpoint for here is still being worked out: press g again")
        elif wanted is None:
            self.controller.news.say("no setpoint is recommended here", bad=True)
        else:
            aim = self.controller.shooting.aim
            done = f"set to {words.setpoint(wanted, self.controller.robot)}{main_words.hood_order(aim)}"
            if aim is not None and aim.exit_angle_setpoint_deg is not None:
                self.controller.tell_simulator(f"hood_deg={aim.exit_angle_setpoint_deg:g}", None)
            self.controller.tell_simulator(f"setpoint={wanted:g}", f"the simulated robot is {done}")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Keys for the simulated robot exist only there, and while it isn't known yet whether it is one."""
        return action not in ("fire", "set") or self.controller.line.simulated is not False
