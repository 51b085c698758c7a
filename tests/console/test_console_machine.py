"""Random acts at one console or two, and by commands, on one log: after each step it is what the people meant."""

from __future__ import annotations

import asyncio
import os
import shutil
import tempfile
import time
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import pytest
from console_driver import ScriptedLine
from console_world import live, seen, thrower
from fixed_answers import FixedAnswers
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, precondition, rule
from textual.events import Key
from textual.keys import _character_to_key
from textual.pilot import Pilot

from fieldtune.console import ConsoleApp
from fieldtune.session import Session

HERON = thrower()
LOW, HIGH = replace(HERON.target(), name="low"), replace(HERON.target(), name="high")
ROBOT = replace(HERON, targets=(LOW, HIGH))
SPOTS = [spot.distance for spot in ROBOT.spots]
RESULTS = {"i": "in", "s": "short", "l": "long", "left": "left", "right": "right"}
IN_MEMORY = Path("/dev/shm")
"""A log there is as durable as this needs: nothing crashes here, and waiting for a disk was half of the time."""
NAMED = {"left", "right", "up", "down", "enter", "escape", "backspace"}


# -- what the people mean ------------------------------------------------------------------------------------------


@dataclass
class Meant:
    """One shot as somebody meant it."""

    distance: float
    target: str
    epoch: int
    setpoint: float
    speed: float | None
    results: list[tuple[object, str]]
    """Results with the act that gave each; the last one that stands holds."""
    left_out: list[tuple[object, bool]] = field(default_factory=list)
    asked: int | None = None


@dataclass
class Log:
    """The log as the people mean it: acts in order, who did them, and which stand."""

    shots: list[Meant] = field(default_factory=list)
    epochs: dict[int, tuple[object, int]] = field(default_factory=dict)
    """Battery periods after the first: the act that began each, and the one before."""
    history: list[tuple[str, str, object]] = field(default_factory=list)
    """Who did, undid or redid which act."""
    standing: set[object] = field(default_factory=set)
    present: int = 1

    def do(self, who: str) -> object:
        act = object()
        self.history.append((who, "do", act))
        self.standing.add(act)
        return act

    def turn(self, who: str, own: Callable[[int, str], bool], back: bool) -> None:
        done: list[object] = []
        undone: list[object] = []
        for number, (name, kind, act) in enumerate(self.history):
            if not own(number, name):
                continue
            if kind == "do":
                done.append(act)
                undone.clear()
                continue
            out, into = (done, undone) if kind == "undo" else (undone, done)
            if act in out:
                out.remove(act)
                into.append(act)
        found = [act for act in (done if back else undone) if (act in self.standing) == back]
        if found:
            act = found[-1]
            self.history.append((who, "undo" if back else "redo", act))
            (self.standing.discard if back else self.standing.add)(act)

    def period(self, number: int) -> int:
        """The battery period that one belongs to once changes that were undone are out of the way."""
        while number in self.epochs and self.epochs[number][0] not in self.standing:
            number = self.epochs[number][1]
        return number

    def shown(self) -> list[tuple[object, ...]]:
        found = []
        for shot in self.shots:
            results = [result for act, result in shot.results if act in self.standing]
            stands = shot.results[0][0] in self.standing
            out = [value for act, value in shot.left_out if act in self.standing]
            corrected = [result for act, result in shot.results[1:] if act in self.standing]
            result = corrected[-1] if corrected else shot.results[0][1]
            found.append(
                (shot.distance, shot.target, self.period(shot.epoch), shot.setpoint, shot.speed, result,
                 not stands, bool(out and out[-1]))
            )  # fmt: skip
            assert results or not stands
        return found


@dataclass
class Asked:
    """A shot that was seen and what was true when it left."""

    number: int
    distance: float
    target: str
    epoch: int
    setpoint: float
    speed: float | None
    discarded: list[object] = field(default_factory=list)


