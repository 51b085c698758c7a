"""``socket://robot.local:9000``: lines that a robot serves over TCP. Nothing is ever sent to it.

pyserial has this scheme too, but there one byte at a time is said to be waiting: a line costs dozens of reads.
"""

from __future__ import annotations

import socket

from serial import SerialException

from fieldtune.link.urls.virtual_port import SocketPort, host_and_port

_LARGEST = 65_536
_PATIENCE_S = 5.0  # for a robot to answer


class Serial(SocketPort):
    """Reads what a robot sends over one connection."""

    def _start(self, place: str, options: dict[str, str]) -> None:
        host, number = host_and_port(place, self._port, "socket://192.168.4.1:9000")
        if not host:
            raise SerialException(f"{self._port}: expected socket://HOST:PORT, such as socket://192.168.4.1:9000")
        self._socket = socket.create_connection((host, number), timeout=_PATIENCE_S)
        self._socket.setblocking(False)

    def _take(self) -> bytes:
        try:
            data = self._socket.recv(_LARGEST)
        except BlockingIOError:
            return b""
        if not data:
            raise SerialException("the robot closed the connection")
        return data
