"""The shot log as the console holds it: results, corrections, undo and redo, and what another console wrote."""

from __future__ import annotations

import asyncio
import uuid
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from typing import TYPE_CHECKING, Any

from fieldtune.console import words
from fieldtune.console.background import BackgroundThreads, News
from fieldtune.console.shooting_state import Answer, ShootingState
from fieldtune.errors import FieldtuneError
from fieldtune.records import Act, Result, Shot, UnansweredShot
from fieldtune.shot_entry import act_words

if TYPE_CHECKING:
    from fieldtune.session import Session

_TWICE_S = 1.0
_LOOK_S, _LOOK_AGAIN_S = 0.3, 5.0
"""Between two looks whether someone else wrote to the log, and after one that failed."""
_Read = tuple[object, tuple[Shot, ...], int, str | None, tuple[UnansweredShot, ...]]
"""Version of the log, shots, battery period and its label, shots without a result."""


class ShotRecorder:
    """Writes to the log what keys say, in the order of the keys; nothing counts as confirmed before the store has it.

    ``shots`` and ``label`` are the log as last read, ``writing`` how many writes are under way. ``when_changed`` is
    called after every reading that brought something new.
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
        session.log.file.begin_rescues()
        self.shots: tuple[Shot, ...] = ()
        self.label: str | None = None
        self.writing = 0
        self.when_changed: Callable[[], None] = lambda: None
        self._last: tuple[Result | None, float] = (None, 0.0)
        self._answered: set[str] = set()
        self._not_kept: set[str] = set()
        self._console = str(uuid.uuid4())
        self._opened = False
        self._looking = self._reading = False
        self._look_at = 0.0
        self._version: object = None

    # -- reading -----------------------------------------------------------------------------------------------------

    def reload(self) -> None:
        """Reads the log again."""
        self._background.begin("shots", self._reload)

    async def _reload(self) -> None:
        self._reading = True
        try:
            read = await self._background.ask_log("Reading the log", self._read)
        finally:
            self._reading, self._look_at = False, self._clock() + (_LOOK_S if self._opened else _LOOK_AGAIN_S)
        if read is not None:
            self._take(read)
            self._say_what_became_of_the_file()

    def _read(self) -> _Read:
        log = self._session.log
        if not self._opened:
            log.open_console(self._console)
            self._opened = True
        return log.version(), log.shots(), log.epoch, log.battery_label, log.unanswered()

    def _say_what_became_of_the_file(self) -> None:
        file, state = self._session.log.file, self._shooting
        state.offer = None if file.offer is None else file.offer.words
        if file.said is not None:
            kept = f"{self._news.text}; " if self._news.text.startswith("confirmed") else ""
            self._news.say(f"{kept}{file.said}", bad=not kept)
            file.said = None

    def _take(self, read: _Read) -> None:
        version, shots, epoch, label, unanswered = read
        state = self._shooting
        self._version = version
        kept = {shot.uid: shot for shot in unanswered}
        kept.update((shot.uid, shot) for shot in state.unanswered if shot.uid in self._not_kept)
        state.unanswered = sorted(
            (shot for uid, shot in kept.items() if uid not in self._answered), key=lambda shot: shot.time
        )
        there = {shot.uid for shot in state.unanswered} | {shot.uid for shot in shots}
        state.chosen = tuple(shot for shot in state.chosen if shot.uid in there)
        if (shots, epoch, label) != (self.shots, state.epoch, self.label):
            gone = len({shot.uid for shot in self.shots} - {shot.uid for shot in shots})
            if gone and self._session.log.file.said is None:  # written over in place: shots are only ever added
                had = "shot that it had is" if gone == 1 else "shots that it had are"
                self._news.say(f"the log was put back to an older state: {gone} {had} not in it now", bad=True)
            self.shots, state.epoch, self.label = shots, epoch, label
            state.lesson += 1
            state.remember()  # a shot that leaves before the next look belongs to the period that begins now
        self.when_changed()

    def look(self) -> None:
        """Now and then, whether someone else wrote to the log: another console, or a command."""
        if not self._news.text and (waits := self._session.log.file.waits):
            self._news.say(waits, bad=True)
        if not self._opened:
            if self._look_at and not self._reading and self._clock() >= self._look_at:  # it was locked, or unreadable
                self.reload()
        elif not self._looking and not self.writing and self._clock() >= self._look_at:
            self._looking = True
            self._background.begin("log watch", self._look, exclusive=False)

    async def _look(self) -> None:
        pause = _LOOK_AGAIN_S
        try:
            version = await self._background.ask_log("Looking at the log", self._session.log.version)
            if version is not None:
                pause = _LOOK_S
                if version != self._version and not self.writing:
                    await self._reload()
        finally:
            self._looking, self._look_at = False, self._clock() + pause

    # -- shots that were seen ----------------------------------------------------------------------------------------

    def keep(self, shots: list[UnansweredShot]) -> None:
        """Keeps shots that were just seen, so that a restart doesn't lose them; not those of a recording."""
        self._not_kept.update(shot.uid for shot in shots)
        for shot in () if words.of_replay(self._shooting.live) else shots:
            self._write(self._keep, shot)

    async def _keep(self, shot: UnansweredShot) -> None:
        log = self._session.log
        if await self._background.ask_log("Keeping the shot", log.keep_unanswered, shot) is not None:
            self._not_kept.discard(shot.uid)  # else it is remembered as long as the console runs

    def discard(self) -> None:
        """The shots asked about were none: nothing was launched."""
        state = self._shooting
        shots = [shot for shot in state.asked_about() if isinstance(shot, UnansweredShot)]
        if state.answer is not None:
            state.answer = None
            if not shots:
                self._news.say("nothing was confirmed")
                return
        if not shots and not state.chosen and state.offer is not None:
            self._write(self._change, str, self._session.log.file.decline)
            return
        if not shots:
            chosen = bool(state.chosen)
            self._news.say(
                "that shot is confirmed: u undoes the last one, o leaves one out" if chosen
                else "there is no shot without a result"
            )  # fmt: skip
            return
        for shot in shots:
            self._taken_up(shot)
            self._write(self._discard, shot)
        self._news.say(f"discarded: {words.counted(len(shots), 'shot')} that {'were' if shots[1:] else 'was'} none")

    async def _discard(self, shot: UnansweredShot) -> None:
        log = self._session.log
        done = await self._background.ask_log("Discarding the shot", log.discard, shot.uid)
        await self._settle(shot, done)

    def _taken_up(self, shot: UnansweredShot) -> None:
        """From now on the next key is about another shot."""
        state = self._shooting
        self._answered.add(shot.uid)
        state.unanswered = [other for other in state.unanswered if other.uid != shot.uid]
        state.chosen = tuple(other for other in state.chosen if other.uid != shot.uid)

    async def _settle(self, shot: UnansweredShot, done: object) -> None:
        """What was written is the log's to say from now on; what couldn't be written is asked about again."""
        self._answered.discard(shot.uid)
        if done is None and all(shot.uid != other.uid for other in self._shooting.unanswered):
            self._shooting.wait([shot])
            self._not_kept.add(shot.uid)  # the log may not know of it
        elif done is not None:
            self._not_kept.discard(shot.uid)

    # -- results -----------------------------------------------------------------------------------------------------

    def result(self, result: Result | None, miss_m: float | None = None, side_m: float | None = None) -> None:
        """A result for the shots asked about: an answer, a correction, or a shot that the line didn't see."""
        state = self._shooting
        asked = state.asked_about()
        state.answer = None
        if asked:
            for shot in asked:
                if isinstance(shot, Shot):
                    self._correct(shot, result, miss_m, side_m)
            self._answer([shot for shot in asked if isinstance(shot, UnansweredShot)], result, miss_m, side_m)
            return
        if self._fell_twice(result):
            self._news.say("confirmed once: press again for another shot, one that the line didn't see")
            return
        self._answer([state.shot_now()], result, miss_m, side_m)

    def _fell_twice(self, result: Result | None) -> bool:
        """Whether a result key is pressed again so soon that it is one finger, not another shot."""
        last, at = self._last
        return result is not None and result == last and self._clock() - at < _TWICE_S

    def _answer(
        self, shots: list[UnansweredShot], result: Result | None, miss_m: float | None, side_m: float | None
    ) -> None:
        """Confirms those shots with that result, the oldest first; those with something odd wait for one word."""
        odd: list[tuple[UnansweredShot, list[str], float | None]] = []
        for shot in shots[::-1]:  # they are chosen newest first
            try:
                shot = self._shooting.complete(shot)
            except FieldtuneError as error:
                self._news.say(str(error), bad=True)
                continue
            doubts, read = self._shooting.doubts(shot, result, miss_m, side_m)
            if doubts:
                odd.append((shot, doubts, read))
            else:
                self._confirm(shot, result, miss_m, side_m)
        if odd:
            waiting, found, reads = zip(*odd, strict=True)
            said = "; ".join(found[0])
            if len(odd) > 1:
                said = f"{len(odd)} shots are odd, the oldest: {said}"
            self._shooting.answer = Answer(said, waiting, result, miss_m, side_m, reads)

    def _is_seen(self, shot: UnansweredShot) -> bool:
        return any(shot.uid == other.uid for other in self._shooting.unanswered)

    def yes(self, *, robot_distance: bool = False) -> None:
        """The answer that waits for a word stands, with the robot's distance where that is meant."""
        answer, self._shooting.answer = self._shooting.answer, None
        if answer is None:
            if self._shooting.offer is not None:
                self._write(self._change, str, self._session.log.file.accept)
            else:
                self._news.say("there is nothing to say yes to")
            return
        for shot, read in zip(answer.shots, answer.robot_m, strict=True):
            if robot_distance and read is not None:
                shot = replace(shot, distance_m=read, distance_from="robot")
            self._confirm(shot, answer.result, answer.miss_m, answer.side_m)

    def _confirm(self, shot: UnansweredShot, result: Result | None, miss_m: float | None, side_m: float | None) -> None:
        seen = self._is_seen(shot)
        if seen:
            self._taken_up(shot)
        else:
            self._last = (result, self._clock())
        confirm = partial(
            self._session.confirm, shot.distance_m or 0.0, shot.setpoint or 0.0, result, miss_m, side_m, shot.speed,
            shot.battery_v, shot.target, distance_from=shot.distance_from, epoch=shot.epoch, time=shot.time,
            seen=shot.uid, exit_angle_deg=shot.hood_deg, **self._shooting.labels._asdict(),
        )  # fmt: skip
        self._write(self._write_shot, shot, confirm, seen)

    async def _write_shot(self, shot: UnansweredShot, confirm: Callable[[], Shot], seen: bool) -> None:
        done = await self._background.ask_log("Confirming the shot", confirm)
        if seen:
            await self._settle(shot, done)
        if done is None:
            self._last = (None, 0.0)
        else:
            self._news.say(f"confirmed: shot {done.shot}, {words.result_of(done)}. u undoes it")

    def _correct(self, shot: Shot, result: Result | None, miss_m: float | None, side_m: float | None) -> None:
        self._shooting.chosen = ()
        correct = partial(self._session.correct, shot.shot, result, miss_m, side_m)
        self._write(self._change, lambda now: f"corrected: shot {now.shot} is {words.result_of(now)} now", correct)

    # -- undo, redo and other changes --------------------------------------------------------------------------------

    def undo(self) -> None:
        """Undoes the last thing done here."""
        self._shooting.answer = None
        self._write(self._turn, "undone", self._session.undo, "there is nothing to undo")

    def redo(self) -> None:
        """Does again what was undone last."""
        self._shooting.answer = None
        self._write(self._turn, "done again", self._session.redo, "there is nothing to redo")

    async def _turn(self, done: str, call: Callable[[], Act | None], nothing: str) -> None:
        def turn() -> tuple[Act | None, Shot | None]:
            act = call()
            return act, None if act is None or act.shot is None else self._session.log.shot(act.shot)

        turned = await self._background.ask_log(done.capitalize(), turn)
        if turned is None:
            return
        act, shot = turned
        self._last = (None, 0.0)
        self._news.say(nothing if act is None else f"{done}: {act_words(act, shot)}")

    def swap(self, label: str | None, then: Callable[[int | None], None]) -> None:
        """Marks a battery change; ``then`` gets the new battery period, or None where it couldn't be written."""
        self._write(self._swap, label, then)

    async def _swap(self, label: str | None, then: Callable[[int | None], None]) -> None:
        epoch = await self._background.ask_log("Marking the change", self._session.swap, label)
        if epoch is not None:
            self._shooting.begin_period(epoch)
            self._news.say(f"confirmed: battery changed, battery period {epoch} begins")
        then(epoch)

    def undo_swap(self) -> None:
        """Undoes the battery change that began the present period, also where shots were confirmed since."""
        undo = partial(self._session.log.undo_swap, self._shooting.epoch or 1)
        self._write(self._turn, "undone", undo, "there is nothing to undo")

    def change(self, said: Callable[[Any], str] | None, call: Callable[[], object]) -> None:
        """Changes something in the log and says what was done, if anything is to be said, once it is written."""
        self._write(self._change, said, call)

    async def _change(self, said: Callable[[Any], str] | None, call: Callable[[], object]) -> None:
        done = await self._background.ask_log("The change", call)
        if done is not None and said is not None:
            self._news.say(said(done))

    def _write(self, work: Callable[..., Any], *args: Any) -> None:
        if self._background.begin("log", self._written, work, args, exclusive=False):
            self.writing += 1

    async def _written(self, work: Callable[..., Any], args: tuple[Any, ...]) -> None:
        try:
            await work(*args)
        finally:
            self.writing -= 1
        await self._reload()

    async def all_written(self) -> None:
        """Returns when nothing is under way any more."""
        while self.writing:
            await asyncio.sleep(0.02)

    def close(self) -> None:
        """The console ends; shots without a result stay for the next."""
        if self._opened:
            self._session.log.close_console()
