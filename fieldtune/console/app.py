"""The running console: one timer that looks at the line, one back room that computes, screens that show."""

from __future__ import annotations

import asyncio
import gc
import sys
import time
from collections.abc import Callable, Coroutine
from typing import TYPE_CHECKING, Any, ClassVar, TypeVar

from textual.app import App
from textual.binding import BindingType

from fieldtune.aim.results import Aim, ArcPicture
from fieldtune.console import keys, palette, views, words
from fieldtune.console.backroom import Backroom
from fieldtune.console.board import Board
from fieldtune.console.caution import CautionScreen
from fieldtune.console.desk import Desk, Place
from fieldtune.console.main import MainScreen
from fieldtune.console.plates import Part
from fieldtune.errors import FieldtuneError
from fieldtune.link.live import Live
from fieldtune.records import Result, Shot
from fieldtune.robot.model import Robot

if TYPE_CHECKING:
    from fieldtune.link import Monitor
    from fieldtune.session import Session

T = TypeVar("T")
LOOKS_PER_SECOND = 12
PAUSE_S = 0.08
"""Before new advice is worked out: the key that asked for it is painted first, and held keys ask once."""
STALE_S = 15.0
"""How long a line of news stays."""
REDRAW_S = 0.4
"""The path at the present readback is worked out no oftener: it is heavy, and the recommended one tells more."""
CAUTION_KEY = "caution understood"


