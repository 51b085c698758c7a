"""The running console: one timer that looks at the line, one back room that computes, screens that show."""

from __future__ import annotations

import gc
import sys
import time
from collections.abc import Callable, Coroutine
from functools import partial
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from textual.app import App
from textual.binding import BindingType
from textual.events import Key

from fieldtune.console import keys, palette, views, words
from fieldtune.console.advisor import Advisor
from fieldtune.console.backroom import Backroom
from fieldtune.console.board import Board
from fieldtune.console.book import Book
from fieldtune.console.caution import CautionScreen
from fieldtune.console.desk import Desk, Place
from fieldtune.console.entry import Entry
from fieldtune.console.main import MainScreen
from fieldtune.console.opening import Line, Unopened, opened
from fieldtune.console.pack import Pack
from fieldtune.console.plates import Part
from fieldtune.errors import FieldtuneError
from fieldtune.robot.model import Robot

if TYPE_CHECKING:
    from fieldtune.link.live import Live
    from fieldtune.session import Session

T = TypeVar("T")
LOOKS_PER_SECOND = 20
STALE_S = 15.0
"""How long a line of news stays."""
PAINTED_S = 0.3
"""How long the first recommendation has for its way to the screen before anything else is begun."""


class Console(App[None]):
    """The console of one robot, on a line that may be ``Unopened``. ``clock`` gives seconds; tests replace it."""

    CSS_PATH = "console.tcss"
    ENABLE_COMMAND_PALETTE = False
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (80, "-usual"), (116, "-wide")]  # noqa: RUF012 - the base class declares it so
    VERTICAL_BREAKPOINTS = [(0, "-flat"), (21, "-short"), (36, "-tall")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = [*keys.VIEWS, *keys.ALWAYS]

    def __init__(
        self,
        robot: Robot,
        session: Session,
        line: Line,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        # Before the style sheet is read for the first time, so that it is read once.
        for theme in palette.themes():
            self.register_theme(theme)
        self.set_reactive(App.theme, palette.DARK)
        self.stylesheet.set_variables(self.get_css_variables())
        self.robot, self.session, self.monitor = robot, session, line
        self.desk = Desk(robot)
        self.backroom, self.slow_room, self.log_room = Backroom(), Backroom(), Backroom()
        self.clock = clock
        self.live: Live = line.snapshot()
        self.failed: Exception | None = None
        self.news: tuple[Part, ...] = ("",)
        self.advisor, self.book, self.pack = Advisor(self), Book(self), Pack(self)
        self.looking = False
        self._said_at = clock()
        self._launch: tuple[float, float] | None = None
        self._caution_seen = self.book.caution_seen
        self._settled = False

    @property
    def sim(self) -> bool:
        """Whether the robot is known to be simulated."""
        return self.monitor.simulated is True

    def get_default_screen(self) -> MainScreen:
        """The main screen lies under all others."""
        self._main = MainScreen()
        return self._main

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Our colour names for themes that aren't ours."""
        return palette.defaults()

    def on_mount(self) -> None:
        """The caution where it wasn't seen yet, the timer, and after the first paint all that takes time."""
        if not self._caution_seen:
            self.push_screen(CautionScreen(), self.book.understood)
        self.set_interval(1 / LOOKS_PER_SECOND, self.look)
        self.call_after_refresh(self.begin, "opening", self._open)

    async def _open(self) -> None:
        try:
            self.monitor, middle = await self.backroom.run(opened, self.monitor)
            self.monitor.start()
            self.look()  # asks for advice, which is worked out while the middle is put in
            await self._main.furnish(middle())
        except Exception as error:  # whoever runs the console says what it was
            if self.is_running:
                self.failed = error
                self.exit()
            return
        self.look()
        self.book.reload()

    def on_unmount(self) -> None:
        """Let the back room end."""
        self.backroom.close()
        self.slow_room.close()
        self.log_room.close()

    def on_key(self, event: Key) -> None:
        """Keys sent to the screen below while a line opened above it are that line's."""
        if isinstance(self.screen, Entry) and self.screen.take(event):
            event.prevent_default()

    # looking

    def look(self) -> None:
        """Take a snapshot of the line, note what is new, and show it; a failure is said, and the console stays up."""
        if not self.is_running:
            return
        try:
            self.looking = True
            self._look()
        except Exception as error:
            self.log.error(error)
            self.news = (("✗ ", "bold $bad"), (f"Looking at the line failed: {type(error).__name__}: {error}", "$bad"))
        finally:
            self.looking = False

    def _look(self) -> None:
        self.live = live = self.monitor.snapshot()
        before = len(self.desk.waiting)
        self.desk.look(live, self.monitor.seen_in_simulation() if self.sim else ())
        if self.clock() - self._said_at > STALE_S:
            self.news = ("",)
        if len(self.desk.waiting) > before:
            aim = self.desk.aim
            self._launch = (self.clock(), (aim.time_s if aim and aim.time_s else 1.0))
        if not isinstance(self.monitor, Unopened):
            self.advisor.look(live)
        self.pack.look()
        if not self._settled and self._main.middle is not None and self.advisor.settled:
            self._settled = True
            self.set_timer(PAINTED_S, self._settle)
        self.show()

    def _settle(self) -> None:
        """What nobody waits for, once the first recommendation is painted."""
        self.pack.prepare()
        gc.freeze()  # what was loaded so far stays; looking through it for garbage would keep keys waiting
        gc.enable()

    def show(self) -> None:
        """Bring the screen up to date at once: after a key, or when an answer arrives between two looks."""
        screen = self.screen if self.is_running and self.screen_stack else None
        if isinstance(screen, Board) and screen.ready:
            screen.tick(self.live)

    def flown(self) -> float | None:
        """How far along its path the launched element is drawn, 0..1; ``None`` when none is under way."""
        if self._launch is None:
            return None
        begun, lasts = self._launch
        share = (self.clock() - begun) / max(0.2, lasts)
        if share > 1.5:
            self._launch = None
            return None
        return min(1.0, share)

    def say(self, text: str, bad: bool = False) -> None:
        """One line of news at the bottom."""
        self._said_at = self.clock()
        line = words.fitted(words.printable(text.replace("\n", " ")), self.size.width - 4)
        self.news = (("✗ ", "bold $bad"), (line, "$bad")) if bad else ((line, "$ink"),)
        self.show()

    # asking the back room

    async def ask(self, what: str, call: Callable[..., T], *args: Any, **kwargs: Any) -> T | None:
        """The call's answer from the back room; a failure becomes one line of news and ``None``."""
        return await self._ask_in(self.backroom, what, call, *args, **kwargs)

    async def ask_log(self, what: str, call: Callable[..., T], *args: Any, **kwargs: Any) -> T | None:
        """As ``ask``, for the log: keeping a shot never waits for something that is being worked out."""
        return await self._ask_in(self.log_room, what, call, *args, **kwargs)

    async def ask_slowly(self, what: str, call: Callable[..., T], *args: Any, **kwargs: Any) -> T | None:
        """As ``ask``, for what takes seconds and needs no session: it keeps nobody waiting."""
        return await self._ask_in(self.slow_room, what, call, *args, **kwargs)

    async def _ask_in(self, room: Backroom, what: str, call: Callable[..., T], *args: Any, **kwargs: Any) -> T | None:
        try:
            return await room.run(call, *args, **kwargs)
        except FieldtuneError as error:
            self.say(str(error), bad=True)
        except Exception as error:  # the console stays up whatever went wrong, and says what it was
            self.log.error(error)
            self.say(f"{what} did not work: {type(error).__name__}: {error}", bad=True)
        return None

    def begin(
        self, group: str, work: Callable[..., Coroutine[Any, Any, None]], *args: Any, exclusive: bool = True
    ) -> None:
        """Start asking, unless the console is ending; in an exclusive group the newer takes the older's place."""
        if self.is_running:
            # A partial, not a coroutine: one that is superseded before it began is then never made.
            self.run_worker(partial(work, *args), group=group, exclusive=exclusive, exit_on_error=False)  # type: ignore[arg-type]

    # changing things

    def go(self, place: Place) -> None:
        """Shoot from there; the simulated robot is put there too."""
        self.desk.go(place)
        self.say(f"from {words.metres(place.distance_m)} ({place.words})")
        self.advisor.moved()
        if self.sim:
            self.tell_sim(f"distance_m={place.distance_m:.3f}", None)

    def next_target(self) -> None:
        """Shoot at the robot's next target."""
        if len(self.robot.targets) < 2:
            self.say("this robot's profile has one target")
            return
        self.desk.target_number = (self.desk.target_number + 1) % len(self.robot.targets)
        self.advisor.forget()
        self.say(f"target: {self.desk.target.name or self.desk.target.kind}")
        self.advisor.moved()

    def tell_sim(self, line: str, told: str | None) -> None:
        """Send a line to the simulated robot; a real one is never sent anything from here."""
        if self.monitor.simulated is not False:
            self.begin("sim", self._tell, line, told, exclusive=False)

    async def _tell(self, line: str, told: str | None) -> None:
        try:
            self.monitor.tell(line)
        except FieldtuneError as error:
            self.say(str(error), bad=True)
        else:
            if told:
                self.say(told)

    # screens

    def action_view(self, name: str) -> None:
        """Open one of the other views."""
        view = views.view(name)
        if isinstance(self.screen, view):
            return
        self._to_main()
        self.push_screen(view())

    def action_home(self) -> None:
        """Back to the main screen."""
        self._to_main()
        self.look()

    def _to_main(self) -> None:
        while len(self.screen_stack) > 1:
            self.pop_screen()

    def action_sunlight(self) -> None:
        """Between the dark theme and the one for sunlight."""
        self.theme = palette.SUNLIGHT if self.theme == palette.DARK else palette.DARK

    def action_leave(self) -> None:
        """Quit; what was kept is on disk."""
        self.exit()


def run(robot: Robot, session: Session, line: Line) -> None:
    """Open the console on a line that is started, startable or ``Unopened``, and stay until it is left.

    The line is opened and started after the first paint and stopped at the end; the session stays the caller's to
    close. Raises ``FieldtuneError`` when the line can't be opened or started.
    """
    # Threads that compute hand over sooner than Python's 5 ms, so that keys are answered while they are at it.
    sys.setswitchinterval(0.0001)
    console = Console(robot, session, line)
    try:
        console.run()
    finally:
        console.monitor.stop()
    if console.failed is not None:
        raise console.failed
