"""The monitor: one reader thread that finds the robot, follows it through pulled cables and reboots, and is asked for
snapshots by anyone at any rate. It never writes to a robot.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import serial

from fieldtune.errors import LinkError
from fieldtune.link import ports
from fieldtune.link.line import Line
from fieldtune.link.port_search import Found, PortSearch
from fieldtune.link.ports import Lost, Pace, close_port, read_chunk
from fieldtune.link.recordings.recording import Recorder, started
from fieldtune.link.text.line_patterns import is_text
from fieldtune.link.waiting_words import SILENT_S, silence, waiting_words
from fieldtune.port_names import scheme_of

if TYPE_CHECKING:
    from fieldtune.link.samples import Live, Sample, State
    from fieldtune.link.sim.robot import Outcome
    from fieldtune.robot.model import Robot

_RETRY_S = 0.25
_UNPROVEN_S = 10.0  # how long a port that sends text, but no line of ours, is followed before others are tried
_LATELY = 400


class Monitor:
    """Follows one robot's line.

    ``port``: a device, any pyserial URL, or None for what the profile says (``auto`` searches). ``record_to``: a file
    to record the raw line in. ``remembered``: what ``on_good`` was last called with, so that the port and speed that
    worked are tried first. ``on_good`` is called from the reader thread with a plain dict once a port proves good.
    """

    def __init__(
        self,
        robot: Robot,
        port: str | None = None,
        baud: int | None = None,
        record_to: Path | str | None = None,
        remembered: Mapping[str, Any] | None = None,
        on_good: Callable[[dict[str, Any]], None] | None = None,
    ) -> None:
        wanted = port if port is not None else robot.link.port
        self.robot = robot
        self._named = None if wanted == "auto" else wanted
        self._baud = baud if baud is not None else robot.link.baud
        self._record_to = record_to
        self._remembered = dict(remembered or {})
        self._on_good = on_good
        self._line = Line(robot)
        self._lock = threading.Lock()
        self._stop = threading.Event()
        self._thread: threading.Thread | None = None
        self._port: serial.SerialBase | None = None
        self._recorder: Recorder | None = None
        self.unrecorded: str | None = None
        """Why the line isn't recorded, though it should be."""
        self._began = time.monotonic()
        self._state: State = "off"
        self._words = "not started"
        self._device: str | None = None
        self._offset_s = 0.0
        self._last_us = 0
        self._followed = False
        self._there: tuple[ports.Candidate, ...] = ()
        self._chosen: Mapping[str, Any] | None = None
        self._leave = threading.Event()

    # -- life --------------------------------------------------------------------------------------------------------

    def start(self) -> None:
        """Starts the reader thread. Raises ``OutputError`` if the recording can't be written."""
        if self._thread is not None and self._thread.is_alive():
            return
        if self._record_to is not None and self._recorder is None:
            about = {"about": f"line of robot {self.robot.name}", "robot": self.robot.name, "started": started()}
            self._recorder = Recorder(self._record_to, about)
        self._stop.clear()
        self._say("searching", "looking for the robot")
        self._thread = threading.Thread(target=self._run, name="fieldtune-link", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ends the reader thread, closes the port and the recording; the last snapshot stays."""
        # The reader closes its port itself, a read's timeout later: cancelling from here would race with that.
        self._stop.set()
        if self._thread is not None:
            self._thread.join(timeout=0.6)
            if self._port is not None:  # else it may wait for a network's answer, which ends by itself
                self._thread.join(timeout=2.4)
            self._thread = None
        if self._recorder is not None:
            self._recorder.close()
            self._recorder = None
        self._say("off", "stopped")

    def __enter__(self) -> Monitor:
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    # -- questions ---------------------------------------------------------------------------------------------------

    def snapshot(self) -> Live:
        """What the line says now; cheap, from any thread."""
        with self._lock:
            state, words = self._state, self._words
            now = self._now()
            last = self._line.last_arrival_s
            if state == "live" and last is not None and now - last > SILENT_S:
                state, words = "stalled", f"connected, but {silence(self._device, now - last, ever=True)}"
            if self._line.two_robots and state in ("live", "searching"):
                words = f"{self._device}: two robots talk on this line: unplug one"
            live = self._line.live(state, words, self._device, now)
            live.others = tuple(one.device for one in self._there if one.device != self._device)
            live.others += getattr(self._port, "others", ())
        if self._recorder is not None and self._recorder.failed is not None:
            return _unrecorded(live, f"recording ended ({self._recorder.failed})")
        return live if self.unrecorded is None else _unrecorded(live, f"no recording: {self.unrecorded}")

    def drain(self) -> list[Sample]:
        """The samples since the last call (at most the last 20,000)."""
        with self._lock:
            samples = list(self._line.fresh)
            self._line.fresh.clear()
        return samples

    def recent_lines(self, count: int = 100) -> tuple[str, ...]:
        """The last raw lines, harmless to show; a refused one ends in its cause."""
        with self._lock:
            return self._line.raw(count)

    @property
    def fixed_baud(self) -> int | None:
        """The speed that was asked for; None where it is found."""
        return self._baud

    @property
    def simulated(self) -> bool:
        """Whether the line that was asked for is our own simulated robot's."""
        return scheme_of(self._named) == "sim"

    def choose(self, device: str) -> None:
        """Reads another of the ports found from now on, and no other: one of ``Live.others``."""
        with self._lock:
            one = next((one for one in self._there if one.device == device), None)
            if device in getattr(self._port, "others", ()):
                self._named = device
                self._leave.set()
            elif one is not None:
                self._chosen = one.identity
                self._leave.set()

    def tell(self, command: str) -> None:
        """Tells the simulated robot ``setpoint=2450``, ``distance_m=2.4`` or ``fire``.

        Raises ``LinkError`` on any other port: nothing is ever written to a robot.
        """
        command_port = getattr(self._port, "command", None)
        if command_port is None:
            raise LinkError("only the simulated robot can be told anything; nothing is written to a real one")
        command_port(command)

    def seen_in_simulation(self) -> tuple[Outcome, ...]:
        """What a spectator would have seen of the simulated robot's shots; empty on a real robot's line."""
        simulated = getattr(self._port, "simulated", None)
        return () if simulated is None else tuple(simulated.outcomes)

    # -- the reader thread -------------------------------------------------------------------------------------------

    def _run(self) -> None:
        search = PortSearch(self.robot, self._named, self._baud, self._remembered, self._over)
        while not self._stop.is_set() and self._state != "ended":
            try:
                self._round(search)
            except Exception as error:  # a fault of ours must not leave a frozen number on the screen
                self._say("lost", f"reading failed: {type(error).__name__}: {error}; trying again")
                self._stop.wait(_RETRY_S)
        search.release()

    def _over(self) -> bool:
        """Whether the port that is open is to be left."""
        return self._stop.is_set() or self._leave.is_set()

    def _round(self, search: PortSearch) -> None:
        """Finds a port and follows it as long as it lasts."""
        with self._lock:
            if self._leave.is_set():
                self._leave.clear()
                search.release()
                search.name, search.only, self._followed = self._named, self._chosen, False
                self._device = str(search.only["device"]) if search.only else None
                self._line.begin_anew("another port")
        found = search.listen(self._say_searching)
        if found is None:
            self._stop.wait(0.0 if self._leave.is_set() else _RETRY_S)
            return
        self._port = found.port
        try:
            if self._follow(found):
                search.hold(found.device, found.port)
        except Lost as error:
            self._say("lost", f"{found.device}: {error}; waiting for it to come back")
        finally:
            self._port = None
            if not search.holds(found.port):
                close_port(found.port)
        if self._state != "ended":
            if found.proven or self._line.good:
                search.remember(found)
            self._stop.wait(_RETRY_S / 2)

    def _follow(self, found: Found) -> bool:
        """Reads a port until it ends, fails, or the monitor stops; whether another speed is to be tried on it."""
        with self._lock:
            self._device = found.device
        if self._followed:
            self._reopened()
        self._followed = True
        if getattr(found.port, "made_up_times", False):
            self._line.trust_clock()
        good = False
        good_before, began, lately, pace = self._line.good, time.monotonic(), b"", Pace()
        spoke_s = said_s = began
        for data, arrival_s in found.heard:
            self._take(data, arrival_s)
            lately = (lately + data)[-_LATELY:]
        if not found.proven:
            self._say_searching("searching", waiting_words(found.device, found.speed_words, lately, 0.0, self._baud))
        while not self._over():
            if not good:
                good = self._line_is_good(found, good_before)
                if not good and time.monotonic() - began > _UNPROVEN_S:
                    if self._is_elsewhere(found, lately):
                        return True
                    began = time.monotonic()
                if not good and time.monotonic() - said_s > _RETRY_S:
                    said_s = time.monotonic()
                    words = waiting_words(found.device, found.speed_words, lately, said_s - spoke_s, self._baud)
                    self._say_searching("searching", words)
            data, arrival_s = read_chunk(found.port, pace.fast)
            pace.see(data)
            why = getattr(found.port, "interrupted", "")
            if why:
                found.port.interrupted = ""  # type: ignore[attr-defined]
                self._reopened(why)
                if good and why.startswith("another robot"):
                    self._say("live", f"reading {found.device}: {why}, since the one before fell silent")
            if data:
                self._take(data, arrival_s)
                lately, spoke_s = b"" if good else (lately + data)[-_LATELY:], time.monotonic()
            elif getattr(found.port, "ended", False):
                self._say("ended", f"{found.device} has ended{getattr(found.port, 'ended_by', '')}")
                return False
        return False

    def _is_elsewhere(self, found: Found, lately: bytes) -> bool:
        """Whether to search again: there is another port, or what was text was a greeting at another speed.

        Opening a port again would reset many controllers, so that the only port is kept.
        """
        if ports.is_url(found.device):
            return False
        if self._named is None and self._chosen is None and any(c.device != found.device for c in ports.candidates()):
            return True
        return self._baud is None and len(lately) >= _LATELY and not is_text(lately)

    def _line_is_good(self, found: Found, good_before: int) -> bool:
        """Turns live on the first lines that decode and are plausible, and lets the session remember the port."""
        if self._line.good <= good_before:
            return False
        words = f"reading {found.device}{found.speed_words}"
        if self._named is None:
            there = tuple(one for one in ports.candidates() if one.identity["vid"] is not None)
            with self._lock:
                self._there = there
        self._say("live", words)
        if self._on_good is not None and not ports.is_url(found.device):
            try:
                self._on_good({**found.identity, "device": found.device, "baud": found.baud})
            except Exception as error:  # the caller's, and no reason to stop reading
                self._say("live", f"{words}, but it can't be remembered: {error}")
        return True

    def _take(self, data: bytes, arrival_s: float | None) -> None:
        """Feeds the line; arrival is kept in whole microseconds, so that a recording replays to the bit."""
        if arrival_s is None:
            self._last_us = round(self._host_s() * 1e6)
        else:
            self._last_us = round(arrival_s * 1e6)
            self._offset_s = self._host_s() - arrival_s
        if self._recorder is not None:
            self._recorder.write(self._last_us, data)
        with self._lock:
            self._line.feed(data, self._last_us / 1e6)

    def _reopened(self, why: str = "reconnected") -> None:
        if self._recorder is not None:
            self._recorder.write(self._last_us, b"")
        with self._lock:
            self._line.reconnected(why)

    def _host_s(self) -> float:
        return time.monotonic() - self._began

    def _now(self) -> float:
        """Host time on the scale of the arrivals: a replay or simulation has a scale of its own."""
        return self._host_s() - self._offset_s

    def _say_searching(self, state: State, words: str) -> None:
        """A robot that was live is lost, not merely searched for, until it is back."""
        self._say("lost" if self._line.good else state, words)

    def _say(self, state: State, words: str) -> None:
        with self._lock:
            self._state, self._words = state, words
            if state in ("lost", "off"):
                self._device = self._device if state == "lost" else None


def _unrecorded(live: Live, notice: str) -> Live:
    """A snapshot that tells of a recording given up; the line itself goes on."""
    notices = {**live.health.notices, notice: 1}
    return replace(live, health=replace(live.health, notices=notices))
