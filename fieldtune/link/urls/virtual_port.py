"""What our own ports share: a ``SerialBase`` that has no wire, so speed and modem lines mean nothing to it."""

from __future__ import annotations

import re
import select
import socket
import time
from urllib.parse import parse_qs, unquote

import serial
from serial import SerialException

_OPTIONS = re.compile(r"\?(?:\w+=[^?&]*(?:&|\Z))+\Z", re.ASCII)
"""Settings at the end. Any other ``?``, and every ``#``, belongs to a file's name."""


class VirtualPort(serial.SerialBase):
    """State of a port without a wire. A subclass fills ``_take`` and opens in ``_start``.

    ``arrival_s`` is the arrival time of what the last ``read`` returned, where the port knows better than the host's
    clock (replay, simulation); None otherwise. ``ended`` turns True when nothing will follow, and ``ended_by`` says why
    where that is a fault. ``interrupted`` says by what the line was interrupted; the reader takes it away. ``wired``:
    whether bytes come from outside, when they come.
    """

    _port: str | None
    _timeout: float | None
    arrival_s: float | None = None
    ended: bool = False
    ended_by: str = ""
    interrupted: str = ""
    wired: bool = False

    def open(self) -> None:
        """Opens the URL given as the port's name."""
        if self._port is None:
            raise SerialException("no URL given")
        self._start(*parse(self._port))
        self.is_open = True

    def _start(self, place: str, options: dict[str, str]) -> None:
        raise NotImplementedError

    def _take(self) -> bytes:
        """What is due now; empty if nothing is."""
        raise NotImplementedError

    def close(self) -> None:
        """Closes the port; a waiting reader returns soon after."""
        self.is_open = False

    def read(self, size: int = 1) -> bytes:
        """What has come since the last read, whatever ``size`` says; waits up to ``timeout`` for it."""
        if not self.is_open:
            raise SerialException("the port is closed")
        deadline = None if self._timeout is None else time.monotonic() + self._timeout
        while self.is_open:
            data = self._take()
            if data or self.ended:
                return data
            left = 0.02 if deadline is None else min(deadline - time.monotonic(), 0.02)
            if left <= 0:
                break
            self._wait(left)
        return b""

    def _wait(self, longest_s: float) -> None:
        """Waits for what comes next."""
        time.sleep(longest_s)

    @property
    def in_waiting(self) -> int:
        """Always 0: ``read`` returns all there is."""
        return 0

    def write(self, data: bytes) -> int:  # type: ignore[override]
        """Nothing listens at the other end."""
        return len(data)

    def reset_input_buffer(self) -> None:
        """Nothing is buffered."""

    def reset_output_buffer(self) -> None:
        """Nothing is buffered."""

    def flush(self) -> None:
        """Nothing is buffered."""

    def _reconfigure_port(self, *_: object, **__: object) -> None:
        """Speed and parity mean nothing here."""

    def _update_rts_state(self) -> None:
        """There are no modem lines."""

    def _update_dtr_state(self) -> None:
        """There are no modem lines."""

    def _update_break_state(self) -> None:
        """There are no modem lines."""


class SocketPort(VirtualPort):
    """A port behind which is a socket, of which a read takes all that has come as soon as something has."""

    wired = True
    _socket: socket.socket

    def _wait(self, longest_s: float) -> None:
        select.select([self._socket], [], [], longest_s)

    @property
    def in_waiting(self) -> int:
        """1 where something has come, else 0: ``read`` returns all there is."""
        return len(select.select([self._socket], [], [], 0.0)[0])

    def close(self) -> None:
        """Closes the socket."""
        if self.is_open:
            self._socket.close()
        super().close()


def parse(url: str) -> tuple[str, dict[str, str]]:
    """The place behind ``scheme://`` (host and path together) and the options behind its last ``?``."""
    behind = url.partition("://")[2]
    options = _OPTIONS.search(behind)
    place = behind[: options.start()] if options else behind
    return unquote(place), {name: values[-1] for name, values in parse_qs(options[0][1:] if options else "").items()}


def host_and_port(place: str, url: str | None, example: str) -> tuple[str, int]:
    """Host (empty where none is named) and port of ``HOST:PORT``; raises ``SerialException`` with an example."""
    host, _, number = place.rstrip("/").rpartition(":")
    if not number.isdecimal() or not 0 < int(number) < 65_536:
        raise SerialException(f"{url}: expected a port from 1 to 65535, such as {example}")
    return host.strip(" /[]"), int(number)


def number_option(options: dict[str, str], name: str, default: float, url: str) -> float:
    """A number among a URL's options; raises ``SerialException`` (a ValueError would read as an unknown scheme)."""
    text = options.get(name)
    if text is None:
        return default
    try:
        return float(text)
    except ValueError:
        raise SerialException(f"{url}: {name}={text} is no number") from None
