"""``udp://:5800``: lines that a robot sends as UDP datagrams to a port of this laptop. Nothing is ever sent back."""

from __future__ import annotations

import socket

from serial import SerialException

from fieldtune.link.urls.virtual_port import VirtualPort

_LARGEST = 65_535


class Serial(VirtualPort):
    """Hears one port; a datagram that does not end its last line is taken to end it all the same."""

    def _start(self, place: str, options: dict[str, str]) -> None:
        host, _, number = place.rpartition(":")
        if not number.isdecimal() or not 0 < int(number) < 65_536:
            raise SerialException(
                f"{self._port}: expected udp://:PORT with a port from 1 to 65535, such as udp://:5800"
            )
        self._socket = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self._socket.setblocking(False)
        try:
            self._socket.bind((host, int(number)))
        except OSError:
            self._socket.close()
            raise

    def _take(self) -> bytes:
        pieces: list[bytes] = []
        while True:
            try:
                data = self._socket.recv(_LARGEST)
            except BlockingIOError:
                return b"".join(pieces)
            pieces.append(data if data.endswith((b"\n", b"\r")) else data + b"\n")

    def close(self) -> None:
        """Closes the port."""
        if self.is_open:
            self._socket.close()
        super().close()
