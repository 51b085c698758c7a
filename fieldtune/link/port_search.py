"""Searching for the robot: ports one after another, speeds one after another, until lines decode and are plausible."""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import serial

from fieldtune.errors import LinkError
from fieldtune.link import ports
from fieldtune.link.line import Line
from fieldtune.link.parity import with_parity
from fieldtune.link.ports import Lost, close_port, read_chunk, set_speed
from fieldtune.link.samples import State
from fieldtune.link.text.line_patterns import is_text
from fieldtune.link.waiting_words import parity_words

if TYPE_CHECKING:
    from fieldtune.robot.model import Robot

_LISTEN_S = 1.2  # long enough for three lines at 3 Hz
_SILENT_S = 2.5
_ENOUGH = 3  # plausible lines that prove a port and its speed
_PLENTY = 12  # lines of text of which not one is ours

_NO_TEXT = "is its baud unusual, or are these binary numbers? --baud N names it; 8 bits, no parity"

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

    @property
    def text(self) -> bool:
        """Whether lines of text were heard: the speed is right then, whatever they say."""
        return is_text(b"".join(chunk for chunk, _ in self.heard))

    @property
    def speed_words(self) -> str:
        """`` at 115200 baud`` for a device, nothing for a URL."""
        bits = ", 7 bits and parity" if ports.strips_parity(self.port) else ""
        return "" if ports.is_url(self.device) else f" at {self.baud} baud{bits}"


