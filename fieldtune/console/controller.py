"""What happens on the screens, whichever is open: looking at the line, advice, the log, the battery, moving about."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from fieldtune.console import words
from fieldtune.console.advice import Advisor
from fieldtune.console.battery_monitor import Pack
from fieldtune.console.console_base import Backstage
from fieldtune.console.line_opening import Line, Unopened
from fieldtune.console.shooting_state import Place
from fieldtune.console.shot_recorder import Book
from fieldtune.errors import FieldtuneError
from fieldtune.robot.model import Robot

if TYPE_CHECKING:
    from fieldtune.session import Session


class Stage(Backstage):
    """A console without its screens: they are boards, and call it ``console``."""

    def __init__(self, robot: Robot, session: Session, line: Line, clock: Callable[[], float]) -> None:
        super().__init__(robot, session, line, clock)
        self.advisor = Advisor(self)
        self.book = Book(self, self.advisor.moved)
        self.pack = Pack(self, self.book)
        self.looking = False
        self._launch: tuple[float, float] | None = None

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
        self.forget_news()
        if len(self.desk.waiting) > before:
            aim = self.desk.aim
            self._launch = (self.clock(), (aim.time_s if aim and aim.time_s else 1.0))
        if not isinstance(self.monitor, Unopened):
            self.advisor.look(live)
        self.pack.look()
        self.show()

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

    def action_home(self) -> None:
        """Back to the main screen."""
        self.to_main()
        self.look()

    def to_main(self) -> None:
        """Close whatever lies over the main screen."""
        while len(self.screen_stack) > 1:
            self.pop_screen()

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
