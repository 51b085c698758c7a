"""Asks the session for advice whenever what it rests on has changed, and keeps the answers for the screens."""

from __future__ import annotations

import asyncio
from typing import TYPE_CHECKING

from fieldtune.console import words

if TYPE_CHECKING:
    from fieldtune.aim.results import Aim, ArcPicture
    from fieldtune.console.console_base import Backstage
    from fieldtune.link.snapshot import Live

PAUSE_S = 0.08
"""Before new advice is worked out: the key that asked for it is painted first, and held keys ask once."""
REDRAW_S = 0.4
"""The path at the present readback is worked out no oftener: the recommended one tells more."""


class Advisor:
    """Recommendation, pictures and chance for where the robot stands now.

    ``chance_now`` is (setpoint the robot is told, its hit probability) where that isn't the recommended one.
    """

    def __init__(self, console: Backstage) -> None:
        self._console = console
        self.picture: ArcPicture | None = None
        self.picture_now: ArcPicture | None = None
        self.chance_now: tuple[float, float] | None = None
        self.failed = False
        self._asked: tuple[object, ...] | None = None
        self._drawn_for: float | None = None
        self._drawn_at = -REDRAW_S
        self._drawing = False

    @property
    def settled(self) -> bool:
        """Whether nobody waits for a recommendation: it is there, it failed, or there is no place to shoot from."""
        return self.failed or self._console.desk.place is None or self._console.desk.aim_holds

    def look(self, live: Live) -> None:
        """Ask for what has to be asked anew."""
        self.moved()
        self._draw_readback(live)

    def forget(self) -> None:
        """Another target: nothing that was said holds any more."""
        self._console.desk.aim = self.picture = self.picture_now = self.chance_now = None

    def moved(self) -> None:
        """Ask for new advice if anything that it rests on has changed."""
        console = self._console
        desk, told = console.desk, console.live.setpoint
        place = None if desk.place is None else round(desk.place.distance_m, 2)
        asked = (place, desk.battery_v, desk.target_number, console.lesson, told)
        if asked == self._asked:
            return
        same = self._asked is not None and asked[:4] == self._asked[:4] and desk.aim is not None
        self._asked = asked
        if place is None:
            self.forget()
        else:
            console.begin("advice", self._advise, place, told, same)

    async def _advise(self, distance: float, told: float | None, only_chance: bool) -> None:
        console, desk = self._console, self._console.desk
        if desk.aim is not None:  # the first advice is waited for
            await asyncio.sleep(PAUSE_S)
        session, name = console.session, desk.target.name
        if not only_chance:
            aim = await console.ask("The recommendation", session.aim, distance, desk.battery_v, name)
            self._take(aim)
            if aim is not None and aim.setpoint.value is not None:
                value = aim.setpoint.value
                self.picture = await console.ask("The picture", session.picture, distance, value, desk.battery_v, name)
        self.chance_now = None
        advised = desk.advised
        limits = console.robot.setpoint
        if told is None or advised is None or not limits.low <= told <= limits.high:  # standing still has no chance
            return
        if abs(told - advised) >= limits.step / 2:
            chance = await console.ask("The chance", session.hit_chance, distance, told, desk.battery_v, name)
            self.chance_now = None if chance is None else (told, chance)

    def _take(self, aim: Aim | None) -> None:
        self._console.desk.aim = aim
        self.failed = aim is None
        if aim is None or aim.setpoint.value is None:
            self.picture = None
        self._drawn_for = None
        self._console.show()

    def _draw_readback(self, live: Live) -> None:
        """Draw the path at the present readback too, while it isn't the recommended one."""
        console, desk = self._console, self._console.desk
        value, place, advised = words.readback(live, console.robot), desk.place, desk.advised
        if console.robot.setpoint.scale.follows_voltage or value is None or place is None or advised is None:
            self.picture_now = None
        elif not 0.3 * advised < value < 2 * advised or words.near(value, advised, console.robot):
            self.picture_now, self._drawn_for = None, None
        elif not self._drawing and console.clock() - self._drawn_at > REDRAW_S and value != self._drawn_for:
            self._drawing, self._drawn_for, self._drawn_at = True, value, console.clock()
            console.begin("now", self._draw, place.distance_m, value, exclusive=False)

    async def _draw(self, distance: float, value: float) -> None:
        console, desk = self._console, self._console.desk
        try:
            self.picture_now = await console.ask(
                "The picture", console.session.picture, distance, value, desk.battery_v, desk.target.name
            )
        finally:
            self._drawing = False
