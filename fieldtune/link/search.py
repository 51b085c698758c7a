"""Searching for the robot: ports one after another, speeds one after another, until lines decode and are plausible."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import serial

from fieldtune.errors import LinkError
from fieldtune.link import ports
from fieldtune.link.line import Line
from fieldtune.link.live import State
from fieldtune.link.reader import Lost, read_chunk
from fieldtune.robot.model import Robot

_LISTEN_S = 1.2  # long enough for three lines at 3 Hz
_SILENT_S = 2.5
_ENOUGH = 3  # plausible lines that prove a port and its speed

Say = Callable[[State, str], None]


@dataclass(slots=True)
class Found:
    """An open port, and what was heard on it while it was tried."""

    port: serial.SerialBase
    device: str
    baud: int
    identity: Mapping[str, Any]
    proven: bool
    heard: list[tuple[bytes, float | None]] = field(default_factory=list)
    good_before: int = 0

    @property
    def speed_words(self) -> str:
        """`` at 115200 baud`` for a device, nothing for a URL."""
        return "" if ports.is_url(self.device) else f" at {self.baud} baud"


class Search:
    """Tries ports until one is good. A port that was named needs no proof: it is followed, whatever it says."""

    def __init__(
        self,
        robot: Robot,
        name: str | None,
        baud: int | None,
        remembered: Mapping[str, Any],
        stop: threading.Event,
    ) -> None:
        self._robot = robot
        self._name = name
        self._baud = baud
        self._remembered = dict(remembered)
        self._stop = stop

    def remember(self, found: Found) -> None:
        """Tries this port and speed first from now on."""
        self._remembered = {**found.identity, "device": found.device, "baud": found.baud}

    def listen(self, say: Say) -> Found | None:
        """One round over the ports there are; None if none was good. ``say`` is told how it goes."""
        if self._name is not None:
            return self._try(ports.named(self._name, self._baud, self._remembered), say)
        options = ports.candidates(self._remembered, self._baud)
        if not options:
            say("searching", "no serial port found; connect the robot, or choose the simulated one")
            return None
        for candidate in options:
            found = self._try(candidate, say)
            if found is not None or self._stop.is_set():
                return found
        return None

    def _try(self, candidate: ports.Candidate, say: Say) -> Found | None:
        silent_since = time.monotonic()
        for baud in candidate.bauds:
            try:
                port = ports.open_port(candidate.device, baud, self._robot)
            except LinkError as error:
                say("searching", str(error))
                return None
            found = Found(port, candidate.device, baud, candidate.identity, proven=False)
            if len(candidate.bauds) == 1 and self._name is not None:
                return found
            say("searching", f"listening on {candidate.device} at {baud} baud")
            heard_any = self._prove(found, silent_since)
            if found.proven:
                return found
            port.close()
            if self._stop.is_set():
                return None
            if not heard_any:
                say("searching", f"{candidate.device} is open but silent; does the robot program run?")
                return None
        say("searching", f"{candidate.device} sends bytes, but no line decodes at any usual speed")
        return None

    def _prove(self, found: Found, since: float) -> bool:
        """Listens for plausible lines; False if the port stayed silent."""
        trial = Line(self._robot)
        began = time.monotonic()
        bytes_seen = 0
        while not self._stop.is_set():
            now = time.monotonic()
            try:
                data, arrival_s = read_chunk(found.port)
            except Lost:
                return False
            if data:
                bytes_seen += len(data)
                found.heard.append((data, arrival_s))
                trial.feed(data, now - began)
                if trial.good >= _ENOUGH:
                    found.proven = True
                    return True
            if now - began > (_LISTEN_S if bytes_seen else _SILENT_S):
                break
        return bytes_seen > 0