class Seat:
    """A person at a console: the real app on the real log, and what that person knows and means."""

    def __init__(self, log: Log, path: Path, who: str, others: set[str], left: list[Asked]) -> None:
        self.log, self.who = log, who
        self.before, self.others = len(log.history), others
        self.asked = left
        self.target, self.distance = 0, SPOTS[0]
        self.pending: tuple[str, Asked] | None = None
        self.reports = False
        self.alive = True
        self.task: asyncio.Task[None] | None = None
        self.number = 0
        self.session = FixedAnswers(ROBOT, path)
        self.session.log.remember("caution understood", "yes")
        self.line = ScriptedLine(wheel_rpm=2450.0)
        self.seconds = 0.0
        self.app = ConsoleApp(ROBOT, self.session, self.line, clock=lambda: self.seconds)
        self.pilot: Pilot[None] | None = None
        self.orders: asyncio.Queue[tuple[Callable[[], Awaitable[None]], asyncio.Future[None]] | None] = asyncio.Queue()

    async def run(self) -> None:
        """The console from its start to its end, in a task of its own; ``do`` has things done there."""
        async with self.app.run_test(size=(80, 24)) as self.pilot:
            while (order := await self.orders.get()) is not None:
                work, done = order
                try:
                    await work()
                except BaseException as error:
                    done.set_exception(error)
                else:
                    done.set_result(None)

    async def do(self, work: Callable[[], Awaitable[None]]) -> None:
        done: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        await self.orders.put((work, done))
        await done

    async def opened(self) -> None:
        await self.settle(lambda: self.app.controller.recorder._opened and self.app._main.body is not None)

    async def press(self, *keys: str) -> None:
        """All keys in one go, as they arrive in one read of the terminal."""
        for key in keys:
            name = key if key in NAMED else _character_to_key(key)
            self.app.post_message(Key(name, None if key in NAMED else key))

    async def press_and_settle(self, *keys: str) -> None:
        await self.press(*keys)
        await self.settle()

    async def settle(self, there: Callable[[], bool] = lambda: True) -> None:
        """Until all keys were acted on, all is written, and the console has seen what the log says.

        What is awaited is the queues and the log, not an idle processor: a step takes hundredths of a second.
        """
        assert self.pilot is not None
        recorder, state = self.app.controller.recorder, self.app.controller.shooting
        end = time.monotonic() + 60
        while True:
            self.seconds += 2.0
            await self.pilot._wait_for_screen()
            self.app.look()
            while recorder.writing or recorder._looking:
                await asyncio.sleep(0.001)
                assert time.monotonic() < end, f"{self.who} doesn't settle; news: {self.app.controller.news.text}"
            seen = recorder._version == self.session.log.version()
            if seen and state.aim is not None and there() and not self.app._exit:
                return  # without a recommendation and a line nobody knows what setpoint a shot has
            await asyncio.sleep(0.001)
            assert time.monotonic() < end, f"{self.who} doesn't settle; news: {self.app.controller.news.text}"

    def own(self, number: int, name: str) -> bool:
        """Whether an act is this console's to undo: its own, and what was done before it but by consoles open then."""
        return name == self.who or (number < self.before and name not in self.others)

    def open_questions(self) -> list[Asked]:
        answered = {shot.asked for shot in self.log.shots if shot.results[0][0] in self.log.standing}
        return [
            shot for shot in self.asked
            if shot.number not in answered and not any(act in self.log.standing for act in shot.discarded)
        ]  # fmt: skip


