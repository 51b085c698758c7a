"""The shot log as the console holds it: what is kept and what is taken back; each makes a new lesson."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from fieldtune.console import words
from fieldtune.errors import FieldtuneError
from fieldtune.records import Result, Shot

if TYPE_CHECKING:
    from fieldtune.console.console_base import Backstage

CAUTION_KEY = "caution understood"
_TWICE_S = 1.0


class Book:
    """Keeps shots through the session; nothing counts as kept before the store has it.

    ``shots`` and ``epoch`` are the log as last read; ``keeping`` is true while a shot is being written; ``learn`` is
    called whenever what is learned may have changed.
    """

    def __init__(self, console: Backstage, learn: Callable[[], None]) -> None:
        self._console, self._learn = console, learn
        self.shots: tuple[Shot, ...] = ()
        self.epoch: int | None = None
        self.keeping = False
        self._caution_to_note = False
        self._last: tuple[Result | None, float] = (None, 0.0)

    def reload(self) -> None:
        """Read the log again."""
        self._console.begin("shots", self._reload)

    async def _reload(self) -> None:
        session = self._console.session
        read = await self._console.ask_log("Reading the log", lambda: (session.log.shots(), session.log.epoch))
        if read is not None:
            self.shots, self.epoch = read
            self._console.show()

    def keep(self, result: Result | None, miss_m: float | None = None, side_m: float | None = None) -> None:
        """Keep the waiting shot, or the one just taken, with this result."""
        console = self._console
        if self.keeping:
            console.say("one moment: the last shot is still being written", bad=True)
            return
        if not console.desk.waiting and self._fell_twice(result):
            console.say("kept once: press again for another shot, one that the line didn't see")
            return
        try:
            shot = console.desk.to_confirm(console.live)
        except FieldtuneError as error:
            console.say(str(error), bad=True)
            return
        self.keeping = True
        console.show()
        fields = {
            "distance_m": shot.distance_m, "setpoint": shot.setpoint, "result": result, "miss_m": miss_m,
            "side_m": side_m, "speed": shot.speed, "battery_v": shot.battery_v, "target": console.desk.target.name,
        }  # fmt: skip
        console.begin("log", self._keep, shot.number, fields, exclusive=False)

    def _fell_twice(self, result: Result | None) -> bool:
        """Whether a result key is pressed again so soon that it is one finger, not another shot."""
        last, at = self._last
        return result is not None and result == last and self._console.clock() - at < _TWICE_S

    async def _keep(self, number: int, fields: dict[str, Any]) -> None:
        console = self._console
        try:
            shot = await console.ask_log("Keeping the shot", console.session.confirm, **fields)
        finally:
            self.keeping = False
        if shot is not None:
            waiting = console.desk.waiting
            if waiting and waiting[0].number == number:
                waiting.popleft()
            self._last = (fields["result"], console.clock())
            console.say(f"kept: shot {shot.shot}, {words.result_of(shot)}. Press u to take it back")
            self.relearn()
            if self._caution_to_note:
                await self._note_caution()

    def take_back(self) -> None:
        """Take the last kept shot back."""
        self._console.begin("log", self._take_back, exclusive=False)

    async def _take_back(self) -> None:
        console = self._console
        before = console.news
        shot = await console.ask_log("Taking back", console.session.undo)
        if shot is not None:
            console.say(f"taken back: shot {shot.shot}, {words.result_of(shot)}")
            self.relearn()
        elif console.news is before:
            console.say("there is no kept shot to take back")

    def change(self, told: str, call: Callable[..., object], *args: object) -> None:
        """Change something in the log, say so once it is written, and learn again."""
        self._console.begin("log", self._change, told, call, *args, exclusive=False)

    async def _change(self, told: str, call: Callable[..., object], *args: object) -> None:
        if await self._console.ask_log("The change", call, *args) is not None:
            self._console.say(told)
            self.relearn()

    def relearn(self) -> None:
        """Something new was learned or unlearned: everything that rests on it is asked again."""
        self._console.lesson += 1
        self._learn()
        self.reload()

    # the caution of the first start

    @property
    def caution_seen(self) -> bool:
        """Whether the caution was read at an earlier start with this log."""
        return self._console.session.log.recall(CAUTION_KEY) is not None

    def understood(self, _: None = None) -> None:
        """Remember the caution; where there is no log yet, with the first shot that makes one."""
        path = self._console.session.log.path
        self._caution_to_note = path is not None and not path.exists()
        if not self._caution_to_note:
            self._console.begin("log", self._note_caution, exclusive=False)

    async def _note_caution(self) -> None:
        self._caution_to_note = False
        await self._console.ask_log("Remembering the caution", self._console.session.log.remember, CAUTION_KEY, "yes")