class Console(App[None]):
    """The console of one robot. ``clock`` gives seconds and is replaced in tests."""

    CSS_PATH = "console.tcss"
    ENABLE_COMMAND_PALETTE = False
    HORIZONTAL_BREAKPOINTS = [(0, "-narrow"), (80, "-usual"), (116, "-wide")]  # noqa: RUF012 - the base class declares it so
    VERTICAL_BREAKPOINTS = [(0, "-flat"), (21, "-short"), (36, "-tall")]  # noqa: RUF012
    BINDINGS: ClassVar[list[BindingType]] = [*keys.VIEWS, *keys.ALWAYS]

    def __init__(
        self,
        robot: Robot,
        session: Session,
        monitor: Monitor,
        sim: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        # Before the style sheet is read for the first time, so that it is read once.
        for theme in palette.themes():
            self.register_theme(theme)
        self.set_reactive(App.theme, palette.DARK)
        self.stylesheet.set_variables(self.get_css_variables())
        self.robot, self.session, self.monitor, self.sim = robot, session, monitor, sim
        self.desk = Desk(robot)
        self.backroom, self.slow_room = Backroom(), Backroom()
        self.clock = clock
        self.live: Live = monitor.snapshot()
        self.shots: tuple[Shot, ...] = ()
        self.epoch: int | None = None
        self.failed: FieldtuneError | None = None
        self.picture: ArcPicture | None = None
        self.picture_now: ArcPicture | None = None
        self.odds_now: tuple[float, float] | None = None
        self.news: tuple[Part, ...] = ("",)
        self._said_at = clock()
        self.keeping = False
        self._advised_for: object = None
        self._drawn_for: float | None = None
        self._drawn_at = -REDRAW_S
        self._drawing = False
        self._caution_seen = False
        self.lesson = 0
        self._launch: tuple[float, float] | None = None

    def get_default_screen(self) -> MainScreen:
        """The main screen lies under all others."""
        return MainScreen()

    def get_theme_variable_defaults(self) -> dict[str, str]:
        """Our colour names for themes that aren't ours."""
        return palette.defaults()

    def on_mount(self) -> None:
        """The caution where it wasn't seen yet, the timer, and after the first paint the line and the back room."""
        if self.session.recall(CAUTION_KEY) is None:
            self.push_screen(CautionScreen(), self._understood)
        self.set_interval(1 / LOOKS_PER_SECOND, self.look)
        self.call_after_refresh(self._begin)

    def _begin(self) -> None:
        try:
            self.monitor.start()
        except FieldtuneError as error:
            self.failed = error
            self.exit(return_code=error.exit_code)
            return
        self.look()
        self.reload_shots()
        gc.collect()
        gc.freeze()

    def _understood(self, _: None) -> None:
        """Remember it; where there is no log yet, it is remembered with the first shot that makes one."""
        self._caution_seen = True
        path = self.session.store.path
        if path is None or path.exists():
            self.begin(self._remember(), "log", exclusive=False)

    async def _remember(self) -> None:
        self._caution_seen = False
        await self.ask("Remembering the caution", self.session.remember, CAUTION_KEY, "yes")

    def on_unmount(self) -> None:
        """Let the back room end."""
        self.backroom.close()
        self.slow_room.close()

    # looking

    def look(self) -> None:
        """Take a snapshot of the line, note what is new, and show it."""
        if not self.is_running:
            return
        self.live = live = self.monitor.snapshot()
        before = len(self.desk.waiting)
        self.desk.look(live, self.monitor.seen_in_simulation() if self.sim else ())
        if self.clock() - self._said_at > STALE_S:
            self.news = ("",)
        if len(self.desk.waiting) > before:
            aim = self.desk.aim
            self._launch = (self.clock(), (aim.time_s if aim and aim.time_s else 1.0))
        self.moved()
        self._draw_readback(live)
        self.show()

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
        line = words.printable(text.replace("\n", " "))
        self.news = (("✗ ", "bold $bad"), (line, "$bad")) if bad else ((line, "$ink"),)
        self.show()

    # asking the back room

    async def ask(self, what: str, call: Callable[..., T], *args: Any, **kwargs: Any) -> T | None:
        """The call's answer from the back room; a failure becomes one line of news and ``None``."""
        return await self._ask_in(self.backroom, what, call, *args, **kwargs)

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

    def begin(self, work: Coroutine[Any, Any, None], group: str, exclusive: bool = True) -> None:
        """Start an asking coroutine; within an exclusive group a newer one takes the place of an older."""
        self.run_worker(work, group=group, exclusive=exclusive, exit_on_error=False)

    def moved(self) -> None:
        """Ask for new advice if anything that it rests on has changed."""
        desk = self.desk
        place = None if desk.place is None else round(desk.place.distance_m, 2)
        told = self.live.setpoint
        key = (place, desk.battery_v, desk.target_number, self.lesson, told)
        if key != self._advised_for:
            same = isinstance(self._advised_for, tuple) and key[:4] == self._advised_for[:4]
            self._advised_for = key
            if place is None:
                desk.aim = self.picture = self.odds_now = None
            else:
                self.begin(self._advise(place, told, same and desk.aim is not None), "advice")

    async def _advise(self, distance: float, told: float | None, only_odds: bool) -> None:
        await asyncio.sleep(PAUSE_S)
        desk, name = self.desk, self.desk.target.name
        if not only_odds:
            aim = await self.ask("The recommendation", self.session.aim, distance, desk.battery_v, name)
            if aim is None:
                return
            self._take(aim)
            self.show()
            if aim.setpoint.value is not None:
                self.picture = await self.ask(
                    "The picture", self.session.picture, distance, aim.setpoint.value, desk.battery_v, name
                )
        self.odds_now = None
        advised = desk.advised
        if told is not None and advised is not None and abs(told - advised) >= self.robot.setpoint.step / 2:
            odds = await self.ask("The chance", self.session.odds, distance, told, desk.battery_v, name)
            self.odds_now = None if odds is None else (told, odds)

    def _take(self, aim: Aim) -> None:
        self.desk.aim = aim
        if aim.setpoint.value is None:
            self.picture = None

    def _draw_readback(self, live: Live) -> None:
        """Draw the path at the present readback too, while it isn't the recommended one."""
        value, place, advised = words.readback(live, self.robot), self.desk.place, self.desk.advised
        if value is None or place is None or advised is None or value < 0.3 * advised or value > 2 * advised:
            self.picture_now = None
            return
        if words.near(value, advised, self.robot):
            self.picture_now, self._drawn_for = None, None
        elif not self._drawing and self.clock() - self._drawn_at > REDRAW_S and value != self._drawn_for:
            self._drawing, self._drawn_for, self._drawn_at = True, value, self.clock()
            self.begin(self._draw(place.distance_m, value), "now", exclusive=False)

    async def _draw(self, distance: float, value: float) -> None:
        try:
            self.picture_now = await self.ask(
                "The picture", self.session.picture, distance, value, self.desk.battery_v, self.desk.target.name
            )
        finally:
            self._drawing = False

    def reload_shots(self) -> None:
        """Read the log again."""
        self.begin(self._reload(), "shots")

    async def _reload(self) -> None:
        read = await self.ask("Reading the log", lambda: (self.session.shots(), self.session.epoch))
        if read is not None:
            self.shots, self.epoch = read
            self.show()

    # changing things

    def go(self, place: Place) -> None:
        """Shoot from there; the simulated robot is put there too."""
        self.desk.go(place)
        self.say(f"from {words.metres(place.distance_m)} ({place.words})")
        self.moved()
        if self.sim:
            self.tell_sim(f"distance_m={place.distance_m:.3f}", None)

    def next_target(self) -> None:
        """Shoot at the robot's next target."""
        if len(self.robot.targets) < 2:
            self.say("this robot's profile has one target")
            return
        self.desk.target_number = (self.desk.target_number + 1) % len(self.robot.targets)
        self.desk.aim = self.picture = self.picture_now = None
        self.say(f"target: {self.desk.target.name or self.desk.target.kind}")
        self.moved()

    def keep(self, result: Result | None, miss_m: float | None = None, side_m: float | None = None) -> None:
        """Keep the waiting shot with its result; it counts as kept once the store has it."""
        if self.keeping:
            self.say("one moment: the last shot is still being written", bad=True)
            return
        try:
            shot = self.desk.to_confirm(self.live)
        except FieldtuneError as error:
            self.say(str(error), bad=True)
            return
        self.keeping = True
        self.show()
        fields = {
            "result": result, "miss_m": miss_m, "side_m": side_m,
            "speed": shot.speed, "battery_v": shot.battery_v, "target": self.desk.target.name,
        }  # fmt: skip
        self.begin(self._keep(shot.number, shot.distance_m, shot.setpoint, fields), "log", exclusive=False)

    async def _keep(self, number: int, distance: float | None, setpoint: float | None, fields: dict[str, Any]) -> None:
        try:
            shot = await self.ask("Keeping the shot", self.session.confirm, distance, setpoint, **fields)
            if shot is not None:
                waiting = self.desk.waiting
                if waiting and waiting[0].number == number:
                    waiting.popleft()
                self.say(f"kept: shot {shot.shot}, {words.result_of(shot)}. Press u to take it back")
                self.relearn()
                if self._caution_seen:
                    await self._remember()
        finally:
            self.keeping = False

    def take_back(self) -> None:
        """Take the last kept shot back."""
        self.begin(self._take_back(), "log", exclusive=False)

    async def _take_back(self) -> None:
        before = self.news
        shot = await self.ask("Taking back", self.session.undo)
        if shot is not None:
            self.say(f"taken back: shot {shot.shot}, {words.result_of(shot)}")
            self.relearn()
        elif self.news is before:
            self.say("there is no kept shot to take back")

    def relearn(self) -> None:
        """Something new was learned or unlearned: everything that rests on it is asked again."""
        self.lesson += 1
        self._drawn_for = None
        self.moved()
        self.reload_shots()

    def change(self, told: str, call: Callable[..., object], *args: object) -> None:
        """Change something in the log, say so once it is written, and learn again."""
        self.begin(self._change(told, call, *args), "log", exclusive=False)

    async def _change(self, told: str, call: Callable[..., object], *args: object) -> None:
        if await self.ask("The change", call, *args) is not None:
            self.say(told)
            self.relearn()

    def tell_sim(self, line: str, told: str | None) -> None:
        """Send a line to the simulated robot; a real one is never sent anything from here."""
        if self.sim:
            self.begin(self._tell(line, told), "sim", exclusive=False)

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


def run(robot: Robot, session: Session, monitor: Monitor, sim: bool = False) -> None:
    """Open the console on a started or startable monitor and stay until it is left.

    The monitor is started after the first paint and stopped at the end; the session stays the caller's to close.
    Raises ``FieldtuneError`` when the monitor can't be started.
    """
    # Threads that compute hand over sooner than Python's 5 ms, so that keys are answered while they are at it.
    sys.setswitchinterval(0.0005)
    console = Console(robot, session, monitor, sim)
    try:
        console.run()
    finally:
        monitor.stop()
    if console.failed is not None:
        raise console.failed
