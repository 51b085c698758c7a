"""Behind the screens: the robot, its session and line, the desk, the news, and the back rooms that compute."""

from __future__ import annotations

from collections.abc import Callable, Coroutine
from functools import partial
from typing import TYPE_CHECKING, Any, TypeVar

from textual.app import App

from fieldtune.console import words
from fieldtune.console.background import BackgroundThread
from fieldtune.console.line_opening import Line
from fieldtune.console.shooting_state import Desk
from fieldtune.console.widgets.text_line import Part
from fieldtune.errors import FieldtuneError
from fieldtune.robot.model import Robot

if TYPE_CHECKING:
    from fieldtune.link.snapshot import Live
    from fieldtune.session import Session

T = TypeVar("T")
STALE_S = 15.0
"""How long a line of news stays."""


class Backstage(App[None]):
    """What all parts of the console share. ``lesson`` rises whenever what is learned may have changed."""

    def __init__(self, robot: Robot, session: Session, line: Line, clock: Callable[[], float]) -> None:
        super().__init__()
        self.robot, self.session, self.monitor = robot, session, line
        self.desk = Desk(robot)
        self.backroom, self.slow_room, self.log_room = BackgroundThread(), BackgroundThread(), BackgroundThread()
        self.clock = clock
        self.live: Live = line.snapshot()
        self.lesson = 0
        self.news: tuple[Part, ...] = ("",)
        self._said_at = clock()

    @property
    def sim(self) -> bool:
        """Whether the robot is known to be simulated."""
        return self.monitor.simulated is True

    def on_unmount(self) -> None:
        """Let the back room end."""
        self.backroom.close()
        self.slow_room.close()
        self.log_room.close()

    # news

    def show(self) -> None:
        """Bring the screen up to date at once: after a key, or when an answer arrives between two looks."""
        raise NotImplementedError

    def say(self, text: str, bad: bool = False) -> None:
        """One line of news at the bottom."""
        self._said_at = self.clock()
        line = words.fitted(words.printable(text.replace("\n", " ")), self.size.width - 4)
        self.news = (("✗ ", "bold $bad"), (line, "$bad")) if bad else ((line, "$ink"),)
        self.show()

    def forget_news(self) -> None:
        """Take the news away once it is old."""
        if self.clock() - self._said_at > STALE_S:
            self.news = ("",)

    # asking the back rooms

    async def ask(self, what: str, call: Callable[..., T], *args: Any, **kwargs: Any) -> T | None:
        """The call's answer from the back room; a failure becomes one line of news and ``None``."""
        return await self._ask_in(self.backroom, what, call, *args, **kwargs)

    async def ask_log(self, what: str, call: Callable[..., T], *args: Any, **kwargs: Any) -> T | None:
        """As ``ask``, for the log: keeping a shot never waits for something that is being worked out."""
        return await self._ask_in(self.log_room, what, call, *args, **kwargs)

    async def ask_slowly(self, what: str, call: Callable[..., T], *args: Any, **kwargs: Any) -> T | None:
        """As ``ask``, for what takes seconds and needs no session: it keeps nobody waiting."""
        return await self._ask_in(self.slow_room, what, call, *args, **kwargs)

    async def _ask_in(
        self, room: BackgroundThread, what: str, call: Callable[..., T], *args: Any, **kwargs: Any
    ) -> T | None:
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
