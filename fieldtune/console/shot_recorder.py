"""The shot log as the console holds it: what is confirmed, undone and left out; each may change what is learned."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from fieldtune.console import words
from fieldtune.console.background import BackgroundThreads, News
from fieldtune.console.shooting_state import ShootingState
from fieldtune.errors import FieldtuneError
from fieldtune.records import Result, Shot

if TYPE_CHECKING:
    from fieldtune.session import Session

CAUTION_KEY = "caution understood"
_TWICE_S = 1.0


class ShotRecorder:
    """Confirms shots through the session; nothing counts as confirmed before the store has it.

    ``shots`` and ``epoch`` are the log as last read; ``writing`` is true while a shot is being written; ``lesson``
    rises whenever what is learned may have changed. ``when_changed`` is called after every reading of the log.
    """

    def __init__(
        self,
        session: Session,
        shooting: ShootingState,
        background: BackgroundThreads,
        news: News,
        clock: Callable[[], float],
    ) -> None:
        self._session, self._shooting, self._background, self._news = session, shooting, background, news
        self._clock = clock
        self.shots: tuple[Shot, ...] = ()
        self.epoch: int | None = None
        self.writing = False
        self.lesson = 0
        self.when_changed: Callable[[], None] = lambda: None
        self._last: tuple[Result | None, float] = (None, 0.0)

    def reload(self) -> None:
        """Reads the log again."""
        self._background.begin("shots", self._reload)

    async def _reload(self) -> None:
        log = self._session.log
        read = await self._background.ask_log("Reading the log", lambda: (log.shots(), log.epoch))
        if read is not None:
            self.shots, self.epoch = read
            self.when_changed()

    def confirm(self, result: Result | None, miss_m: float | None = None, side_m: float | None = None) -> None:
        """Confirms the unanswered shot, or the one just taken, with this result."""
        shooting, say = self._shooting, self._news.say
        if self.writing:
            say("one moment: the last shot is still being written", bad=True)
            return
        if not shooting.unanswered and self._fell_twice(result):
            say("confirmed once: press again for another shot, one that the line didn't see")
            return
        try:
            shot = shooting.to_confirm()
        except FieldtuneError as error:
            say(str(error), bad=True)
            return
        self.writing = True
        fields = {
            "distance_m": shot.distance_m, "setpoint": shot.setpoint, "result": result, "miss_m": miss_m,
            "side_m": side_m, "speed": shot.speed, "battery_v": shot.battery_v, "target": shooting.target.name,
        }  # fmt: skip
        self._background.begin("log", self._confirm, shot.number, fields, exclusive=False)

    def _fell_twice(self, result: Result | None) -> bool:
        """Whether a result key is pressed again so soon that it is one finger, not another shot."""
        last, at = self._last
        return result is not None and result == last and self._clock() - at < _TWICE_S

    async def _confirm(self, number: int, fields: dict[str, Any]) -> None:
        try:
            shot = await self._background.ask_log("Confirming the shot", self._session.confirm, **fields)
        finally:
            self.writing = False
        if shot is not None:
            unanswered = self._shooting.unanswered
            if unanswered and unanswered[0].number == number:
                unanswered.popleft()
            self._last = (fields["result"], self._clock())
            self._news.say(f"confirmed: shot {shot.shot}, {words.result_of(shot)}. u undoes it")
            self.relearn()

    def undo(self) -> None:
        """Undoes the last confirmed shot."""
        self._background.begin("log", self._undo, exclusive=False)

    async def _undo(self) -> None:
        before = self._news.text
        act = await self._background.ask_log("Undoing", self._session.undo)
        if act is not None:
            self._news.say(f"undone: {act.act}")
            self.relearn()
        elif self._news.text is before:
            self._news.say("there is no confirmed shot to undo")

    def change(self, done: str, call: Callable[..., object], *args: object) -> None:
        """Changes something in the log, says what is ``done`` once it is written, and learns again."""
        self._background.begin("log", self._change, done, call, *args, exclusive=False)

    async def _change(self, done: str, call: Callable[..., object], *args: object) -> None:
        if await self._background.ask_log("The change", call, *args) is not None:
            self._news.say(done)
            self.relearn()

    def relearn(self) -> None:
        """What was learned may be different now: everything that rests on it is asked again."""
        self.lesson += 1
        self.when_changed()
        self.reload()

    # the caution of the first start

    @property
    def caution_read(self) -> bool:
        """Whether the caution was read at an earlier start with this log."""
        return self._session.log.recall(CAUTION_KEY) is not None

    def remember_caution(self, _: None = None) -> None:
        """The caution was read: kept with the log, or with the first shot that makes one."""
        self._background.begin("log", self._remember_caution, exclusive=False)

    async def _remember_caution(self) -> None:
        remember = self._session.log.remember
        await self._background.ask_log("Remembering the caution", remember, CAUTION_KEY, "yes", make=False)
