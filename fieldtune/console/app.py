"""The running console: its screens and keys, how it starts, and the timer that looks at the line."""

from __future__ import annotations

import asyncio
import gc
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING, ClassVar, Literal

from textual.binding import BindingType
from textual.events import Key

from fieldtune.console import keys, screens, taking_away, themes, words
from fieldtune.console.controller import Controller
from fieldtune.console.drawing import Drawing, drawing_for
from fieldtune.console.line_opening import ConsoleLine, UnopenedLine
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.screens.caution import CautionScreen
from fieldtune.console.screens.main import MainScreen
from fieldtune.console.terminal import leaving_on_signals
from fieldtune.console.terminal_app import TerminalApp, prepare
from fieldtune.console.widgets.entry_line import LeaveQuestion
from fieldtune.robot.model import Robot
from fieldtune.setup.preferences import Preferences, read_preferences

if TYPE_CHECKING:
    from fieldtune.console.screens.main_body import MainBody
    from fieldtune.session import Session
    from fieldtune.setup.wishes import Wish

LOOKS_PER_SECOND = 20
OPENS_S = 0.5
"""When the line is opened at the latest, whatever was painted by then."""
_BODY_WAITS_S = 0.5
"""How long the body of the main screen waits at most for the first recommendation."""
_KEEPS_S = 0.5
"""How long leaving waits at most for the answer of the next start."""
PAINTED_S = 0.3
"""How long the first recommendation has for its way to the screen before anything else is begun."""


