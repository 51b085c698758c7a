"""``sim://heron?seed=7``: the simulated robot as a port.

Options: ``seed``; ``rate`` lines a second; ``distance`` metres; ``target``; ``auto`` seconds between shots of its own
accord; ``speed`` times real time (0: as fast as it is read, with arrival times on the robot's clock).
"""

from __future__ import annotations

import time
from collections import deque
from typing import TYPE_CHECKING

from serial import SerialException

from fieldtune.errors import FieldtuneError
from fieldtune.link.sim.robot import SimulatedRobot
from fieldtune.link.urls.virtual_port import VirtualPort, number_option

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

_AT_MOST = 200
_BATCH = 8


class Serial(VirtualPort):
    """A port behind which one simulated robot runs. ``robot`` may be given; else the URL's name is loaded."""

    robot: Robot | None = None

    def _start(self, place: str, options: dict[str, str]) -> None:
        url = str(self._port)
        robot = self.robot
        try:
            if robot is None or (place and place != robot.name):
                from fieldtune.robot import load_robot

                robot = load_robot(place)
            distance = number_option(options, "distance", -1.0, url)
            self.simulated = SimulatedRobot(
                robot,
                seed=int(number_option(options, "seed", 0, url)),
                rate_hz=number_option(options, "rate", 100.0, url),
                distance_m=distance if distance > 0 else None,
                target=options.get("target"),
            )
        except FieldtuneError as error:
            raise SerialException(str(error)) from None
        self._speed = number_option(options, "speed", 1.0, url)
        self._auto_s = number_option(options, "auto", 0.0, url)
        self._next_auto_s = self._auto_s
        self._began = time.monotonic()
        self._commands: deque[str] = deque()

    def command(self, command: str) -> None:
        """Tells the robot ``setpoint=...``, ``distance_m=...`` or ``fire``; obeyed with its next line."""
        self._commands.append(command)

    def write(self, data: bytes) -> int:  # type: ignore[override]
        """Commands as lines, for programs that know this port only as a port."""
        self._commands.extend(bytes(data).decode("ascii", "replace").split("\n"))
        return len(data)

    def _take(self) -> bytes:
        robot = self.simulated
        lines: list[bytes] = []
        while len(lines) < _AT_MOST and self._due(len(lines)):
            while self._commands:
                command = self._commands.popleft().strip()
                if command:
                    robot.command(command)
            if self._auto_s > 0 and robot.time_s >= self._next_auto_s:
                self._next_auto_s += self._auto_s
                robot.command("fire")
            lines.append(robot.line())
        if self._speed != 1.0:
            self.arrival_s = robot.time_s
        return b"".join(lines)

    def _due(self, taken: int) -> bool:
        if self._speed <= 0:
            return taken < _BATCH
        return self.simulated.time_s < (time.monotonic() - self._began) * self._speed
