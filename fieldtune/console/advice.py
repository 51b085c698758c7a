"""Asks the session for advice whenever what it rests on has changed, and keeps the answers for the screens."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

from fieldtune.console import words
from fieldtune.console.background import BackgroundThreads
from fieldtune.console.last_answer import LastAnswer, keep
from fieldtune.console.shooting_state import ShootingState
from fieldtune.person_units import us

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim, ArcPicture
    from fieldtune.link.samples import Live
    from fieldtune.session import Session

PAUSE_S = 0.08
"""Before advice for another place is worked out: the key that asked for it is painted first, and held keys ask once."""
REDRAW_S = 0.4
"""The path at the present readback is worked out no oftener: the recommended one tells more."""
SOON_S = 0.15
"""How long what a shot has taught may take until the screen is brought up to date without it."""
_QUIET_S = 0.5
"""How long nothing new was recommended before the answer for the next start is worked out."""


class _RestsOn(NamedTuple):
    """What a recommendation rests on; ``hood_deg``: the setting that the line reads."""

    distance_m: float | None
    battery_v: float | None
    target_number: int
    lesson: int
    us: bool
    hood_deg: float | None

    @property
    def question(self) -> tuple[object, ...]:
        """What it is for, whatever is known."""
        return self.distance_m, self.target_number, self.us


class Advisor:
    """Recommendation, pictures and chance for where the robot stands now.

    ``chance_now`` is (the robot's setpoint, its hit probability) where that isn't the recommended one.
    """

    def __init__(
        self,
        session: Session,
        shooting: ShootingState,
        background: BackgroundThreads,
        clock: Callable[[], float],
        show: Callable[[], None],
    ) -> None:
        self._session, self._shooting, self._background = session, shooting, background
        self._clock, self._show = clock, show
        self.picture: ArcPicture | None = None
        self.picture_now: ArcPicture | None = None
        self.chance_now: tuple[float, float] | None = None
        self.failed = False
        self.answered = asyncio.Event()
        """Set from the first answer on, and where there is no place to ask for."""
        self._last = LastAnswer(session)
        self._recalled = shooting.aim = self._last.recall()
        self._recalled_for = self._rests_on().question
        self._asked: tuple[_RestsOn, float | None] | None = None
        self._advised: _RestsOn | None = None
        self._drawn_for: float | None = None
        self._drawn_at = -REDRAW_S
        self._drawing = False
        self._soon_until = 0.0

    @property
    def soon(self) -> bool:
        """Whether what a shot has taught is about to come: painting what the line says can wait for it."""
        return self._clock() < self._soon_until

    @property
    def settled(self) -> bool:
        """Whether nobody waits for a recommendation: it is there, it failed, or there is no place to shoot from."""
        state = self._shooting
        return self.failed or state.distance is None or (state.aim_holds and state.aim is not self._recalled)

    def look(self, live: Live) -> None:
        """Ask for what has to be asked anew."""
        self.ask_if_changed()
        self._draw_readback(live)

    def forget(self) -> None:
        """Another target: nothing that was said holds any more."""
        self._shooting.aim = self.picture = self.picture_now = self.chance_now = None

    def ask_if_changed(self) -> None:
        """Ask for new advice if anything that it rests on has changed."""
        state, robot_setpoint, rests_on = self._shooting, self._shooting.live.setpoint, self._rests_on()
        if (rests_on, robot_setpoint) == self._asked:
            return
        before = None if self._asked is None else self._asked[0]
        if state.aim is self._recalled and rests_on.question != self._recalled_for:
            state.aim = None  # what was kept isn't shown for another place, as old neither
        same = rests_on == self._advised and state.aim is not None
        waited_for = before is None or (
            before.distance_m == rests_on.distance_m
            and (before.target_number, before.lesson) != (rests_on.target_number, rests_on.lesson)
        )
        self._asked = rests_on, robot_setpoint
        if rests_on.distance_m is None:
            self.forget()
            self.answered.set()
        else:
            # The first advice of all is shown before its path is there.
            learned = waited_for and self._advised is not None
            self._soon_until = self._clock() + SOON_S if learned else 0.0
            self._background.begin("advice", self._advise, rests_on.distance_m, robot_setpoint, same, waited_for)

    def _rests_on(self) -> _RestsOn:
        state = self._shooting
        distance = None if state.distance is None else round(state.distance.value_m, 2)
        return _RestsOn(distance, state.battery_v, state.target_number, state.lesson, us(), self._hood())

    def _hood(self) -> float | None:
        """The setting of the hood that the line reads."""
        robot, read = self._session.robot, words.hood_read(self._shooting.live.hood_deg, self._session.robot)
        return None if robot.hood is None or read is None else robot.hood.nearest(read)

    async def _advise(self, distance: float, robot_setpoint: float | None, only_chance: bool, waited_for: bool) -> None:
        state, session, ask = self._shooting, self._session, self._background.ask
        if state.aim is not None and not waited_for:  # as the first advice is, and what a shot has taught
            await asyncio.sleep(PAUSE_S)
        name = state.target.name
        if not only_chance:
            rests_on, asked = self._rests_on()._replace(distance_m=distance), (distance, state.battery_v, name)
            both = await ask("The picture", self._work_out, *asked) if self.soon else None
            aim = await ask("The recommendation", session.aim, *asked) if both is None else both[0]
            if both is not None:  # painted once, with what was learned
                self.picture = both[1]
            self._take(aim, rests_on.lesson)
            if both is None and aim is not None:
                self.picture = await ask("The picture", self._path, aim, *asked)
            self._advised = rests_on  # not before: a setpoint that changes meanwhile begins it all anew
            self._background.begin("last answer", self._keep_later)
        self.chance_now = None
        recommended, limits = state.recommended, session.robot.setpoint
        if robot_setpoint is None or recommended is None or not limits.low <= robot_setpoint <= limits.high:
            return  # standing still has no chance
        if abs(robot_setpoint - recommended) >= limits.step / 2:
            now = words.hood_now(state.live, session.robot, state.aim)
            chance = await ask("The chance", session.hit_chance, distance, robot_setpoint, state.battery_v, name, now)
            self.chance_now = None if chance is None else (robot_setpoint, chance)

    def _work_out(self, distance: float, battery_v: float | None, target: str | None) -> tuple[Aim, ArcPicture | None]:
        """The recommendation and its path."""
        aim = self._session.aim(distance, battery_v, target)
        return aim, self._path(aim, distance, battery_v, target)

    def _path(self, aim: Aim, distance: float, battery_v: float | None, target: str | None) -> ArcPicture | None:
        """The recommended path; None where nothing is recommended."""
        value, angle = aim.setpoint.value, aim.exit_angle_setpoint_deg
        return None if value is None else self._session.picture(distance, value, battery_v, target, angle)

    async def _keep_later(self) -> None:
        await asyncio.sleep(_QUIET_S)
        await self.keep_answer()

    async def keep_answer(self) -> None:
        """Keeps the answer that the next start begins with, where something new was learned."""
        made = await self._background.ask("The answer for the next start", self._last.made)
        if made is not None:
            await self._background.ask_slowly("Keeping it", keep, *made)

    def _take(self, aim: Aim | None, lesson: int) -> None:
        self._shooting.aim, self._shooting.aim_lesson = aim, lesson
        self.failed = aim is None
        if aim is None or aim.setpoint.value is None:
            self.picture = None
        self._drawn_for, self._soon_until = None, 0.0
        self._show()
        self.answered.set()

    def _draw_readback(self, live: Live) -> None:
        """Draws the path at the present readback too, while it isn't the recommended one."""
        state, robot = self._shooting, self._session.robot
        value, distance, recommended = words.readback(live, robot), state.distance, state.recommended
        if robot.setpoint.scale.follows_voltage or value is None or distance is None or recommended is None:
            self.picture_now = None
        elif not 0.3 * recommended < value < 2 * recommended or words.near(value, recommended, robot):
            self.picture_now, self._drawn_for = None, None
        elif not self._drawing and self._clock() - self._drawn_at > REDRAW_S and value != self._drawn_for:
            self._drawing, self._drawn_for, self._drawn_at = True, value, self._clock()
            self._background.begin("now", self._draw, distance.value_m, value, exclusive=False)

    async def _draw(self, distance_m: float, value: float) -> None:
        state, picture = self._shooting, self._session.picture
        try:
            self.picture_now = await self._background.ask(
                "The picture",
                picture,
                distance_m,
                value,
                state.battery_v,
                state.target.name,
                words.hood_now(state.live, self._session.robot, state.aim),
            )
        finally:
            self._drawing = False