class ConsoleApp(TerminalApp[None]):
    """The console of one robot, on a line that may still be unopened. ``clock`` gives seconds; tests replace it."""

    CSS_PATH = "console.tcss"
    BINDINGS: ClassVar[list[BindingType]] = [*keys.VIEWS, *keys.ROBOTS, *keys.ALWAYS]

    def __init__(
        self,
        robot: Robot,
        session: Session,
        line: ConsoleLine,
        clock: Callable[[], float] = time.monotonic,
        settings: Path | None = None,
        drawing: Drawing | None = None,
        preferences: Preferences | None = None,
    ) -> None:
        super().__init__(drawing, settings, preferences)
        self.controller = Controller(robot, session, line, clock, self, self.show)
        self.failed: Exception | None = None
        self._caution_read = self.controller.caution_read
        self._settled = False
        self._opening = False
        self.wish: Wish | None = None

    def get_default_screen(self) -> MainScreen:
        """The main screen lies under all others."""
        self._main = MainScreen()
        return self._main

    def on_mount(self) -> None:
        """The caution where it wasn't seen yet, the timer, and after the first paint all that takes time."""
        if not self._caution_read:
            self.push_screen(CautionScreen(), self.controller.remember_caution)
        self.set_interval(1 / LOOKS_PER_SECOND, self.look)
        self.call_after_refresh(self._open_once)
        self.set_timer(OPENS_S, self._open_once)  # a key typed before the first paint leads away from it

    def _open_once(self) -> None:
        if not self._opening:
            self._opening = True
            self.controller.background.begin("opening", self._open)

    async def _open(self) -> None:
        try:
            controller = self.controller
            controller.line = await controller.background.run(_opened, controller.line)
            controller.line.start()
            self.look()  # asks for advice, which is painted before what draws is brought in
            with suppress(TimeoutError):
                await asyncio.wait_for(controller.advisor.answered.wait(), _BODY_WAITS_S)
            body = await controller.background.run(_body)
            await self._main.show_body(body())
        except Exception as error:  # whoever runs the console says what it was
            if self.is_running:
                self.failed = error
                self.exit()
            return
        self.look()
        self.controller.recorder.reload()

    def unbound(self, event: Key) -> None:
        """A key of the main screen, pressed elsewhere: that is said."""
        if isinstance(self.screen, ConsoleScreen) and event.key in keys.ELSEWHERE:
            self.say(f"{keys.ELSEWHERE[event.key]}: on the main screen, press Esc first")

    def say(self, text: str) -> None:
        """One line of news."""
        self.controller.news.say(text)

    def look(self) -> None:
        """A look at the line; begins what nobody waits for once the first recommendation is there."""
        self.controller.look()
        if not self._settled and self._main.body is not None and self.controller.advisor.settled:
            self._settled = True
            self.set_timer(PAINTED_S, self._settle)

    def _settle(self) -> None:
        """What nobody waits for, once the first recommendation is painted."""
        self.controller.battery.prepare()
        gc.freeze()  # what was loaded so far stays; looking through it for garbage would keep keys waiting
        gc.enable()

    def show(self) -> None:
        """Bring the screen up to date: at once after a key or when an answer arrives, at a look if it can be sent."""
        if self.output is not None:
            if not self.controller.looking:
                self.output.hurry()
            elif not self.output.due:
                return
        screen = self.screen if self.is_running and self.screen_stack else None
        if isinstance(screen, ConsoleScreen) and screen.ready:
            screen.tick(self.controller.shooting.live)

    # screens

    def action_view(self, name: str) -> None:
        """Opens one of the other screens."""
        wanted = screens.screen_class(name)
        before = self.screen
        if isinstance(before, wanted):
            return
        opened = wanted()
        if name in ("help", "meanings") and isinstance(before, ConsoleScreen):
            opened.asked_on = before.asked_on or before
            opened.asked_text = before.asked_text or taking_away.view_text(before)
        self._close_screens()
        self.push_screen(opened)

    def action_another_battery(self) -> None:
        """Another battery is in: which one?"""
        from fieldtune.console.screens.battery import BatteryScreen

        self.action_view("battery")
        if isinstance(self.screen, BatteryScreen):
            self.screen.switch()

    async def on_main(self, action: str) -> None:
        """Acts on the main screen, wherever one is."""
        self._close_screens()
        await self.run_action(action, self._main)

    def action_home(self) -> None:
        """Back to the main screen; a result that waits for a word is dropped."""
        if self.controller.shooting.answer is not None:
            self.controller.shooting.answer = None
            self.controller.news.say("nothing was confirmed")
        else:
            self._close_screens()
        self.look()

    def _close_screens(self) -> None:
        """Closes whatever lies over the main screen."""
        self.controller.shooting.chosen = ()
        while len(self.screen_stack) > 1:
            self.pop_screen()

    def action_leave_for(self, what: Literal["robots", "again"] = "robots", said: str = "") -> None:
        """Leaves for the list of robots, or to open this one anew; shots without a result are asked about first."""
        from fieldtune.setup.wishes import Wish

        self.wish = Wish(what, self.controller.robot.path, said)
        self.action_leave()

    def action_leave(self) -> None:
        """Quits; what was confirmed is on disk. A result that waits for a word and open shots are asked about first."""
        shooting = self.controller.shooting
        count = 0 if words.of_replay(shooting.live) else len(shooting.unanswered)
        if isinstance(self.screen, LeaveQuestion):
            return
        if shooting.answer is not None:
            said = words.result_words(shooting.answer.result, shooting.answer.miss_m)
            odd = shooting.answer.doubt
            question = f"{odd[:1].upper()}{odd[1:]}. Confirm {said} all the same?"
            self.push_screen(LeaveQuestion(question, "Confirm and quit", "No, quit"), self._answer_and_leave)
        elif count:
            shots = f"{count} shot{' has' if count == 1 else 's have'} no result yet"
            self.push_screen(LeaveQuestion(f"{shots}. Keep for the next time?"), self._leave_with)
        else:
            self.leave()

    def _answer_and_leave(self, confirm: bool | None) -> None:
        if confirm is None:
            return
        if confirm:
            self.controller.recorder.yes()
        self.controller.shooting.answer = None
        self.action_leave()

    def _leave_with(self, keep: bool | None) -> None:
        if keep is None:
            self.wish = None
            return
        recorder, shooting = self.controller.recorder, self.controller.shooting
        if keep:
            recorder.change(None, self.controller.session.log.save)  # also where there was no log yet
        else:
            shooting.chosen, shooting.answer = tuple(shooting.unanswered), None
            recorder.discard()
        self.leave()

    def leave(self) -> None:
        """Ends as soon as all that was confirmed is written."""
        if not self.controller.background.begin("leaving", self._leave_when_written):
            self.exit()

    async def _leave_when_written(self) -> None:
        await self.controller.recorder.all_written()
        with suppress(TimeoutError):
            await asyncio.wait_for(self.controller.advisor.keep_answer(), _KEEPS_S)
        await self.ended()
        self.exit()

    def on_unmount(self) -> None:
        """Lets the threads end."""
        gc.unfreeze()
        self.controller.background.close()
        self.controller.recorder.close()


def _opened(line: ConsoleLine) -> ConsoleLine:
    """Opens the line: some tenths of a second, more on an old laptop.

    Raises ``FieldtuneError`` where the line can't be opened as asked.
    """
    return line.open_line() if isinstance(line, UnopenedLine) else line


def _body() -> type[MainBody]:
    """Imports what draws, which takes as long."""
    from fieldtune.console.screens.main_body import MainBody

    return MainBody


def run(robot: Robot, session: Session, line: ConsoleLine) -> Wish | None:
    """Open the console on a line that is started, startable or unopened, and stay until it is left; for what.

    The line is opened and started after the first paint and stopped at the end; the session stays the caller's to
    close. Raises ``FieldtuneError`` when the line can't be opened or started.
    """
    # Threads that compute hand over sooner than Python's 5 ms, so that keys are answered while they are at it.
    sys.setswitchinterval(0.0001)
    prepare()
    app = ConsoleApp(
        robot, session, line, settings=themes.settings_path(), drawing=drawing_for(), preferences=read_preferences()
    )
    try:
        with leaving_on_signals(lambda: app.read_out(app.leave)):
            app.run()
    finally:
        app.controller.line.stop()
    if app.failed is not None:
        raise app.failed
    return app.wish