class TwoConsoles(RuleBasedStateMachine):
    """``here`` always, ``there`` now and then, on one log."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp(dir=IN_MEMORY if IN_MEMORY.is_dir() else None))
        self.loop = asyncio.new_event_loop()
        self.log = Log()
        self.seats: dict[str, Seat] = {}
        self.names = iter(f"console {n}" for n in range(10**6))
        self.shots_seen = 0
        self.left: list[Asked] = []

    def wait(self, work: Any) -> Any:
        return self.loop.run_until_complete(asyncio.wait_for(work, 120))

    @initialize()
    def start(self) -> None:
        self._open("here")

    def _open(self, place: str) -> None:
        others = {seat.who for seat in self.seats.values()}
        seat = Seat(self.log, self.folder / "heron.db", next(self.names), others, self.left)
        self.left = []
        self.seats[place] = seat
        seat.task = self.loop.create_task(seat.run())
        self.wait(seat.do(seat.opened))
        self._same()

    def _close(self, seat: Seat) -> None:
        seat.orders.put_nowait(None)
        self.wait(seat.task)
        seat.session.log.close()

    def teardown(self) -> None:
        for seat in self.seats.values():
            self._close(seat)
        self.loop.close()
        shutil.rmtree(self.folder)

    def _seat(self, second: bool) -> Seat:
        return self.seats.get("there" if second else "here") or self.seats["here"]

    def _same(self) -> None:
        for seat in [*self.seats.values(), *list(self.seats.values())[:-1]]:  # each after all others
            self.wait(seat.do(seat.settle))
        for seat in self.seats.values():
            state = seat.app.controller.shooting
            shown = [
                (
                    round(s.distance_m, 9),
                    s.target,
                    s.epoch,
                    s.setpoint,
                    s.speed,
                    s.result,
                    s.undone,
                    s.excluded is not None,
                )
                for s in seat.app.controller.recorder.shots
            ]
            assert shown == self.log.shown(), seat.who
            assert state.epoch == self.log.period(self.log.present)
            asked = [(round(shot.distance_m, 9), shot.target, shot.setpoint, shot.speed) for shot in state.unanswered]
            wanted = [(s.distance, s.target, s.setpoint, s.speed) for s in seat.open_questions()]
            assert asked == wanted, seat.who
            assert (state.answer is not None) == (seat.pending is not None)
            assert len(seat.app.screen_stack) == 1
            assert state.target.name == ("low", "high")[seat.target]

    def _do(self, second: bool, *keys: str) -> Seat:
        seat = self._seat(second)
        self.wait(seat.do(lambda: seat.press(*keys)))
        return seat

    # -- what happens ----------------------------------------------------------------------------------------------

    @precondition(lambda self: self.seats)
    @rule(second=st.booleans(), rpm=st.integers(2400, 2500))
    def a_shot_is_seen(self, second: bool, rpm: int) -> None:
        seat = self._seat(second)
        if not seat.alive:
            return
        self.shots_seen += 1
        seat.number += 1
        asked = Asked(
            self.shots_seen, seat.distance, ("low", "high")[seat.target], self.log.period(self.log.present), 2450.0, rpm
        )
        seat.asked.append(asked)
        seat.reports = True
        seat.line.now = live(wheel_rpm=2450.0, shots=(seen(seat.number, speed_rpm=float(rpm)),))
        self._same()

    @rule(second=st.booleans(), key=st.sampled_from(list(RESULTS)))
    def a_result(self, second: bool, key: str) -> None:
        seat = self._do(second, key)
        asked = seat.open_questions()
        seat.pending = None
        if asked:
            self._confirm(seat, RESULTS[key], asked[-1])
        elif seat.reports and seat.alive:
            seat.pending = (RESULTS[key], self._unseen(seat))
        else:
            self._confirm(seat, RESULTS[key], self._unseen(seat))
        self._same()

    def _unseen(self, seat: Seat) -> Asked:
        """A shot that the line didn't see: what is true when its result is pressed."""
        return Asked(0, seat.distance, ("low", "high")[seat.target], self.log.period(self.log.present), 2450.0, None)

    def _confirm(self, seat: Seat, result: str, asked: Asked) -> None:
        act = self.log.do(seat.who)
        shot = Meant(asked.distance, asked.target, asked.epoch, asked.setpoint, asked.speed, [(act, result)])
        shot.asked = asked.number or None
        self.log.shots.append(shot)

    @rule(second=st.booleans(), key=st.sampled_from(["y", "x", "escape"]))
    def a_word(self, second: bool, key: str) -> None:
        seat = self._do(second, key)
        asked = seat.open_questions()
        pending, seat.pending = seat.pending, None
        if pending is not None and key == "y":
            self._confirm(seat, *pending)
        elif key == "x" and asked:
            asked[-1].discarded.append(self.log.do(seat.who))
        self._same()

    @rule(second=st.booleans(), key=st.sampled_from(["u", "r"]), times=st.integers(1, 3))
    def undo_or_redo(self, second: bool, key: str, times: int) -> None:
        seat = self._do(second, *[key] * times)
        seat.pending = None
        for _ in range(times):
            self.log.turn(seat.who, seat.own, key == "u")
        self._same()

    @rule(second=st.booleans())
    def another_target(self, second: bool) -> None:
        seat = self._do(second, "t")
        seat.target = 1 - seat.target
        self._same()

    @rule(second=st.booleans(), number=st.integers(1, len(SPOTS)))
    def another_spot(self, second: bool, number: int) -> None:
        seat = self._do(second, str(number))
        seat.distance = SPOTS[number - 1]
        self._same()

    @rule(second=st.booleans(), text=st.sampled_from(["2.4", "1.9 m", "8 ft"]))
    def a_typed_distance(self, second: bool, text: str) -> None:
        seat = self._do(second, "d", *text, "enter")
        seat.distance = {"2.4": 2.4, "1.9 m": 1.9, "8 ft": 8 * 0.3048}[text]
        self._same()

    @rule(second=st.booleans(), named=st.booleans())
    def another_battery(self, second: bool, named: bool) -> None:
        name = ["a", *"blue 3", "enter"] if named else []
        before = self._seat(second).app.controller.shooting.epoch
        seat = self._do(second, "b", *name, "enter")
        self.wait(seat.do(seat.settle))
        if seat.app.controller.shooting.epoch == before:  # the wheel turns, or the voltage is as it was
            self.wait(seat.do(lambda: seat.press_and_settle("enter")))
        while len(seat.app.screen_stack) > 1:  # through the guided change to its end
            self.wait(seat.do(lambda: seat.press_and_settle("enter")))
        present = self.log.period(self.log.present)
        number = max([1, *self.log.epochs]) + 1
        self.log.epochs[number] = (self.log.do(seat.who), present)
        self.log.present = number
        self._same()

    @rule(second=st.booleans(), place=st.integers(1, 5), key=st.sampled_from(list(RESULTS)))
    def a_result_for_a_chosen_shot(self, second: bool, place: int, key: str) -> None:
        seat = self._seat(second)
        entries = [*reversed(seat.open_questions()), *reversed(self.log.shots)]
        if place > len(entries):
            return
        self._do(second, "h", str(place), key, "escape")
        seat.pending = None
        entry = entries[place - 1]
        if isinstance(entry, Asked):
            self._confirm(seat, RESULTS[key], entry)
        elif entry.results[0][0] in self.log.standing:
            entry.results.append((self.log.do(seat.who), RESULTS[key]))
        self._same()

    @rule(second=st.booleans(), place=st.integers(1, 5))
    def a_shot_is_left_out_or_let_in(self, second: bool, place: int) -> None:
        seat = self._seat(second)
        entries = [*reversed(seat.open_questions()), *reversed(self.log.shots)]
        if place > len(entries):
            return
        entry = entries[place - 1]
        leaves_out = False
        if isinstance(entry, Meant) and entry.results[0][0] in self.log.standing:
            leaves_out = not self.log.shown()[self.log.shots.index(entry)][-1]
        self._do(second, "h", str(place), "o", *([*"bounced", "enter"] if leaves_out else []), "escape")
        seat.pending = None
        if isinstance(entry, Meant) and entry.results[0][0] in self.log.standing:
            entry.left_out.append((self.log.do(seat.who), leaves_out))
        self._same()

    @rule(second=st.booleans())
    def all_open_shots_were_none(self, second: bool) -> None:
        seat = self._seat(second)
        asked = list(reversed(seat.open_questions()))
        if asked:
            self._do(second, "h", "a", "x", "escape")
            seat.pending = None
            for shot in asked:
                shot.discarded.append(self.log.do(seat.who))
            self._same()

    @rule(second=st.booleans())
    def the_line_goes_or_comes_back(self, second: bool) -> None:
        seat = self._seat(second)
        seat.alive = not seat.alive
        now = seat.line.now
        words = "live on a test line" if seat.alive else "gone: plug the cable in again"
        seat.line.now = replace(
            now, state="live" if seat.alive else "lost", words=words, wheel_rpm=2450.0 if seat.alive else None,
            setpoint=2450.0 if seat.alive else None, battery_v=9.9 if seat.alive else None,
        )  # fmt: skip
        self._same()

    @rule(second=st.booleans(), key=st.sampled_from(["w", "k", "n", "b", "c", "z", "e", "?"]))
    def a_look_at_another_screen(self, second: bool, key: str) -> None:
        seat = self._do(second, key, "escape", "escape")
        seat.pending = None
        self._same()

    @rule(result=st.sampled_from(["in", "short"]))
    def a_command_confirms(self, result: str) -> None:
        with Session(ROBOT, self.folder / "heron.db") as session:
            session.confirm(2.7, 2400.0, result, target="low")
        period = self.log.period(self.log.present)
        self.log.shots.append(Meant(2.7, "low", period, 2400.0, None, [(self.log.do("command"), result)]))
        self._same()

    @rule(back=st.booleans())
    def a_command_undoes_or_redoes(self, back: bool) -> None:
        with Session(ROBOT, self.folder / "heron.db") as session:
            session.undo() if back else session.redo()
        seats = self.seats.values()
        own = lambda number, name: name == "command" or not any(seat.own(number, name) for seat in seats)  # noqa: E731
        self.log.turn("command", own, back)
        self._same()

    @precondition(lambda self: "there" not in self.seats)
    @rule()
    def a_second_console_opens(self) -> None:
        self._open("there")

    @rule(second=st.booleans())
    def a_console_is_left_and_opened_again(self, second: bool) -> None:
        place = "there" if second and "there" in self.seats else "here"
        seat = self.seats.pop(place)

        async def leave() -> None:
            asked = [*(["n"] if seat.pending else []), *(["y"] if seat.open_questions() else [])]
            seat.app.post_message(Key("q", "q"))
            before: object = None
            for key in asked:  # each when its question is there
                while seat.app.screen is before or len(seat.app.screen_stack) == 1:
                    await asyncio.sleep(0.001)
                before = seat.app.screen
                seat.app.post_message(Key(key, key))
            while not seat.app._exit:
                await asyncio.sleep(0.01)

        self.wait(seat.do(leave))
        self._close(seat)
        self.left = sorted([*self.left, *seat.asked], key=lambda shot: shot.number)
        if place == "here":
            self._open("here")


def run(steps: int, examples: int) -> None:
    TwoConsoles.TestCase.settings = settings(
        max_examples=examples,
        stateful_step_count=steps,
        deadline=None,
        phases=[Phase.explicit, Phase.generate],  # an example takes a second: shrinking one would take an hour
        suppress_health_check=list(HealthCheck),
        print_blob=True,
    )
    case = TwoConsoles.TestCase()
    case.runTest()


def test_the_log_is_what_the_people_meant() -> None:
    run(40, 4)


@pytest.mark.slow
def test_the_log_is_what_the_people_meant_over_ten_thousand_steps() -> None:
    run(200, int(os.environ.get("FIELDTUNE_MACHINE_RUNS", "50")))
