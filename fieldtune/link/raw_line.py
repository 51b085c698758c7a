"""A port heard before anything is known of the robot: its speed is found, its lines are kept as they come."""

from __future__ import annotations

import threading
import time
from collections import deque
from typing import TYPE_CHECKING

from fieldtune.errors import LinkError
from fieldtune.link import ports
from fieldtune.link.ports import Lost, close_port, read_chunk, set_speed
from fieldtune.link.text.framing import LONGEST
from fieldtune.link.text.line_patterns import is_text
from fieldtune.link.text.shown_lines import shown

if TYPE_CHECKING:
    import serial

    from fieldtune.robot.model import Robot

_KEPT = 200
_LISTEN_S = 0.8
_RETRY_S = 0.5


class RawLine:
    """Listens on ``device`` in a thread of its own; nothing is ever written to a port.

    ``words``: what there is to say of it; ``baud``: the speed at which text came, None before. A port that goes away is
    waited for. Anyone may ask, at any time.
    """

    def __init__(self, device: str, baud: int | None = None, robot: Robot | None = None) -> None:
        self.device, self._robot, self._wanted = device, robot, baud
        self.words = "opening"
        self.baud: int | None = None
        self.bytes = 0
        self._lines: deque[tuple[float, str]] = deque(maxlen=_KEPT)
        self._rest = b""
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._thread = threading.Thread(target=self._run, name="fieldtune-raw", daemon=True)
        self._thread.start()

    def stop(self) -> None:
        """Ends listening and closes the port."""
        self._stop.set()
        self._thread.join(timeout=2.0)

    def lines(self, count: int = _KEPT) -> list[str]:
        """The last lines, oldest first, harmless to show."""
        with self._lock:
            return [line for _, line in list(self._lines)[-count:]]

    @property
    def rate_hz(self) -> float | None:
        """Lines a second lately; None where none came."""
        with self._lock:
            times = [at for at, _ in self._lines if at > time.monotonic() - 2.0]
        return (len(times) - 1) / (times[-1] - times[0]) if len(times) > 3 and times[-1] > times[0] else None

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self._follow()
            except (LinkError, Lost) as error:
                self.words = str(error)
            except Exception as error:  # a fault of ours must not leave a dead row without a word
                self.words = f"reading failed: {type(error).__name__}: {error}"
            self._stop.wait(_RETRY_S)

    def _follow(self) -> None:
        candidate = ports.named(self.device, self._wanted)
        port = ports.open_port(self.device, candidate.bauds[0], self._robot)
        try:
            if len(candidate.bauds) > 1:
                self._find_speed(port, candidate.bauds)
            else:
                self.baud = candidate.bauds[0]
            while not self._stop.is_set():
                self._take(read_chunk(port)[0])
        finally:
            close_port(port)

    def _find_speed(self, port: serial.SerialBase, bauds: tuple[int, ...]) -> None:
        """One speed after another until text comes; a silent port stays at the first. Raises ``Lost``."""
        while not self._stop.is_set():
            for baud in bauds:
                set_speed(port, baud)
                heard, until = b"", time.monotonic() + _LISTEN_S
                while time.monotonic() < until and not self._stop.is_set() and not is_text(heard):
                    heard += read_chunk(port)[0]
                self.bytes += len(heard)
                if is_text(heard):
                    self.baud = baud
                    self._take(heard)
                    return
                if not heard:
                    self.words = "open but silent; does the robot program run?"
                    break
                self.words = f"sends bytes, but no text at {baud} baud"

    def _take(self, data: bytes) -> None:
        if not data:
            return
        self.bytes += len(data)
        *lines, self._rest = (self._rest + data).replace(b"\r\n", b"\n").replace(b"\r", b"\n").split(b"\n")
        self._rest = self._rest[-LONGEST:]
        now = time.monotonic()
        with self._lock:
            self._lines.extend((now, shown(line[-LONGEST:])) for line in lines[-_KEPT:] if line.strip())
        speed = "" if ports.is_url(self.device) or self.baud is None else f" at {self.baud} baud"
        self.words = f"sends text{speed}"


def present() -> list[tuple[str, str]]:
    """The ports there are now, those worth trying first: device, and what the system says of it."""
    from serial.tools import list_ports

    words = {port.device: str(port.description or "") for port in list_ports.comports()}
    return [(one.device, words.get(one.device, "")) for one in ports.candidates()]
