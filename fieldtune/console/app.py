"""The running console: its screens and keys, how it starts, and the timer that looks at the line."""

from __future__ import annotations

import gc
import sys
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, ClassVar

from textual.app import App
from textual.binding import BindingType
from textual.events import Key

from fieldtune.console import keys, screens, themes
from fieldtune.console.controller import Controller
from fieldtune.console.line_opening import ConsoleLine, UnopenedLine
from fieldtune.console.screens.base import ConsoleScreen
from fieldtune.console.screens.caution import CautionScreen
from fieldtune.console.screens.main import MainScreen
from fieldtune.console.signals import leaving_on_signals
from fieldtune.console.widgets.entry_line import EntryLine
from fieldtune.robot.model import Robot

if TYPE_CHECKING:
    from fieldtune.console.screens.main_body import MainBody
    from fieldtune.session import Session

LOOKS_PER_SECOND = 20
OPENS_S = 0.5
"""When the line is opened at the latest, whatever was painted by then."""
PAINTED_S = 0.3
"""How long the first recommendation has for its way to the screen before anything else is begun."""


class ConsoleApp(App[None]):
    """The console of one robot, on a line that may still be unopened. ``clock`` gives seconds; tests replace it."""

    CSS_PATH = "console.tcss"
    ENABLE_COMMAND_PALETTE = False
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (80, "-usual"), (116, "-wide")]  # noqa: RUF012 - the base class declares it so
    VERTICAL_BREAKPOINTS = [(0, "-flat"), (21, "-short"), (36, "-tall")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = [*keys.VIEWS, *keys.ALWAYS]

    def __init__(
        self,
        robot: Robot,
        session: Session,
        line: ConsoleLine,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self.controller = Controller(robot, session, line, clock, self, self.show)
        # Before the style sheet is read for the first time, so that it is read once.
        for theme in themes.themes():
            self.register_theme(theme)
        self.set_reactive(App.theme, themes.DARK)
        self.stylesheet.set_variables(self.get_css_variables())
        self.failed: Exception | None = None
        self._caution_read = self.controller.recorder.caution_read
        self._settled = False
        self._opening = False

    def get_default_screen(self) -> MainScreen:
        """The main screen lies under all others."""
        self._main = MainScreen()
        return self._main

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Our colour names for themes that aren't ours."""
        return themes.defaults()

    def on_mount(self) -> None:
        """The caution where it wasn't seen yet, the timer, and after the first paint all that takes time."""
        if not self._caution_read:
            self.push_screen(CautionScreen(), self.controller.recorder.remember_caution)
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
            controller.line, body = await controller.background.run(_opened, controller.line)
            controller.line.start()
            self.look()  # asks for advice, which is worked out while the body is put in
            await self._main.show_body(body())
        except Exception as error:  # whoever runs the console says what it was
            if self.is_running:
                self.failed = error
                self.exit()
            return
        self.look()
        self.controller.recorder.reload()

    def on_key(self, event: Key) -> None:
        """Keys sent to the screen below while a line opened above it are that line's."""
        if isinstance(self.screen, EntryLine) and self.screen.take(event):
            event.prevent_default()

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
        """Bring the screen up to date at once: after a key, or when an answer arrives between two looks."""
        screen = self.screen if self.is_running and self.screen_stack else None
        if isinstance(screen, ConsoleScreen) and screen.ready:
            screen.tick(self.controller.shooting.live)

    # screens

    def action_view(self, name: str) -> None:
        """Opens one of the other screens."""
        wanted = screens.screen_class(name)
        if isinstance(self.screen, wanted):
            return
        self._close_screens()
        self.push_screen(wanted())

    def action_home(self) -> None:
        """Back to the main screen."""
        self._close_screens()
        self.look()

    def _close_screens(self) -> None:
        """Closes whatever lies over the main screen."""
        while len(self.screen_stack) > 1:
            self.pop_screen()

    def action_sunlight(self) -> None:
        """Between the dark theme and the one for sunlight."""
        self.theme = themes.SUNLIGHT if self.theme == themes.DARK else themes.DARK

    def action_leave(self) -> None:
        """Quits; what was confirmed is on disk."""
        self.exit()

    def on_unmount(self) -> None:
        """Lets the threads end."""
        self.controller.background.close()


def _opened(line: ConsoleLine) -> tuple[ConsoleLine, type[MainBody]]:
    """Opens the line and imports what draws and computes: some tenths of a second, more on an old laptop.

    Raises ``FieldtuneError`` where the line can't be opened as asked.
    """
    from fieldtune.console.screens.main_body import MainBody

    return line.open_line() if isinstance(line, UnopenedLine) else line, MainBody


def run(robot: Robot, session: Session, line: ConsoleLine) -> None:
    """Open the console on a line that is started, startable or unopened, and stay until it is left.

    The line is opened and started after the first paint and stopped at the end; the session stays the caller's to
    close. Raises ``FieldtuneError`` when the line can't be opened or started.
    """
    # Threads that compute hand over sooner than Python's 5 ms, so that keys are answered while they are at it.
    sys.setswitchinterval(0.0001)
    app = ConsoleApp(robot, session, line)
    try:
        with leaving_on_signals(app.exit):
            app.run()
    finally:
        app.controller.line.stop()
    if app.failed is not None:
        raise app.failed
