"""What the map shows, kept up to date behind the screens: worked out anew only when learning, target or battery change.

The field of hit chances is coarse and takes some hundred milliseconds in the thread for slow things; every redraw is
made from it.
"""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import numpy as np

from fieldtune.aim.chance_field import ChanceField, chance_field, map_range
from fieldtune.charts.chart import Chart
from fieldtune.charts.robot_map import MapPoints, reading_at, robot_map
from fieldtune.console import words
from fieldtune.errors import OutOfReachError
from fieldtune.learn.next_shot import GainField, gain_field

if TYPE_CHECKING:
    from fieldtune.aim.results import NextShot
    from fieldtune.console.controller import Controller

_PARTS = 160
"""A point that moves by less than such a part of the map is not drawn again."""
_TAKES_TURNS_S = 0.001
"""How long the work lets the screen's thread go first, at each distance."""


class RobotMap:
    """Field, next shot and chart of the map; ``look`` is called by whichever screen shows it."""

    def __init__(self, controller: Controller) -> None:
        self._controller = controller
        self.field: ChanceField | None = None
        self.next_shot: NextShot | None = None
        self.gain: GainField | None = None
        self.failed: str | None = None
        self.unreachable: str | None = None
        self._asked: object = None
        self._wide = np.inf, 0.0
        self._chart: tuple[object, Chart] | None = None

    def look(self) -> None:
        """Asks for the field anew if what it rests on has changed."""
        state, robot = self._controller.shooting, self._controller.robot
        volts = state.battery_v if robot.setpoint.scale.follows_voltage else None
        places = [shot.distance_m for shot in self._controller.recorder.shots if shot.counts]
        places += [] if state.distance is None else [state.distance.value_m]
        asked = (state.lesson, state.target_number, volts)
        near, far = self._wide
        if asked != self._asked or any(not near <= place <= far for place in places):
            self._asked = asked
            self._wide = min([near, *places]), max([far, *places])
            self._controller.background.begin("map", self._read, tuple(places), volts)

    async def _read(self, places: tuple[float, ...], volts: float | None) -> None:
        ask, name = self._controller.background.ask_slowly, self._controller.shooting.target.name
        self.field = await ask("The map", self._make, places, name, volts)
        if self.field is not None:  # up to its edges it holds whatever the distance, and no new one widens it for these
            edges = self.field.distance_m
            self._wide = min([float(edges[0]), *places]), max([float(edges[-1]), *places])
        self.failed = None if self.field is not None else "this robot scores from nowhere: no map"
        self._controller.show()
        found = await ask("The next shot", self._teaching, name, volts)
        self.gain, self.next_shot = found if isinstance(found, tuple) else (None, None)
        self.unreachable = found if isinstance(found, str) else None
        self._controller.show()

    def _make(self, places: tuple[float, ...], name: str | None, volts: float | None) -> ChanceField | None:
        robot, belief = self._controller.robot, self._controller.session.belief
        target = robot.target(name)
        shown = map_range(robot, target, belief, places, volts)
        if shown is None:
            return None
        return chance_field(robot, target, belief, *shown, volts, between=lambda: time.sleep(_TAKES_TURNS_S))

    def _teaching(self, name: str | None, volts: float | None) -> tuple[GainField, NextShot] | str:
        """What shots teach and the one that teaches most; where none can score, that in words."""
        session = self._controller.session
        try:
            planned = session.next(name, volts)
            return gain_field(session.posterior.fit, session.robot.target(name), volts), planned
        except OutOfReachError as error:
            return str(error)

    def chart(self, cursor: tuple[float, float] | None = None, teaching: bool = False) -> Chart | None:
        """The same chart as long as nothing on it moved by what can be seen; None before the field is there."""
        field = self.field
        if field is None:
            return None
        controller, state, robot = self._controller, self._controller.shooting, self._controller.robot
        status = controller.battery.status
        ceiling = status.ceiling if status is not None and status.ceiling is not None else None
        if ceiling is None and state.aim is not None:
            ceiling = state.aim.ceiling
        wide, high = np.ptp(field.distance_m) / _PARTS, (field.top - field.bottom) / _PARTS
        points = MapPoints(
            _rounded(None if state.distance is None else state.distance.value_m, wide),
            _rounded(words.readback(state.live, robot), high),
            cursor,
            _rounded(ceiling, high),
            state.epoch,
        )
        gain = self.gain if teaching else None
        shots = controller.recorder.shots
        key = (id(field), id(self.next_shot), id(gain), id(shots), points)
        if self._chart is None or self._chart[0] != key:
            here = [shot for shot in shots if shot.target in (None, state.target.name)]
            self._chart = key, robot_map(robot, field, points, here, self.next_shot, gain)
        return self._chart[1]

    def chance_at(self, distance_m: float, setpoint: float) -> float | None:
        """Hit chance at a point of the map; None off it."""
        return None if self.field is None else reading_at(self.field, distance_m, setpoint)

    def recommended_at(self, distance_m: float) -> float | None:
        """The recommended setpoint at a distance of the map, before the robot's step."""
        if self.field is None:
            return None
        value = float(np.interp(distance_m, self.field.distance_m, self.field.best, left=np.nan, right=np.nan))
        return value if np.isfinite(value) else None


def _rounded(value: float | None, step: float) -> float | None:
    """To the steps in which a point moves on the map."""
    return None if value is None else round(value / step) * float(step)
