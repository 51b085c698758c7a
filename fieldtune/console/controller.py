"""What the screens share: the robot, its session and line, what is being shot, and what happens at each look."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import TYPE_CHECKING

from fieldtune.caution import CAUTION_KEY
from fieldtune.console import words
from fieldtune.console.advice import Advisor
from fieldtune.console.background import BackgroundThreads, News
from fieldtune.console.battery_monitor import BatteryMonitor
from fieldtune.console.line_opening import ConsoleLine, UnopenedLine
from fieldtune.console.shooting_state import ShootingState
from fieldtune.console.shot_recorder import ShotRecorder
from fieldtune.console.typed import Distance
from fieldtune.errors import FieldtuneError, StoreError
from fieldtune.link.history import LineHistory
from fieldtune.robot.model import Robot

if TYPE_CHECKING:
    from fieldtune.console.encoder_guard import EncoderGuard
    from fieldtune.console.output import Output
    from fieldtune.console.robot_map import RobotMap
    from fieldtune.console.terminal_app import TerminalApp
    from fieldtune.link.samples import Live
    from fieldtune.session import Session


class Controller:
    """The console without its screens. ``show`` brings the open screen up to date; ``clock`` gives seconds."""

    def __init__(
        self,
        robot: Robot,
        session: Session,
        line: ConsoleLine,
        clock: Callable[[], float],
        app: TerminalApp[None],
        show: Callable[[], None],
    ) -> None:
        self.robot, self.session, self.line, self.clock, self.show = robot, session, line, clock, show
        self._app = app
        self.news = News(lambda: self.clock(), show)
        self.background = BackgroundThreads(app, self.news)
        self.shooting = ShootingState(robot, line.snapshot(), lambda: self.clock(), session.log.now)
        self.recorder = ShotRecorder(session, self.shooting, self.background, self.news, lambda: self.clock())
        self.advisor = Advisor(session, self.shooting, self.background, lambda: self.clock(), self._show_whole)
        self.recorder.when_changed = self._log_changed
        self.battery = BatteryMonitor(session, self.shooting, self.recorder, self.background)
        self.encoder: EncoderGuard | None = None
        self.old_values: tuple[str, ...] = ()
        """What shots were learned under and the profile says otherwise now, in words."""
        self.history = LineHistory(robot.launcher.mechanism.by_motion(lambda _: True, lambda _: False))
        self.looking = False
        self.moved_last = False
        """Whether something moved or was loaded when that was read last."""
        self._launch: tuple[float, float] | None = None
        self._told_of_others = False

    @cached_property
    def robot_map(self) -> RobotMap:
        """What the map shows; made with arrays, so it is imported when first looked at."""
        from fieldtune.console.robot_map import RobotMap

        return RobotMap(self)

    @property
    def output(self) -> Output | None:
        """What goes to the terminal; None before the first paint and without one."""
        return self._app.output

    @property
    def simulated(self) -> bool:
        """Whether the robot is known to be simulated."""
        return self.line.simulated is True

    def look(self) -> None:
        """Takes a snapshot of the line, notes what is new and shows it; a failure is said, and the console stays up."""
        if not self._app.is_running:
            return
        try:
            self.looking = True
            self._look()
        except Exception as error:
            self._app.log.error(error)
            self.news.say(f"Looking at the line failed: {type(error).__name__}: {error}", bad=True)
        finally:
            self.looking = False

    def _look(self) -> None:
        live = self.line.snapshot()
        seen = self.shooting.look(live, self.line.seen_in_simulation() if self.simulated else ())
        self.moved_last = words.moving_still(live, self.robot, self.moved_last)
        self.news.forget_old()
        if live.others and not self._told_of_others:
            self._told_of_others = True
            count = len(live.others) + 1
            self.news.say(f"{count} robots may be plugged in, {live.port} is read: ^p (Ctrl+P) reads the next")
        if seen:
            self.recorder.keep(seen)
            aim = self.shooting.aim
            self._launch = (self.clock(), (aim.time_s if aim and aim.time_s else 1.0))
        if not isinstance(self.line, UnopenedLine):
            self._guard(live)
            self.advisor.look(live)
            self.recorder.look()
        samples = self.line.drain()
        self.history.take(samples, live.shots)
        self.battery.look(samples)
        if not self.advisor.soon:
            self.show()

    def _guard(self, live: Live) -> None:
        """The encoder's scale, watched from when the line is open."""
        if self.encoder is None:
            from fieldtune.console.encoder_guard import EncoderGuard

            self.encoder = EncoderGuard(self.session, lambda: self.clock(), self._keep_verdict)
            self.background.begin("encoder", self._recall_verdict, self.encoder)
        self.encoder.look(live, self.line)
        self.shooting.speeds_believed = self.encoder.caution is None

    async def _recall_verdict(self, guard: EncoderGuard) -> None:
        await self.background.ask_log("Reading what is known of the encoder", guard.begin)
        if self.robot.path is not None:
            from fieldtune.setup.old_values import old_values

            found = await self.background.ask_log("The profile", old_values, self.robot.path, self.session.log)
            self.old_values = tuple(one.words for one in found or ())

    def _keep_verdict(self, keep: Callable[[], object], said: str) -> None:
        """Keeps a new verdict with the log, and works the advice out anew with it."""

        def kept(_: object) -> str:
            self.shooting.lesson += 1
            self.advisor.ask_if_changed()
            return said

        self.recorder.change(kept, lambda: keep() or True)

    def _show_whole(self) -> None:
        """Everything at once, as at a look: an answer that someone waits for has come."""
        if self.output is not None:
            self.output.hurry()
        before, self.looking = self.looking, True
        try:
            self.show()
        finally:
            self.looking = before

    def _log_changed(self) -> None:
        self.advisor.ask_if_changed()
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

    def shoot_from(self, distance: Distance) -> None:
        """Shoot from there; the simulated robot is put there too."""
        self.shooting.choose(distance)
        self.news.say(f"from {words.metres(distance.value_m)} ({distance.words})")
        self._moved(distance)

    def suggest(self, distance: Distance) -> None:
        """Somewhere worth driving to; the simulated robot drives there."""
        self.shooting.suggest(distance)
        self.news.say(f"drive to {words.metres(distance.value_m)} ({distance.words})")
        self._moved(distance)

    def _moved(self, distance: Distance) -> None:
        self.advisor.ask_if_changed()
        if self.simulated:
            self.tell_simulator(f"distance_m={distance.value_m:.3f}", None)

    def next_target(self) -> None:
        """Shoot at the robot's next target."""
        if len(self.robot.targets) < 2:
            self.news.say("this robot's profile has one target")
            return
        self.shooting.next_target()
        self.advisor.forget()
        self.news.say(f"target: {self.shooting.target.name or self.shooting.target.kind}")
        self.advisor.ask_if_changed()

    def another_port(self) -> None:
        """Reads the next of the ports at which robots were found, and stays with it for the session."""
        live = self.shooting.live
        if not live.others:
            self.news.say("no other robot's port was found: --port names one", bad=True)
            return
        following = sorted(live.others, key=lambda port: (port < (live.port or ""), port))[0]
        self.line.choose(following)
        self.news.say(f"reading {following} from now on")

    def tell_simulator(self, command: str, done: str | None) -> None:
        """Sends a command to the simulated robot and says it is ``done``; a real one is never sent anything."""
        if self.line.simulated is not False:
            self.background.begin("sim", self._tell, command, done, exclusive=False)

    async def _tell(self, command: str, done: str | None) -> None:
        try:
            self.line.tell(command)
        except FieldtuneError as error:
            self.news.say(str(error), bad=True)
        else:
            if done:
                self.news.say(done)

    @property
    def caution_read(self) -> bool:
        """Whether the caution was read at an earlier start with this log; it is shown again where nobody knows."""
        try:
            return self.session.log.recall(CAUTION_KEY, wait_s=0.1) is not None
        except StoreError:
            return False

    def remember_caution(self, _: None = None) -> None:
        """The caution was read: kept with the log, or with the first shot that makes one."""
        log = self.session.log
        self.recorder.change(None, lambda: log.remember(CAUTION_KEY, "yes", make=False))