class PortSearch:
    """Tries ports until one is good. A port that was named needs no proof: it is followed, whatever it says."""

    def __init__(
        self,
        robot: Robot,
        name: str | None,
        baud: int | None,
        remembered: Mapping[str, Any],
        stop: Callable[[], bool],
    ) -> None:
        self._robot = robot
        self.name = name
        self._baud = baud
        self._remembered = dict(remembered)
        self._stop = stop
        self._remedy = _NO_TEXT
        self._in_vain = False  # whether there was no text at any speed
        self._held: tuple[str, serial.SerialBase] | None = None
        self._hardware: Mapping[str, Any] = {}  # of the port that was named, while it was there
        self.only: Mapping[str, Any] | None = None
        """The one that a person chose among several: no other is tried, whatever its name when it is back."""

    def remember(self, found: Found) -> None:
        """Tries this port and speed first from now on."""
        self._remembered = {**found.identity, "device": found.device, "baud": found.baud}

    def listen(self, say: Say) -> Found | None:
        """One round over the ports there are; None if there is nothing to follow. ``say`` is told how it goes.

        A port whose lines prove good comes before one that only sends text.
        """
        if self.name is not None:
            return self._try(self._named(self.name), say)
        options, only = ports.candidates(self._remembered, self._baud), self.only
        if only is not None:
            options = [option for option in options if ports.same_hardware(option.identity, only)]
            options = sorted(options, key=lambda option: option.device != only["device"])[:1]
            if not options:
                say("searching", f"{only['device']} is not there; check the cable")
                return None
        if not options:
            say("searching", "no serial port found; connect the robot, or choose the simulated one")
            return None
        kept: Found | None = None
        for candidate in options:
            if self._stop():
                break
            found = self._try(candidate, say)
            if found is None:
                continue
            if kept is not None:
                spare, kept = (kept, found) if found.proven else (found, kept)
                close_port(spare.port)
            kept = kept or found
            if kept.proven:
                self.release()
                break
        return kept

    def _named(self, name: str) -> ports.Candidate:
        """The port that was named, under whatever name it is back."""
        now = ports.moved(name, self._hardware) or name
        candidate = ports.named(now, self._baud, self._remembered)
        if candidate.identity["vid"] is not None:
            self._hardware = candidate.identity
        return candidate

    def hold(self, device: str, port: serial.SerialBase) -> None:
        """Keeps a port open that spoke, but said nothing that can be read: to open it again would restart many
        controllers, whose words at the start come at a speed of their own."""
        self.release()
        self._held = (device, port)

    def holds(self, port: serial.SerialBase) -> bool:
        """Whether a port is kept open for the next round."""
        return self._held is not None and self._held[1] is port

    def release(self) -> None:
        """Closes the port that is kept open, if there is one."""
        held, self._held = self._held, None
        if held is not None:
            close_port(held[1])

    def _opened(self, candidate: ports.Candidate) -> serial.SerialBase:
        """The candidate's port, which may be open still. Raises ``LinkError``."""
        held = self._held
        if held is not None and held[0] == candidate.device:
            self._held = None
            return held[1]
        return ports.open_port(candidate.device, candidate.bauds[0], self._robot)

    def _alone(self, candidate: ports.Candidate) -> bool:
        """Whether there is no other port to go to now."""
        if self.name is not None or self.only is not None:
            return True
        return all(one.device == candidate.device for one in ports.candidates(self._remembered, self._baud))

    def _try(self, candidate: ports.Candidate, say: Say) -> Found | None:
        """Listens at one speed after another on one open port: opening it again would reset many controllers."""
        bauds = candidate.bauds
        try:
            port = self._opened(candidate)
        except LinkError as error:
            say("searching", str(error))
            return None
        if len(bauds) == 1 and self.name is not None:
            return Found(port, candidate.device, bauds[0], candidate.identity, proven=False)
        found = None
        try:
            found = self._at_some_speed(port, candidate, say)
        except Lost:
            say("searching", f"{candidate.device} is gone again; check the cable")
        finally:
            if found is None and not self.holds(port):
                close_port(port)
        return found

    def _at_some_speed(self, port: serial.SerialBase, candidate: ports.Candidate, say: Say) -> Found | None:
        noise, alone = False, self._alone(candidate)
        rare = ports.RARE_BAUDS if self._in_vain and self._baud is None else ()
        for baud in (*candidate.bauds, *rare):
            try:
                set_speed(port, baud)
            except Lost:
                if baud in rare:  # not every adapter can be set to it
                    continue
                raise
            found = Found(port, candidate.device, baud, candidate.identity, proven=False)
            so_far = "; so far it sends bytes, but no text" if noise else ""
            if self._in_vain or self._remedy != _NO_TEXT:
                so_far = f"; it sends no text: {self._remedy}"
            say("searching", f"listening on {candidate.device} at {baud} baud{so_far}")
            while not self._prove(found):
                if self._stop():
                    return None
                say("searching", f"{candidate.device} is open but silent; does the robot program run?")
                if not self._alone(candidate):
                    return None
            if found.proven or found.text:
                self._in_vain, self._remedy = False, _NO_TEXT
                return found
            noise = noise or bool(found.heard)
            framing = with_parity(b"".join(chunk for chunk, _ in found.heard))
            self._remedy = self._remedy if framing is None else parity_words(framing, baud)
            if alone and not self._alone(candidate):  # another was plugged in
                break
        self._in_vain = True
        say("searching", f"{candidate.device} sends bytes, but no text at any usual speed")
        self.hold(candidate.device, port)
        return None

    def _prove(self, found: Found) -> bool:
        """Listens for plausible lines, or enough that aren't; False if the port stayed silent. Raises ``Lost``."""
        trial = Line(self._robot)
        began = time.monotonic()
        first_s: float | None = None
        while not self._stop():
            data, arrival_s = read_chunk(found.port)
            now = time.monotonic() - began
            if data:
                first_s = now if first_s is None else first_s
                found.heard.append((data, arrival_s))
                trial.feed(data, now)
                if trial.good >= _ENOUGH:
                    found.proven = True
                    return True
                if not trial.good and trial.health().lines >= _PLENTY and found.text:
                    return True
            if now > _SILENT_S if first_s is None else now - first_s > _LISTEN_S:
                break
        return first_s is not None
